"""The steady difference: where it comes from, that it is seldom invented, and its split test."""

import math

import numpy as np
import pytest

from crowlight.batch.candidates import good_and_poor
from crowlight.batch.split import allocation, evaluate_split, plan_split
from crowlight.batch.steady import Contrast, Pattern, Series, of_sides, steady_differences
from crowlight.errors import InputError

GAUGE = 0.004


def sides(rng, marked: float, plain: float, count: int = 8, name: str = "tip", tolerance=0.01):
    def drawn(mean: float):
        return rng.normal(mean, 0.003, count) + rng.normal(0.0, GAUGE, count)

    u = [GAUGE] * count
    return of_sides(name, drawn(marked), drawn(plain), u, u, tolerance=tolerance)


@pytest.mark.parametrize(
    ("marked", "plain", "pattern", "blade"),
    [
        (-0.03, -0.03, Pattern.HAND, None),
        (0.03, 0.03, Pattern.HAND, None),
        (-0.03, 0.03, Pattern.EDGE, None),
        (0.03, -0.03, Pattern.EDGE, None),
        (0.04, 0.0, Pattern.ONE_BLADE, 0),
        (0.0, 0.04, Pattern.ONE_BLADE, 1),
    ],
)
def test_the_place_tells_the_cause(marked, plain, pattern, blade) -> None:
    rng = np.random.default_rng(1)
    found = steady_differences(sides(rng, marked, plain), rng=rng)
    assert found.first is not None
    assert found.first.pattern is pattern
    assert found.first.blade == blade
    assert math.copysign(1.0, found.first.mean) == math.copysign(1.0, marked or plain)
    if blade is not None:
        # told once, and with the size it has on its blade
        assert len(found.consistent) == 1
        assert found.first.mean == pytest.approx(0.04, abs=3 * math.hypot(0.003, GAUGE) / 8**0.5)


def test_even_reeds_have_none() -> None:
    rng = np.random.default_rng(2)
    named = 0
    for _ in range(100):
        # nothing is too small to matter here: only the shared risk holds it back
        series = [s for k in range(8) for s in sides(rng, 0.0, 0.0, name=f"q{k}", tolerance=1e-9)]
        named += bool(steady_differences(series, rng=rng).consistent)
    # sixteen contrasts share 5 %: of a hundred batches five, three standard deviations are 7
    assert named <= 5 + 7


def test_fewer_than_six_reeds_are_not_enough() -> None:
    rng = np.random.default_rng(3)
    found = steady_differences(sides(rng, 0.05, 0.05, count=5), rng=rng)
    assert found.missing == 1
    assert found.tested == ()
    assert found.first is None


def test_the_one_linked_to_the_grades_comes_first() -> None:
    rng = np.random.default_rng(4)
    count = 14
    small = np.linspace(-0.012, -0.03, count)
    grades = [5, 5, 5, 4, 4, 4, 4, 3, 3, 2, 2, 2, 1, 1]
    u = [GAUGE] * count
    linked = of_sides("steepness", small, small, u, u, tolerance=0.01)
    # the larger one is more on the better reeds: no fault of theirs
    more = np.linspace(0.07, 0.05, count)
    large = of_sides("heart", more, more, u, u, tolerance=0.01)
    found = steady_differences([*large, *linked], rng=rng, grades=grades)
    assert found.linked
    assert found.first.quantity == "steepness"
    assert found.first.rank_correlation < -0.9
    alone = steady_differences([*large, *linked], rng=rng)
    assert not alone.linked
    assert alone.first.quantity == "heart"


def test_the_gauge_counts_where_reeds_scatter_less() -> None:
    values, u = (0.004,) * 6, (0.02,) * 6
    series = Series(
        quantity="length",
        contrast=Contrast.STYLE,
        values=tuple(v + 1e-6 * i for i, v in enumerate(values)),
        uncertainties=u,
        tolerance=0.001,
    )
    found = steady_differences([series], rng=np.random.default_rng(5))
    assert found.tested[0].p > 0.3
    assert found.first is None


def test_a_shared_reference_widens_the_interval() -> None:
    values = (0.11, 0.12, 0.10, 0.11, 0.12, 0.10)

    def test(reference: float):
        series = Series(
            quantity="length",
            contrast=Contrast.EARLIER,
            values=values,
            uncertainties=(0.01,) * 6,
            tolerance=0.01,
            reference_uncertainty=reference,
        )
        return steady_differences([series], rng=np.random.default_rng(6)).tested[0]

    assert test(0.1).p > 0.2
    assert test(0.0).p < 1e-4


