"""Plates, shells and tapered beams of the textbooks, solved by the blade's own shell.

Every structure is built from the pieces the reed itself is made of: spline patch, shell mesh,
shell, supports, modes. What they are compared with is in `crowlight.checks.plates_and_shells`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.band import factor
from crowlight.blade.cane import Cane
from crowlight.blade.mesh import ShellMesh, shell_mesh
from crowlight.blade.modes import Modes, lowest_modes, starting_shapes
from crowlight.blade.patch import surface_patch
from crowlight.blade.shell import Shell, make_shell
from crowlight.blade.splines import basis_on
from crowlight.blade.supports import Side, edge_dofs, turning_springs

__all__ = [
    "cantilever_plate",
    "curved_cane_cantilever",
    "curved_panel",
    "free_plate",
    "linear_solve",
    "nafems_fv16",
    "navier_orthotropic_load",
    "orthotropic_plate_load",
    "orthotropic_plate_modes",
    "pinched_cylinder",
    "plate_under_large_load",
    "plate_under_load",
    "quarter_arch",
    "scordelis_lo",
    "shell_modes",
    "supported_plate",
    "tapered_cantilever",
    "tapered_tip_load",
    "thick_arch",
]

Surface = Callable[[Array, Array], ArrayLike]
RIGID = 1e4  # springs against turning, in D / element length


def isotropic(young: float, poisson: float) -> Array:
    """Plane-stress matrix of an isotropic sheet [Pa], shape (3, 3)."""
    d = young / (1 - poisson**2)
    return d * np.array([[1, poisson, 0], [poisson, 1, 0], [0, 0, (1 - poisson) / 2]])


def built(
    surface: Surface,
    x: ArrayLike,
    y: ArrayLike,
    stiffness: ArrayLike,
    thickness: float | Callable[[Array, Array], Array],
    *,
    held: Callable[[ShellMesh], Sequence[Ints]] = lambda _: (),
    stiff_edges: Sequence[Side] = (),
    density: float = 1.0,
    gauss: int = 4,
    offset: float = 0.0,
    widening: bool = True,
) -> Shell:
    """Shell on element ends `x` (across) and `y` (along), its reference at mid-thickness."""
    patch = surface_patch(basis_on(x), basis_on(y), surface)
    mesh = shell_mesh(patch, gauss=gauss)
    h = thickness(mesh.xi, mesh.eta) if callable(thickness) else thickness
    smallest = min(np.diff(patch.across.breaks).min(), np.diff(patch.along.breaks).min())
    size = smallest * float(np.mean(np.linalg.norm(mesh.frames.a2, axis=-1)))
    rigid = RIGID * np.asarray(stiffness)[0][0] * float(np.max(h)) ** 3 / 12 / size
    fixed = held(mesh)
    return make_shell(
        mesh,
        stiffness,
        h,
        density=density,
        held=np.concatenate(fixed) if len(fixed) else (),
        offset=offset,
        springs=turning_springs(mesh, stiff_edges, rigid) if stiff_edges else None,
        widening=widening,
    )


def linear_solve(shell: Shell, load: Array) -> Array:
    """Displacement under a small load, shape (n_dof,)."""
    rhs = load.copy()
    rhs[shell.band.held] = 0.0
    done = shell.factor(shell.strain(np.zeros(shell.mesh.n_dof)))
    if done is None:
        msg = "the unloaded structure is not held"
        raise ValueError(msg)
    return done.solve(rhs)


def shell_modes(shell: Shell, count: int, *, shift: float = 0.0) -> Modes:
    """Lowest modes of a shell at rest, rotary inertia left out as in the published values."""
    stiffness = shell.stiffness(shell.strain(np.zeros(shell.mesh.n_dof)))
    mass = shell.mass(rotary=False)
    done = factor(stiffness + shift * mass)
    if done is None:
        msg = "a free body needs a positive shift"
        raise ValueError(msg)
    start = starting_shapes(shell.mesh.n_dof, count + 6)
    start[shell.band.held] = 0.0
    return lowest_modes(
        done.solve, lambda v: shell.band.times(mass, v), count, start=start, shift=shift
    )[0]


def flat(width: float, length: float) -> Surface:
    """Rectangle in the x-y plane; parameters run from 0 to 1."""
    return lambda x, y: np.stack([width * x, length * y, 0 * x], axis=-1)


def cylinder(radius: float, length: float, start: float, angle: float) -> Surface:
    """Part of a cylinder about y, from angle `start` (0 is up) over `angle` [rad]."""

    def surface(x: Array, y: Array) -> Array:
        t = start + angle * x
        return np.stack([radius * np.sin(t), length * y, radius * np.cos(t)], axis=-1)

    return surface


def ends(n: int) -> Array:
    """Cut 0 to 1 into `n` equal elements; return their ends."""
    return np.linspace(0, 1, n + 1)


def point_weights(shell: Shell, x: float, y: float) -> Array:
    """Shape functions at one point of parameters 0 to 1, shape (n_control,)."""
    return shell.mesh.patch.weights([x], [y])[0]


def deflection(shell: Shell, u: Array, x: float, y: float) -> Array:
    """Displacement at one point of parameters 0 to 1, shape (3,)."""
    return point_weights(shell, x, y) @ u.reshape(-1, 3)


def area_load(shell: Shell, load: Sequence[float]) -> Array:
    """Compute forces of a load per area [Pa] of fixed direction, shape (n_dof,)."""
    mesh = shell.mesh
    pushed = mesh.area[..., None] * np.asarray(load, dtype=float)
    return mesh.scatter(np.swapaxes(mesh.shape, 1, 2) @ pushed)


def edge_load(shell: Shell, load: Sequence[float]) -> Array:
    """Compute forces of a total load spread evenly over the tip edge, shape (n_dof,)."""
    patch = shell.mesh.patch
    t, w = (a.ravel() for a in patch.across.gauss(4))
    shape = patch.weights(t, np.full_like(t, patch.along.breaks[-1]))
    return np.outer((w / w.sum()) @ shape, load).ravel()


# --- plates -------------------------------------------------------------------------------------

H = 1e-3  # thickness of unit plates: 1/1000 of the side


def bending_stiffness(young: float, poisson: float, thickness: float) -> float:
    """D of a plate [N m]."""
    return young * thickness**3 / 12 / (1 - poisson**2)


def root_values(modes: Modes, thickness: float, d: float, side: float = 1.0) -> Array:
    """``w a² sqrt(rho h / D)`` for density 1."""
    return 2 * np.pi * modes.frequencies * side**2 * np.sqrt(thickness / d)


def cantilever_plate(n: int = 10) -> Array:
    """First six root values of the cantilevered square plate, poisson 0.3."""
    shell = built(
        flat(1, 1),
        ends(n),
        ends(n),
        isotropic(1.0, 0.3),
        H,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
    )
    return root_values(shell_modes(shell, 6), H, bending_stiffness(1, 0.3, H))


def free_plate(n: int = 10) -> Array:
    """Root values 7 to 11 of the free square plate, poisson 0.3."""
    shell = built(flat(1, 1), ends(n), ends(n), isotropic(1.0, 0.3), H)
    d = bending_stiffness(1, 0.3, H)
    shift = 100.0 * d / H
    return root_values(shell_modes(shell, 11, shift=shift), H, d)[6:]


def supported(
    stiffness: ArrayLike, n: int, thickness: float, *, clamped: bool = False, sides=(1.0, 1.0)
) -> Shell:
    """Rectangular plate with all edges held, turning freely unless clamped."""
    edges: tuple[Side, ...] = ("left", "right", "thread", "tip")
    return built(
        flat(*sides),
        ends(n),
        ends(n),
        stiffness,
        thickness,
        held=lambda m: [edge_dofs(m.patch, e) for e in edges],
        stiff_edges=edges if clamped else (),
    )


def supported_plate(n: int = 10, *, clamped: bool = False) -> Array:
    """First three distinct root values of the simply supported or clamped square plate."""
    shell = supported(isotropic(1.0, 0.3), n, H, clamped=clamped)
    modes = root_values(shell_modes(shell, 4), H, bending_stiffness(1, 0.3, H))
    return modes[[0, 1, 3]]


def plate_under_load(n: int = 10, *, clamped: bool = False) -> float:
    """Centre deflection of a uniformly loaded square plate, in q a⁴ / D."""
    shell = supported(isotropic(1.0, 0.3), n, H, clamped=clamped)
    u = linear_solve(shell, area_load(shell, (0, 0, 1)))
    return deflection(shell, u, 0.5, 0.5)[2] * bending_stiffness(1, 0.3, H)


def plate_under_large_load(loads: Sequence[float], n: int = 12) -> Array:
    """Centre deflection over thickness of a clamped square plate, for loads in E h⁴ / a⁴.

    Poisson 0.316, edges held in the plane as well; Newton's method, each load from the one before.
    """
    thickness = 0.01
    shell = supported(isotropic(1.0, 0.316), n, thickness, clamped=True)
    unit = area_load(shell, (0, 0, thickness**4))
    unit[shell.band.held] = 0.0
    u, found = np.zeros(shell.mesh.n_dof), []
    for load in loads:
        for _ in range(30):
            at = shell.strain(u)
            tangent = shell.factor(at)
            if tangent is None:
                msg = "a stretched plate is stable; this cannot happen"
                raise ValueError(msg)
            step = tangent.solve(load * unit - shell.forces(at, u))
            u = u + step
            if np.max(np.abs(step)) < 1e-10:
                break
        found.append(deflection(shell, u, 0.5, 0.5)[2] / thickness)
    return np.array(found)


CANE = Cane(along=10e9, across=0.5e9, shear=1.0e9, poisson=0.3, density=500.0)


def orthotropic_plate_modes(n: int = 10) -> tuple[Array, Array]:
    """First four frequencies of a simply supported cane plate 20 x 7 x 0.4 mm: ours, exact."""
    a, b, h = 20e-3, 7e-3, 0.4e-3
    shell = supported(CANE.plane_stress(), n, h, sides=(b, a))
    ours = shell_modes(shell, 4).frequencies / np.sqrt(CANE.density)
    c = CANE.plane_stress() * h**3 / 12
    m, k = np.meshgrid(np.arange(1, 8), np.arange(1, 8))
    mixed = c[0, 1] + 2 * c[2, 2]
    square = np.pi**4 / (CANE.density * h)
    square = square * (
        c[0, 0] * (m / a) ** 4 + 2 * mixed * (m * k / (a * b)) ** 2 + c[1, 1] * (k / b) ** 4
    )
    return ours, np.sort(np.sqrt(square).ravel())[:4] / (2 * np.pi)


def orthotropic_plate_load(n: int = 10) -> float:
    """Centre deflection, q a⁴ / D2, of a supported square plate with D1 : D2 : H = 20 : 1 : 2."""
    stiffness = np.array([[20.0, 0.3, 0], [0.3, 1.0, 0], [0, 0, 0.85]])
    shell = supported(stiffness, n, H)
    u = linear_solve(shell, area_load(shell, (0, 0, 1)))
    return deflection(shell, u, 0.5, 0.5)[2] * H**3 / 12


def navier_orthotropic_load(terms: int = 199) -> float:
    """Navier's series for the plate of `orthotropic_plate_load`."""
    m, n = np.meshgrid(np.arange(1, terms, 2), np.arange(1, terms, 2))
    sign = np.where((m + n) % 4 == 2, 1.0, -1.0)
    bottom = m * n * (20.0 * m**4 + 4.0 * m**2 * n**2 + n**4)
    return float(np.sum(16 / np.pi**6 * sign / bottom))


