"""Lines of equal thickness on a grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["contour"]


def contour(x: ArrayLike, y: ArrayLike, z: ArrayLike, level: float) -> NDArray[np.float64]:
    """Return the line on which a surface has one height, as straight pieces.

    Parameters
    ----------
    x, y, z : array_like, shape (rows, columns)
        Places of the grid's nodes, and the height there.
    level : float
        The height.

    Returns
    -------
    ndarray, shape (n, 2, 2)
        Pieces, each from one place (x, y) to another. Each cell is two triangles with a plane on
        either, so that pieces join and nothing is ambiguous.

    Examples
    --------
    >>> x, y = np.meshgrid([0.0, 1.0], [0.0, 1.0])
    >>> sorted(map(float, contour(x, y, y, 0.25)[:, :, 1].ravel()))
    [0.25, 0.25, 0.25, 0.25]
    """
    nodes = np.stack([np.asarray(v, dtype=np.float64) for v in np.broadcast_arrays(x, y, z)], -1)
    a, b, c, d = nodes[:-1, :-1], nodes[:-1, 1:], nodes[1:, 1:], nodes[1:, :-1]
    triangles = np.stack([np.stack([a, b, c], -2), np.stack([a, c, d], -2)]).reshape(-1, 3, 3)
    above = triangles[:, :, 2] > level
    found: list[NDArray[np.float64]] = []
    for k in range(3):
        # the corner that lies alone on its side of the level: the line cuts the two edges at it
        p, q = (k + 1) % 3, (k + 2) % 3
        chosen = triangles[(above[:, k] != above[:, p]) & (above[:, k] != above[:, q])]
        alone = chosen[:, k]
        ends = []
        for other in (chosen[:, p], chosen[:, q]):
            part = (level - alone[:, 2]) / (other[:, 2] - alone[:, 2])
            ends.append(alone[:, :2] + part[:, None] * (other[:, :2] - alone[:, :2]))
        found.append(np.stack(ends, axis=1))
    return np.concatenate(found)
