"""Between a picture and the blade in it.

A reed lies nearly in a plane, and a camera maps a plane onto a picture by a projective map; four
points of it, no three on a line, fix that map.

References
----------
R. Hartley, A. Zisserman, *Multiple View Geometry in Computer Vision* (2nd ed., 2004), 2.3 and 4.1:
projective maps of a plane from four points, eight linear equations (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.reed.styles import Outline

__all__ = ["Frame", "Marks", "plane_map"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Where four points of the reed lie in a picture, as (column, row) [pixels].

    Left and right are those of someone who sees the picture turned so that the tip is up. The
    middle of the first pixel is at (0.5, 0.5).

    Parameters
    ----------
    tip_left, tip_right : tuple of float
        The corners of the tip.
    foot_left, foot_right : tuple of float
        The edges of the blade where the thread ends, or nearer to the tip.
    """

    tip_left: tuple[float, float]
    tip_right: tuple[float, float]
    foot_left: tuple[float, float]
    foot_right: tuple[float, float]

    def array(self) -> Array:
        """Return them as an array, shape (4, 2): tip left, tip right, foot right, foot left."""
        return np.array([self.tip_left, self.tip_right, self.foot_right, self.foot_left], float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The blade that is looked for in a picture.

    Parameters
    ----------
    tip, foot : float
        Where the two pairs of marks lie along, from the bottom rim [m]; `foot` < `tip`.
    outline : Outline
        Width in between. That of a style: what it has too much or too little on both sides alike
        does not change a ratio of sides.

    Raises
    ------
    InputError
        If the marks lie closer together than 5 mm or further apart than 60 mm.
    """

    tip: float
    foot: float
    outline: Outline

    def __post_init__(self) -> None:
        if not (math.isfinite(self.tip) and 5e-3 <= self.tip - self.foot <= 60e-3):
            msg = (
                f"tip and lower marks are {(self.tip - self.foot) * 1e3:.3g} mm apart; they must "
                "be 5 to 60 mm apart: look at the length of the reed and at where the thread ends"
            )
            raise InputError(msg)

    def corners(self) -> Array:
        """Return where the marks lie on the blade, shape (4, 2): across, along [m]."""
        tip, foot = (float(self.outline.half_width(s)) for s in (self.tip, self.foot))
        return np.array(
            [[-tip, self.tip], [tip, self.tip], [foot, self.foot], [-foot, self.foot]], float
        )


def turned(corners: ArrayLike) -> NDArray[np.float64]:
    """Return how far the outline turns at each of four corners: all above zero if it is in order.

    Parameters
    ----------
    corners : array_like, shape (4, 2)
        Tip left, tip right, foot right, foot left as (column, row).
    """
    p = np.asarray(corners, float)
    side = np.roll(p, -1, axis=0) - p
    nxt = np.roll(side, -1, axis=0)
    return side[:, 0] * nxt[:, 1] - side[:, 1] * nxt[:, 0]


def plane_map(
    source: Sequence[Sequence[float]] | Array, target: Sequence[Sequence[float]] | Array
) -> Callable[[ArrayLike, ArrayLike], tuple[Array, Array]]:
    """Return the projective map that takes four points of a plane to four of another.

    Parameters
    ----------
    source, target : array_like, shape (4, 2)
        The points; no three on a line.

    Returns
    -------
    callable
        Takes arrays of first and second coordinates, returns those of the image.

    Raises
    ------
    InputError
        If three of the points lie on a line.

    Examples
    --------
    >>> square = [[0, 0], [1, 0], [1, 1], [0, 1]]
    >>> to = plane_map(square, [[0, 0], [2, 0], [2, 2], [0, 2]])
    >>> [round(float(v), 9) for v in to(0.25, 0.5)]
    [0.5, 1.0]
    """
    a, b = np.asarray(source, float), np.asarray(target, float)
    # both shifted and scaled to order one: metres and thousands of pixels do not mix in one matrix
    (ca, sa), (cb, sb) = _centred(a), _centred(b)
    p, q = (a - ca) / sa, (b - cb) / sb
    if not min(_least_area(p), _least_area(q)) > 1e-6:
        msg = "three of the four points lie on one line; mark them again"
        raise InputError(msg)
    rows: list[list[float]] = []
    for (x, y), (u, v) in zip(p, q, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    h = np.append(np.linalg.solve(np.array(rows, float), q.reshape(8)), 1.0).reshape(3, 3)

    def apply(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
        s, t = (np.asarray(x, float) - ca[0]) / sa, (np.asarray(y, float) - ca[1]) / sa
        w = h[2, 0] * s + h[2, 1] * t + h[2, 2]
        u = (h[0, 0] * s + h[0, 1] * t + h[0, 2]) / w
        v = (h[1, 0] * s + h[1, 1] * t + h[1, 2]) / w
        return u * sb + cb[0], v * sb + cb[1]

    return apply


def _least_area(points: Array) -> float:
    """Return the smallest of the triangles of any three of four points, doubled."""
    areas: list[float] = []
    for n in range(4):
        a, b, c = np.delete(points, n, axis=0)
        areas.append(abs(float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))))
    return min(areas)


def _centred(points: Array) -> tuple[Array, float]:
    middle = points.mean(axis=0)
    scale = float(np.abs(points - middle).max())
    return middle, scale if scale > 0 else 1.0
