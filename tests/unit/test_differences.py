"""Paired differences: false alarms, power, and what cancels."""

from collections.abc import Callable

import numpy as np
import pytest

from crowlight.judge import Pairing, paired_differences
from crowlight.reed import Blade, Place, Reading, Side

ALONG = tuple(70.0 - d for d in (1, 2.5, 4, 5.5, 7, 9, 12, 15))
ACROSS = (-2.0, 0.0, 2.0)


def _even(along: float, across: float) -> float:
    """Thickness [mm] of a blade of our own making, the same on both sides and blades."""
    tip, edge = 70.0 - along, abs(across)
    step = 0.22 / (1 + np.exp(-(tip - 4.2) / 0.45))
    return 0.09 + 0.012 * tip + step - 0.010 * edge**2


def _reed(
    rng: np.random.Generator,
    *,
    repeats: int = 1,
    fault: Callable[[Blade, float, float], float] = lambda *_: 0.0,
    seating: float = 0.004,
) -> list[Reading]:
    """Read such a blade with every error the judgement allows for [mm]."""
    readings = []
    for blade in Blade:
        offset = rng.normal(0, seating)
        for along in ALONG:
            for across in ACROSS:
                for repeat in range(repeats):
                    x, y = rng.normal(along, 0.15), rng.normal(across, 0.15)
                    shown = _even(x, y) + fault(blade, along, across) + offset
                    shown = np.round((shown + rng.normal(0, 0.005)) / 0.01) * 0.01
                    place = Place(blade, along * 1e-3, across * 1e-3)
                    readings.append(Reading(place, max(shown, 0.03) * 1e-3, repeat=repeat))
    return readings


def _named(readings: list[Reading], tolerance: float = 0.01e-3) -> list:
    found = paired_differences(readings, tolerance=tolerance)
    return [c for c in found.comparisons if c.decision.outcome == "differs"]


@pytest.mark.parametrize("repeats", [1, 3])
def test_identical_blades_are_named_in_at_most_one_reed_of_twenty(repeats: int) -> None:
    # The hardest case: no tolerance at all. The bound leaves a chance of 1 in 1000 to a rule
    # that is wrong on exactly 5 % of reeds (binomial, 300 reeds: 26 or fewer with 99.9 %).
    rng = np.random.default_rng(20260301)
    wrong = sum(bool(_named(_reed(rng, repeats=repeats), tolerance=0.0)) for _ in range(300))
    assert wrong <= 26


def test_a_thick_corner_is_found_where_it_is() -> None:
    def corner(blade: Blade, along: float, across: float) -> float:
        return 0.06 if blade is Blade.MARKED and across < 0 and along == 69.0 else 0.0

    rng = np.random.default_rng(7)
    found = 0
    for _ in range(40):
        named = _named(_reed(rng, repeats=3, fault=corner))
        assert all(round(c.along * 1e3) == 69 for c in named)
        found += any(c.pairing is Pairing.LEFT_RIGHT and c.blade is Blade.MARKED for c in named)
    assert found >= 36


def test_a_seating_offset_is_no_difference_between_sides() -> None:
    rng = np.random.default_rng(11)
    named = _named(_reed(rng, seating=0.2), tolerance=0.0)
    assert named
    assert {c.pairing for c in named} == {Pairing.MARKED_PLAIN}


def test_facing_points_are_one_physical_edge() -> None:
    def read(blade: Blade, across: float, mm: float) -> Reading:
        return Reading(Place(blade, 0.066, across * 1e-3), mm * 1e-3)

    found = paired_differences([read(Blade.MARKED, -2, 0.30), read(Blade.PLAIN, 2, 0.20)])
    pair = next(c for c in found.comparisons if c.pairing is Pairing.MARKED_PLAIN)
    assert pair.side is Side.LEFT
    assert pair.decision.value == pytest.approx(0.10e-3)
    missing = [c for c in found.comparisons if c.pairing is Pairing.LEFT_RIGHT]
    assert {c.decision.outcome for c in missing} == {"not_measured"}


def test_own_repeats_replace_the_default_once_there_are_enough() -> None:
    rng = np.random.default_rng(3)
    few, many = _reed(rng, repeats=1), _reed(rng, repeats=3)
    assert not paired_differences(few).own_repeatability_used
    found = paired_differences(many)
    assert found.own_repeatability_used
    assert found.repeatability is not None
    # Only points on flat cane count, or the placing of the foot would be counted twice. What is
    # left is the 0.005 mm of the gauge, its rounding and a little slope.
    assert 8 <= found.repeatability.dof < len(ALONG) * len(ACROSS) * 2 * 2
    assert 0.004e-3 < found.repeatability.standard_deviation < 0.010e-3


def test_ten_thousand_readings_are_judged() -> None:
    rng = np.random.default_rng(5)
    places = [
        Place(blade, along * 1e-3, across * 1e-3)
        for blade in Blade
        for along in np.arange(48, 70, 0.5)
        for across in np.arange(-2.5, 2.6, 0.5)
    ]
    readings = [
        Reading(places[i % len(places)], (0.4 + rng.normal(0, 0.005)) * 1e-3) for i in range(10_000)
    ]
    found = paired_differences(readings)
    assert sum(c.decision.outcome == "differs" for c in found.comparisons) == 0
    assert all(c.decision.outcome != "not_measured" for c in found.comparisons)
