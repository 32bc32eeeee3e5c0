"""The shell by itself: rigid motions, tangent, mass, third derivative, bases and bands."""

import numpy as np
import pytest

from crowlight.blade import WET, BladeShape, Cane, MeshSize, ThicknessGrid, typical_scrape
from crowlight.blade.adjoint import stiffness_by_displacement
from crowlight.blade.band import factor, pivoted
from crowlight.blade.body import make_body
from crowlight.blade.contact import by_least_squares, contact_forces
from crowlight.blade.geometry import blade_patch
from crowlight.blade.layers import layers_of
from crowlight.blade.mesh import shell_mesh
from crowlight.blade.shell import make_shell
from crowlight.blade.splines import basis_on
from crowlight.errors import InputError, OutsideModel

SMALL = MeshSize(across=4, front=3, behind=3)


@pytest.fixture(scope="module")
def body():
    return make_body(BladeShape(tilt=0.2), typical_scrape(), WET, SMALL)


@pytest.fixture(scope="module")
def loose(body):
    """Hold the same blade nowhere."""
    shell = body.shell
    return make_shell(shell.mesh, WET.plane_stress(), shell.thickness, density=950.0)


def random_displacement(shell, size=1e-5, seed=0):
    u = np.random.default_rng(seed).standard_normal(shell.mesh.n_dof) * size
    u[shell.band.held] = 0
    return u


def test_spline_basis_sums_to_one_and_reproduces_lines():
    basis = basis_on([0, 0.3, 0.5, 1.0])
    points = np.linspace(0, 1, 11)
    np.testing.assert_allclose(basis.values(points).sum(axis=1), 1, rtol=1e-14)
    np.testing.assert_allclose(basis.values(points) @ basis.greville(), points, atol=1e-14)
    np.testing.assert_allclose(basis.values(points, 1).sum(axis=1), 0, atol=1e-12)


def test_spline_basis_refuses_disordered_ends():
    with pytest.raises(InputError, match="strictly increasing"):
        basis_on([0, 0.5, 0.4])


