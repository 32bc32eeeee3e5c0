"""Equilibrium of two blades under pressure, lip and contact, downhill in energy.

Newton's method with the touching points solved exactly in every step (see `contact`). Once steps
are small the last factor is kept for cheap further steps, as long as each is a fifth of the one
before. Where the tangent is not positive definite (near a snap) it is raised until it is.

References
----------
Nocedal, J., Wright, S.J. (2006). Numerical Optimization, 2nd ed., ch. 3 (line search, modified
Newton) and ch. 18 (quadratic sub-problems). (From memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.band import Factor, factor, springs_of
from crowlight.blade.body import Body
from crowlight.blade.contact import contact_forces
from crowlight.blade.lip import Lip
from crowlight.blade.pair import Pair, State, tightened
from crowlight.blade.shell import Strained
from crowlight.errors import OutsideModel

__all__ = ["STEP_ENDS", "Anchor", "anchor_at", "make_pair", "settle"]

STEP_ENDS = 1e-9  # metres: once further steps would be smaller, the state is found
NEWTON_STEPS = 80
PATIENT_STEPS = 12  # after so many, near a snap, twenty times that distance will do
KEEP_FACTOR = 0.2  # each kept-factor step must be at most this share of the one before
KEEP_ANCHOR = 0.5  # the same with the factor of a similar reed
FAR = 1.0  # metres: a gap that never closes
SPRINGS = (1e-4, 1e-3, 1e-2, 1.0)  # tried to steady a blade, in typical stiffness of a point
MASSES = tuple(1e-7 * 4.0**k for k in range(24))
LONGEST = 256.0  # times a step that was taken with a stiffened tangent
GAP_ZERO = 1e-11  # metres
SMALL_STEP = 1e-7  # metres: below this, steps are taken whole


@dataclass
class Anchor:
    """Factored tangents to take steps with, and the compliance between touching points.

    Parameters
    ----------
    rows : csr_array
        Rows of all points that may touch.
    factors : tuple of Factor
        Of each body.
    known : ndarray of int
        Points whose columns are there; grows as needed.
    halves : list of ndarray, shape (n_dof, n_known)
        Half-solved columns of each body.
    """

    rows: csr_array
    factors: tuple[Factor, ...]
    known: Ints
    halves: list[Array]

    def reach(self, points: Ints) -> None:
        """Make sure the columns of these points are there."""
        new = np.setdiff1d(points, self.known)
        if len(new):
            columns = np.asfortranarray(self.rows[new].toarray().T)
            self.halves = [
                np.hstack([h, k.half(columns)])
                for h, k in zip(self.halves, self.factors, strict=True)
            ]
            self.known = np.concatenate([self.known, new])

    def compliance(self) -> Array:
        """Compliance between the known points, both bodies together [m/N]."""
        return np.sum([h.T @ h for h in self.halves], axis=0)


def anchor_of(pair: Pair, factors: Sequence[Factor]) -> Anchor:
    """Anchor without any columns yet."""
    empty: list[Array] = [np.zeros((b.shell.mesh.n_dof, 0)) for b in pair.bodies]
    return Anchor(pair.touching, tuple(factors), np.zeros(0, dtype=np.int64), empty)


def anchor_at(pair: Pair, state: State) -> Anchor | None:
    """Anchor for steps about a state; None where the tangent is not positive definite."""
    factors = []
    for shell, u in zip(pair.shells, state.u, strict=True):
        done = shell.factor(shell.strain(u))
        if done is None:
            return None
        factors.append(done)
    anchor = anchor_of(pair, factors)
    anchor.reach(np.flatnonzero(state.touching))
    return anchor


@dataclass
class Walk:
    """Where the iteration stands."""

    u: list[Array]
    strains: list[Strained]
    force: Array

    def residuals(self, pair: Pair, loads: Sequence[Array]) -> list[Array]:
        """Out-of-balance forces of each body, contact left out."""
        return [
            s.forces(at, v) - f
            for s, at, v, f in zip(pair.shells, self.strains, self.u, loads, strict=True)
        ]

    def moved(self, pair: Pair, steps: Sequence[Array], share: float) -> Walk:
        """Return the walk some way along a step."""
        u: list[Array] = [v + share * d for v, d in zip(self.u, steps, strict=True)]
        strains = [s.strain(v) for s, v in zip(pair.shells, u, strict=True)]
        return Walk(u, strains, self.force)

    def energy(self, pair: Pair, loads: Sequence[Array]) -> float:
        """Potential energy [J]."""
        return sum(
            s.energy(at, v) - float(f @ v)
            for s, at, v, f in zip(pair.shells, self.strains, self.u, loads, strict=True)
        )


def settle(
    pair: Pair,
    pressure: float,
    start: State,
    *,
    step_ends: float = STEP_ENDS,
    anchor: Anchor | None = None,
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
        Distance from the solution at which to stop [m].
    anchor : Anchor, optional
        Factors of a similar reed at this pressure, tried first.

    Raises
    ------
    OutsideModel
        If no equilibrium is found.
    """
    loads = [pressure * b.push + s for b, s in zip(pair.bodies, pair.steady, strict=True)]
    strains = [s.strain(v) for s, v in zip(pair.shells, start.u, strict=True)]
    here: list[Array] = list(start.u)
    walk = Walk(here, strains, start.force)
    if anchor is not None:
        tried, done, _ = kept_factor_steps(pair, loads, walk, anchor, np.inf, step_ends)
        if done:
            return State(pressure, tuple(tried.u), tried.force, pair.area(tried.u))
    for k in range(NEWTON_STEPS):
        walk, largest, exact, true, anchor = newton_step(pair, loads, walk)
        if exact and largest < step_ends * (1 if k < PATIENT_STEPS else 20):
            return State(pressure, tuple(walk.u), walk.force, pair.area(walk.u))
        if true and largest < 1e3 * SMALL_STEP:
            tried, done, better = kept_factor_steps(pair, loads, walk, anchor, largest, step_ends)
            if done:
                return State(pressure, tuple(tried.u), tried.force, pair.area(tried.u))
            walk = tried if better else walk
    msg = (
        f"no equilibrium found at {pressure / 1e3:.3g} kPa after {NEWTON_STEPS} steps; "
        "the blade may be too thin or its opening too odd for this model"
    )
    raise OutsideModel(msg)


