"""What must hold for any reed: symmetry, scaling, order."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from crowlight.blade import (
    Blades,
    BladeShape,
    Lip,
    MeshSize,
    evaluate,
    intervals,
    typical_scrape,
    usual_unknowns,
)

SMALL = MeshSize(across=6, front=6, behind=3)
FEW = settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow])


def blades(**changes) -> Blades:
    return Blades(typical_scrape(), size=SMALL, **changes)


def solved(reed: Blades):
    return evaluate(reed, maps=False, modes=4)


@pytest.fixture(scope="module")
def plain_answer():
    return solved(blades())


@FEW
@given(st.floats(0.5, 2.0))
def test_stiffer_cane_scales_pressures_and_frequencies(plain_answer, factor):
    """Stress is proportional to the moduli: closing pressure scales, frequencies by the root."""
    reed = blades()
    cane = reed.cane.scaled(along=factor, across=factor, shear=factor)
    other = evaluate(
        replace(reed, cane=cane), maps=False, modes=4, playing_pressure=4e3 * factor
    ).values
    base = plain_answer.values
    for name, power in (
        ("closing_pressure", 1),
        ("stiffness", 1),
        ("mode_held", 0.5),
        ("mode_loaded", 0.5),
        ("area", 0),
        ("separation", 0),
    ):
        # the springs that clamp the thread do not scale: they are nearly rigid, not quite
        assert other[name] == pytest.approx(base[name] * factor**power, rel=2e-3), name


@FEW
@given(st.floats(0.3, 3.0))
def test_a_larger_reed_of_the_same_cane_closes_at_the_same_pressure(plain_answer, size):
    """All lengths scaled: pressures stay, frequencies fall by the scale."""
    reed, s = blades(), size**0.25  # 0.74 to 1.32, within what a blade may measure
    shape = BladeShape(
        length=23e-3 * s,
        tip_width=7e-3 * s,
        height=0.35e-3 * s,
        throat_width=4e-3 * s,
        throat_height=1.6e-3 * s,
    )
    grid = reed.marked
    scaled = replace(grid, along=grid.along * s, values=grid.values * s)
    other = solved(replace(reed, marked=scaled, shape=shape)).values
    base = plain_answer.values
    assert other["closing_pressure"] == pytest.approx(base["closing_pressure"], rel=5e-3)
    assert other["mode_held"] == pytest.approx(base["mode_held"] / s, rel=2e-3)
    assert other["area"] == pytest.approx(base["area"] * s**2, rel=5e-3)


@FEW
@given(st.floats(-20e-6, 20e-6), st.floats(-0.3, 0.3))
def test_a_mirrored_reed_has_mirrored_tilt(lean, tilt):
    grid = typical_scrape()
    grid = grid.changed(lean * grid.across[None, :])
    one = solved(Blades(grid, shape=BladeShape(tilt=tilt), size=SMALL)).values
    other = solved(Blades(grid.flipped(), shape=BladeShape(tilt=-tilt), size=SMALL)).values
    assert other["tilt"] == pytest.approx(-one["tilt"], abs=1e-6)
    assert other["closing_pressure"] == pytest.approx(one["closing_pressure"], rel=1e-5)


def test_two_equal_blades_are_one_blade_twice(plain_answer):
    apart = solved(blades().apart()).values
    assert apart["unevenness"] == pytest.approx(0, abs=1e-9)
    for name, value in plain_answer.values.items():
        around_zero = 1e-9 if name == "tilt" else 0.0
        assert apart[name] == pytest.approx(value, rel=1e-5, abs=around_zero), name


def test_modes_of_a_symmetric_blade_are_symmetric_or_antisymmetric(plain_answer):
    (held,) = plain_answer.held
    np.testing.assert_allclose(np.abs(held.symmetry), 1, atol=1e-6)
    opposite = held.symmetry < 0
    assert opposite.any()
    np.testing.assert_allclose(held.swept[opposite], 0, atol=1e-8 * np.abs(held.swept).max())


def test_exchanging_the_blades_turns_the_unevenness_round():
    thin, thick = typical_scrape(), typical_scrape().changed(15e-6)
    one = solved(Blades(thin, thick, size=SMALL)).values
    other = solved(Blades(thick, thin, size=SMALL)).values
    assert one["unevenness"] > 0  # the thin blade closes further
    assert other["unevenness"] == pytest.approx(-one["unevenness"], rel=1e-4)
    assert other["closing_pressure"] == pytest.approx(one["closing_pressure"], rel=1e-5)


@FEW
@given(st.floats(5e-6, 40e-6))
def test_thicker_everywhere_closes_later(plain_answer, more):
    thicker = solved(replace(blades(), marked=typical_scrape().changed(more))).values
    assert thicker["closing_pressure"] > plain_answer.values["closing_pressure"]
    assert thicker["compliance"] < plain_answer.values["compliance"]


def test_a_lip_closes_part_of_the_reed_and_lowers_the_closing_pressure(plain_answer):
    pressed = solved(blades(lip=Lip(centre=8e-3, force=0.3))).values
    assert pressed["rest_area"] < plain_answer.values["rest_area"]
    assert pressed["closing_pressure"] < plain_answer.values["closing_pressure"]


def test_a_strong_lip_alone_closes_the_reed():
    answer = solved(blades(lip=Lip(centre=4e-3, force=2.0)))
    assert answer.values["closing_pressure"] == 0
    assert any("lip alone" in note for note in answer.notes)
    mapped = evaluate(answer.blades, modes=4)
    assert mapped.effects is not None
    assert np.isnan(mapped.effects.predict(marked=-1e-6)["closing_pressure"])
    assert np.isfinite(mapped.effects.predict(marked=-1e-6)["compliance"])
    found = intervals(mapped, usual_unknowns(answer.blades), samples=0)
    assert np.isnan(found["closing_pressure"].spread)
    assert found["compliance"].low < found["compliance"].value


def test_gaps_never_close_beyond_touching(plain_answer):
    pair = plain_answer.pair
    for state in plain_answer.curve.states:
        gap = pair.gap + pair.touching @ state.u[0]
        assert gap.min() > -1e-10
        assert np.all(state.force >= 0)
        assert np.max(np.abs(gap * state.force)) < 1e-12


def test_modes_are_followed_by_shape_not_by_rank():
    answer = evaluate(blades(), maps=False, modes=6, follow_modes=True)
    (followed,) = answer.tracked
    assert np.all(followed.alike[0] == 1)
    assert np.all((followed.alike >= 0) & (followed.alike <= 1 + 1e-9))
    assert np.all(followed.alike[1:4, 0] > 0.95)
    for row in followed.order:
        assert sorted(row) == list(range(6))