@pytest.mark.parametrize("direction", range(3))
def test_shifting_the_blade_strains_nothing(loose, direction):
    u = np.zeros((loose.mesh.n_dof // 3, 3))
    u[:, direction] = 1e-3
    at = loose.strain(u.ravel())
    scale = np.sqrt(WET.along * loose.mesh.area.max())
    assert np.max(np.abs(at.middle)) < 1e-12 * scale
    assert np.max(np.abs(at.curve)) * 1e-3 < 1e-12 * scale


@pytest.mark.parametrize("axis", range(3))
def test_a_small_turn_strains_nothing(loose, axis):
    """Curvature is linear in u and free of strain for small turns; membrane strain has t²/2."""
    turn = np.zeros(3)
    turn[axis] = 1e-6
    points = loose.mesh.patch.control.reshape(-1, 3)
    at = loose.strain(np.cross(turn, points).ravel())
    bent = loose.strain(random_displacement(loose, 1e-6 * 23e-3))
    assert np.max(np.abs(at.middle)) < 1e-5 * np.max(np.abs(bent.middle))
    assert np.max(np.abs(at.curve)) < 1e-8 * np.max(np.abs(bent.curve))


def test_a_large_turn_strains_the_membrane_not_at_all(loose):
    c, s = np.cos(0.3), np.sin(0.3)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    points = loose.mesh.patch.control.reshape(-1, 3)
    at = loose.strain((points @ turn.T - points).ravel())
    unit = np.sum(loose.mesh.frames.a2**2, axis=-1).max()  # covariant strains scale with tangents
    assert np.max(np.abs(at.eps)) < 1e-12 * unit
    assert np.max(np.abs(at.kappa)) > 1e-6 * unit  # the curvature is linear and does not vanish


def test_forces_are_the_gradient_of_the_energy(body):
    shell = body.shell
    u, v = random_displacement(shell), random_displacement(shell, seed=1)
    step = 1e-3

    def energy(t):
        return shell.energy(shell.strain(u + t * v), u + t * v)

    slope = (energy(step) - energy(-step)) / (2 * step)
    assert shell.forces(shell.strain(u), u) @ v == pytest.approx(slope, rel=1e-8, abs=0)


def test_tangent_is_the_derivative_of_the_forces(body):
    shell = body.shell
    u, v = random_displacement(shell), random_displacement(shell, seed=1)
    step = 1e-3

    def forces(t):
        return shell.forces(shell.strain(u + t * v), u + t * v)

    slope = (forces(step) - forces(-step)) / (2 * step)
    ours = shell.band.times(shell.stiffness(shell.strain(u)), v)
    np.testing.assert_allclose(ours, slope, atol=1e-8 * np.abs(slope).max())


def test_third_derivative_is_the_derivative_of_the_tangent(body):
    shell = body.shell
    u, v, w, a = (random_displacement(shell, seed=k) for k in range(4))
    step = 1e-3

    def product(t):
        at = shell.strain(u + t * v)
        return a @ shell.band.times(shell.stiffness(at), w)

    slope = (product(step) - product(-step)) / (2 * step)
    for first, second in ((a, w), (w, a)):
        ours = stiffness_by_displacement(shell, shell.strain(u), first, second) @ v
        assert ours == pytest.approx(slope, rel=1e-7, abs=0)


def test_mass_of_the_whole_blade(loose):
    """A unit speed in any direction carries the mass of cane in the blade.

    A layer at height z is wider than the inner face by 1 + z/R.
    """
    mesh, h = loose.mesh, loose.thickness
    ll, tt, lt = np.moveaxis(mesh.curvature, -1, 0)
    bulge = h - h**2 / 2 * (ll + tt) + h**3 / 3 * (ll * tt - lt**2 / 4)
    assert np.sum(bulge * mesh.area) > 1.02 * np.sum(h * mesh.area)
    weight = 950.0 * np.sum(bulge * mesh.area)
    for direction in range(3):
        v = np.zeros((mesh.n_dof // 3, 3))
        v[:, direction] = 1.0
        carried = v.ravel() @ loose.band.times(loose.mass(), v.ravel())
        assert carried == pytest.approx(weight, rel=1e-12, abs=0)


def test_modal_mass_is_that_of_the_assembled_mass(body):
    v = random_displacement(body.shell)
    assembled = v @ body.shell.band.times(body.shell.mass(), v)
    assert body.shell.modal_mass(v) == pytest.approx(assembled, rel=1e-12, abs=0)


def arched(radius):
    """One point of an arch across the fibres."""
    return layers_of(np.array([[[0.0, -1 / radius, 0.0]]]), WET.plane_stress(), 0.5)


def test_layers_strain_as_on_a_circular_cylinder():
    """Flügge's strains of a layer: TT and 2LT with 1 + z/R, LL as it is; volume with 1 + z/R."""
    radius, h = 2.0e-3, 0.6e-3
    rng = np.random.default_rng(3)
    eps, kappa = rng.standard_normal(3), rng.standard_normal(3) / h
    law, energy = WET.plane_stress(), 0.0
    t, w = np.polynomial.legendre.leggauss(12)
    for z, dz in zip(h * (1 + t) / 2, h * w / 2, strict=True):
        q = 1 + z / radius
        strain = np.array(
            [
                eps[0] + z * kappa[0],
                (eps[1] + z * kappa[1] + z**2 / radius * (kappa[1] - eps[1] / radius)) / q**2,
                (eps[2] + z * kappa[2] + z**2 / (2 * radius) * kappa[2]) / q,
            ]
        )
        energy += strain @ law @ strain * q * dz
    root = arched(radius).roots(np.full((1, 1), h))[0, 0] @ np.concatenate([eps, kappa])
    assert root @ root == pytest.approx(energy, rel=1e-6, abs=0)


def test_layers_know_no_direction():
    """Turning arch, cane and strains together changes nothing."""
    turn = np.array([[0.6, 0.8], [-0.8, 0.6]])

    def turned(y):
        full = turn @ np.array([[y[0], y[2] / 2], [y[2] / 2, y[1]]]) @ turn.T
        return np.array([full[0, 0], full[1, 1], 2 * full[0, 1]])

    rng = np.random.default_rng(4)
    b, eps, kappa = (
        np.array([-200.0, -400.0, 150.0]),
        rng.standard_normal(3),
        rng.standard_normal(3),
    )
    matrix = np.column_stack([turned(e) for e in np.eye(3)])
    law = WET.plane_stress()
    there = np.linalg.inv(matrix).T @ law @ np.linalg.inv(matrix)
    h = np.full((1, 1), 0.5e-3)
    here = layers_of(b[None, None], law, 0.5).roots(h)[0, 0]
    other = layers_of((matrix @ b)[None, None], there, 0.5).roots(h)[0, 0]
    x = here @ np.concatenate([eps, kappa / 5e-4])
    y = other @ np.concatenate([matrix @ eps, matrix @ kappa / 5e-4])
    assert x @ x == pytest.approx(y @ y, rel=1e-12, abs=0)


def test_layers_of_a_flat_sheet_are_those_of_plate_theory():
    law, h = WET.plane_stress(), 0.4e-3
    root = layers_of(np.zeros((1, 1, 3)), law, 0.5).roots(np.full((1, 1), h))[0, 0]
    wanted = np.block([[h * law, h**2 / 2 * law], [h**2 / 2 * law, h**3 / 3 * law]])
    np.testing.assert_allclose(root.T @ root, wanted, rtol=1e-12, atol=1e-12 * wanted[3, 3])


def test_a_blade_thicker_than_a_hollow_is_refused():
    hollow = layers_of(np.array([[[0.0, 1 / 0.4e-3, 0.0]]]), WET.plane_stress(), 0.5)
    with pytest.raises(OutsideModel, match="too thick for a hollow"):
        hollow.roots(np.full((1, 1), 0.5e-3))


def test_pressure_on_a_blade_is_its_shadow(body):
    """The z force of a unit pressure is minus the area of the blade seen from above."""
    loads = make_shell(
        body.shell.mesh, WET.plane_stress(), body.shell.thickness, density=1.0
    ).pressure_forces()
    edge = body.patch.frames(np.ones(200), np.linspace(0, 1, 200)).position
    other = body.patch.frames(-np.ones(200), np.linspace(0, 1, 200)).position
    shadow = np.trapezoid(edge[:, 0] - other[:, 0], edge[:, 1])
    assert loads.reshape(-1, 3)[:, 2].sum() == pytest.approx(-shadow, rel=1e-4, abs=0)


def test_points_normals_and_thickness_for_a_solid_model(body):
    """The outer face lies outward by the thickness: what a solid model is built from."""
    frames = body.patch.frames([-0.5, 0.0, 0.5], [0.2, 0.5, 0.9])
    thick = body.grid.at([-0.5, 0.0, 0.5], np.array([0.2, 0.5, 0.9]) * 23e-3)
    outer = frames.position + thick[:, None] * frames.a3
    assert np.all(outer[:, 2] > frames.position[:, 2])
    np.testing.assert_allclose(np.linalg.norm(frames.a3, axis=1), 1, rtol=1e-14)


def test_spline_surface_follows_the_shape_between_its_points():
    shape = BladeShape()
    patch = blade_patch(shape)
    xi, eta = np.meshgrid(np.linspace(-1, 1, 41), np.linspace(0, 1, 31))
    miss = patch.frames(xi, eta).position - shape.inner(xi, eta)
    assert np.max(np.abs(miss)) < 3e-6  # metres


def test_banded_solvers_agree_with_dense(body):
    shell = body.shell
    stored = shell.stiffness(shell.strain(random_displacement(shell, 1e-8)))
    n, width = shell.mesh.n_dof, shell.band.width
    dense = np.zeros((n, n))
    for k in range(width + 1):
        dense[np.arange(k, n), np.arange(n - k)] = stored[k, : n - k]
    dense = dense + np.tril(dense, -1).T
    rhs = np.random.default_rng(3).standard_normal(n)
    wanted = np.linalg.solve(dense, rhs)
    scale = np.abs(wanted).max()
    np.testing.assert_allclose(pivoted(stored).solve(rhs), wanted, atol=1e-7 * scale)
    done = factor(stored)
    assert done is not None
    np.testing.assert_allclose(done.solve(rhs), wanted, atol=1e-7 * scale)
    assert done.half(rhs) @ done.half(rhs) == pytest.approx(rhs @ wanted, rel=1e-8, abs=0)
    np.testing.assert_allclose(shell.band.times(stored, rhs), dense @ rhs, rtol=1e-9)


def test_a_matrix_that_is_not_positive_is_said_to_be(body):
    stored = body.shell.stiffness(body.shell.strain(np.zeros(body.shell.mesh.n_dof)))
    stored[0] -= 10 * stored[0].max()
    assert factor(stored) is None


def test_contact_forces_agree_with_least_squares():
    rng = np.random.default_rng(5)
    for _ in range(50):
        a = rng.standard_normal((12, 12))
        compliance, gap = a @ a.T + 0.1 * np.eye(12), rng.standard_normal(12)
        ours = contact_forces(compliance, gap, rng.random(12) < 0.5)
        np.testing.assert_allclose(ours, by_least_squares(compliance, gap), atol=1e-9)
        left = gap + compliance @ ours
        assert np.all(ours >= 0)
        assert np.all(left > -1e-9)
        assert np.max(np.abs(ours * left)) < 1e-9


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"along": -1.0}, "along"),
        ({"density": float("nan")}, "density"),
        ({"poisson": 9.0}, "poisson"),
    ],
)
def test_impossible_cane_is_refused(change, says):
    good = {"along": 6e9, "across": 4e8, "shear": 7e8, "poisson": 0.25, "density": 900.0}
    with pytest.raises(InputError, match=says):
        Cane(**(good | change))


