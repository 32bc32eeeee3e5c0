"""What must hold for any air and any room."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.materials import (
    Place,
    breath,
    equilibrium_moisture,
    place_pressure,
    pressure_on_the_spot,
    room_air,
    standard_atmosphere,
)

temperatures = st.floats(258.15, 313.15)
pressures = st.floats(55e3, 108e3)
humidities = st.floats(0.0, 1.0)
altitudes = st.floats(-500.0, 5500.0)


@given(temperatures, pressures, st.floats(0.05, 0.9))
def test_damp_air_is_lighter_and_quicker(temperature, pressure, humidity) -> None:
    air = room_air(temperature, pressure, [humidity, humidity + 0.1], formula="mixture")
    assert air.density[1] < air.density[0]
    assert air.speed_of_sound[1] > air.speed_of_sound[0]


@given(temperatures, pressures, humidities)
def test_warm_air_is_lighter_quicker_and_stickier(temperature, pressure, humidity) -> None:
    air = room_air([temperature, temperature + 2.0], pressure, humidity, formula="mixture")
    assert air.density[1] < air.density[0]
    assert air.speed_of_sound[1] > air.speed_of_sound[0]
    # At the same relative humidity warm air holds more vapour, which thins it: only dry air must
    # thicken.
    dry = room_air([temperature, temperature + 2.0], pressure, 0.0, formula="mixture")
    assert dry.viscosity[1] > dry.viscosity[0]


@given(pressures, st.floats(0.02, 0.07))
def test_spent_breath_is_heavier_and_slower(pressure, co2) -> None:
    air = breath(pressure, co2=[co2, co2 + 0.01])
    assert air.density[1] > air.density[0]
    assert air.speed_of_sound[1] < air.speed_of_sound[0]


@given(altitudes, st.floats(-0.05, 0.05))
def test_altitude_and_weather_add_up(altitude, weather) -> None:
    usual = float(standard_atmosphere(altitude).pressure)
    split = place_pressure(Place("somewhere", altitude, usual * (1.0 + weather)))
    assert split.by_altitude == usual
    assert split.by_altitude + split.by_weather == pytest.approx(split.pressure)


@given(altitudes, st.floats(97e3, 104e3))
def test_undoing_the_reduction_to_sea_level_is_monotonous(altitude, forecast) -> None:
    low, high = pressure_on_the_spot(altitude, [forecast, forecast + 100.0])
    assert low < high
    standard = float(pressure_on_the_spot(altitude, 101325.0))
    assert standard == pytest.approx(float(standard_atmosphere(altitude).pressure), rel=1e-9)


@given(temperatures, st.floats(0.0, 0.95))
def test_damper_rooms_make_damper_cane(temperature, humidity) -> None:
    dry, damp = equilibrium_moisture(temperature, [humidity, humidity + 0.05])
    assert 0.0 <= dry < damp < 0.4


@given(temperatures, pressures, humidities)
def test_one_by_one_equals_all_at_once(temperature, pressure, humidity) -> None:
    alone = room_air(temperature, pressure, humidity, formula="mixture")
    many = room_air(np.full(3, temperature), pressure, humidity, formula="mixture")
    np.testing.assert_allclose(many.density, float(alone.density))
    np.testing.assert_allclose(many.conductivity, float(alone.conductivity))
