"""Two blades face to face, at equilibrium under pressure, lip and contact.

Two blades alike are solved as one against the plane between them. Two different blades share the
contact forces: their gaps and compliances add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array
from crowlight.blade.band import Factor, factor
from crowlight.blade.body import Body
from crowlight.blade.contact import contact_forces
from crowlight.blade.lip import Lip
from crowlight.blade.shell import Shell, Strained
from crowlight.blade.thickness import ThicknessGrid
from crowlight.errors import OutsideModel

__all__ = ["Pair", "State", "make_pair", "settle", "tightened"]

STEP_ENDS = 1e-9  # metres: a Newton step below this ends the iteration
NEWTON_STEPS = 60
FAR = 1.0  # metres: a gap that never closes


@dataclass(frozen=True)
class Pair:
    """Both blades with their loads.

    Parameters
    ----------
    bodies : tuple of Body
        One (both blades alike) or two.
    shells : tuple of Shell
        Their shells, lip springs included.
    steady : tuple of ndarray, shape (n_dof,)
        Constant forces on each: lip.
    gap : ndarray, shape (n_touching,)
        What the gap would be at zero displacement [m] (half of it if the blades are alike).
    rest : tuple of ndarray, shape (n_dof,)
        Displacements at rest: how far the tie has already pressed the edges together.
    """

    bodies: tuple[Body, ...]
    shells: tuple[Shell, ...]
    steady: tuple[Array, ...]
    gap: Array
    rest: tuple[Array, ...]

    @property
    def alike(self) -> bool:
        """Whether one body stands for both blades."""
        return len(self.bodies) == 1

    @property
    def copies(self) -> int:
        """How many blades each body stands for."""
        return 2 if self.alike else 1

    @property
    def touching(self) -> csr_array:
        """Rows of the points that may touch, the same for every body."""
        return self.bodies[0].touching

    @property
    def shape_area(self) -> float:
        """Compute the opening area of the measured rest shape [m²]."""
        return self.copies * sum(b.tip_area for b in self.bodies)

    def with_grids(self, grids: Sequence[ThicknessGrid]) -> Pair:
        """Return the reed after scraping: tie, lip and rest shape before the cut are kept."""
        bodies = tuple(b.with_grid(g) for b, g in zip(self.bodies, grids, strict=True))
        shells = tuple(
            s.with_thickness(b.shell.thickness) for s, b in zip(self.shells, bodies, strict=True)
        )
        return replace(self, bodies=bodies, shells=shells)

    def area(self, u: Sequence[Array]) -> float:
        """Compute the opening area at displacements [m²]."""
        moved = sum(
            float(b.tip_row @ (v - r)) for b, v, r in zip(self.bodies, u, self.rest, strict=True)
        )
        return self.shape_area + self.copies * moved

    @property
    def shape_height(self) -> float:
        """Opening height of the measured rest shape at the middle of the tip [m]."""
        return self.copies * sum(
            float(b.patch.control[-1, :, 2] @ middle_of(b)) for b in self.bodies
        )

    def height(self, u: Sequence[Array]) -> float:
        """Compute the opening height at the middle of the tip at displacements [m]."""
        moved = sum(
            float(b.middle_row @ (v - r)) for b, v, r in zip(self.bodies, u, self.rest, strict=True)
        )
        return self.shape_height + self.copies * moved


def middle_of(body: Body) -> Array:
    """Weights of the tip's control points at its middle, shape (across.size,)."""
    return body.patch.across.values(0.0)[0]


@dataclass(frozen=True)
class State:
    """Equilibrium at one pressure.

    Parameters
    ----------
    pressure : float
        Closing pressure difference [Pa].
    u : tuple of ndarray, shape (n_dof,)
        Displacement of each body [m].
    force : ndarray, shape (n_touching,)
        Contact forces [N], >= 0.
    area : float
        Opening area [m²].
    """

    pressure: float
    u: tuple[Array, ...]
    force: Array
    area: float

    @property
    def touching(self) -> np.ndarray:
        """Which points touch, as bool, shape (n_touching,)."""
        return self.force > 0


