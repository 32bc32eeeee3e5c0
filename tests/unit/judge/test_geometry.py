"""The first judgement from geometry: what it names, must not name, and leaves open."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.judge.decision import Outcome
from crowlight.judge.geometry import (
    Against,
    Finding,
    Geometry,
    Measured,
    Quantity,
    judge_geometry,
)
from crowlight.reed import Blade, Reading, Side
from crowlight.reed.styles import Style, style
from crowlight.reed.thickness import map_thickness

MM = 1e-3
LONG = style("long")


def readings_of(
    laid: Style, change: Callable[[Blade, float, float], float] = lambda *_: 0.0
) -> list[Reading]:
    """Read the style's mean profile, changed by blade, along [mm] and across [mm]."""
    return [
        Reading(
            p.on(b),
            float(laid.thickness(p.along, p.across)) + change(b, p.along / MM, p.across / MM),
        )
        for b in Blade
        for p in laid.full
    ]


def judged(readings: Sequence[Reading], laid: Style = LONG, **options) -> Geometry:
    return judge_geometry(map_thickness(readings, laid), **options)


def one(found: Geometry, quantity: Quantity, against: Against, **which) -> Finding:
    hits = [
        f
        for f in found.findings
        if f.quantity is quantity
        and f.against is against
        and all(getattr(f, name) == value for name, value in which.items())
    ]
    assert len(hits) == 1, hits
    return hits[0]


def evenness(found: Geometry) -> list[Finding]:
    return [f for f in found.differing() if f.against is not Against.STYLE]


@pytest.fixture(scope="module")
def plain_reed() -> Geometry:
    return judged(readings_of(LONG))


# What must not be named.


def test_nothing_differs_on_a_reed_like_its_style(plain_reed: Geometry):
    assert plain_reed.differing() == ()
    assert {f.decision.outcome for f in plain_reed.findings} == {
        Outcome.NO_DIFFERENCE_SEEN,
        Outcome.NOT_MEASURED,
    }


def test_identical_blades_are_rarely_called_uneven():
    """At most 5 % of reeds may show any difference; 4 or more of 25 has a chance of 3 % then."""
    named = 0
    for i in range(25):
        rng = np.random.default_rng([20302, i])
        reed = draw_reed(rng, twin=True)
        found = judged(measure(reed, planned_places(reed.style), rng), reed.style)
        named += bool(evenness(found))
    assert named < 4


@pytest.mark.parametrize("heart_mm", [0.46, 0.50])
def test_neither_heart_is_a_fault(heart_mm: float):
    shift = heart_mm * MM - float(LONG.thickness(61.3 * MM, 0.0))
    found = judged(readings_of(LONG, lambda _b, s, _c: shift if 58.6 < s < 64.2 else 0.0))
    for blade in Blade:
        heart = one(found, Quantity.THICKNESS, Against.STYLE, zone="heart", blade=blade)
        assert heart.decision.outcome is Outcome.NO_DIFFERENCE_SEEN
        assert heart.value == pytest.approx(heart_mm * MM, abs=0.012 * MM)


# What must be named.


def test_an_uneven_heart_is_found_in_truth_blind_readings():
    fault = Fault(zone="heart", blade=Blade.PLAIN, side=0, amount=-0.09 * MM)
    hits = 0
    for i in range(8):
        rng = np.random.default_rng([20303, i])
        reed = draw_reed(rng, even=True, faults=[fault])
        found = judged(measure(reed, planned_places(reed.style), rng), reed.style)
        heart = one(found, Quantity.THICKNESS, Against.BLADES, zone="heart")
        hits += heart.decision.outcome is Outcome.DIFFERS and heart.decision.value > 0
    assert hits >= 7


def test_a_thin_corner_is_found_on_its_blade_and_side():
    def thin(blade: Blade, along: float, across: float) -> float:
        return -0.05 * MM if blade is Blade.MARKED and along > 65.5 and across > 1 else 0.0

    # a tip worn to 0.03 mm on one side would be cut off by the least reading: start thicker
    thick = [
        dataclasses.replace(r, thickness=r.thickness + 0.04 * MM * (r.place.along > 65.5 * MM))
        for r in readings_of(LONG, thin)
    ]
    found = judged(thick)
    tip = one(found, Quantity.THICKNESS, Against.SIDES, zone="tip", blade=Blade.MARKED)
    assert tip.decision.outcome is Outcome.DIFFERS
    assert tip.decision.value > 0.02 * MM  # left minus right
    other = one(found, Quantity.THICKNESS, Against.SIDES, zone="tip", blade=Blade.PLAIN)
    assert other.decision.outcome is Outcome.NO_DIFFERENCE_SEEN
    right, left = (
        one(found, Quantity.CORNER_DROP, Against.STYLE, blade=Blade.MARKED, side=side)
        for side in (Side.RIGHT, Side.LEFT)
    )
    assert right.value > left.value + 0.02 * MM


