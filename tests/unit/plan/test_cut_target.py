"""What a plan tries to come close to."""

from __future__ import annotations

import numpy as np
import pytest
from tests.cut_reeds import LONG, NAMES, VALUES, fake_reed, styled

from crowlight.errors import InputError
from crowlight.plan.cut import Goal, Model, ReedNow, StrokeSize, Target, Words, draw_chance, target
from crowlight.plan.cut.features import features
from crowlight.plan.cut.weigh import Scales

LOVED = Model({"closing_pressure": 5e3, "rest_height": 0.6e-3}, length=0.0702)
GOOD = Model({"closing_pressure": 7e3}, spread={"closing_pressure": 2e3})


def goal(of: Target, name: str) -> Goal:
    return next(g for g in of.goals if g.name == name)


def far(reed: ReedNow, of: Target) -> float:
    chance = draw_chance(reed, np.random.default_rng(1))
    return float(Scales(reed, of, StrokeSize(3e-6, 0.5), chance).distances.mean())


def test_the_best_source_there_is_wins() -> None:
    reed, words = fake_reed(), Words(easy_resistant=-1.0)
    assert target(reed, loved=LOVED, words=words, good=GOOD).source == "loved reed"
    assert target(reed, words=words, good=GOOD).source == "words"
    assert target(reed, words=Words(), good=GOOD).source == "good reeds"  # nothing was said
    assert target(reed).source == "style"


def test_a_loved_reed_gives_its_numbers_and_good_reeds_their_spread() -> None:
    reed = fake_reed()
    loved = target(reed, loved=LOVED)
    assert goal(loved, "closing_pressure").value == 5e3
    assert goal(loved, "length").value == 0.0702
    assert goal(target(reed, good=GOOD), "closing_pressure").tolerance == 2e3


@pytest.mark.parametrize(
    ("words", "name", "sign"),
    [
        (Words(easy_resistant=-1.0), "closing_pressure", -1),
        (Words(easy_resistant=0.5), "stiffness", 1),
        (Words(covered_bright=1.0), "separation", 1),
        (Words(closed_open=-0.5), "rest_height", -1),
    ],
)
def test_words_move_what_they_are_about_and_leave_the_rest(
    words: Words, name: str, sign: int
) -> None:
    reed = fake_reed()
    asked = goal(target(reed, words=words), name)
    now = VALUES[NAMES.index(name)]
    assert np.sign(asked.value - now) == sign
    others = {"closing_pressure", "stiffness", "separation", "rest_height"} - {name}
    moved = [
        n for n in others if goal(target(reed, words=words), n).value != VALUES[NAMES.index(n)]
    ]
    assert set(moved) <= {"closing_pressure", "stiffness"}  # one word says both


def test_evenness_and_balance_are_always_wanted() -> None:
    for of in (target(fake_reed()), target(fake_reed(), loved=LOVED)):
        assert goal(of, "tilt").value == goal(of, "unevenness").value == 0.0
        assert goal(of, "heart/blades").tolerance == LONG.zone("heart").tolerance.blades
        assert goal(of, "tip/plain/sides").tolerance == LONG.zone("tip").tolerance.sides


def test_features_are_plain_means_and_differences() -> None:
    reed = fake_reed()
    named = features(reed)
    level = dict(zip(named.names, named.of(np.full(reed.mean.shape, 2e-4)), strict=True))
    assert level["heart/marked"] == pytest.approx(2e-4)
    assert level["tip/plain/slope"] == pytest.approx(0.0, abs=1e-15)
    step = np.zeros(reed.mean.shape)
    step[0] += 3e-5 * (reed.fraction < 0)
    fell = dict(zip(named.names, named.of(step), strict=True))
    assert fell["tip/marked/sides"] == pytest.approx(3e-5)
    assert fell["tip/plain/sides"] == 0.0
    assert fell["tip/blades"] > 0.0


def test_a_reed_like_the_loved_one_is_close_and_a_thick_one_far() -> None:
    like, thick = fake_reed(), fake_reed(fault=lambda b, t, u: 0.05e-3 + 0 * (b + t + u))
    shape = Model(dict(zip(NAMES, VALUES, strict=True)), styled(like.along, like.fraction))
    assert 2 * far(like, target(like, loved=shape)) < far(thick, target(thick, loved=shape))


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="off its scale"):
        Words(easy_resistant=1.5)
    with pytest.raises(InputError, match="tolerance and weight must be above 0"):
        Goal("tilt", 0.0, 0.0)