def test_reeds_not_measured_are_left_out() -> None:
    u = [GAUGE] * 8
    marked = [-0.03, math.nan, -0.031, -0.029, -0.03, -0.032, -0.028, -0.03]
    seen, edge = of_sides("tip", marked, [-0.03] * 8, u, u, tolerance=0.01)
    found = steady_differences([seen, edge], rng=np.random.default_rng(7))
    assert {t.count for t in found.tested} == {7}


def test_unlike_lengths_are_refused() -> None:
    rng = np.random.default_rng(8)
    with pytest.raises(InputError, match="one value per reed"):
        steady_differences([*sides(rng, 0, 0, 8), *sides(rng, 0, 0, 7)], rng=rng)


def test_a_split_test_is_dealt_in_pairs_and_by_chance() -> None:
    dealt = [allocation(20, rng=np.random.default_rng(seed)) for seed in range(200)]
    assert all(a != b for d in dealt for a, b in zip(d[::2], d[1::2], strict=True))
    share = np.mean([d[0] for d in dealt])
    assert share == pytest.approx(0.5, abs=3 * 0.5 / math.sqrt(200))
    assert len(allocation(5, rng=np.random.default_rng(1))) == 5


def test_the_plan_sees_what_it_says() -> None:
    rng = np.random.default_rng(9)
    plan = plan_split(-0.03, 0.012, rng=rng, grade_spread=1.2)
    assert plan.each is not None
    assert plan.each_for_grade is not None
    assert len(plan.order) == 2 * plan.each
    assert plan.each < plan.each_for_half
    kinds = np.tile([0, 1], plan.each_for_half)
    seen = sum(
        evaluate_split(
            rng.normal(np.where(kinds == 1, -0.015, -0.03), 0.012),
            kinds,
            before=-0.03,
            rng=rng,
            permutations=9,
        ).answer
        == "smaller"
        for _ in range(400)
    )
    # planned for 80 %; Welch's interval is a little wider than Student's
    assert 0.7 < seen / 400 < 0.9


def test_the_answers_of_a_split_test() -> None:
    rng = np.random.default_rng(10)
    made = [-0.02, -0.021, -0.019, -0.02]
    better, worse = [-0.002, 0.0, -0.001, 0.001], [-0.04, -0.041, -0.039, -0.04]
    kinds = [0] * 4 + [1] * 4

    def told(new):
        return evaluate_split([*made, *new], kinds, before=-0.02, rng=rng).answer

    assert told(better) == "smaller"
    assert told(worse) == "larger"
    assert told([-0.03, -0.01, -0.022, -0.018]) == "cannot-tell"
    assert evaluate_split(made[:3], [0, 0, 1], before=1.0, rng=rng).answer == "too-few"


def test_good_and_poor_reeds_are_compared_only_if_there_are_enough() -> None:
    values = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    found = good_and_poor({"x": values}, [5, 4, 4, 2, 1, None])
    assert (found.good, found.poor, found.missing) == (3, 2, 3)
    assert found.tested == ()


def test_candidates_are_seldom_wrong() -> None:
    rng = np.random.default_rng(11)
    grades = [5] * 6 + [1] * 6
    named = 0
    for _ in range(60):
        found = good_and_poor({f"q{k}": rng.normal(size=12) for k in range(20)}, grades)
        assert len(found.tested) == 20
        named += bool(found.named)
    # at most a tenth of the batches, and three standard deviations
    assert named <= 6 + 3 * math.sqrt(6)


def test_reeds_without_any_spread_say_nothing_of_it() -> None:
    """Three of each, alike to the digit: dealing out alone gives as much once in ten."""
    kinds = [0, 0, 0, 1, 1, 1]
    told = evaluate_split([0.03] * 3 + [0.01] * 3, kinds, before=0.03, rng=np.random.default_rng(9))
    assert told.answer == "cannot-tell"
    assert np.isnan(told.low)
    assert told.p > 0.05


def test_a_change_that_goes_too_far_is_not_called_better() -> None:
    usual = [-0.021, -0.018, -0.022, -0.019]
    for new, answer in ((0.004, "smaller"), (0.05, "turned")):
        told = evaluate_split(
            [*usual, *(u + 0.02 + new for u in usual)],
            [0] * 4 + [1] * 4,
            before=-0.02,
            rng=np.random.default_rng(10),
        )
        assert told.answer == answer