def test_a_blade_whose_transition_lies_elsewhere_is_found():
    laid = dataclasses.replace(LONG)
    profile = dict(LONG.profile)
    position = profile["transition.position"]
    profile["transition.position"] = dataclasses.replace(position, value=position.value - 1.2 * MM)
    back = dataclasses.replace(LONG, profile=profile)
    readings = [
        *(r for r in readings_of(laid) if r.place.blade is Blade.MARKED),
        *(r for r in readings_of(back) if r.place.blade is Blade.PLAIN),
    ]
    found = judged(readings)
    moved = one(found, Quantity.TRANSITION_POSITION, Against.BLADES)
    assert moved.decision.value == pytest.approx(1.2 * MM, abs=0.25 * MM)
    assert moved.decision.outcome is Outcome.DIFFERS
    tips = [one(found, Quantity.TIP_LENGTH, Against.STYLE, blade=b).value for b in Blade]
    assert tips[1] - tips[0] == pytest.approx(1.2 * MM, abs=0.25 * MM)


def test_lengths_are_judged_against_the_style():
    found = judged(
        readings_of(LONG),
        lengths={"overall": Measured(71.9 * MM, 0.1 * MM), "staple": Measured(47.1 * MM)},
    )
    overall = one(found, Quantity.OVERALL_LENGTH, Against.STYLE)
    assert overall.decision.outcome is Outcome.DIFFERS
    assert overall.decision.value == pytest.approx(1.9 * MM)
    staple = one(found, Quantity.STAPLE_LENGTH, Against.STYLE)
    assert staple.decision.outcome is Outcome.NO_DIFFERENCE_SEEN


def test_what_differs_most_comes_first():
    def thin(blade: Blade, along: float, _across: float) -> float:
        if blade is Blade.PLAIN:
            return -0.10 * MM if 58.6 < along < 64 else 0.0
        return 0.0

    found = judged(readings_of(LONG, thin))
    first = found.differing()[0]
    assert first.zone == "heart"
    excess = [
        (abs(f.decision.value) - f.decision.tolerance) / f.decision.standard_uncertainty
        for f in found.differing()
    ]
    assert excess == sorted(excess, reverse=True)


# What is left open.


def test_unread_zones_are_not_measured():
    readings = [r for r in readings_of(LONG) if r.place.along > 58.5 * MM]
    found = judged(readings)
    for zone in ("windows", "rails", "bark"):
        for blade in Blade:
            finding = one(found, Quantity.THICKNESS, Against.SIDES, zone=zone, blade=blade)
            assert finding.decision.outcome is Outcome.NOT_MEASURED
            assert math.isnan(finding.value)
            assert math.isnan(finding.decision.value)
    heart = one(found, Quantity.THICKNESS, Against.BLADES, zone="heart")
    assert heart.decision.outcome is Outcome.NO_DIFFERENCE_SEEN


def test_lengths_not_given_are_not_measured(plain_reed: Geometry):
    for quantity in (Quantity.OVERALL_LENGTH, Quantity.STAPLE_LENGTH):
        finding = one(plain_reed, quantity, Against.STYLE)
        assert finding.decision.outcome is Outcome.NOT_MEASURED


def test_only_measured_comparisons_share_the_risk(plain_reed: Geometry):
    for style_family in (False, True):
        family = [f for f in plain_reed.findings if (f.against is Against.STYLE) is style_family]
        measured = [f for f in family if f.decision.outcome is not Outcome.NOT_MEASURED]
        assert {f.decision.comparisons for f in measured} == {len(measured)}


def test_uncertainty_has_finite_degrees_of_freedom_from_the_gauge(plain_reed: Geometry):
    heart = one(plain_reed, Quantity.THICKNESS, Against.BLADES, zone="heart")
    assert 8 < heart.decision.dof < math.inf


def test_swapping_the_blades_changes_the_sign():
    def thin(blade: Blade, along: float, _across: float) -> float:
        return -0.04 * MM * (blade is Blade.PLAIN and 58.6 < along < 64)

    readings = readings_of(LONG, thin)
    swapped = [
        dataclasses.replace(r, place=dataclasses.replace(r.place, blade=r.place.blade.other))
        for r in readings
    ]
    a, b = (
        one(judged(r), Quantity.THICKNESS, Against.BLADES, zone="heart").decision
        for r in (readings, swapped)
    )
    assert a.value == pytest.approx(-b.value, abs=1e-8)
    assert a.standard_uncertainty == pytest.approx(b.standard_uncertainty, rel=1e-6)


@pytest.mark.parametrize("code", ["short-u", "short-v", "short-w", "cor-anglais-long"])
def test_other_scrapes_are_judged_too(code: str):
    other = style(code)
    found = judged(readings_of(other), other)
    assert found.differing() == ()
    zones = {f.zone for f in found.findings}
    assert {"tip", "transition", "heart"} <= zones


def test_a_negative_uncertainty_is_refused():
    with pytest.raises(InputError, match=r"standard uncertainty -0\.1 mm is not usable"):
        Measured(47 * MM, -0.1 * MM)
