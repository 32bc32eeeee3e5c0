"""One curved surface as a tensor-product spline, with its frames.

Table of symbols: xi across, eta along; a1, a2 tangent vectors, a3 unit normal, a^1, a^2 dual
tangents, G^c_ab Christoffel symbols of the second kind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.splines import Basis

__all__ = ["Frames", "Patch", "surface_patch"]


@dataclass(frozen=True, slots=True)
class Frames:
    """Surface frames at points; every array has the points' shape in front.

    Parameters
    ----------
    position, a1, a2, a3, dual1, dual2 : ndarray, shape (..., 3)
        Point [m], tangents, unit normal, dual tangents.
    stretch : ndarray, shape (...)
        ``|a1 x a2|``, area per parameter area.
    christoffel : ndarray, shape (..., 3, 2)
        ``a_ab · a^c`` for ab = 11, 22, 12 and c = 1, 2.
    """

    position: Array
    a1: Array
    a2: Array
    a3: Array
    dual1: Array
    dual2: Array
    stretch: Array
    christoffel: Array


@dataclass(frozen=True, slots=True)
class Patch:
    """A spline surface.

    Parameters
    ----------
    across, along : Basis
        Splines in xi and eta.
    control : ndarray, shape (along.size, across.size, 3)
        Control points [m].
    """

    across: Basis
    along: Basis
    control: Array

    @property
    def n_control(self) -> int:
        """Number of control points."""
        return self.across.size * self.along.size

    def weights(self, xi: ArrayLike, eta: ArrayLike) -> Array:
        """Shape functions at paired points, shape (n_points, n_control), xi running fastest."""
        nx, ny = self.across.values(np.ravel(xi)), self.along.values(np.ravel(eta))
        return np.einsum("pi,pj->pji", nx, ny).reshape(len(nx), -1)

    def frames(self, xi: ArrayLike, eta: ArrayLike) -> Frames:
        """Frames at paired points, which keep the shape of `xi`."""
        xi, eta = np.broadcast_arrays(np.asarray(xi, float), np.asarray(eta, float))
        nx = [self.across.values(xi.ravel(), d) for d in range(3)]
        ny = [self.along.values(eta.ravel(), d) for d in range(3)]

        def surface(dx: int, dy: int) -> Array:
            rows = np.einsum("pj,jic->pic", ny[dy], self.control)
            return np.einsum("pi,pic->pc", nx[dx], rows).reshape(*xi.shape, 3)

        return frames_of(
            surface(0, 0), surface(1, 0), surface(0, 1), surface(2, 0), surface(0, 2), surface(1, 1)
        )


def frames_of(x: Array, a1: Array, a2: Array, x11: Array, x22: Array, x12: Array) -> Frames:
    """Build frames from a position and its first and second derivatives, each (..., 3)."""
    normal = np.cross(a1, a2)
    stretch = np.linalg.norm(normal, axis=-1)
    a3 = normal / stretch[..., None]
    dual1 = np.cross(a2, a3) / stretch[..., None]
    dual2 = np.cross(a3, a1) / stretch[..., None]
    second = np.stack([x11, x22, x12], axis=-2)
    christoffel = np.stack(
        [np.einsum("...kc,...c->...k", second, d) for d in (dual1, dual2)], axis=-1
    )
    return Frames(x, a1, a2, a3, dual1, dual2, stretch, christoffel)


def surface_patch(
    across: Basis, along: Basis, surface: Callable[[Array, Array], ArrayLike]
) -> Patch:
    """Interpolate a surface at the Greville points.

    Interpolating in the same space that carries the displacements keeps rigid motions exactly
    free of strain.

    Parameters
    ----------
    across, along : Basis
        Splines in xi and eta.
    surface : callable
        ``surface(xi, eta)`` with two arrays of equal shape gives positions [m], shape (..., 3).

    Examples
    --------
    >>> from crowlight.blade.splines import basis_on
    >>> flat = surface_patch(basis_on([0, 1]), basis_on([0, 1]),
    ...                      lambda x, y: np.stack([x, y, 0 * x], axis=-1))
    >>> flat.frames(0.3, 0.7).a3.round(12).tolist()[2]
    1.0
    """
    xi, eta = np.meshgrid(across.greville(), along.greville())
    points = np.asarray(surface(xi, eta), dtype=float)
    half = np.linalg.solve(along.values(along.greville()), points.reshape(along.size, -1))
    rows = half.reshape(along.size, across.size, 3).transpose(1, 0, 2)
    control = np.linalg.solve(
        across.values(across.greville()), rows.reshape(across.size, -1)
    ).reshape(across.size, along.size, 3)
    return Patch(across, along, np.ascontiguousarray(control.transpose(1, 0, 2)))