def kept_factor_steps(
    pair: Pair,
    loads: Sequence[Array],
    walk: Walk,
    anchor: Anchor,
    last: float,
    step_ends: float,
) -> tuple[Walk, bool, bool]:
    """Take steps with a kept factor while they shrink fast.

    Returns
    -------
    walk : Walk
        Where they led.
    done : bool
        Whether the solution is nearer than `step_ends`.
    better : bool
        Whether any step was worth keeping.
    """
    better, slowest = False, KEEP_FACTOR if np.isfinite(last) else KEEP_ANCHOR
    for k in range(12):
        steps, force = contact_step(pair, walk.residuals(pair, loads), walk, anchor)
        size = max(float(np.max(np.abs(d))) for d in steps)
        if size == 0:
            return replace(walk, force=force), True, True
        rate = size / last if np.isfinite(last) else slowest
        if rate > slowest:
            return walk, False, better
        walk = replace(walk.moved(pair, steps, 1.0), force=force)
        better = True
        # The first ratio compares with a step of another kind and says nothing about the rate.
        left = size * rate / (1 - rate) if k > 0 else size
        if left < step_ends and (k > 0 or np.isfinite(last)):
            return walk, True, True
        last = size
    return walk, False, better


def newton_step(
    pair: Pair, loads: Sequence[Array], walk: Walk
) -> tuple[Walk, float, bool, bool, Anchor]:
    """One full Newton step with line search.

    Returns
    -------
    walk : Walk
        After the step.
    largest : float
        Largest displacement of the step [m].
    exact : bool
        Whether it was taken whole and its size tells the distance to the solution.
    true : bool
        Whether moreover the tangent was used as it is.
    anchor : Anchor
        Its factors.
    """
    touching = walk.force > 0
    found = [steady_factor(pair, k, at, touching) for k, at in enumerate(walk.strains)]
    anchor = anchor_of(pair, [f for f, _ in found])
    residuals = walk.residuals(pair, loads)
    feasible = float(np.min(pair.gap + sum(pair.touching @ v for v in walk.u))) > -1e-9
    steps, force = contact_step(pair, residuals, walk, anchor)
    kept = bool(np.all((force > 0)[touching]))
    exact = all(helped == "no" or (helped == "contact" and kept) for _, helped in found)
    slope = sum(float(r @ d) for r, d in zip(residuals, steps, strict=True))
    largest = max(float(np.max(np.abs(d))) for d in steps)
    before = walk.energy(pair, loads)
    share = 1.0
    while True:
        new = walk.moved(pair, steps, share)
        if not feasible or largest < SMALL_STEP or share < 1e-3:
            break
        if new.energy(pair, loads) <= before + 1e-4 * share * min(slope, 0.0) + 1e-15:
            break
        share /= 2
    if share == 1.0 and feasible and any(helped != "no" for _, helped in found):
        new, share = lengthened(pair, loads, walk, steps, new)
    whole = share >= 1.0
    true = all(helped == "no" for _, helped in found)
    return replace(new, force=force), share * largest, exact and whole, true and whole, anchor


