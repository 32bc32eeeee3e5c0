"""Local flexibility: how far each point gives under a newton, what a thumb feels.

The blade rests with its touching edges on the other blade, which is taken as unyielding, so the
map shows one blade by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.body import Body
from crowlight.blade.equilibrium import settle
from crowlight.blade.pair import Pair, rest_guess
from crowlight.blade.tangent import Tangent
from crowlight.errors import OutsideModel

__all__ = ["FlexibilityMap", "flexibility_map", "pad_force"]

FIRST_FORCE, MOST_FORCE = 0.05, 50.0  # newtons


@dataclass(frozen=True)
class FlexibilityMap:
    """Deflection per force over one blade.

    Parameters
    ----------
    across : ndarray, shape (n_across,)
        −1 to 1.
    from_tip : ndarray, shape (n_along,)
        Distance from the tip [m].
    values : ndarray, shape (n_along, n_across)
        Inward deflection of each point per force pressed there [m/N]; > 0.
    """

    across: Array
    from_tip: Array
    values: Array


def flexibility_map(
    pair: Pair, which: int, rest: Tangent, *, along: int = 24, across: int = 9
) -> FlexibilityMap:
    """Compute the flexibility of one blade at rest.

    Parameters
    ----------
    pair : Pair
        The reed.
    which : int
        0 marked, 1 plain.
    rest : Tangent
        The reed linearised at rest.
    along, across : int
        Points of the map.
    """
    body, factor = pair.bodies[which], rest.factors[which]
    xi, eta = np.meshgrid(np.linspace(-0.95, 0.95, across), np.linspace(0.05, 1.0, along))
    normal = body.patch.frames(xi.ravel(), eta.ravel()).a3
    weights = body.patch.weights(xi, eta)
    rows = (weights[:, :, None] * normal[:, None, :]).reshape(len(weights), -1)
    rows[:, body.shell.band.held] = 0.0
    moved = factor.solve(np.asfortranarray(rows.T))
    give = np.sum(rows.T * moved, axis=0)
    if len(rest.rows):
        held = rest.rows @ rest.spread[which]
        cross = rest.rows @ moved
        give -= np.sum(cross * np.linalg.solve(held, cross), axis=0)
    from_tip = (1 - eta[:, 0]) * body.shape.free_length
    return FlexibilityMap(xi[0], from_tip, give.reshape(xi.shape))


def pad_rows(body: Body, from_tip: float, radius: float) -> Array:
    """Compute forces of one newton from a round flat pad pressing straight down, shape (n_dof,)."""
    mesh = body.shell.mesh
    where = mesh.frames.position
    r2 = where[..., 0] ** 2 + (body.shape.free_length - from_tip - where[..., 1]) ** 2
    share = mesh.area * mesh.frames.a3[..., 2] * np.exp(-2 * r2 / radius**2)
    down = np.zeros((*share.shape, 3))
    down[..., 2] = -share / share.sum()
    out = mesh.scatter(np.swapaxes(mesh.shape, 1, 2) @ down)
    out[body.shell.band.held] = 0.0
    return out


def pad_force(
    pair: Pair, *, from_tip: float = 8e-3, depth: float = 0.1e-3, radius: float = 1.5e-3
) -> float:
    """Force that presses each blade in by `depth` through a soft-edged pad on either side [N].

    The reed is squeezed between two like pads, one on each blade, and the pads approach each other
    by twice `depth`. Never press on the tip itself.

    Parameters
    ----------
    pair : Pair
        The reed.
    from_tip : float
        Middle of the pad from the tip [m].
    depth : float
        Mean deflection under the pad of each blade [m].
    radius : float
        Radius at which the pad's pressure has fallen to e⁻² [m].

    Raises
    ------
    OutsideModel
        If no force up to 50 N does it.
    """
    pads = [pad_rows(b, from_tip, radius) for b in pair.bodies]
    state, force, given = rest_guess(pair), 0.0, 0.0
    step = FIRST_FORCE
    for _ in range(40):
        if not 0 < force + step < MOST_FORCE:
            break
        loads = [s + (force + step) * p for s, p in zip(pair.steady, pads, strict=True)]
        state = settle(replace(pair, steady=tuple(loads)), 0.0, state)
        moved = float(
            np.mean([p @ (u - r) for p, u, r in zip(pads, state.u, pair.rest, strict=True)])
        )
        force, slope, given = force + step, (moved - given) / step, moved
        if abs(given - depth) < 1e-4 * depth:
            return force
        step = (depth - given) / slope
    msg = f"no force up to {MOST_FORCE:g} N presses this blade in by {depth * 1e3:g} mm"
    raise OutsideModel(msg + "; check the map and the opening")