def nafems_fv16(n: int = 10) -> Array:
    """Frequencies of NAFEMS FV16 [Hz]: cantilevered plate 10 x 10 x 0.05 m."""
    shell = built(
        flat(10, 10),
        ends(n),
        ends(n),
        isotropic(200e9, 0.3),
        0.05,
        density=8000.0,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
    )
    return shell_modes(shell, 6).frequencies


# --- curved shells ------------------------------------------------------------------------------


def scordelis_lo(n: int = 12) -> float:
    """Sag of the free edge at mid-length of the Scordelis-Lo roof."""
    shell = built(
        cylinder(25, 25, 0.0, np.radians(40)),
        ends(n),
        ends(n),
        isotropic(4.32e8, 0.0),
        0.25,
        held=lambda m: [
            edge_dofs(m.patch, "thread", (0, 2)),
            edge_dofs(m.patch, "tip", (1,)),
            edge_dofs(m.patch, "left", (0,)),
        ],
        stiff_edges=["tip", "left"],
    )
    u = linear_solve(shell, area_load(shell, (0, 0, -90)))
    return -deflection(shell, u, 1, 1)[2]


def pinched_cylinder(n: int = 16) -> float:
    """Deflection under the force of the pinched cylinder with end diaphragms."""
    graded = ends(n) ** 1.5
    shell = built(
        cylinder(300, 300, 0.0, np.pi / 2),
        graded,
        graded,
        isotropic(3e6, 0.3),
        3.0,
        held=lambda m: [
            edge_dofs(m.patch, "tip", (0, 2)),
            edge_dofs(m.patch, "thread", (1,)),
            edge_dofs(m.patch, "left", (0,)),
            edge_dofs(m.patch, "right", (2,)),
        ],
        stiff_edges=["thread", "left", "right"],
    )
    load = np.outer(point_weights(shell, 0, 0), [0, 0, -0.25]).ravel()
    return -deflection(shell, linear_solve(shell, load), 0, 0)[2]