def make_pair(bodies: Sequence[Body], *, interference: float = 0.0, lip: Lip | None = None) -> Pair:
    """Put blades together.

    Parameters
    ----------
    bodies : sequence of Body
        One (both blades alike) or two with equal mesh.
    interference : float
        How far the edges of each blade would reach past the plane between the blades at the tip
        if it were alone [m], growing evenly from the thread: the tie presses them together. The
        given rest shape already includes it.
    lip : Lip, optional
        Lip on each blade.

    Raises
    ------
    OutsideModel
        If the rest state cannot be found.
    """
    bodies = tuple(bodies)
    height = np.sum([b.touching_height for b in bodies], axis=0)
    shells = tuple(b.shell for b in bodies)
    zeros = tuple(np.zeros(b.shell.mesh.n_dof) for b in bodies)
    pair = Pair(bodies, shells, zeros, height, zeros)
    if interference > 0:
        reach = interference * len(bodies) * bodies[0].touching_eta
        pressed = np.where(bodies[0].on_edge, -reach, FAR)
        start = State(0.0, zeros, np.where(bodies[0].on_edge, 1.0, 0.0), 0.0)
        pair = tightened(replace(pair, gap=pressed), settle(replace(pair, gap=pressed), 0.0, start))
    if lip is None:
        return pair
    springs = [b.lip_springs(lip) for b in bodies]
    held = tuple(
        replace(s, springs=stored if s.springs is None else s.springs + stored)
        for s, (stored, _) in zip(shells, springs, strict=True)
    )
    steady = tuple(
        forces + b.shell.band.times(stored, r)
        for b, (stored, forces), r in zip(bodies, springs, pair.rest, strict=True)
    )
    return replace(pair, shells=held, steady=steady)


def tightened(loose: Pair, pressed: State) -> Pair:
    """Return the pair whose measured rest shape is that of the pressed state.

    Edge points that the tie leaves a hair open stay that far open at rest.
    """
    moved = sum(loose.touching @ u for u in pressed.u)
    lifted = np.where(loose.bodies[0].on_edge & ~pressed.touching, loose.gap + moved, 0.0)
    height = np.sum([b.touching_height for b in loose.bodies], axis=0)
    return replace(loose, rest=pressed.u, gap=height + lifted - moved)


def rest_guess(pair: Pair) -> State:
    """Start of every path: the rest displacements, nothing pressing."""
    return State(0.0, pair.rest, np.zeros(len(pair.gap)), pair.area(pair.rest))


@dataclass(frozen=True)
class Linear:
    """One body linearised: what is needed for a Newton step."""

    at: Strained
    residual: Array
    factor: Factor
    energy: float
    helped: str  # "no", "contact" (exact if the same points keep touching), "mass" (never exact)


def settle(
    pair: Pair,
    pressure: float,
    start: State,
    *,
    step_ends: float = STEP_ENDS,
    limit: int = NEWTON_STEPS,
) -> State:
    """Find the equilibrium at a pressure, downhill in energy from a nearby state.

    Parameters
    ----------
    pair : Pair
        Blades and loads.
    pressure : float
        Closing pressure difference [Pa].
    start : State
        A state of the same pair at another pressure or thickness.
    step_ends : float
        Largest displacement of the last Newton step [m].
    limit : int
        Newton steps before giving up.

    Raises
    ------
    OutsideModel
        If no equilibrium is found.
    """
    u, touching = list(start.u), start.touching
    loads = [pressure * b.push + s for b, s in zip(pair.bodies, pair.steady, strict=True)]
    strains = [s.strain(v) for s, v in zip(pair.shells, u, strict=True)]
    for _ in range(limit):
        parts = [
            linearised(pair, k, v, at, load, touching)
            for k, (v, at, load) in enumerate(zip(u, strains, loads, strict=True))
        ]
        feasible = float(np.min(pair.gap + sum(pair.touching @ v for v in u))) > -1e-9
        steps, force = newton_step(pair, parts, u, touching)
        kept = bool(np.all((force > 0)[touching]))
        exact = all(p.helped == "no" or (p.helped == "contact" and kept) for p in parts)
        touching = force > 0
        slope = sum(float(p.residual @ d) for p, d in zip(parts, steps, strict=True))
        largest = max(float(np.max(np.abs(d))) for d in steps)
        before = sum(p.energy for p in parts)
        share = 1.0
        while True:
            trial = [v + share * d for v, d in zip(u, steps, strict=True)]
            strains = [s.strain(v) for s, v in zip(pair.shells, trial, strict=True)]
            if not feasible or largest < 1e-7 or share < 1e-3:
                break
            after = sum(
                s.energy(at, v) - float(load @ v)
                for s, at, v, load in zip(pair.shells, strains, trial, loads, strict=True)
            )
            if after <= before + 1e-4 * share * min(slope, 0.0) + 1e-15:
                break
            share /= 2
        u = trial
        if largest * share < step_ends and exact:
            return State(pressure, tuple(u), force, pair.area(u))
    msg = (
        f"no equilibrium found at {pressure / 1e3:.3g} kPa after {limit} steps; "
        "the blade may be too thin or its opening too odd for this model"
    )
    raise OutsideModel(msg)


