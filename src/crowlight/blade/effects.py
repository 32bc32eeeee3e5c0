"""What cane at each place does: thickness gradients on the maker's grid, and quick predictions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.blades import Blades
from crowlight.blade.outputs import Output
from crowlight.blade.pair import Pair
from crowlight.blade.thickness import ThicknessGrid

__all__ = ["Effects", "brush", "effects_of", "stroke_map"]


@dataclass(frozen=True)
class Effects:
    """Gradient of every output by the grid values of both blades.

    Parameters
    ----------
    marked, plain : mapping of str to ndarray, shape (n_along, n_across)
        Change of the output per thickness at each node [output unit / m]. The sum over nodes,
        times a change of thickness, is the change of the output.
    area_marked, area_plain : ndarray, shape (n_along, n_across)
        Blade area that each node stands for [m²]; 0 beyond the tip.

    Notes
    -----
    First order. A change of 30 µm in the heart or 5 µm at the tip is predicted within a few
    percent; larger ones need a new solution.
    """

    marked: Mapping[str, Array]
    plain: Mapping[str, Array]
    area_marked: Array
    area_plain: Array

    def predict(
        self, name: str, *, marked: ArrayLike | float = 0.0, plain: ArrayLike | float = 0.0
    ) -> float:
        """Predict the change of one output for changes of thickness [m], broadcast to the grids."""
        first = np.sum(self.marked[name] * np.asarray(marked, dtype=float))
        return float(first + np.sum(self.plain[name] * np.asarray(plain, dtype=float)))

    def predict_all(
        self, *, marked: ArrayLike | float = 0.0, plain: ArrayLike | float = 0.0
    ) -> dict[str, float]:
        """Predict the change of every output."""
        return {name: self.predict(name, marked=marked, plain=plain) for name in self.marked}


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
        From `Effects.marked` or `Effects.plain`.
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
    """Thickness gradients of all outputs on the grids of both blades."""
    cache: dict[int, list[Array]] = {}
    on_grid: dict[str, list[Array]] = {}
    for name, output in outputs.items():
        density = output.by_thickness(cache)
        on_grid[name] = [
            (b.spread.T @ d.ravel()).reshape(b.grid.values.shape)
            for b, d in zip(pair.bodies, density, strict=True)
        ]
    area = [
        (b.spread.T @ b.shell.mesh.area.ravel()).reshape(b.grid.values.shape) for b in pair.bodies
    ]
    if pair.alike:  # the gradient is for both blades changed alike: half of it each
        half = {name: maps[0] / 2 for name, maps in on_grid.items()}
        return Effects(half, half, area[0], area[0])
    return Effects(
        {name: maps[0] for name, maps in on_grid.items()},
        {name: maps[1] for name, maps in on_grid.items()},
        area[0],
        area[1],
    )
