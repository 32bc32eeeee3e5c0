"""Everything about a patch that the shell needs at its quadrature points, built once.

Axis order of every array: element, Gauss point, then strain component and/or local control
point, then space. Elements and control points are numbered with xi running fastest, so that the
last degrees of freedom belong to the tip. Strain components are ordered 11, 22, 2·12.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.patch import Frames, Patch, frames_of

__all__ = ["ShellMesh", "element_dofs", "element_nodes", "shell_mesh"]


@dataclass(frozen=True)
class ShellMesh:
    """Shape functions, frames and weights at the quadrature points of a patch.

    Parameters
    ----------
    patch : Patch
        The reference surface.
    nodes : ndarray of int, shape (n_elements, n_local)
        Control points of each element.
    xi, eta : ndarray, shape (n_elements, n_gauss)
        Parameters of the quadrature points.
    shape, d1, d2 : ndarray, shape (n_elements, n_gauss, n_local)
        Shape functions and their derivatives by xi and eta.
    bend : ndarray, shape (n_elements, n_gauss, 3, n_local)
        Covariant second derivatives ``N,ab − G^c_ab N,c``.
    frames : Frames
        Surface frames at the quadrature points.
    area : ndarray, shape (n_elements, n_gauss)
        Area that each point stands for [m²].
    turn : ndarray, shape (n_elements, n_gauss, 3, 3)
        From covariant strains to (LL, TT, 2 LT) along and across the fibres.
    """

    patch: Patch
    nodes: Ints
    xi: Array
    eta: Array
    shape: Array
    d1: Array
    d2: Array
    bend: Array
    frames: Frames
    area: Array
    turn: Array

    @property
    def n_dof(self) -> int:
        """Number of displacement unknowns, three per control point."""
        return 3 * self.patch.n_control

    @property
    def bandwidth(self) -> int:
        """Number of sub-diagonals of the stiffness."""
        p = self.patch.along.degree
        return 3 * (p * self.patch.across.size + self.patch.across.degree) + 2

    @cached_property
    def dofs(self) -> Ints:
        """Unknowns of each element, shape (n_elements, 3 n_local), control points running fastest.

        So are the rows of element matrices: long inner loops make them several times faster.
        """
        return element_dofs(self.nodes)

    @cached_property
    def _all(self) -> Array:
        n_e, _, n_a = self.d1.shape
        return np.concatenate([self.d1, self.d2, self.bend.reshape(n_e, -1, n_a)], axis=1)

    def derivatives(self, u: Array) -> tuple[Array, Array, Array]:
        """First derivatives of a displacement and its curvature ``−(u,ab − G^c_ab u,c)·a3``.

        Shapes (n_elements, n_gauss, 3) each; curvature ordered 11, 22, 2·12.
        """
        both = self._all @ self.gather(u)
        n = self.d1.shape[1]
        second = both[:, 2 * n :].reshape(len(both), n, 3, 3)
        curving = -(second @ self.frames.a3[..., None])[..., 0]
        return both[:, :n], both[:, n : 2 * n], curving

    def pulled(self, t1: Array, t2: Array, bent: Array) -> Array:
        """Compute forces that work through first derivatives and ``u,ab − G^c_ab u,c``.

        The transpose of `derivatives`: from (n_elements, n_gauss, 3) twice and
        (n_elements, n_gauss, 3, 3) to (n_elements, n_local, 3).
        """
        flat = np.concatenate([t1, t2, bent.reshape(len(bent), -1, 3)], axis=1)
        return np.swapaxes(self._all, 1, 2) @ flat

    @cached_property
    def _places(self) -> Ints:
        return (3 * self.nodes[:, :, None] + np.arange(3)).ravel()

    @cached_property
    def curvature(self) -> Array:
        """Curvature tensor in fibre axes (LL, TT, 2 LT) [1/m], negative where the arch bulges."""
        control = self.patch.control.reshape(-1, 3)[self.nodes]
        along = np.einsum("egka,eac->egkc", self.bend, control)
        covariant = along @ self.frames.a3[..., None]
        return (self.turn @ covariant)[..., 0]

    def scatter(self, forces: Array) -> Array:
        """Add element forces, shape (n_elements, n_local, 3), into one vector."""
        total = np.bincount(self._places, weights=forces.ravel(), minlength=self.n_dof)
        return np.asarray(total, dtype=float)

    def gather(self, u: Array) -> Array:
        """Displacements of each element's control points, shape (n_elements, n_local, 3)."""
        return u.reshape(-1, 3)[self.nodes]


