"""Against a loved reed: the first step of a way, an opening shaped first, what spills over."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.cut_reeds import NAMES, VALUES, Real, fake_reed, styled

from crowlight.judge.findings import Known, rank
from crowlight.plan.cut import (
    Earlier,
    Model,
    Part,
    Plan,
    ReedNow,
    StrokeSize,
    Words,
    draw_chance,
    next_cut,
    taken_off,
    target,
)
from crowlight.plan.cut.options import MORE_STROKES, MOST_CANE, MOST_STROKES, acts
from crowlight.plan.cut.strokes import USUAL
from crowlight.plan.cut.weigh import Scales


def towards(reed: ReedNow, loved: Model | None, *, words: Words | None = None, **more) -> Plan:
    wanted = target(reed, loved=loved, words=words)
    chance = draw_chance(reed, np.random.default_rng(1))
    return next_cut(reed, wanted, rank(Known()), Known(), chance, **more)


def loved(reed: ReedNow, **outputs: float) -> Model:
    """Return a reed exactly of the style, with this reed's outputs unless told otherwise."""
    of = dict(zip(NAMES, VALUES.tolist(), strict=True)) | outputs
    return Model(of, styled(reed.along, reed.fraction))


def thick_hearts(amount: float):
    def fault(b: Real, t: Real, u: Real) -> Real:
        return np.where((t > 6e-3) & (t < 11.5e-3), amount, 0.0) + 0 * (u + b)

    return fault


def codes(plan: Plan) -> list[str]:
    return [o.act.code for o in plan.options]


def test_the_first_strokes_of_a_long_way_are_offered() -> None:
    """A heart 0.05 mm over the loved one's, a very light hand: eight strokes promise little."""
    reed = fake_reed(fault=thick_hearts(0.05e-3))
    reed = replace(reed, by_cane=reed.by_cane * 0.0)  # the map alone speaks
    plan = towards(reed, loved(reed), strokes=StrokeSize(0.3e-6, 0.3))
    heart = next(o for o in plan.options if o.act.code == "heart")
    assert heart.act.strokes == MORE_STROKES[-1]
    assert heart.better >= 0.75
    assert heart.gain < 0.1
    # a sixth as far off, the whole way is not worth the knife
    near = fake_reed(fault=thick_hearts(0.008e-3))
    near = replace(near, by_cane=near.by_cane * 0.0)
    assert "heart" not in codes(towards(near, loved(near), strokes=StrokeSize(0.7e-6, 0.3)))


def test_more_strokes_only_behind_the_tip_while_far_off_and_never_much_cane() -> None:
    reed = fake_reed(fault=thick_hearts(0.05e-3))
    reed = replace(reed, by_cane=reed.by_cane * 0.0)
    for stroke in (1e-6, 2e-6, 3e-6, 4.5e-6):
        plan = towards(reed, loved(reed), strokes=StrokeSize(stroke, 0.3))
        for option in plan.options:
            if option.act.strokes > MOST_STROKES:
                assert option.act.zone == "heart"
                assert option.act.strokes * stroke <= MOST_CANE
    near = fake_reed(fault=thick_hearts(0.012e-3))
    near = replace(near, by_cane=near.by_cane * 0.0)
    plan = towards(near, loved(near), strokes=StrokeSize(3e-6, 0.3))
    assert all(option.act.strokes <= MOST_STROKES for option in plan.options)


def test_a_step_that_gains_less_than_is_asked_is_taken_for_the_way() -> None:
    reed = fake_reed(fault=thick_hearts(0.03e-3), sd=3e-6)
    reed = replace(reed, by_cane=reed.by_cane * 0.0)
    wanted = target(reed, loved=loved(reed))
    chance = draw_chance(reed, np.random.default_rng(1))
    plan = next_cut(reed, wanted, rank(Known()), Known(), chance)
    scales = Scales(reed, wanted, USUAL, chance)
    for option in plan.options[:-2]:
        if option.act.kind != "scrape":
            continue
        way = [scales.try_out(option.act.with_amount(n * option.act.strokes)).expected
               for n in (2, 3, 4)]  # fmt: skip
        assert option.better >= 0.75
        assert option.gain >= 0.1 or max(way) >= 0.3


@pytest.mark.parametrize(
    ("share", "first"), [(1.3, "mandrel"), (0.75, "squeeze-flat"), (1.02, None)]
)
def test_an_opening_that_is_off_is_shaped_before_anything_is_cut(
    share: float, first: str | None
) -> None:
    """The loved reed's opening is so many times this one's."""
    reed = fake_reed()
    model = loved(reed, rest_height=share * VALUES[NAMES.index("rest_height")])
    plan = towards(reed, model)
    shaping = [c for c in codes(plan) if c in ("mandrel", "squeeze-sides", "squeeze-flat")]
    assert shaping[:1] == ([first] if first else [])
    if first:
        assert plan.options[plan.advised].act.code == first
        assert first not in codes(towards(reed, model, done=set(shaping)))


