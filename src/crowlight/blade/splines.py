"""Cubic B-splines on one interval: knots, Greville points, values and derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline

from crowlight.blade.arrays import Array
from crowlight.errors import InputError

__all__ = ["Basis", "basis_on"]


@dataclass(frozen=True, slots=True)
class Basis:
    """All B-splines of one degree on an open knot vector.

    Parameters
    ----------
    knots : ndarray, shape (size + degree + 1,)
        Non-decreasing; both ends repeated degree + 1 times.
    degree : int
        Polynomial degree; 3 throughout this package.
    """

    knots: Array
    degree: int

    @property
    def size(self) -> int:
        """Number of basis functions."""
        return len(self.knots) - self.degree - 1

    @property
    def breaks(self) -> Array:
        """Distinct knots: the ends of the elements."""
        return self.knots[self.degree : len(self.knots) - self.degree]

    def greville(self) -> Array:
        """Averages of `degree` successive knots, one point per basis function, shape (size,)."""
        p = self.degree
        return np.array([self.knots[i + 1 : i + p + 1].mean() for i in range(self.size)])

    def values(self, points: ArrayLike, derivative: int = 0) -> Array:
        """Every basis function (or a derivative of it) at the points, shape (n_points, size)."""
        t = np.atleast_1d(np.asarray(points, dtype=float))
        spline = BSpline(self.knots, np.eye(self.size), self.degree)
        if derivative:
            spline = spline.derivative(derivative)
        return spline(t)

    def gauss(self, per_element: int) -> tuple[Array, Array]:
        """Gauss-Legendre points and weights, each of shape (n_elements, per_element)."""
        x, w = np.polynomial.legendre.leggauss(per_element)
        half = np.diff(self.breaks)[:, None] / 2
        middle = (self.breaks[:-1] + self.breaks[1:])[:, None] / 2
        return middle + half * x, half * w


def basis_on(breaks: ArrayLike, degree: int = 3) -> Basis:
    """B-splines of full smoothness on the given element ends.

    Parameters
    ----------
    breaks : array_like, shape (n_elements + 1,)
        Strictly increasing.
    degree : int
        Polynomial degree, >= 2.

    Raises
    ------
    InputError
        If `breaks` is not strictly increasing.

    Examples
    --------
    >>> basis_on([0, 0.5, 1]).size
    5
    """
    ends = np.asarray(breaks, dtype=float)
    if ends.ndim != 1 or len(ends) < 2 or np.any(np.diff(ends) <= 0):
        msg = f"element ends must be strictly increasing, got {ends.tolist()}"
        raise InputError(msg)
    knots = np.concatenate([np.repeat(ends[0], degree), ends, np.repeat(ends[-1], degree)])
    return Basis(knots, degree)
