"""What cane at each place does: thickness gradients on the maker's grid, and quick predictions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.blades import Blades, build
from crowlight.blade.outputs import Output
from crowlight.blade.pair import Pair
from crowlight.blade.probes import Nearby
from crowlight.blade.thickness import ThicknessGrid

__all__ = ["Effects", "brush", "effects_of", "slopes_of", "stroke_map"]

CLIP_STEP = 1e-6  # metres


@dataclass(frozen=True)
class Effects:
    """Gradient of every output by the grid values of both blades, and by a clip.

    Parameters
    ----------
    names : tuple of str
        Outputs, in the order of the tables.
    marked_table, plain_table : ndarray, shape (n_outputs, n_along, n_across)
        Change of each output per thickness at each node [output unit / m]. The sum over nodes,
        times a change of thickness, is the change of the output.
    clip_slopes : ndarray, shape (n_outputs,)
        Change per length clipped off the tip [output unit / m], the rest shape staying.
    area_marked, area_plain : ndarray, shape (n_along, n_across)
        Blade area that each node stands for [m²]; 0 beyond the tip.

    Notes
    -----
    Not a number where an output has no derivative: the closing pressure of a reed that snaps shut.
    First order. A change of 30 µm in the heart or 5 µm at the tip is predicted within a few
    percent; larger ones need a new solution.
    """

    names: tuple[str, ...]
    marked_table: Array
    plain_table: Array
    clip_slopes: Array
    area_marked: Array
    area_plain: Array

    def marked(self, name: str) -> Array:
        """Gradient of one output by the marked blade's grid, shape (n_along, n_across)."""
        return self.marked_table[self.names.index(name)]

    def plain(self, name: str) -> Array:
        """Gradient of one output by the plain blade's grid, shape (n_along, n_across)."""
        return self.plain_table[self.names.index(name)]

    def predict(
        self, *, marked: ArrayLike = 0.0, plain: ArrayLike = 0.0, clip: float = 0.0
    ) -> dict[str, float]:
        """Predict the change of every output.

        Parameters
        ----------
        marked, plain : array_like
            Change of thickness, negative for cane taken off [m]; broadcast to the grids.
        clip : float
            Clipped off the tip [m].
        """
        total = clip * self.clip_slopes
        for table, change in ((self.marked_table, marked), (self.plain_table, plain)):
            if np.any(change):
                full = np.broadcast_to(np.asarray(change, dtype=float), table.shape[1:])
                total = total + table.reshape(len(table), -1) @ full.ravel()
        return dict(zip(self.names, total.tolist(), strict=True))


def brush(
    grid: ThicknessGrid, *, across: float, along: float, radius: float, half_width: float = 3.5e-3
) -> Array:
    """Shape of a soft round stroke on a grid, 1 at its middle to 0 at `radius`.

    Parameters
    ----------
    grid : ThicknessGrid
        Grid of the blade.
    across : float
        Middle across, −1 to 1.
    along : float
        Middle from the thread [m].
    radius : float
        Where the stroke ends [m]; > 0.
    half_width : float
        Half the width of the blade [m].

    Examples
    --------
    >>> from crowlight.blade import typical_scrape
    >>> float(brush(typical_scrape(), across=0, along=0.02, radius=1e-3).max())
    1.0
    """
    x = (grid.across[None, :] - across) * half_width
    y = grid.along[:, None] - along
    share = (x**2 + y**2) / radius**2
    return np.where(share < 1, (1 - share) ** 2, 0.0)


def stroke_map(effect: Array, grid: ThicknessGrid, *, cane: float, radius: float) -> Array:
    """Change of an output if a soft stroke takes off `cane` [m] around each node in turn.

    Parameters
    ----------
    effect : ndarray, shape (n_along, n_across)
        From `Effects.marked` or `Effects.plain` [output unit / m].
    grid : ThicknessGrid
        Grid of that blade.
    cane : float
        Cane taken at the middle of the stroke [m].
    radius : float
        Radius of the stroke [m].
    """
    out = np.empty(effect.shape)
    for j, along in enumerate(grid.along):
        for i, across in enumerate(grid.across):
            shape = brush(grid, across=float(across), along=float(along), radius=radius)
            out[j, i] = -cane * np.sum(shape * effect)
    return out


def effects_of(blades: Blades, pair: Pair, outputs: Mapping[str, Output]) -> Effects:
    """Gradients of all outputs by the grids of both blades and by a clip."""
    cache: dict[int, list[Array]] = {}
    tables: list[list[Array]] = [[] for _ in pair.bodies]
    for output in outputs.values():
        for table, body, density in zip(
            tables, pair.bodies, output.by_thickness(cache), strict=True
        ):
            on_grid = body.spread.T @ density.ravel()
            table.append(on_grid.reshape(body.grid.values.shape))
    area = [
        (b.spread.T @ b.shell.mesh.area.ravel()).reshape(b.grid.values.shape) for b in pair.bodies
    ]
    stacked = [np.array(t) for t in tables]
    if pair.alike:  # the gradient is for both blades changed alike: half of it each
        stacked = [stacked[0] / 2] * 2
        area = area * 2
    clip = slopes_of(outputs, clip_nearby(blades))
    names = tuple(outputs)
    return Effects(
        names, stacked[0], stacked[1], np.array([clip[n] for n in names]), area[0], area[1]
    )


def clip_nearby(blades: Blades) -> Nearby:
    """Reed clipped by a little more and a little less."""
    return Nearby(build(blades.clip(CLIP_STEP)), build(blades.clip(-CLIP_STEP)), CLIP_STEP)


def slopes_of(outputs: Mapping[str, Output], nearby: Nearby) -> dict[str, float]:
    """Differentiate every output by one parameter."""
    cache: dict[int, float] = {}
    return {name: o.by_parameter(nearby, cache) for name, o in outputs.items()}
