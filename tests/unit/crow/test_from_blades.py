"""The blade model's answer as a reed the air feels."""

from dataclasses import replace

import numpy as np
import pytest

from crowlight.blade import Lumped
from crowlight.crow import (
    draw_from_blades,
    find_resonances,
    onsets,
    reed_from_blades,
    stacked,
    staple_bore,
)
from crowlight.errors import InputError
from crowlight.materials import breath

BLADES = Lumped(
    rest_area=3.2e-6,
    rest_height=0.7e-3,
    closing_pressure=8.1e3,
    linear_closing_pressure=11e3,
    stiffness=2.4e7,
    swept_volume=1.27e-12,
    effective_area=2.3e-5,
    mode=3470.0,
)


def test_the_reed_lies_between_the_two_closing_lines() -> None:
    reed = reed_from_blades(BLADES)
    assert 8.1e3 / 0.9 < reed.closing_pressure < 11e3
    assert reed.opening_area == BLADES.rest_area
    assert reed.frequency == BLADES.mode


def test_the_volume_compliance_is_kept() -> None:
    # Volume per pressure of the flap, V / pM, is what the blades said, whatever the line.
    reed = reed_from_blades(BLADES)
    assert reed.swept_volume / reed.closing_pressure == pytest.approx(BLADES.swept_volume)


def test_order_of_the_two_lines_does_not_matter() -> None:
    stiffening = replace(BLADES, closing_pressure=11e3 * 0.9, linear_closing_pressure=9e3)
    assert reed_from_blades(stiffening).closing_pressure == pytest.approx(
        reed_from_blades(BLADES).closing_pressure
    )


def test_draws_surround_the_reed() -> None:
    reeds = stacked(draw_from_blades(BLADES, rng=np.random.default_rng(1), size=2000))
    middle = reed_from_blades(BLADES)
    for name in ("opening_area", "closing_pressure", "swept_volume", "frequency"):
        values = getattr(reeds, name)
        assert np.median(values) == pytest.approx(getattr(middle, name), rel=0.02)
        assert 0.08 < np.log(values).std() < 0.2


def test_softer_blades_crow_lower_and_start_sooner() -> None:
    bore = find_resonances(staple_bore(), breath(101325.0))
    softer = replace(
        BLADES,
        closing_pressure=0.8 * BLADES.closing_pressure,
        linear_closing_pressure=0.8 * BLADES.linear_closing_pressure,
        swept_volume=BLADES.swept_volume / 0.8,
        mode=BLADES.mode * 0.8**0.5,
    )
    found = onsets([reed_from_blades(BLADES), reed_from_blades(softer)], bore)
    assert found.pressure[1] < found.pressure[0]
    assert found.frequency[1] < found.frequency[0]


def test_blades_closed_at_rest_are_refused() -> None:
    with pytest.raises(InputError, match="reed opening_area 0 m2 is outside"):
        reed_from_blades(replace(BLADES, rest_area=0.0))
