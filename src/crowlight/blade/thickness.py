"""Thickness of one blade on a regular grid, and how it reaches the quadrature points."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array
from crowlight.errors import InputError

__all__ = ["ThicknessGrid", "grid_from_tip"]

THINNEST, THICKEST = 5e-6, 2e-3


@dataclass(frozen=True)
class ThicknessGrid:
    """Thickness outward from the gouged face, bilinear between the nodes.

    Parameters
    ----------
    along : ndarray, shape (n_along,)
        Distance from the thread [m], ascending. Beyond the ends the nearest row holds.
    across : ndarray, shape (n_across,)
        From one edge, −1, over the middle, 0, to the other edge, 1, in parts of the half-width
        along the arc; ascending. −1 is the same physical edge for both blades of a reed.
    values : ndarray, shape (n_along, n_across)
        Thickness [m]; 5 µm to 2 mm.

    Raises
    ------
    InputError
        If the grid is not ascending, or a value is outside the limits.

    Examples
    --------
    >>> grid = ThicknessGrid([0, 0.02], [-1, 1], [[5e-4, 5e-4], [1e-4, 1e-4]])
    >>> float(grid.at(0.0, 0.01).round(9))
    0.0003
    """

    along: Array
    across: Array
    values: Array

    def __post_init__(self) -> None:
        for name in ("along", "across", "values"):
            array = np.array(getattr(self, name), dtype=float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        for name in ("along", "across"):
            axis = getattr(self, name)
            if axis.ndim != 1 or len(axis) < 2 or not np.all(np.diff(axis) > 0):
                msg = f"grid positions {name} must be ascending, at least two; got {axis.tolist()}"
                raise InputError(msg)
        if self.values.shape != (len(self.along), len(self.across)):
            msg = (
                f"thickness has shape {self.values.shape}, but the grid has "
                f"{len(self.along)} positions along and {len(self.across)} across"
            )
            raise InputError(msg)
        bad = ~((self.values >= THINNEST) & (self.values <= THICKEST))
        if bad.any():
            row, column = np.argwhere(bad)[0]
            msg = (
                f"thickness = {self.values[row, column] * 1e3:.4g} mm at "
                f"{self.along[row] * 1e3:.4g} mm from the thread, {self.across[column]:+.2f} across"
                f" ({bad.sum()} such values) is outside {THINNEST * 1e3:g} to {THICKEST * 1e3:g} mm"
                "; check the gauge zero, or leave the reading out"
            )
            raise InputError(msg)

    @property
    def size(self) -> int:
        """Number of grid nodes."""
        return self.values.size

    def spread(self, xi: ArrayLike, distance: ArrayLike) -> csr_array:
        """Build the matrix from grid values (raveled) to points, shape (n_points, size).

        Parameters
        ----------
        xi : array_like
            Across, −1 to 1.
        distance : array_like
            From the thread [m].
        """
        i, wi = bracket(self.across, np.ravel(xi))
        j, wj = bracket(self.along, np.ravel(distance))
        n, points = len(self.across), np.arange(len(i))
        columns = np.concatenate([j * n + i, j * n + i + 1, (j + 1) * n + i, (j + 1) * n + i + 1])
        weights = np.concatenate([(1 - wj) * (1 - wi), (1 - wj) * wi, wj * (1 - wi), wj * wi])
        return csr_array((weights, (np.tile(points, 4), columns)), shape=(len(i), self.size))

    def at(self, xi: ArrayLike, distance: ArrayLike) -> Array:
        """Thickness at points [m], in their common shape."""
        xi, distance = np.broadcast_arrays(np.asarray(xi, float), np.asarray(distance, float))
        return (self.spread(xi, distance) @ self.values.ravel()).reshape(xi.shape)

    def changed(self, change: ArrayLike) -> ThicknessGrid:
        """Return the grid with `change` [m] added, broadcast to its shape."""
        return replace(self, values=self.values + np.asarray(change, dtype=float))

    def flipped(self) -> ThicknessGrid:
        """Mirror left and right, as needed for readings taken facing the other blade."""
        return replace(self, across=-self.across[::-1], values=self.values[:, ::-1])


def bracket(nodes: Array, points: Array) -> tuple[np.ndarray, Array]:
    """Interval of each point and the share of its upper end, held constant beyond the ends."""
    inside = np.clip(points, nodes[0], nodes[-1])
    left = np.clip(np.searchsorted(nodes, inside, side="right") - 1, 0, len(nodes) - 2)
    return left, (inside - nodes[left]) / (nodes[left + 1] - nodes[left])


def grid_from_tip(
    from_tip: ArrayLike, across: ArrayLike, values: ArrayLike, *, length: float
) -> ThicknessGrid:
    """Grid from distances measured from the tip of a blade of free `length` [m].

    Examples
    --------
    >>> grid_from_tip([0, 0.02], [-1, 1], [[1e-4, 1e-4], [5e-4, 5e-4]], length=0.02).values[0, 0]
    np.float64(0.0005)
    """
    along = length - np.asarray(from_tip, dtype=float)[::-1]
    return ThicknessGrid(along, np.asarray(across, float), np.asarray(values, dtype=float)[::-1])
