"""Small changes about an equilibrium, with the touching points kept touching.

    K_b x_b − N' m = f_b   for each body b,      sum_b N x_b = 0

N: rows of the touching points; m: change of the contact forces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.band import Factor, Pivoted, factor, pivoted
from crowlight.blade.equilibrium import STEP_ENDS, settle
from crowlight.blade.pair import Pair, State, rest_guess
from crowlight.blade.shell import Strained
from crowlight.errors import OutsideModel

__all__ = ["Tangent", "rest_tangent", "tangent_at"]

STEPS = 20
FIRST_BREATH = 10.0  # pascals: decides which edge points touch when the reed starts to close


@dataclass(frozen=True)
class Tangent:
    """The pair linearised at a state.

    Parameters
    ----------
    pair : Pair
        Blades and loads.
    state : State
        Where.
    at : tuple of Strained
        Strains of each body there.
    factors : tuple of Factor or Pivoted
        Factored tangent stiffness of each body.
    rows : ndarray, shape (n_held, n_dof)
        Rows of the touching points.
    spread : tuple of ndarray, shape (n_dof, n_held)
        ``K⁻¹ N'`` of each body.
    small : ndarray, shape (n_held, n_held)
        Compliance between the touching points [m/N].
    """

    pair: Pair
    state: State
    at: tuple[Strained, ...]
    factors: tuple[Factor | Pivoted, ...]
    rows: Array
    spread: tuple[Array, ...]
    small: Array

    def solve(self, forces: Sequence[Array]) -> tuple[list[Array], Array]:
        """Displacements of each body under small forces, and the change of the contact forces."""
        free = [k.solve(np.asfortranarray(f)) for k, f in zip(self.factors, forces, strict=True)]
        if len(self.rows) == 0:
            return free, np.zeros((0, *free[0].shape[1:]))
        pressed = -np.linalg.solve(self.small, sum(self.rows @ x for x in free))
        return [x + y @ pressed for x, y in zip(free, self.spread, strict=True)], pressed

    def pressure_response(self) -> list[Array]:
        """Displacements per pressure [m/Pa] of each body."""
        return self.solve([b.push for b in self.pair.bodies])[0]

    def area_rows(self) -> list[Array]:
        """Gradient of the opening area by the displacements of each body [m]."""
        return [self.pair.copies * b.tip_row for b in self.pair.bodies]

    def height_rows(self) -> list[Array]:
        """Gradient of the opening height by the displacements of each body."""
        return [self.pair.copies * b.middle_row for b in self.pair.bodies]

    def volume_rows(self) -> list[Array]:
        """Gradient of the volume swept inward by the displacements of each body [m²]."""
        return [self.pair.copies * b.push for b in self.pair.bodies]


def dot(rows: Sequence[Array], vectors: Sequence[Array]) -> float:
    """Sum of dot products over the bodies."""
    return sum(float(r @ v) for r, v in zip(rows, vectors, strict=True))


def tangent_at(pair: Pair, state: State) -> Tangent:
    """Linearise a pair at a state."""
    at = tuple(s.strain(u) for s, u in zip(pair.shells, state.u, strict=True))
    factors = []
    for shell, where in zip(pair.shells, at, strict=True):
        stored = shell.stiffness(where)
        factors.append(factor(stored) or pivoted(stored))
    rows = pair.touching[np.flatnonzero(state.touching)].toarray()
    columns = np.asfortranarray(rows.T)
    spread = tuple(k.solve(columns) if len(rows) else columns for k in factors)
    small = np.sum([rows @ y for y in spread], axis=0)
    return Tangent(pair, state, at, tuple(factors), rows, spread, small)


def rest_tangent(pair: Pair, *, step_ends: float = STEP_ENDS) -> Tangent:
    """Linearise at rest, under the lip if there is one.

    Without a lip those points touch that the first breath presses together: without preload nothing
    presses at rest, and with it some edge points touch without force.
    """
    rest = rest_guess(pair)
    if any(f.any() for f in pair.steady):
        rest = settle(pair, 0.0, rest, step_ends=step_ends)
        return tangent_at(pair, rest)
    near = settle(pair, FIRST_BREATH, rest, step_ends=step_ends)
    rest = replace(rest, force=near.force)
    if any(u.any() for u in pair.rest):
        rest = kept_together(pair, rest, step_ends)
    return tangent_at(pair, rest)


def kept_together(pair: Pair, start: State, step_ends: float) -> State:
    """Equilibrium near a state with its touching points held together, whatever their force."""
    state, places = start, np.flatnonzero(start.touching)
    for _ in range(STEPS):
        here = tangent_at(pair, state)
        free = [
            k.solve(f - s.forces(at, u))
            for k, s, at, u, f in zip(
                here.factors, pair.shells, here.at, state.u, pair.steady, strict=True
            )
        ]
        gap = pair.gap[places] + sum(
            here.rows @ (u + d) for u, d in zip(state.u, free, strict=True)
        )
        force = np.linalg.solve(here.small, -gap)
        steps = [d + y @ force for d, y in zip(free, here.spread, strict=True)]
        u = tuple(v + d for v, d in zip(state.u, steps, strict=True))
        state = replace(state, u=u, area=pair.area(u))
        if max(float(np.max(np.abs(d))) for d in steps) < step_ends:
            return state
    msg = "the rest state with the tie's preload was not found; check the opening and the map"
    raise OutsideModel(msg)
