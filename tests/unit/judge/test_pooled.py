"""Evenness of zones from paired readings."""

import math

import pytest

from crowlight.judge import Comparison, Decision, Outcome, Pairing
from crowlight.judge.geometry import Against
from crowlight.judge.pooled import pooled_pairs
from crowlight.reed import Blade
from crowlight.reed.styles import style

LONG = style("long")


def _pair(along: float, value: float, u: float, *, seating: float = 0.0, dof: float = math.inf):
    decision = Decision(
        outcome=Outcome.NO_DIFFERENCE_SEEN,
        value=value,
        standard_uncertainty=u,
        dof=dof,
        tolerance=1e-5,
    )
    return Comparison(
        pairing=Pairing.LEFT_RIGHT,
        blade=Blade.MARKED,
        side=None,
        along=along,
        across=2e-3,
        decision=decision,
        seating=seating,
    )


def test_weighted_mean_of_independent_pairs_is_the_textbook_one() -> None:
    # Weighted mean and its uncertainty, e.g. Taylor, An Introduction to Error Analysis (2nd ed.
    # 1997), equations 7.10 and 7.12: 11 +- 1 and 12 +- 1 and 10 +- 3 give 11.42 +- 0.69.
    pairs = [_pair(69e-3, 11, 1), _pair(68.5e-3, 12, 1), _pair(68e-3, 10, 3)]
    (pooled,) = pooled_pairs(pairs, LONG).values()
    assert pooled.value == pytest.approx(11.42, abs=0.005)
    assert pooled.standard_uncertainty == pytest.approx(0.69, abs=0.005)
    assert pooled.pairs == 3


def test_a_shared_seating_does_not_average_away() -> None:
    own, seating = 3e-6, 4e-6
    pairs = [
        _pair(a * 1e-3, 2e-5, math.hypot(own, seating), seating=seating) for a in (69, 68.5, 68)
    ]
    (pooled,) = pooled_pairs(pairs, LONG).values()
    assert pooled.value == pytest.approx(2e-5)
    assert pooled.standard_uncertainty == pytest.approx(math.hypot(own / math.sqrt(3), seating))


def test_zones_are_kept_apart_and_places_off_the_blade_left_out() -> None:
    pairs = [_pair(69e-3, 1e-5, 1e-6), _pair(61e-3, 2e-5, 1e-6), _pair(80e-3, 9e-5, 1e-6)]
    pooled = pooled_pairs(pairs, LONG)
    assert {(k[0], k[1]) for k in pooled} == {(Against.SIDES, "tip"), (Against.SIDES, "heart")}


def test_pairs_with_one_point_say_nothing() -> None:
    missing = Decision(outcome=Outcome.NOT_MEASURED, tolerance=1e-5)
    pair = Comparison(
        pairing=Pairing.LEFT_RIGHT,
        blade=Blade.MARKED,
        side=None,
        along=69e-3,
        across=2e-3,
        decision=missing,
    )
    assert pooled_pairs([pair], LONG) == {}
