"""Quantities as weighted sums of thickness."""

from __future__ import annotations

import numpy as np
import pytest

from crowlight.judge.sums import (
    evaluate,
    fall,
    strip_mean,
    transition_position,
    transition_steepness,
    zone_mean,
)
from crowlight.reed import Blade, Reading, Side
from crowlight.reed.styles import style
from crowlight.reed.thickness import ThicknessMap, map_thickness

MM = 1e-3
LONG = style("long")


@pytest.fixture(scope="module")
def found() -> ThicknessMap:
    return map_thickness(
        [
            Reading(p.on(b), float(LONG.thickness(p.along, p.across)))
            for b in Blade
            for p in LONG.full
        ],
        LONG,
    )


@pytest.mark.parametrize("fraction", [-0.7, 0.0, 0.7])
def test_transition_lies_where_the_style_puts_it(found: ThicknessMap, fraction: float):
    profile = LONG.profile
    expected = (
        profile["transition.position"].value - abs(fraction) * profile["transition.setback"].value
    )
    position = transition_position(found, 0, fraction)
    # levels are not flat on either side, so the middle of the area is not quite that of the step
    assert evaluate(found, [position]).values[0] == pytest.approx(expected, abs=0.2 * MM)


def test_tangent_of_the_transition_knows_levels_and_shifts(found: ThicknessMap):
    position = transition_position(found, 1, 0.0)
    # the same amount everywhere moves nothing
    assert position.weight.sum() == pytest.approx(0.0, abs=1e-6 * np.abs(position.weight).sum())
    # the whole column moved towards the tip moves the transition about as far: levels slope
    h = found.combine([1] * 15, position.along, position.fraction, np.eye(15)).values
    slope = np.gradient(h, position.along)
    assert -(position.weight @ slope) == pytest.approx(1.0, abs=0.25)
    # derivatives of the definition by each thickness
    for place in range(15):
        thicker = h.copy()
        thicker[place] += 1e-9
        moved = _middle(position.along, thicker) - _middle(position.along, h)
        assert position.weight[place] * 1e-9 == pytest.approx(moved, rel=1e-3)


def _middle(along, h):
    return along[0] + np.trapezoid(h - h[-1], along) / (h[0] - h[-1])


def test_steepness_is_the_slope_of_the_style(found: ThicknessMap):
    middle = LONG.profile["transition.position"].value
    slope = evaluate(found, [transition_steepness(0, middle, 0.0)]).values[0]
    ends = LONG.thickness([middle - 0.4 * MM, middle + 0.4 * MM], 0.0)
    assert slope == pytest.approx(float(ends[0] - ends[1]) / (0.8 * MM), rel=0.1)
    assert 0.1 < slope < 0.3


def test_means_and_falls_of_a_known_blade(found: ThicknessMap):
    zone = LONG.zone("heart")
    whole, left, right = (zone_mean(LONG, zone, 0, s) for s in (None, Side.LEFT, Side.RIGHT))
    for total in (whole, left, right, strip_mean(0, 60 * MM, 62 * MM, 0.1)):
        assert total.weight.sum() == pytest.approx(1.0)
    assert (left.fraction < 0).all()
    assert (right.fraction > 0).all()
    values = evaluate(found, [whole, (left + right) * 0.5, fall(0, 69 * MM, 0.7)]).values
    assert values[0] == pytest.approx(values[1], abs=1e-12)
    expected = LONG.mean(LONG.vector()[0], 69 * MM, [0.0, 0.7])
    assert values[2] == pytest.approx(expected[0] - expected[1], abs=2e-6)


def test_constants_and_their_uncertainty_are_carried(found: ThicknessMap):
    base = strip_mean(0, 60 * MM, 62 * MM, 0.1)
    moved = (base * -2.0).plus(1.0, 0.3)
    a, b = evaluate(found, [base]), evaluate(found, [moved])
    assert b.values[0] == pytest.approx(1.0 - 2.0 * a.values[0])
    assert b.sd[0] == pytest.approx(np.hypot(2.0 * a.sd[0], 0.3))
    difference = evaluate(found, [moved - moved])
    assert difference.values[0] == pytest.approx(0.0, abs=1e-12)
