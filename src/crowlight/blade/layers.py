"""Layers of a curved blade: how strain changes with height, and how wide each layer is.

Outer layers of an arch are wider than its inner face, and strain is measured on the layer where it
is. Normals stay straight and normal (Kirchhoff-Love). On fibre axes of the reference surface, with
b the curvature tensor (negative for an arch that bulges towards the normal), z the height,

    F = 1 − z b        q = det F = 1 − z tr b + z² det b         volume q dz dA
    E(z) = F⁻¹∘(2 eps + z kappa) − eps                           X∘Y = (XY + YX) / 2

E(z) is the strain on the layer itself, first order in z b kept whole: with one curvature it is
``[(1 − z/R) eps + z kappa] / (1 + z/R)`` across the arch. As ``F⁻¹ = [(1 − z tr b) 1 + z b] / q``,
every layer needs one constant matrix M, ``M y`` being ``b∘y`` for y = (LL, TT, 2 LT):

    stretch S = (2 m − 1) 1 + 2 n M      bend T = z (m 1 + n M)      m = (1 − z tr b) / q, n = z / q

The energy of all layers, ``∫ (S eps + T kappa)' C (S eps + T kappa) q dz``, is written as a sum of
squares by one Cholesky factor. Flat: ``h (eps + e h kappa)' C (…) + h³/12 kappa' C kappa``.

References
----------
Flügge, W. (1973). Stresses in Shells, 2nd ed., ch. 5: strains of a layer, factors 1 + z/R. (From
memory.)
Naghdi, P.M. (1972). The theory of shells and plates. Handbuch der Physik VIa/2: the shifter F.
(From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.errors import OutsideModel

__all__ = ["Layers", "Moments", "layers_of"]

HEIGHTS, WEIGHTS = np.polynomial.legendre.leggauss(4)
NARROWEST = 0.2  # width of a layer over that of the reference below which a hollow is too tight


@dataclass(frozen=True)
class Moments:
    """Moments of the width of the layers, each shape (n_elements, n_gauss).

    Parameters
    ----------
    volume : ndarray
        Volume per reference area, ``∫ q dz`` [m].
    height : ndarray
        Height of its middle over the reference [m].
    spread : ndarray
        ``∫ q (z − height)² dz`` [m³].
    """

    volume: Array
    height: Array
    spread: Array


@dataclass(frozen=True)
class Layers:
    """All layers of a shell, or of the same shell after scraping.

    Parameters
    ----------
    curvature : ndarray, shape (n_elements, n_gauss, 3)
        Curvature tensor of the reference in fibre axes (LL, TT, 2 LT) [1/m].
    law : ndarray, shape (3, 3)
        Plane-stress matrix C [Pa].
    offset : float
        Height of the middle in thicknesses.
    products : tuple of ndarray, shape (n_elements, n_gauss, 3, 3)
        ``C M``, ``C M + M' C`` and ``M' C M``.
    twist : ndarray, shape (n_elements, n_gauss, 3, 3)
        M.
    """

    curvature: Array
    law: Array
    offset: float
    products: tuple[Array, Array, Array]
    twist: Array

    @cached_property
    def invariants(self) -> tuple[Array, Array]:
        """Trace and determinant of the curvature tensor."""
        ll, tt, lt = np.moveaxis(self.curvature, -1, 0)
        return ll + tt, ll * tt - lt**2 / 4

    def width(self, z: Array) -> Array:
        """Width of a layer, q, over that of the reference."""
        trace, determinant = self.invariants
        return 1 - z * trace + z**2 * determinant

    def _sheets(self, thickness: Array) -> tuple[Array, Array]:
        """Heights of the quadrature through the thickness, and weights with their width."""
        shape = (-1, *[1] * thickness.ndim)
        z = thickness * (self.offset + HEIGHTS.reshape(shape) / 2)
        return z, thickness * (WEIGHTS.reshape(shape) / 2) * self.width(z)

    def _shares(self, z: Array) -> tuple[Array, Array]:
        """Shares m and n of the reference and of M in a layer."""
        q = self.width(z)
        return (1 - z * self.invariants[0]) / q, z / q

    def roots(self, thickness: Array) -> Array:
        """Upper root U of the energy per reference area: ``W = |U (eps, kappa)|² / 2``.

        Shape (n_elements, n_gauss, 6, 6).

        Raises
        ------
        OutsideModel
            If the blade is thicker than a hollow in it is wide.
        """
        if np.min(self.width(thickness * (self.offset + 0.5))) < NARROWEST:
            msg = (
                "the blade is too thick for a hollow in its inner face; check the opening, its "
                "tilt and the thickness there"
            )
            raise OutsideModel(msg)
        z, weight = self._sheets(thickness)
        m, n = self._shares(z)
        s, r, t, v = 2 * m - 1, 2 * n, z * m, z * n
        right, both, inner = self.products
        law = np.broadcast_to(self.law, right.shape)

        def summed(shares: tuple[Array, ...], matrices: tuple[Array, ...]) -> Array:
            through = [np.sum(weight * a, axis=0)[..., None, None] for a in shares]
            return np.sum([a * c for a, c in zip(through, matrices, strict=True)], axis=0)

        square = np.zeros((*thickness.shape, 6, 6))
        square[..., :3, :3] = summed((s * s, s * r, r * r), (law, both, inner))
        square[..., 3:, 3:] = summed((t * t, t * v, v * v), (law, both, inner))
        turned = np.swapaxes(right, -1, -2)
        square[..., 3:, :3] = summed((s * t, s * v, r * t, r * v), (law, turned, right, inner))
        return np.swapaxes(np.linalg.cholesky(square), -1, -2)

    def moments(self, thickness: Array) -> Moments:
        """Volume of all layers, height of its middle, and its spread about it."""
        z, weight = self._sheets(thickness)
        volume = np.sum(weight, axis=0)
        height = np.sum(weight * z, axis=0) / volume
        return Moments(volume, height, np.sum(weight * (z - height) ** 2, axis=0))

    def face(self, thickness: Array) -> tuple[Array, Array, Array]:
        """Stretch S and bend T of the scraped face, (..., 3, 3), and its width q."""
        z = thickness * (self.offset + 0.5)
        m, n = (a[..., None, None] for a in self._shares(z))
        flat = np.eye(3)
        return (
            (2 * m - 1) * flat + 2 * n * self.twist,
            z[..., None, None] * (m * flat + n * self.twist),
            self.width(z),
        )


def layers_of(curvature: Array, law: Array, offset: float) -> Layers:
    """Prepare the layers of a shell.

    Examples
    --------
    Unit stiffness and thickness on an arch of radius 10: across it the root differs from that of a
    plate by ``2 (h/R)² / 12``.

    >>> arch = layers_of(np.array([[[0.0, -0.1, 0.0]]]), np.eye(3), 0.0)
    >>> arch.roots(np.ones((1, 1)))[0, 0, 1, 1].round(4)
    np.float64(1.0017)
    """
    ll, tt, lt = np.moveaxis(np.asarray(curvature, dtype=float), -1, 0)
    twist = np.zeros((*ll.shape, 3, 3))
    twist[..., 0, 0], twist[..., 1, 1], twist[..., 2, 2] = ll, tt, (ll + tt) / 2
    twist[..., :2, 2], twist[..., 2, :2] = lt[..., None] / 4, lt[..., None] / 2
    law = np.asarray(law, dtype=float)
    right = law @ twist
    both = right + np.swapaxes(right, -1, -2)
    return Layers(curvature, law, offset, (right, both, np.swapaxes(twist, -1, -2) @ right), twist)
