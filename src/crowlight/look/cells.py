"""Light averaged over cells of the blade: along the grain and across it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.look.frame import Frame

__all__ = ["Cells", "bilinear", "cell_means"]

Array = NDArray[np.float64]
#: Samples per cell and direction: about one a pixel, no more than this.
_MOST = 12


@dataclass(frozen=True, slots=True)
class Cells:
    """Light in the cells of one side.

    Parameters
    ----------
    light : ndarray, shape (n_rows, n_columns)
        Mean luminance; NaN where a cell lies partly outside the picture.
    clipped : ndarray, shape (n_rows, n_columns)
        Share of clipped pixels, 0 to 1.
    """

    light: Array
    clipped: Array


def bilinear(picture: NDArray[np.floating[Any]], x: ArrayLike, y: ArrayLike) -> Array:
    """Return a picture between its pixels.

    Parameters
    ----------
    picture : ndarray, shape (n_rows, n_columns)
        The picture.
    x, y : array_like
        Column and row; the middle of the first pixel is at (0.5, 0.5).

    Returns
    -------
    ndarray
        NaN outside the middles of the outermost pixels.
    """
    high, wide = picture.shape
    u, v = np.asarray(x, float) - 0.5, np.asarray(y, float) - 0.5
    with np.errstate(invalid="ignore"):
        inside = (u >= 0) & (u <= wide - 1) & (v >= 0) & (v <= high - 1)
    u, v = np.where(inside, u, 0.0), np.where(inside, v, 0.0)
    i, j = np.minimum(u.astype(int), wide - 2), np.minimum(v.astype(int), high - 2)
    a, b = u - i, v - j
    flat, at = picture.ravel(), j * wide + i
    above = flat[at] + a * (flat[at + 1] - flat[at])
    below = flat[at + wide] + a * (flat[at + wide + 1] - flat[at + wide])
    value = above + b * (below - above)
    return np.where(inside, value, np.nan)


def cell_means(
    picture: NDArray[np.floating[Any]],
    to_picture: Callable[[ArrayLike, ArrayLike], tuple[Array, Array]],
    frame: Frame,
    *,
    along: Array,
    across: Array,
    pixels: tuple[float, float],
) -> Array:
    """Average a picture over cells.

    Parameters
    ----------
    picture : ndarray, shape (n_rows, n_columns)
        The picture.
    to_picture : callable
        From a place on the blade [m] to the picture [pixels].
    frame : Frame
        The blade.
    along : ndarray, shape (n + 1,)
        Limits of the cells along [m].
    across : ndarray, shape (k + 1,)
        Limits of the cells across, signed, as fractions of the half width.
    pixels : tuple of float
        About how many samples to take in a cell along and across.

    Returns
    -------
    ndarray, shape (n, k)
        In the order of the limits; NaN where a cell lies partly outside the picture.
    """
    n, k = len(along) - 1, len(across) - 1
    m, j = (min(max(math.ceil(p), 2), _MOST) for p in pixels)
    s = _between(along, m)
    u = _between(across, j)
    x = u[None, :] * frame.outline.half_width(s)[:, None]
    column, row = to_picture(x, np.broadcast_to(s[:, None], x.shape))
    return bilinear(picture, column, row).reshape(n, m, k, j).mean(axis=(1, 3))


def _between(limits: Array, count: int) -> Array:
    """Return the middles of `count` equal pieces of each cell."""
    step = (np.arange(count) + 0.5) / count
    return (limits[:-1, None] + np.diff(limits)[:, None] * step).ravel()
