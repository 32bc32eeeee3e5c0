"""Vibration modes of a blade: free, with its edges held, and touching under load.

Each blade vibrates against the plane between the blades: points that touch stay where they are.
Only the blade's own mass counts, no air. None of these frequencies is the pitch of the crow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.band import Factor, factor
from crowlight.blade.body import Body
from crowlight.blade.equilibrium import held_stiffness
from crowlight.blade.modes import held_inverse, lowest_modes, match_modes, starting_shapes
from crowlight.blade.pair import Pair, State
from crowlight.blade.shell import Shell
from crowlight.blade.threads import one_thread
from crowlight.errors import OutsideModel

__all__ = ["BladeModes", "TrackedModes", "blade_modes", "held_modes", "loaded_modes", "track"]

EVEN = -0.05  # two modes may be half alike and half opposite each, up to rounding
SPARE = 6  # further shapes carried along; more sweeps less


@dataclass(frozen=True)
class BladeModes:
    """Lowest modes of one blade.

    Parameters
    ----------
    frequencies : ndarray, shape (n_modes,)
        Ascending [Hz].
    shapes : ndarray, shape (n_dof, n_modes)
        Unit modal mass [1/sqrt(kg)].
    symmetry : ndarray, shape (n_modes,)
        1: left and right move alike, −1: opposite.
    swept : ndarray, shape (n_modes,)
        Volume swept per modal amplitude [m³/sqrt(kg)/m]; 0 means even pressure does not drive it.
    start : ndarray, shape (n_dof, n_modes + 6)
        Shapes to start a similar blade from.
    """

    frequencies: Array
    shapes: Array
    symmetry: Array
    swept: Array
    start: Array

    @property
    def first_symmetric(self) -> int:
        """Index of the lowest mode in which both sides move alike, at least as much as opposite."""
        alike = np.flatnonzero(self.symmetry > EVEN)
        return int(alike[0]) if len(alike) else 0


@dataclass(frozen=True)
class TrackedModes:
    """Modes followed along the opening curve.

    Parameters
    ----------
    pressures : ndarray, shape (n_states,)
        Closing pressure [Pa].
    frequencies : ndarray, shape (n_states, n_modes)
        Column k follows one shape, whatever its order [Hz].
    alike : ndarray, shape (n_states, n_modes)
        Modal assurance criterion with the state before (1 in the first row).
    order : ndarray of int, shape (n_states, n_modes)
        Rank of each followed mode at each pressure.
    """

    pressures: Array
    frequencies: Array
    alike: Array
    order: Ints


@one_thread
def blade_modes(
    body: Body,
    shell: Shell,
    u: Array,
    rows: Array | None,
    *,
    count: int = 6,
    start: Array | None = None,
    tolerance: float = 1e-9,
    done: Factor | None = None,
) -> BladeModes:
    """Lowest modes of a blade about displacement `u`, with ``rows @ x`` kept at zero.

    `done` is the factored tangent there, if known.

    Raises
    ------
    OutsideModel
        If the blade is not stable there.
    """
    if done is None:
        stored = shell.stiffness(shell.strain(u))
        done = factor(stored)
        if done is None and rows is not None:
            done = factor(stored + stiffened(body, rows, float(np.median(stored[0]))))
    if done is None:
        msg = "the blade is not stable at this pressure; modes are not defined"
        raise OutsideModel(msg)
    mass = shell.mass()

    def mass_times(v: Array) -> Array:
        return shell.band.times(mass, v)

    if start is None:
        start = starting_shapes(shell.mesh.n_dof, count + SPARE)
        start[shell.band.held] = 0.0
    modes, block = lowest_modes(
        held_inverse(done, rows), mass_times, count, start=start, tolerance=tolerance
    )
    mirror = mirrored(body, modes.shapes)
    symmetry = np.sum(modes.shapes * mass_times(mirror), axis=0)
    return BladeModes(modes.frequencies, modes.shapes, symmetry, body.push @ modes.shapes, block)


def stiffened(body: Body, rows: Array, scale: float) -> Array:
    """Springs on the held rows, which change nothing once they are held."""
    held = np.isin(np.arange(body.touching.shape[0]), row_numbers(body, rows))
    return held_stiffness(body, held, scale)


def row_numbers(body: Body, rows: Array) -> Ints:
    """Which touching points the given rows are."""
    places = body.touching.toarray()
    return np.array([int(np.argmin(np.abs(places - r).sum(axis=1))) for r in rows], dtype=np.int64)


def mirrored(body: Body, shapes: Array) -> Array:
    """Shapes with left and right exchanged, shape (n_dof, n)."""
    ny, nx = body.patch.along.size, body.patch.across.size
    turned = shapes.reshape(ny, nx, 3, -1)[:, ::-1].copy()
    turned[:, :, 0] *= -1
    return turned.reshape(shapes.shape)


def held_modes(
    body: Body,
    *,
    count: int = 6,
    start: Array | None = None,
    done: Factor | None = None,
    tolerance: float = 1e-9,
) -> BladeModes:
    """Modes at rest with both side edges held in z, the convention for a reed at rest."""
    rows = body.touching[np.flatnonzero(body.on_edge)].toarray()
    u = np.zeros(body.shell.mesh.n_dof)
    return blade_modes(
        body, body.shell, u, rows, count=count, start=start, done=done, tolerance=tolerance
    )


def free_modes(
    body: Body,
    *,
    count: int = 6,
    start: Array | None = None,
    done: Factor | None = None,
    tolerance: float = 1e-9,
) -> BladeModes:
    """Modes of a single blade held at the thread only."""
    u = np.zeros(body.shell.mesh.n_dof)
    return blade_modes(
        body, body.shell, u, None, count=count, start=start, done=done, tolerance=tolerance
    )


def loaded_modes(
    pair: Pair,
    which: int,
    state: State,
    *,
    count: int = 6,
    start: Array | None = None,
    done: Factor | None = None,
    tolerance: float = 1e-9,
) -> BladeModes:
    """Modes of body `which` of a pair about a state, its touching points kept."""
    rows = pair.touching[np.flatnonzero(state.touching)].toarray()
    return blade_modes(
        pair.bodies[which],
        pair.shells[which],
        state.u[which],
        rows,
        count=count,
        start=start,
        done=done,
        tolerance=tolerance,
    )


def track(pair: Pair, which: int, states: Sequence[State], *, count: int = 6) -> TrackedModes:
    """Follow the modes of one blade along states, matching shapes by modal assurance criterion."""
    shell = pair.shells[which]
    mass = shell.mass()
    frequencies, alike, order = [], [], []
    shapes, start = None, None
    for state in states:
        modes = loaded_modes(pair, which, state, count=count, start=start)
        start = modes.start
        if shapes is None:
            rank, like = np.arange(count), np.ones(count)
        else:
            rank, like = match_modes(shapes, modes.shapes, lambda v: shell.band.times(mass, v))
        shapes = modes.shapes[:, rank]
        frequencies.append(modes.frequencies[rank])
        alike.append(like)
        order.append(rank)
    return TrackedModes(
        np.array([s.pressure for s in states]),
        np.array(frequencies),
        np.array(alike),
        np.array(order),
    )
