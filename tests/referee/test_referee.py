"""The shell against the same blade as a solid, solved by CalculiX.

One blade, clamped at the thread, its inner edges free or held in z, no contact. Tolerances are
those the blade model is held to: 4 % of frequencies, 5 % of the first deflection, 5 % of the rest
opening for the loaded gap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from tests.referee import ccx
from tests.referee.reeds import (
    REEDS,
    Numbers,
    by_shell,
    by_solid,
    free_deflections,
    recognised,
    scaled,
)
from tests.referee.solid import Bricks, Through, bricks

from crowlight.blade import WET, BladeShape, Cane, ThicknessGrid, typical_scrape

FREQUENCY, DEFLECTION, GAP = 0.04, 0.05, 0.05


@cache
def both(name: str) -> tuple[Numbers, Numbers]:
    return by_shell(REEDS[name]), by_solid(REEDS[name])


each_reed = pytest.mark.parametrize("name", REEDS)


@each_reed
def test_free_frequencies(name):
    shell, solid = both(name)
    np.testing.assert_allclose(shell.free, solid.free, rtol=FREQUENCY)


@each_reed
def test_frequencies_with_the_edges_held(name):
    shell, solid = both(name)
    np.testing.assert_allclose(shell.held, solid.held, rtol=FREQUENCY)


@each_reed
def test_modes_compared_are_the_same_shapes(name):
    shell, solid = both(name)
    assert recognised(solid.free, shell.free_shapes, solid.free_shapes).min() > 0.98
    assert recognised(solid.held, shell.held_shapes, solid.held_shapes).min() > 0.98


@each_reed
def test_first_deflection_of_the_tip(name):
    shell, solid = both(name)
    assert shell.free_tip == pytest.approx(solid.free_tip, rel=DEFLECTION)
    assert shell.held_tip == pytest.approx(solid.held_tip, rel=DEFLECTION)


@each_reed
def test_gap_under_pressure(name):
    shell, solid = both(name)
    assert np.all(np.diff(solid.gap) < 0)
    np.testing.assert_allclose(shell.gap, solid.gap, rtol=0, atol=GAP)


@each_reed
def test_the_shell_errs_one_way_only(name):
    """It is stiff, as leaving out shear through the thickness must make it.

    Doubling or halving the shear stiffness of the solid moves its frequencies by up to 1 % and its
    deflection with held edges by up to 1.4 %; what is left is of that size.
    """
    shell, solid = both(name)
    for ours, theirs in ((shell.free, solid.free), (shell.held, solid.held)):
        assert np.all(ours >= theirs)
        np.testing.assert_allclose(ours, theirs, rtol=0.02)
    assert 0.97 < shell.free_tip / solid.free_tip <= 1
    assert 0.97 < shell.held_tip / solid.held_tip <= 1
    assert np.all(shell.gap >= solid.gap)


@pytest.mark.parametrize("name", ["long", "short"])
def test_equal_layers_are_too_soft_in_proportion_to_the_thickness(name):
    """Why layers are as wide as they are.

    With the edges free the arch bends as a beam and its outer layers count most. Giving each the
    width of the inner face makes the first deflection 9 to 10 % too large; the miss goes with
    thickness over radius, as it must if that is its cause.
    """
    shares = np.array([1.0, 0.5, 0.25])
    found = [free_deflections(scaled(REEDS[name], s)) for s in shares]
    misses = np.array([equal / solid - 1 for _, equal, solid in found])
    assert misses[0] > DEFLECTION
    np.testing.assert_allclose(misses / shares, misses[0], rtol=0.15)
    left = np.array([shell / solid - 1 for shell, _, solid in found])
    assert np.all(np.abs(left) < 0.01)


@dataclass(frozen=True)
class Strip:
    """A flat strip in place of a blade, to try the referee itself on closed forms."""

    free_length: float = 20e-3
    width: float = 1e-3

    def inner(self, xi, eta):
        across, along = np.broadcast_arrays(xi, eta)
        return np.stack([across * self.width / 2, along * self.free_length, 0 * across], axis=-1)


THICK = 0.2e-3
NO_POISSON = Cane(along=6.5e9, across=0.45e9, shear=0.7e9, poisson=0.0, density=950.0)


@pytest.fixture
def strip():
    grid = ThicknessGrid([0, 20e-3], [-1, 1], np.full((2, 2), THICK))
    return bricks(Strip(), grid, Bricks(2, 12, 12))


@pytest.mark.parametrize("fibres", ["along", "across"])
def test_solid_cantilever_has_the_frequency_and_deflection_of_a_beam(strip, fibres):
    """Euler-Bernoulli beam: w = p b L^4 / 8 E I; first root 1.875104 (Rayleigh; any handbook)."""
    stiff = NO_POISSON.along if fibres == "along" else NO_POISSON.across
    # An axis across instead of along the strip: only a deck whose axes are read gets both right.
    solid = strip if fibres == "along" else replace(strip, axes=strip.axes[:, ::-1])
    answer = ccx.run(ccx.linear(solid, NO_POISSON, held=False, through=Through(poisson=0.0)))
    inner = solid.where(out=0.0)
    tip = np.flatnonzero(inner == solid.tip_middle)[0]
    length, bend = 20e-3, stiff * THICK**3 / 12
    fall = -1e-3 * answer.displacements[0, tip, 2]
    assert fall == pytest.approx(length**4 / (8 * bend), rel=2e-3)
    first = 1.875104**2 / (2 * np.pi * length**2) * np.sqrt(bend / (950.0 * THICK))
    bends = np.abs(answer.shapes[:, tip, 2]) > np.abs(answer.shapes[:, tip, 0])
    assert answer.frequencies[bends][0] == pytest.approx(first, rel=2e-3)


@pytest.mark.parametrize("acts", ["inner", "outer"])
def test_turning_pressure_starts_as_the_steady_one(strip, acts):
    tip, falls = np.flatnonzero(strip.where(out=0.0) == strip.tip_middle)[0], []
    for kind in ("dead", acts):
        deck = ccx.loaded(strip, NO_POISSON, ccx.Loaded((1e-6,), kind))
        falls.append(ccx.run(deck).displacements[0, tip, 2])
    assert falls[0] < 0
    assert falls[1] == pytest.approx(falls[0], rel=1e-3)


def test_closing_forces_add_up_to_pressure_times_plan_and_end_areas():
    """Forces on a curved face add up to pressure times its projections, whatever its shape."""
    shape = BladeShape()
    total = bricks(shape, typical_scrape()).closing_forces().sum(axis=0)
    oval, lens = np.pi / 4 * 4.0 * 1.6, 2 / 3 * 7.0 * 0.35  # mm², half ellipse and parabola
    plan = 23.0 * (4.0 + 7.0) / 2
    np.testing.assert_allclose(total, [0.0, lens - oval, -plan], atol=2e-3)


def test_a_missing_program_is_told_with_its_remedy(monkeypatch):
    monkeypatch.setenv("PATH", "")
    with pytest.raises(AssertionError, match=r"apt-get install .*calculix-ccx"):
        ccx.program()


def test_a_failed_run_shows_what_the_program_said():
    with pytest.raises(AssertionError, match="CalculiX failed"):
        ccx.run("*STEP\n*STATIC\n*END STEP\n")


def test_the_cane_of_the_solid_is_alike_across_the_fibres():
    e_l, e_t, e_r, nu_lt, nu_lr, nu_tr, g_lt, g_lr, g_tr = Through().constants(WET)
    assert (e_l, e_t, e_r) == pytest.approx((6500.0, 450.0, 450.0))
    assert (nu_lt, g_lt) == (nu_lr, g_lr)
    assert g_tr == pytest.approx(e_t / (2 * (1 + nu_tr)))
