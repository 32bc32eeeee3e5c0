"""Figures of a workshop, and cane to blank."""

import math
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.batch.figures import Made, life_of, per_sellable, share, workshop_figures
from crowlight.batch.power import share_of_true_answers
from crowlight.batch.tracking import check_steps, mixed_model, tolerances, tracking
from crowlight.errors import InputError, MissingExtra


def test_failures_pay_into_every_sellable_reed() -> None:
    made = [
        Made(stage=5, sellable=True, seconds=1800.0, cost=2.0, currency="EUR", grade=4),
        Made(stage=4, sellable=True, seconds=2400.0, cost=2.0, currency="EUR", grade=5),
        Made(stage=3, sellable=False, reason="crack", seconds=1200.0, cost=2.0, currency="EUR"),
        Made(stage=1, sellable=False, reason="crack", seconds=300.0),
        Made(stage=2),
    ]
    found = workshop_figures(made, stages=6)
    assert found.reeds == 5
    assert [(s.count, s.of) for s in found.stages] == [
        (5, 5), (5, 5), (4, 5), (3, 4), (2, 3), (1, 2),
    ]  # fmt: skip
    assert (found.sellable.count, found.sellable.of) == (2, 4)
    assert found.seconds.value == pytest.approx(5700.0 / 2)
    assert dict(found.cost)["EUR"].value == pytest.approx(3.0)
    assert found.grades == (0, 0, 0, 1, 1)
    assert [(r, s.count, s.of) for r, s in found.reasons] == [("crack", 2, 2)]
    assert found.life is None


def test_nothing_noted_gives_nothing() -> None:
    found = workshop_figures([], stages=6)
    assert found.sellable.of == 0
    assert (found.sellable.low, found.sellable.high) == (0.0, 1.0)
    assert found.seconds is None
    assert found.questions == ()
    assert per_sellable([10.0], [False]) is None


def test_unlike_money_is_never_added() -> None:
    made = [
        Made(sellable=True, cost=2.0, currency="EUR"),
        Made(sellable=True, cost=5.0, currency="USD"),
    ]
    assert {c: r.value for c, r in workshop_figures(made, stages=0).cost} == {
        "EUR": 2.0,
        "USD": 5.0,
    }


def test_the_ratio_interval_covers() -> None:
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(500):
        good = rng.random(60) < 0.7
        spent = rng.gamma(4.0, 10.0, 60) * np.where(good, 1.0, 0.5)
        found = per_sellable(spent, good)
        hits += found.low <= (0.7 * 40.0 + 0.3 * 20.0) / 0.7 <= found.high
    assert hits / 500 == pytest.approx(0.95, abs=0.04)


def test_lives_still_going_on_count_as_far_as_they_got() -> None:
    rng = np.random.default_rng(2)
    life, looked = rng.exponential(15.0, 4000), rng.uniform(0.0, 40.0, 4000)
    found = life_of(np.minimum(life, looked), life <= looked)
    assert found.median == pytest.approx(15.0 * math.log(2.0), rel=0.05)
    assert found.median_low <= found.median <= found.median_high
    assert found.alive == tuple(sorted(found.alive, reverse=True))
    none = life_of([3.0, 4.0], [False, False])
    assert math.isinf(none.median)
    assert none.times == ()


def test_canes_are_compared_and_the_numbers_needed_are_said() -> None:
    made = [Made(grade=5, cane="bag one", sellable=True)] * 6
    made += [Made(grade=2, cane="bag one", sellable=False, reason="x")] * 2
    made += [Made(grade=5, cane="bag two", sellable=True)] * 3 + [Made(grade=1, cane="bag two")] * 5
    found = workshop_figures(made, stages=0)
    assert [g.name for g in found.canes] == ["bag one", "bag two"]
    assert found.canes[0].good.value == 0.75
    (question,) = found.questions
    assert (question.first, question.second) == ("bag one", "bag two")
    assert 20 < question.each < 40
    assert question.more == (question.each - 8, question.each - 8)


def test_shares_that_are_none_are_refused() -> None:
    with pytest.raises(InputError, match="5 of 3 is no share"):
        share(5, 3)
    with pytest.raises(InputError, match="above 0"):
        life_of([0.0], [True])


def test_steps_are_checked_in_the_order_of_making() -> None:
    found = check_steps({"tie-length": 75e-3, "diameter": 10.2e-3, "gouge-centre": None})
    assert [(c.step, c.verdict) for c in found] == [("diameter", "within"), ("tie-length", "above")]
    assert check_steps({"gouge-centre": 0.63e-3})[0].verdict == "within"
    with pytest.raises(InputError, match="no such step: sparkle"):
        check_steps({"sparkle": 1.0})


@pytest.mark.parametrize("code", sorted(tolerances()))
def test_tolerances_are_ranges(code: str) -> None:
    assert tolerances()[code].low < tolerances()[code].high


def test_a_step_that_matters_is_found_within_batches() -> None:
    rng = np.random.default_rng(3)
    batch = np.repeat(np.arange(6), 8)
    level = rng.normal(0.0, 1.0, 6)[batch]
    centre = rng.normal(0.60e-3, 0.01e-3, 48)
    grade = np.clip(np.round(3.2 + level - 0.8 * (centre - 0.6e-3) / 0.01e-3), 1, 5).astype(int)
    waist = rng.normal(4e-3, 0.1e-3, 48)
    found = tracking(
        {"gouge-centre": centre, "waist-width": waist, "staple-length": [47e-3] * 48},
        list(grade),
        list(batch),
    )
    assert found[0].step == "gouge-centre"
    assert found[0].high < 0.0
    assert found[0].q < 0.001
    assert found[0].batches == 6
    assert {t.step for t in found} == {"gouge-centre", "waist-width"}
    assert found[1].q > 0.05


def test_one_batch_is_an_ordinary_line() -> None:
    x = np.arange(12.0)
    found = mixed_model(2.0 * x + np.tile([0.1, -0.1], 6), ["a"] * 12, x)
    assert found.slope == pytest.approx(2.0, abs=0.02)
    assert found.between == 0.0


def test_without_statsmodels_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "statsmodels.regression.mixed_linear_model", None)
    with pytest.raises(MissingExtra, match=r"crowlight\[study\]"):
        mixed_model([1.0] * 12, ["a"] * 12, range(12))


def test_all_intervals_are_of_the_level_asked_for() -> None:
    made = [Made(sellable=i < 3, grade=4 if i < 3 else 2, cane="a", shape="b") for i in range(5)]
    found = workshop_figures(made, stages=0, level=0.5)
    assert found.canes[0].good == found.shapes[0].sellable == found.sellable


@given(effect=st.floats(0.0, 60.0), count=st.integers(2, 16_384))
def test_power_is_a_share_and_grows_with_the_reeds(effect: float, count: int) -> None:
    one, other = (share_of_true_answers(effect, n) for n in (count, count + 1))
    assert 0.05 - 1e-9 <= one <= other + 1e-9 <= 1.0 + 2e-9