def test_zero_readings_are_named():
    values = np.full((3, 3), 0.4e-3)
    values[1, 2] = 0.0
    with pytest.raises(InputError, match=r"thickness = 0 mm at 10 mm from the thread, \+1\.00"):
        ThicknessGrid([0, 0.01, 0.02], [-1, 0, 1], values)


def test_an_absurd_opening_is_named():
    with pytest.raises(InputError, match=r"height = 4 mm is outside 0\.02 to 2 mm"):
        BladeShape(height=4e-3)


def test_thickness_between_grid_points_is_bilinear_and_level_beyond():
    grid = ThicknessGrid([0, 0.01], [-1, 1], [[4e-4, 2e-4], [2e-4, 1e-4]])
    assert grid.at(0.0, 0.005) == pytest.approx(2.25e-4)
    assert grid.at(5.0, 0.05) == pytest.approx(1e-4)
    assert grid.flipped().at(-1, 0.0) == pytest.approx(2e-4)


def test_mesh_area_is_the_area_of_the_surface(body):
    mesh = shell_mesh(body.patch)
    xi, eta = np.meshgrid(np.linspace(-1, 1, 201), np.linspace(0, 1, 201))
    stretch = body.patch.frames(xi, eta).stretch
    wanted = np.trapezoid(np.trapezoid(stretch, xi[0], axis=1), eta[:, 0])
    assert mesh.area.sum() == pytest.approx(wanted, rel=1e-4, abs=0)