def lengthened(
    pair: Pair, loads: Sequence[Array], walk: Walk, steps: Sequence[Array], new: Walk
) -> tuple[Walk, float]:
    """Double a step taken with a stiffened tangent while energy falls and no gap closes."""
    share, best = 1.0, new.energy(pair, loads)
    while share < LONGEST:
        trial = walk.moved(pair, steps, 2 * share)
        gap = float(np.min(pair.gap + sum(pair.touching @ v for v in trial.u)))
        energy = trial.energy(pair, loads)
        if energy >= best or gap < -GAP_ZERO:
            break
        new, best, share = trial, energy, 2 * share
    return new, share


def contact_step(
    pair: Pair, residuals: Sequence[Array], walk: Walk, anchor: Anchor
) -> tuple[Sequence[Array], Array]:
    """Step of every body with given factors, and the contact forces after it."""
    rows, touching = pair.touching, walk.force > 0
    gap_now = pair.gap + sum(rows @ v for v in walk.u)
    free: list[Array] = [-k.solve(r) for k, r in zip(anchor.factors, residuals, strict=True)]
    free_gap = gap_now + sum(rows @ d for d in free)
    force: Array = np.zeros(len(pair.gap))
    anchor.reach(np.flatnonzero(touching | (free_gap < 0)))
    steps = free
    for _ in range(20):
        known = anchor.known
        if len(known) == 0:
            return steps, force
        found = contact_forces(anchor.compliance(), free_gap[known], touching[known])
        force = np.zeros(len(pair.gap))
        force[known] = found
        push = rows.T @ force
        steps = [d + k.solve(push) for d, k in zip(free, anchor.factors, strict=True)]
        gap = gap_now + sum(rows @ d for d in steps)
        chosen = np.flatnonzero(gap < -GAP_ZERO)
        if np.isin(chosen, known).all():
            return steps, force
        anchor.reach(chosen)
    msg = "the touching points did not settle; please report this reed"
    raise OutsideModel(msg)


def steady_factor(
    pair: Pair, k: int, at: Strained, touching: np.ndarray
) -> tuple[Factor, Literal["no", "contact", "mass"]]:
    """Factored tangent of body `k`, made positive definite where it is not, and with what help.

    First try: stiffen only against leaving the present contact, which does not move the solution
    as long as the same points touch. Second: add a growing mass-like term, as slow dynamics would;
    such a step is never exact.
    """
    shell, body = pair.shells[k], pair.bodies[k]
    stored = shell.stiffness(at)
    done = factor(stored)
    if done is not None:
        return done, "no"
    scale = float(np.median(stored[0]))
    if touching.any():
        springs = held_stiffness(body, touching, scale)
        for share in SPRINGS:
            done = factor(stored + share * springs)
            if done is not None:
                return done, "contact"
    lumped = shell.mesh.scatter(
        np.repeat(np.swapaxes(shell.mesh.shape, 1, 2) @ shell.mesh.area[..., None], 3, axis=2)
    )
    lumped = np.maximum(lumped, 1e-3 * lumped.max()) * scale / float(np.median(lumped))
    for share in MASSES:
        raised = stored.copy(order="F")
        raised[0] += share * lumped
        done = factor(raised)
        if done is not None:
            return done, "mass"
    msg = "the blade has no stiffness left; check the thickness map for very thin spots"
    raise OutsideModel(msg)


def held_stiffness(body: Body, touching: np.ndarray, scale: float) -> Array:
    """Springs of stiffness `scale` on the touching points, in banded storage."""
    rows = body.touching[np.flatnonzero(touching)]
    return springs_of(np.sqrt(scale) * rows, body.shell.band.width)


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