def linearised(
    pair: Pair, k: int, u: Array, at: Strained, load: Array, touching: np.ndarray
) -> Linear:
    """Residual and factored tangent of body `k`, made positive definite where it is not.

    First try: stiffen only against leaving the present contact, which does not move the solution.
    Second: add a growing mass-like term, as slow dynamics would.
    """
    shell, body = pair.shells[k], pair.bodies[k]
    residual = shell.forces(at, u) - load
    energy = shell.energy(at, u) - float(load @ u)
    stored = shell.stiffness(at)
    done = factor(stored)
    if done is not None:
        return Linear(at, residual, done, energy, "no")
    scale = float(np.median(stored[0]))
    if touching.any():
        done = factor(stored + held_stiffness(body, touching, scale))
        if done is not None:
            return Linear(at, residual, done, energy, "contact")
    lumped = shell.mesh.scatter(
        np.repeat(np.swapaxes(shell.mesh.shape, 1, 2) @ shell.mesh.area[..., None], 3, axis=2)
    )
    lumped = np.maximum(lumped, 1e-3 * lumped.max())
    growing = 1e-6 * scale / float(np.median(lumped))
    while growing < 1e6 * scale / float(np.median(lumped)):
        raised = stored.copy(order="F")
        raised[0] += growing * lumped
        done = factor(raised)
        if done is not None:
            return Linear(at, residual, done, energy, "mass")
        growing *= 4
    msg = "the blade has no stiffness left; check the thickness map for very thin spots"
    raise OutsideModel(msg)


def held_stiffness(body: Body, touching: np.ndarray, scale: float) -> Array:
    """Springs of stiffness `scale` on the touching points, in banded storage."""
    band = body.shell.band
    stored = np.zeros((band.width + 1, band.n_dof), order="F")
    rows = body.touching[np.flatnonzero(touching)]
    square = (rows.T @ rows).tocoo()
    low = square.row >= square.col
    stored[(square.row - square.col)[low], square.col[low]] = scale * square.data[low]
    return stored


def newton_step(
    pair: Pair, parts: Sequence[Linear], u: Sequence[Array], touching: np.ndarray
) -> tuple[Sequence[Array], Array]:
    """Newton step of every body and the contact forces after it."""
    rows = pair.touching
    gap_now = pair.gap + sum(rows @ v for v in u)
    free: list[Array] = [-p.factor.solve(p.residual) for p in parts]
    free_gap = gap_now + sum(rows @ d for d in free)
    force: Array = np.zeros(len(pair.gap))
    chosen = np.flatnonzero(touching | (free_gap < 0))
    halves: list[Array] = [np.zeros((len(d), 0)) for d in free]
    known = np.zeros(0, dtype=np.int64)
    steps = free
    for _ in range(20):
        new = np.setdiff1d(chosen, known)
        if len(new):
            columns = np.asfortranarray(rows[new].toarray().T)
            halves = [
                np.hstack([h, p.factor.half(columns)]) for h, p in zip(halves, parts, strict=True)
            ]
            known = np.concatenate([known, new])
        if len(known) == 0:
            return steps, force
        compliance = np.sum([h.T @ h for h in halves], axis=0)
        found = contact_forces(compliance, free_gap[known], touching[known])
        force = np.zeros(len(pair.gap))
        force[known] = found
        push = rows.T @ force
        steps = [d + p.factor.solve(push) for d, p in zip(free, parts, strict=True)]
        gap = gap_now + sum(rows @ d for d in steps)
        chosen = np.flatnonzero(gap < -1e-11)
        if np.isin(chosen, known).all():
            return steps, force
    msg = "the touching points did not settle; please report this reed"
    raise OutsideModel(msg)
