"""The force test in the blade model, with its slopes by every unknown.

Both blades are pressed straight down by equal pads, one on either side; the edges carry the reed
where they touch. The pad's force is spread evenly over the strip of the crest that it meets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.body import Body
from crowlight.blade.equilibrium import settle
from crowlight.blade.pair import Pair, rest_guess
from crowlight.blade.probes import Nearby, StateProbe
from crowlight.blade.tangent import dot, rest_tangent, tangent_at
from crowlight.calibrate.measurements import Pad
from crowlight.errors import OutsideModel

__all__ = ["Pressed", "press"]

_SOFT = 0.3e-3
"""Over which the pad's ends fade [m]; sharp ends would follow the mesh."""

_CLOSE = 1e-6


def pad_rows(body: Body, pad: Pad) -> Array:
    """Spread one newton of the pad over one blade, shape (n_dof,); times u: its descent."""
    mesh = body.shell.mesh
    x, y = (mesh.frames.position[..., k] for k in (0, 1))
    ahead = body.shape.free_length - pad.from_tip - y

    def inside(offset: Array, half: float) -> Array:
        return 0.5 * (np.tanh((offset + half) / _SOFT) - np.tanh((offset - half) / _SOFT))

    share = mesh.area * mesh.frames.a3[..., 2]
    share = share * inside(ahead, pad.length / 2) * inside(x, pad.touching / 2)
    down = np.zeros((*share.shape, 3))
    down[..., 2] = -share / share.sum()
    rows = mesh.scatter(np.swapaxes(mesh.shape, 1, 2) @ down)
    rows[body.shell.band.held] = 0.0
    return rows


def all_rows(pair: Pair, pad: Pad) -> list[Array]:
    """Pad forces of one newton on every body."""
    return [pad_rows(b, pad) for b in pair.bodies]


def depth_rows(pair: Pair, pad: Pad) -> list[Array]:
    """Gradient of the depth: mean over the blades."""
    return [r / len(pair.bodies) for r in all_rows(pair, pad)]


def squeezed(pair: Pair, pad: Pad, force: float) -> Pair:
    """Return the pair with the pads' force added to its steady loads."""
    loads = zip(pair.steady, all_rows(pair, pad), strict=True)
    return replace(pair, steady=tuple(s + force * p for s, p in loads))


@dataclass(frozen=True)
class Pressed:
    """A reed in the force test.

    Parameters
    ----------
    pad : Pad
        Of the test.
    force : float
        That presses each blade in by the depth asked for [N].
    give : float
        Further depth per force there [m/N].
    probe : StateProbe
        The depth as a quantity with adjoint slopes.
    """

    pad: Pad
    force: float
    give: float
    probe: StateProbe

    def by_parameter(self, nearby: Nearby) -> float:
        """Differentiate the force by one parameter of the reed."""
        loaded = Nearby(
            squeezed(nearby.plus, self.pad, self.force),
            squeezed(nearby.minus, self.pad, self.force),
            nearby.step,
        )
        return -self.probe.by_parameter(loaded) / self.give

    def by_grid(self) -> list[Array]:
        """Differentiate the force by the raveled grid values of each body [N/m]."""
        bodies = self.probe.tangent.pair.bodies
        return [
            -(b.spread.T @ g.ravel()) / self.give
            for b, g in zip(bodies, self.probe.by_thickness(), strict=True)
        ]


def press(pair: Pair, pad: Pad, depth: float) -> Pressed:
    """Find the force of the test by Newton's method.

    Parameters
    ----------
    pair : Pair
        The reed, at rest.
    pad : Pad
        Where and how large.
    depth : float
        How far each blade is pressed in [m]; mean of both where they differ.

    Raises
    ------
    OutsideModel
        If no force does it.
    """

    def read(p: Pair, u: Sequence[Array]) -> float:
        parts = zip(depth_rows(p, pad), u, p.rest, strict=True)
        return sum(float(r @ (v - at)) for r, v, at in parts)

    rows, state = depth_rows(pair, pad), rest_guess(pair)
    tangent = rest_tangent(pair)
    force = depth / dot(rows, tangent.solve(all_rows(pair, pad))[0])
    for _ in range(20):
        loaded = squeezed(pair, pad, force)
        state = settle(loaded, 0.0, state)
        tangent = tangent_at(loaded, state)
        give = dot(rows, tangent.solve(all_rows(pair, pad))[0])
        missing = depth - read(loaded, state.u)
        if abs(missing) < _CLOSE * depth:
            probe = StateProbe(tangent, read, lambda p: depth_rows(p, pad))
            return Pressed(pad, force, give, probe)
        force += float(np.clip(missing / give, -0.5 * force, force))
    msg = f"no force presses this reed in by {depth * 1e3:g} mm; check map and opening"
    raise OutsideModel(msg)