def curved_panel(n: int = 10) -> Array:
    """Six frequencies [Hz] of the Olson-Lindberg panel, one curved edge clamped."""
    shell = built(
        cylinder(0.6096, 0.3048, -0.25, 0.5),
        ends(n),
        ends(n),
        isotropic(206.85e9, 0.3),
        3.048e-3,
        density=7857.2,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
    )
    return shell_modes(shell, 6).frequencies


def curved_cane_cantilever(n: int = 10, *, curved: bool = True) -> Array:
    """Five frequencies [Hz] of a cane strip 20 x 7 x 0.4 mm, R 4.5 mm or flat, one end clamped.

    By the theory of thin shells, all layers as wide as the middle: h/R is 0.09, so that layers as
    wide as they are change the frequencies by −0.03 to +0.22 %.
    """
    arc = 7e-3 / 4.5e-3
    shell = built(
        cylinder(4.5e-3, 20e-3, -arc / 2, arc) if curved else flat(7e-3, 20e-3),
        ends(n),
        ends(n),
        CANE.plane_stress(),
        0.4e-3,
        density=CANE.density,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
        widening=False,
    )
    return shell_modes(shell, 5).frequencies


def quarter_arch(
    n: int = 12, *, slenderness: float = 0.02, offset: float = 0.0, widening: bool = True
) -> float:
    """Radial tip deflection of a quarter arch of radius 1, as a ratio to ``pi P R³ / 4 E I``.

    `offset` 0.5 makes 1 the radius of its inner face; without `widening` all layers are alike.
    """
    h = slenderness
    shell = built(
        lambda x, y: np.stack(
            [0.1 * x, np.sin(np.pi / 2 * y), np.cos(np.pi / 2 * y)],
            axis=-1,
        ),
        ends(2),
        ends(n),
        isotropic(1.0, 0.0),
        h,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
        offset=offset,
        widening=widening,
    )
    u = linear_solve(shell, edge_load(shell, (0, 1, 0)))
    inertia = 0.1 * h**3 / 12
    return deflection(shell, u, 0.5, 1)[1] * 4 * inertia / np.pi