def shell_mesh(
    patch: Patch, *, gauss: int = 3, axis: tuple[float, float, float] = (0, 1, 0)
) -> ShellMesh:
    """Build the quadrature arrays of a patch.

    Parameters
    ----------
    patch : Patch
        Reference surface; its normal ``a1 x a2`` points towards growing thickness.
    gauss : int
        Gauss points per element and direction; 3 suffices for cubic splines on reeds.
    axis : tuple of float
        Fibre direction in space; each point uses its projection on the surface.
    """
    p = patch.across.degree
    if patch.along.degree != p:
        msg = "both directions must have the same degree"
        raise ValueError(msg)
    xs, wx = patch.across.gauss(gauss)
    ys, wy = patch.along.gauss(gauss)
    ex, ey = len(xs), len(ys)

    def local(basis, points):  # (n_elements, gauss, p + 1) for derivatives 0, 1, 2
        columns = np.arange(len(points))[:, None] + np.arange(p + 1)
        full = [basis.values(points.ravel(), d).reshape(*points.shape, -1) for d in range(3)]
        return [np.take_along_axis(f, columns[:, None, :], axis=2) for f in full]

    nx, ny = local(patch.across, xs), local(patch.along, ys)

    def product(dx: int, dy: int) -> Array:  # elements and points with xi fastest
        out = np.einsum("xga,yhb->yxhgba", nx[dx], ny[dy])
        return np.ascontiguousarray(out.reshape(ex * ey, gauss**2, (p + 1) ** 2))

    nodes = element_nodes(patch.across.size, patch.along.size, p)
    n, n1, n2 = product(0, 0), product(1, 0), product(0, 1)
    seconds = [product(2, 0), product(0, 2), product(1, 1)]
    control = patch.control.reshape(-1, 3)[nodes]
    frames = frames_of(*(f @ control for f in (n, n1, n2, *seconds)))
    bend = np.stack(seconds, axis=2)
    bend -= frames.christoffel[..., 0, None] * n1[:, :, None, :]
    bend -= frames.christoffel[..., 1, None] * n2[:, :, None, :]
    bend[:, :, 2] *= 2
    weight = np.einsum("xg,yh->yxhg", wx, wy).reshape(ex * ey, -1)
    xi = np.broadcast_to(xs[None, :, None, :], (ey, ex, gauss, gauss)).reshape(ex * ey, -1)
    eta = np.broadcast_to(ys[:, None, :, None], (ey, ex, gauss, gauss)).reshape(ex * ey, -1)
    turn = fibre_turn(frames, np.asarray(axis, dtype=float))
    area = weight * frames.stretch
    return ShellMesh(patch, nodes, xi, eta, n, n1, n2, bend, frames, area, turn)


def element_nodes(across: int, along: int, degree: int) -> Ints:
    """Control points of each element of a patch of so many, shape (n_elements, n_local)."""
    ix = np.arange(across - degree)[:, None] + np.arange(degree + 1)
    iy = np.arange(along - degree)[:, None] + np.arange(degree + 1)
    nodes = iy[:, None, :, None] * across + ix[None, :, None, :]
    return nodes.reshape(len(ix) * len(iy), -1)


def element_dofs(nodes: Ints) -> Ints:
    """Unknowns of each element, control points running fastest, shape (n_elements, 3 n_local)."""
    return (3 * nodes[:, None, :] + np.arange(3)[:, None]).reshape(len(nodes), -1)


def fibre_turn(frames: Frames, axis: Array) -> Array:
    """Turn covariant strains (11, 22, 2·12) into fibre axes (LL, TT, 2 LT), shape (..., 3, 3)."""
    a3 = frames.a3
    along = axis - (a3 @ axis)[..., None] * a3
    along /= np.linalg.norm(along, axis=-1)[..., None]
    across = np.cross(along, a3)
    l1, l2 = (np.sum(along * d, axis=-1) for d in (frames.dual1, frames.dual2))
    t1, t2 = (np.sum(across * d, axis=-1) for d in (frames.dual1, frames.dual2))
    rows = [
        [l1 * l1, l2 * l2, l1 * l2],
        [t1 * t1, t2 * t2, t1 * t2],
        [2 * l1 * t1, 2 * l2 * t2, l1 * t2 + l2 * t1],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
