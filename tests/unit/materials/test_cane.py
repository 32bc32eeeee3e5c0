"""Cane: spreads, moisture and time scales."""

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.materials import (
    Spread,
    cane,
    cane_change,
    drying_time,
    equilibrium_moisture,
    soaking_time,
)


@pytest.mark.parametrize(("low", "middle", "high"), [(1.0, 2.0, 5.0), (-3.0, 1.0, 2.0)])
def test_draws_hit_the_stated_points(low, middle, high) -> None:
    draws = Spread(low, middle, high, "1", "assumed", "").draw(np.random.default_rng(5), 40_000)
    # Standard error of a 5 % quantile at 40 000 draws is about 1 % of the half width.
    found = np.quantile(draws, [0.05, 0.5, 0.95])
    np.testing.assert_allclose(found, [low, middle, high], atol=0.03 * (high - low))


def test_positive_spreads_draw_positive_values() -> None:
    draws = Spread(0.01, 1.0, 20.0, "1", "assumed", "").draw(np.random.default_rng(5), 10_000)
    assert draws.min() > 0.0


def test_a_falling_spread_is_refused() -> None:
    with pytest.raises(InputError, match="a spread must rise: 3, 2, 1 Pa"):
        Spread(3.0, 2.0, 1.0, "Pa", "assumed", "")


def test_an_unknown_property_lists_the_known_ones() -> None:
    with pytest.raises(InputError, match="no cane property 'colour'; there are stiffness_along"):
        cane("colour")


def test_every_property_names_its_source_and_is_wide() -> None:
    from crowlight.materials.cane import _table

    for name, spread in _table().items():
        assert spread.source, name
        assert spread.low < spread.middle < spread.high, name


def test_drying_stiffens_lightens_and_shrinks() -> None:
    change = cane_change(0.16, 0.08, rng=np.random.default_rng(1))
    assert (change.stiffness >= 1.0).all()
    assert np.median(change.stiffness) > 1.05
    assert (change.density < 1.0).mean() > 0.95
    assert (change.width < 1.0).all()
    assert (change.thickness < 1.0).all()


def test_water_above_saturation_changes_mass_only() -> None:
    change = cane_change(0.6, 1.2, rng=np.random.default_rng(1))
    np.testing.assert_allclose(change.stiffness, 1.0)
    np.testing.assert_allclose(change.width, 1.0)
    np.testing.assert_allclose(change.density, 2.2 / 1.6)


def test_there_and_back_is_no_change() -> None:
    out = cane_change(0.15, 0.07, rng=np.random.default_rng(2))
    back = cane_change(0.07, 0.15, rng=np.random.default_rng(2))
    np.testing.assert_allclose(out.stiffness * back.stiffness, 1.0)
    np.testing.assert_allclose(out.damping * back.damping, 1.0)


def test_damping_can_go_either_way() -> None:
    change = cane_change(0.3, 0.07, rng=np.random.default_rng(2))
    assert change.damping.min() < 1.0 < change.damping.max()


@pytest.mark.parametrize("moisture", [-0.01, 12.0])
def test_moisture_in_per_cent_is_refused(moisture) -> None:
    with pytest.raises(InputError, match=r"0.12 is 12 %"):
        cane_change(moisture, 0.1, rng=np.random.default_rng(0))


def test_drying_speeds_up_as_vapour_diffuses_faster() -> None:
    low = drying_time(4e-4, 298.15, 101325.0, 0.4, rng=np.random.default_rng(0))
    high = drying_time(4e-4, 298.15, 83528.0, 0.4, rng=np.random.default_rng(0))
    # Diffusivity goes as 1 / pressure: 1600 m dries 21 % faster at the same humidity.
    np.testing.assert_allclose(low.per_point / high.per_point, 101325.0 / 83528.0)


def test_nothing_dries_in_saturated_air() -> None:
    time = drying_time(4e-4, 298.15, 101325.0, 1.0, rng=np.random.default_rng(0))
    assert np.isinf(time.per_point).all()


def test_drier_air_dries_in_proportion_to_what_is_missing() -> None:
    at = [
        drying_time(4e-4, 298.15, 101325.0, h, rng=np.random.default_rng(0)).per_point
        for h in (0.6, 0.2)
    ]
    np.testing.assert_allclose(at[0] / at[1], 2.0)


def test_soaking_grows_with_thickness_squared() -> None:
    thin = soaking_time(2e-4, rng=np.random.default_rng(0))
    thick = soaking_time(4e-4, rng=np.random.default_rng(0))
    np.testing.assert_allclose(thick / thin, 4.0)


@pytest.mark.parametrize("function", [soaking_time])
def test_thickness_in_millimetres_is_asked_about(function) -> None:
    with pytest.raises(InputError, match=r"is it in metres\? 0.4 mm is 4e-4"):
        function(0.4, rng=np.random.default_rng(0))


def test_warmer_and_drier_rooms_hold_less_water_in_cane() -> None:
    assert equilibrium_moisture(303.15, 0.5) < equilibrium_moisture(283.15, 0.5)
    assert (np.diff(equilibrium_moisture(293.15, np.linspace(0.0, 1.0, 21))) > 0.0).all()
