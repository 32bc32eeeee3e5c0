"""What a sitting tells of the gauge and of the reed drying."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from crowlight.judge import Outcome, paired_differences
from crowlight.judge.differences import SLOPE_UNKNOWN, STEEPER
from crowlight.judge.sitting import REWET, drift_of, flat_repeats, own_gauges
from crowlight.reed import Blade, Place, Reading, Repeatability, instruments

GAUGE = next(iter(instruments().values()))
ALONG = (0.0625, 0.0615, 0.0605, 0.0595)


def at(along: float, thickness: float = 0.46e-3, **more: object) -> Reading:
    place = Place(Blade.MARKED, along, 0.0)
    return replace(Reading(place, thickness, GAUGE.code), **more)


def sitting(rng: np.random.Generator, *, repeats: int = 3, sd: float = 4e-6) -> list[Reading]:
    """Read a heart as flat as a table, two by two points."""
    return [
        replace(at(0.0, 0.46e-3 + rng.normal(0, sd)), place=Place(Blade.MARKED, along, across))
        for along in (0.0605, 0.0625)
        for across in (0.0, 2e-3)
        for _ in range(repeats)
    ]


# --- drift ----------------------------------------------------------------------------------------


def test_a_dry_tip_at_the_end_is_seen() -> None:
    readings = [at(a, minutes_wet=2.0 + i) for i, a in enumerate(ALONG)]
    found = drift_of([*readings, at(ALONG[0], 0.42e-3, minutes_wet=8.0)])
    assert found is not None
    assert found.place == readings[0].place
    assert found.decision.value == pytest.approx(-0.04e-3)
    assert found.decision.high < 0
    assert found.minutes == pytest.approx(6.0)
    assert found.advice == REWET


def test_the_interval_is_that_of_two_readings() -> None:
    # one mounting: repeatability and rounding, twice (GUM, equation 13)
    readings = [at(a) for a in ALONG] + [at(ALONG[0], 0.459e-3)]
    found = drift_of(readings)
    assert found is not None
    u = math.sqrt(2 * (GAUGE.repeatability**2 + GAUGE.resolution**2 / 12))
    # and the foot placed twice on the slope: half a micrometre in a millimetre along, and across,
    # where no neighbour tells, the usual
    slope = math.hypot(0.5e-6 / 1e-3, SLOPE_UNKNOWN / STEEPER)
    u = math.hypot(u, math.sqrt(2) * GAUGE.placement * slope)
    assert found.decision.standard_uncertainty == pytest.approx(u, rel=1e-6)
    assert found.advice == ""
    assert found.minutes is None


def test_repeats_and_own_gauges_narrow_it() -> None:
    once = [*(at(a) for a in ALONG), at(ALONG[0])]
    twice = [at(ALONG[0]), *once, at(ALONG[0])]
    own = {GAUGE.code: Repeatability(GAUGE.repeatability / 10, 40)}
    wide, narrow, mine = drift_of(once), drift_of(twice), drift_of(once, gauges=own)
    assert wide is not None
    assert narrow is not None
    assert mine is not None
    assert narrow.decision.standard_uncertainty < wide.decision.standard_uncertainty
    assert mine.decision.standard_uncertainty < wide.decision.standard_uncertainty


def test_another_mounting_widens_it() -> None:
    again = [*(at(a) for a in ALONG), at(ALONG[0], seating=1)]
    here = [*(at(a) for a in ALONG), at(ALONG[0])]
    found = [drift_of(r) for r in (again, here)]
    squares = [f.decision.standard_uncertainty**2 for f in found if f is not None]
    assert squares[0] - squares[1] == pytest.approx(2 * GAUGE.seating**2)


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [at(0.06)],
        [at(0.06), at(0.06)],
        [at(0.06), at(0.061)],
        [at(0.06), at(0.06), at(0.061)],
        [at(0.06), at(0.061), at(0.06), at(0.062)],
        [at(0.06), at(0.061), replace(at(0.06), place=Place(Blade.PLAIN, 0.06, 0.0))],
    ],
)
def test_no_return_no_drift(readings: list[Reading]) -> None:
    assert drift_of(readings) is None


# --- repeatability --------------------------------------------------------------------------------


def test_the_return_to_the_first_point_is_not_a_repeat() -> None:
    readings = sitting(np.random.default_rng(1), repeats=2)
    groups = flat_repeats([*readings, replace(readings[0], thickness=0.40e-3)])
    assert groups == {
        GAUGE.code: [
            [a.thickness, b.thickness] for a, b in zip(readings[::2], readings[1::2], strict=True)
        ]
    }


def test_repeats_are_of_one_mounting() -> None:
    flat = sitting(np.random.default_rng(1), repeats=2)
    assert flat_repeats([replace(r, seating=i) for i, r in enumerate(flat)]) == {}


def test_repeats_on_a_slope_are_left_out() -> None:
    flat = sitting(np.random.default_rng(1), repeats=2)
    steep = [replace(r, thickness=0.5e-3 - (r.place.along - 0.0605) * 0.1) for r in flat]
    assert len(flat_repeats(flat)[GAUGE.code]) == 4
    assert flat_repeats(steep) == {}


def test_pooled_over_sittings() -> None:
    rng = np.random.default_rng(7)
    sittings = [sitting(rng, sd=4e-6) for _ in range(40)]
    found = own_gauges(sittings)[GAUGE.code]
    assert found.dof == 40 * 4 * 2
    # the pooled variance is chi-square distributed (JCGM 100:2008, 4.2.4)
    low, high = stats.chi2.ppf([0.0005, 0.9995], found.dof) / found.dof
    assert low < (found.standard_deviation / 4e-6) ** 2 < high


def test_too_few_repeats_replace_nothing() -> None:
    rng = np.random.default_rng(7)
    assert own_gauges([sitting(rng, repeats=2)]) == {}  # 4 degrees of freedom
    assert own_gauges([sitting(rng, repeats=3)])[GAUGE.code].dof == 8
    assert own_gauges([sitting(rng, sd=0.0)]) == {}  # a gauge that shows no scatter tells none


def test_own_repeatability_is_used_in_differences() -> None:
    readings = [
        Reading(Place(Blade.MARKED, along, side * 2e-3), 0.46e-3, GAUGE.code)
        for along in ALONG
        for side in (-1, 1)
    ]
    own = {GAUGE.code: Repeatability(20e-6, 33), "other": Repeatability(1e-6, 99)}
    usual, mine = paired_differences(readings), paired_differences(readings, gauges=own)
    assert not usual.own_repeatability_used
    assert mine.own_repeatability_used
    assert mine.repeatability == own[GAUGE.code]
    assert mine.gauges == {GAUGE.code: own[GAUGE.code]}
    for before, after in zip(usual.comparisons, mine.comparisons, strict=True):
        if before.decision.outcome is Outcome.NOT_MEASURED:
            continue
        extra = after.decision.standard_uncertainty**2 - before.decision.standard_uncertainty**2
        assert extra == pytest.approx(2 * (20e-6**2 - GAUGE.repeatability**2))
