"""Values that cannot be right are asked about."""

import math

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.materials import Place, place_pressure, pressure_on_the_spot, room_air
from crowlight.materials.air import breath
from crowlight.materials.humid import cipm_density, cramer_speed_of_sound
from crowlight.materials.limits import (
    check_altitude,
    check_humidity,
    check_pressure,
    check_temperature,
)
from crowlight.materials.mixture import mix


@pytest.mark.parametrize(
    ("altitude", "question"),
    [
        (7200.0, r"is it in feet\? 7200 ft is 2195 m"),
        (-501.0, "in metres above sea level"),
        (math.nan, "a map or the local airport gives it"),
        (5500.1, "outside -500 to 5500 m"),
    ],
)
def test_altitude_is_asked_about(altitude, question) -> None:
    with pytest.raises(InputError, match=question):
        check_altitude([0.0, altitude])


@pytest.mark.parametrize(
    ("kelvin", "question"),
    [
        (273.15 + 72.0, r"is it in Fahrenheit\? 72 °F is 22.2 °C"),
        (20.0, r"temperatures are in kelvin here: 20 °C is 293.15 K"),
        (273.15 + 293.0, r"is it in kelvin\? 293 K is 19.9 °C"),
        (200.0, "read the thermometer again"),
        (math.nan, "read the thermometer again"),
    ],
)
def test_temperature_is_asked_about(kelvin, question) -> None:
    with pytest.raises(InputError, match=question):
        check_temperature(kelvin)


@pytest.mark.parametrize(
    ("humidity", "question"),
    [
        (1.2, r"120 % is outside 0 to 100 %; is the hygrometer right\?"),
        (55.0, r"is it 55 %, which is 0.55\?"),
        (-0.1, "-10 % is outside"),
    ],
)
def test_humidity_is_asked_about(humidity, question) -> None:
    with pytest.raises(InputError, match=question):
        check_humidity(humidity)


@pytest.mark.parametrize(
    ("pressure", "question"),
    [
        (1013.0, r"is it in hPa\? 1013 hPa is 101300 Pa"),
        (640.0, r"or in mmHg \(85326 Pa\)"),
        (29.9, r"inches of mercury\? 29.9 inHg is 101253 Pa"),
        (2e6, "read the barometer again"),
    ],
)
def test_pressure_is_asked_about(pressure, question) -> None:
    with pytest.raises(InputError, match=question):
        check_pressure(pressure)


def test_values_inside_pass_unchanged_and_are_not_mutated() -> None:
    given = np.array([-500.0, 0.0, 5500.0])
    kept = given.copy()
    np.testing.assert_array_equal(check_altitude(given), kept)
    np.testing.assert_array_equal(given, kept)


def test_a_place_without_altitude_is_asked_about() -> None:
    with pytest.raises(InputError, match="'Highfold' has no altitude; a map"):
        Place("Highfold", None)  # type: ignore[arg-type] -- what an empty form field gives


def test_a_forecast_is_not_taken_for_a_barometer() -> None:
    with pytest.raises(InputError, match=r"forecast, reduced to sea level\? .* about 785 hPa"):
        Place("Highfold", 2100.0, measured_pressure=101325.0)


def test_a_barometer_that_fits_nothing_is_asked_about() -> None:
    with pytest.raises(InputError, match="is the altitude right, and the barometer"):
        Place("Saltmarsh", 5.0, measured_pressure=80e3)


def test_altitude_and_weather_are_kept_apart() -> None:
    split = place_pressure(Place("Highfold", 2100.0, measured_pressure=77e3))
    assert split.measured
    assert split.by_altitude + split.by_weather == pytest.approx(77e3)
    assert split.by_weather < 0.0
    calm = place_pressure(Place("Highfold", 2100.0))
    assert (calm.by_weather, calm.measured) == (0.0, False)
    assert calm.pressure == split.by_altitude


def test_forecast_pressure_is_brought_to_the_spot_with_its_weather() -> None:
    usual, low = pressure_on_the_spot(1600.0, [101325.0, 99325.0])
    assert usual == pytest.approx(83527.7, abs=0.05)  # ISO 2533
    assert 0.75 < (usual - low) / 2000.0 < 0.95  # the weather shrinks with height


@pytest.mark.parametrize(
    ("formula", "state", "question"),
    [
        (cipm_density, (283.15, 1e5, 0.5), "CIPM-2007 ends at temperatures 15 to 27 °C, not 10"),
        (cipm_density, (293.15, 5e4, 0.5), "CIPM-2007 ends at pressures 60000 to 110000 Pa"),
        (cramer_speed_of_sound, (304.15, 1e5, 0.5), "Cramer's formula ends at temperatures 0 to"),
        (cramer_speed_of_sound, (293.15, 7e4, 0.5), "use the ideal mixture there"),
    ],
)
def test_reference_formulas_end_where_published(formula, state, question) -> None:
    with pytest.raises(InputError, match=question):
        formula(*state)


def test_too_much_carbon_dioxide_is_refused() -> None:
    with pytest.raises(InputError, match=r"carbon dioxide fractions 0 to 0\.01"):
        cipm_density(293.15, 1e5, 0.5, co2=0.04)
    with pytest.raises(InputError, match=r"carbon dioxide must be a fraction of 0 to 0\.1"):
        mix(293.15, 1e5, 0.5, co2=4.0)
    with pytest.raises(InputError, match="oxygen must be a fraction"):
        mix(293.15, 1e5, 0.5, oxygen=20.9)


def test_range_ends_belong_to_the_range() -> None:
    air = room_air(273.15 + 27.0, 101325.0, 0.5)
    assert (air.density_by, air.speed_by) == ("CIPM-2007", "Cramer 1993")
    assert room_air(273.15 + 30.0, 101325.0, 0.5).speed_by == "Cramer 1993"
    assert room_air(273.15 + 30.5, 101325.0, 0.5).speed_by == "ideal mixture"


def test_one_state_outside_moves_the_whole_array_to_the_mixture() -> None:
    assert room_air(293.15, [101325.0, 55e3], 0.5).density_by == "ideal mixture"


def test_an_unknown_formula_is_refused() -> None:
    with pytest.raises(InputError, match="choose 'best' or 'mixture'"):
        room_air(293.15, 1e5, formula="newest")  # type: ignore[arg-type] -- a typing slip


def test_breath_is_lighter_than_room_air_and_carbon_dioxide_slows_it() -> None:
    assert breath(101325.0).density < room_air(293.15, 101325.0).density
    fresh, used = breath(101325.0, co2=[0.03, 0.06]).speed_of_sound
    assert used < fresh


@pytest.mark.parametrize("count", [3, 5])
def test_the_mixture_takes_states_of_any_shape_together(count: int) -> None:
    pressure = np.linspace(60e3, 100e3, count)
    found = mix(293.15, pressure, 0.5)
    each = [mix(293.15, p, 0.5) for p in pressure]
    for name in ("density", "speed_of_sound", "viscosity", "conductivity", "heat_ratio"):
        one_by_one = [float(getattr(m, name)) for m in each]
        np.testing.assert_allclose(getattr(found, name), one_by_one, rtol=1e-12)