def thick_arch(slenderness: float, *, offset: float) -> float:
    """Exact value of `quarter_arch` for any thickness: Winkler's curved beam, without shear.

    With R the radius of the middle, the bending stiffness is E J with
    ``J = b R² (R ln((R + h/2) / (R − h/2)) − h)``, and the deflection ``pi P R³ / 4 E J``.
    """
    h = slenderness
    middle = 1 + offset * h
    bent = middle**2 * (middle * np.log((middle + h / 2) / (middle - h / 2)) - h)
    return float(middle**3 * h**3 / 12 / bent)


# --- tapered beams ------------------------------------------------------------------------------


def tapered(ratio: float, n: int, offset: float = 0.0) -> Shell:
    """Cantilevered strip whose thickness falls linearly from H to ratio H; poisson 0."""
    return built(
        flat(0.1, 1),
        ends(1),
        ends(n),
        isotropic(1.0, 0.0),
        lambda _x, y: H * (1 + (ratio - 1) * y),
        offset=offset,
        held=lambda m: [edge_dofs(m.patch, "thread")],
        stiff_edges=["thread"],
    )


def tapered_cantilever(ratio: float, n: int = 16, *, offset: float = 0.0) -> Array:
    """First three bending root values ``w L² sqrt(rho A0 / E I0)`` of the tapered strip.

    `offset` 0.5 measures the thickness from a flat inner face instead of from the middle.
    """
    shell = tapered(ratio, n, offset)
    modes = shell_modes(shell, 8)
    middle = point_weights(shell, 0.5, 1.0)
    left = point_weights(shell, 0.0, 1.0)
    w_middle = middle @ modes.shapes.reshape(-1, 3, 8)[:, 2].reshape(-1, 8)
    w_left = left @ modes.shapes.reshape(-1, 3, 8)[:, 2].reshape(-1, 8)
    bending = np.abs(w_middle) > 0.5 * np.abs(w_left)  # twisting leaves the middle still
    return root_values(modes, H, H**3 / 12)[bending][:3]


def tapered_tip_load(ratio: float, n: int = 16) -> float:
    """Tip deflection per tip load of the tapered strip, in ``12 P L³ / E b h0³``."""
    shell = tapered(ratio, n)
    u = linear_solve(shell, edge_load(shell, (0, 0, 1)))
    return deflection(shell, u, 0.5, 1)[2] * 0.1 * H**3 / 12