def test_the_style_or_words_about_something_else_shape_nothing() -> None:
    reed = fake_reed()
    for words in (None, Words(easy_resistant=-1.0)):
        assert not {"mandrel", "squeeze-sides", "squeeze-flat"} & set(
            codes(towards(reed, None, words=words))
        )


def test_an_uneven_hand_widens_what_is_told_of_balance() -> None:
    """Both sides alike should not tilt; told as certain it would be wrong. Counted in loops.

    Slopes of balance for what treats all alike are doubted whole: they cannot tell the sign.
    """
    reed = fake_reed(fault=thick_hearts(0.06e-3))
    wanted, chance = target(reed, loved=loved(reed)), draw_chance(reed, np.random.default_rng(1))
    scales = Scales(reed, wanted, USUAL, chance)
    act = next(
        a for a in acts(reed, rank(Known())) if a.code == "heart" and a.part.value == "whole"
    ).with_amount(3)
    assert act.shape is not None
    k = NAMES.index("tilt")
    squares = net = 0.0
    for b in range(2):
        for side in (-1, 1):
            slope = 0.0
            for j, u in enumerate(reed.fraction):
                share = 1.0 if u * side > 0 else 0.5 if u == 0 else 0.0
                slope += share * float((reed.by_cane[k, b, :, j] * act.shape[b, :, j]).sum())
            squares += slope**2
            net += slope
    expected = 3 * USUAL.median * math.hypot(0.13 * math.sqrt(squares), net)
    assert scales.uneven(act)[k] == pytest.approx(expected)
    assert not scales.change(act)[:, k].any()
    sure = chance.inflated(0.0)
    plan = next_cut(reed, wanted, rank(Known()), Known(), sure)
    heart = next(o for o in plan.options if o.act.code == "heart" and o.act.part.value == "whole")
    tilt = next(e for e in heart.expected if e.name == "tilt")
    off = 1.6449 * float(scales.uneven(heart.act)[k])
    assert tilt.high - tilt.low == pytest.approx(2 * off, rel=1e-3)


def test_windows_beside_a_spine_at_its_floor_are_left() -> None:
    """Away from its floor the same cut is offered; at it, at most one that keeps off it."""

    def thick_windows(b: Real, t: Real, u: Real) -> Real:
        inside = (t > 11.5e-3) & (t < 19e-3) & (np.abs(u) > 0.25) & (np.abs(u) < 0.6)
        return np.where(inside, 0.07e-3, 0.0) + 0 * b

    reed = fake_reed(fault=thick_windows, sd=3e-6)
    reed = replace(reed, by_cane=reed.by_cane * 0.0)
    spine = reed.where["spine"]
    for spare, offered in ((0.05e-3, True), (0.004e-3, False)):
        mean = reed.mean.copy()
        mean[:, spine] = reed.floor[spine] + spare
        draws = reed.draws - reed.mean + mean
        plan = towards(replace(reed, mean=mean, draws=draws), loved(reed))
        back = [o.act for o in plan.options if o.act.code == "back"]
        assert back or not offered
        for act in () if offered else back:
            assert act.part is not Part.WHOLE
            assert act.shape is not None
            assert (act.strokes * USUAL.median * act.shape[:, spine]).max() < spare / 4


def test_what_spilled_in_earlier_cuts_counts_with_the_next() -> None:
    """A spine some way above its floor: one spill is let pass, the tenth is not."""

    def thick_windows(b: Real, t: Real, u: Real) -> Real:
        inside = (t > 11.5e-3) & (t < 19e-3) & (np.abs(u) > 0.25) & (np.abs(u) < 0.6)
        return np.where(inside, 0.07e-3, 0.0) + 0 * b

    reed = fake_reed(fault=thick_windows, sd=6e-6)
    spine = reed.where["spine"]
    mean = reed.mean.copy()
    mean[:, spine] = reed.floor[spine] + 10e-6
    reed = replace(reed, by_cane=reed.by_cane * 0.0, mean=mean, draws=reed.draws - reed.mean + mean)
    wanted, chance = target(reed, loved=loved(reed)), draw_chance(reed, np.random.default_rng(1))
    act = next(a for a in acts(reed, rank(Known())) if a.code == "back" and a.part is Part.WHOLE)
    assert len(act.blades) == 2
    cut = Earlier(act.zone, act.part, act.blades, 9e-6)
    taken = taken_off(reed, [cut, cut])
    assert taken.max() == pytest.approx(18e-6)
    assert taken[0] == pytest.approx(taken[1])
    harms = [
        Scales(reed, wanted, USUAL, chance, earlier=[cut] * many).harm(act.with_amount(2)).floor
        for many in (0, 1, 10)
    ]
    assert harms == sorted(harms)
    assert harms[0] < 0.5 <= harms[-1]
