"""Kirchhoff-Love shell with eccentric thickness and von Karman membrane strain.

Symbols: u displacement of the reference surface, g_a = a_a + u,a deformed tangents, h thickness,
e offset of the middle from the reference surface in thicknesses (1/2: thickness grows outward
from the inner, gouged face), C plane-stress matrix in fibre axes.

    eps_ab = (u,a·a_b + u,b·a_a + u,a·u,b) / 2        kappa_ab = −(u,ab − G^c_ab u,c)·a3
    W = 1/2 ∫ h (eps + e h kappa)' C (eps + e h kappa) + h³/12 kappa' C kappa  dA

The membrane strain is exact; the curvature is linear in u and holds for rotations well below 1.
Shear through the thickness is neglected (thin shell, h/R below about 0.1).

References
----------
Koiter, W.T. (1966). On the nonlinear theory of thin elastic shells. Proc. Royal Netherlands
Academy of Sciences B69, 1-54. (From memory.)
Kiendl, J., Bletzinger, K.-U., Linhard, J., Wuechner, R. (2009). Isogeometric shell analysis with
Kirchhoff-Love elements. Comput. Methods Appl. Mech. Engrg. 198, 3902-3914.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.band import Band, Factor, band_of, factor
from crowlight.blade.mesh import ShellMesh

__all__ = ["Shell", "Strained", "make_shell"]


@dataclass(frozen=True)
class Strained:
    """The shell at one displacement.

    Parameters
    ----------
    g1, g2 : ndarray, shape (n_elements, n_gauss, 3)
        Deformed tangents.
    middle, curve : ndarray, shape (n_elements, n_gauss, 3)
        Strain of the middle surface and curvature, times ``sqrt(area) chol(C)'`` in fibre axes.
    """

    g1: Array
    g2: Array
    middle: Array
    curve: Array


@dataclass(frozen=True)
class Shell:
    """A mesh with cane and thickness.

    Parameters
    ----------
    mesh : ShellMesh
        Geometry.
    band : Band
        Storage plan with the held unknowns.
    scale : ndarray, shape (n_elements, n_gauss, 3, 3)
        ``sqrt(area) chol(C)' turn``: from covariant strains to square roots of energy.
    bending : ndarray, shape (n_elements, n_gauss, 3, n_local, 3)
        Scaled curvature per control-point displacement.
    thickness : ndarray, shape (n_elements, n_gauss)
        Thickness h at the quadrature points [m]; > 0.
    offset : float
        Distance of the middle from the reference surface in thicknesses, e.
    density : float
        Mass per volume [kg/m³].
    springs : ndarray or None
        Further constant stiffness (clamp, lip) in banded storage.
    """

    mesh: ShellMesh
    band: Band
    scale: Array
    bending: Array
    thickness: Array
    offset: float
    density: float
    springs: Array | None

    def with_thickness(self, thickness: ArrayLike) -> Shell:
        """Return the same blade after scraping; geometry arrays are shared."""
        h = np.broadcast_to(np.asarray(thickness, dtype=float), self.mesh.area.shape)
        return replace(self, thickness=h)

    def strain(self, u: Array) -> Strained:
        """Strains at a displacement (n_dof,)."""
        mesh, frames = self.mesh, self.mesh.frames
        local = mesh.gather(u)
        u1, u2 = mesh.d1 @ local, mesh.d2 @ local
        a1, a2 = frames.a1, frames.a2
        eps = np.stack(
            [
                np.sum(u1 * (a1 + u1 / 2), axis=-1),
                np.sum(u2 * (a2 + u2 / 2), axis=-1),
                np.sum(u1 * (a2 + u2), axis=-1) + np.sum(u2 * a1, axis=-1),
            ],
            axis=-1,
        )
        normal = np.einsum("eac,egc->ega", local, frames.a3)
        kappa = -np.einsum("egka,ega->egk", mesh.bend, normal)
        middle = eps + self.offset * self.thickness[..., None] * kappa
        turned = self.scale @ np.stack([middle, kappa], axis=-1)
        return Strained(a1 + u1, a2 + u2, turned[..., 0], turned[..., 1])

    def increment(self, at: Strained, v: Array) -> tuple[Array, Array]:
        """Scaled change of middle strain and curvature per displacement `v`, at a state."""
        mesh = self.mesh
        local = mesh.gather(v)
        v1, v2 = mesh.d1 @ local, mesh.d2 @ local
        eps = sym_product(at.g1, at.g2, v1, v2)
        normal = np.einsum("eac,egc->ega", local, mesh.frames.a3)
        kappa = -np.einsum("egka,ega->egk", mesh.bend, normal)
        middle = eps + self.offset * self.thickness[..., None] * kappa
        turned = self.scale @ np.stack([middle, kappa], axis=-1)
        return turned[..., 0], turned[..., 1]

    def quadratic(self, v: Array, w: Array) -> Array:
        """Scaled second variation of the membrane strain, ``sym(v,a·w,b)``, per pair v, w."""
        mesh = self.mesh
        lv, lw = mesh.gather(v), mesh.gather(w)
        eps = sym_product(mesh.d1 @ lv, mesh.d2 @ lv, mesh.d1 @ lw, mesh.d2 @ lw)
        return (self.scale @ eps[..., None])[..., 0]

    def energy(self, at: Strained, u: Array) -> float:
        """Elastic energy [J], springs included."""
        h = self.thickness[..., None]
        elastic = 0.5 * float(np.sum(h * at.middle**2 + h**3 / 12 * at.curve**2))
        if self.springs is not None:
            elastic += 0.5 * float(u @ self.band.times(self.springs, u))
        return elastic

    def forces(self, at: Strained, u: Array) -> Array:
        """Compute internal forces [N], shape (n_dof,): the gradient of the energy, 0 where held."""
        h = self.thickness[..., None]
        stretch = self._unscale(h * at.middle)
        bend = self._unscale(self.offset * h**2 * at.middle + h**3 / 12 * at.curve)
        out = self.mesh.scatter(self._pull(stretch, bend, at))
        if self.springs is not None:
            out += self.band.times(self.springs, u)
        out[self.band.held] = 0.0
        return out

    def forces_of(self, middle: Array, curve: Array, at: Strained) -> Array:
        """Compute forces that do work through given scaled middle stress and curvature moment."""
        h = self.thickness[..., None]
        bend = self._unscale(self.offset * h * middle + curve)
        out = self.mesh.scatter(self._pull(self._unscale(middle), bend, at))
        out[self.band.held] = 0.0
        return out

    def _unscale(self, stress: Array) -> Array:
        return (np.swapaxes(self.scale, -1, -2) @ stress[..., None])[..., 0]

    def _pull(self, s: Array, m: Array, at: Strained) -> Array:
        mesh = self.mesh
        t1 = s[..., 0:1] * at.g1 + s[..., 2:3] * at.g2
        t2 = s[..., 1:2] * at.g2 + s[..., 2:3] * at.g1
        bend = np.einsum("egka,egk->ega", mesh.bend, m)
        out = np.swapaxes(mesh.d1, 1, 2) @ t1 + np.swapaxes(mesh.d2, 1, 2) @ t2
        return out - np.swapaxes(bend, 1, 2) @ mesh.frames.a3

    @cached_property
    def _bent(self) -> tuple[Array, Array]:
        """Share of curvature in the middle strain, and stiffness of curvature alone.

        Shapes (n_elements, n_gauss, 3, n_local, 3) and (n_elements, 3 n_local, 3 n_local).
        """
        h = self.thickness[..., None, None, None]
        n_e, n_g, n_a = self.mesh.d1.shape
        alone = (np.sqrt(h**3 / 12) * self.bending).reshape(n_e, n_g * 3, 3 * n_a)
        return self.offset * h**1.5 * self.bending, np.swapaxes(alone, 1, 2) @ alone

    def elements(self, at: Strained, *, prestress: bool = True) -> Array:
        """Tangent element stiffnesses, shape (n_elements, 3 n_local, 3 n_local)."""
        mesh = self.mesh
        r = np.sqrt(self.thickness)[..., None, None] * self.scale
        p1 = r[..., 0:1] * at.g1[..., None, :] + r[..., 2:3] * at.g2[..., None, :]
        p2 = r[..., 1:2] * at.g2[..., None, :] + r[..., 2:3] * at.g1[..., None, :]
        n_e, n_g, n_a = mesh.d1.shape
        carried, alone = self._bent
        rows = mesh.d1[:, :, None, :, None] * p1[:, :, :, None, :]
        rows += mesh.d2[:, :, None, :, None] * p2[:, :, :, None, :]
        rows += carried
        flat = rows.reshape(n_e, n_g * 3, 3 * n_a)
        out = np.swapaxes(flat, 1, 2) @ flat
        out += alone
        if prestress:
            self._add_prestress(out, self._unscale(self.thickness[..., None] * at.middle))
        return out

    def _add_prestress(self, elements: Array, s: Array) -> None:
        mesh = self.mesh
        n_e, _, n_a = mesh.d1.shape
        grad = np.concatenate([mesh.d1, mesh.d2], axis=1)
        drawn = np.concatenate(
            [
                s[..., 0:1] * mesh.d1 + s[..., 2:3] * mesh.d2,
                s[..., 2:3] * mesh.d1 + s[..., 1:2] * mesh.d2,
            ],
            axis=1,
        )
        block = np.swapaxes(grad, 1, 2) @ drawn
        view = elements.reshape(n_e, n_a, 3, n_a, 3)
        for c in range(3):
            view[:, :, c, :, c] += block

    def prestress_times(self, middle: Array, v: Array) -> Array:
        """Geometric stiffness of a scaled middle stress, times `v`, shape (n_dof,)."""
        s, mesh = self._unscale(middle), self.mesh
        local = mesh.gather(v)
        v1, v2 = mesh.d1 @ local, mesh.d2 @ local
        t1 = s[..., 0:1] * v1 + s[..., 2:3] * v2
        t2 = s[..., 2:3] * v1 + s[..., 1:2] * v2
        out = mesh.scatter(np.swapaxes(mesh.d1, 1, 2) @ t1 + np.swapaxes(mesh.d2, 1, 2) @ t2)
        out[self.band.held] = 0.0
        return out

    def stiffness(self, at: Strained, *, prestress: bool = True) -> Array:
        """Tangent stiffness in banded storage [N/m]."""
        stored = self.band.gather(self.elements(at, prestress=prestress))
        if self.springs is not None:
            stored += self.springs
        return stored

    def factor(self, at: Strained) -> Factor | None:
        """Factored tangent, or None where it is not positive definite."""
        return factor(self.stiffness(at))

    def mass(self, *, rotary: bool = True) -> Array:
        """Consistent mass in banded storage [kg].

        `rotary` False leaves the turning of the thickness out, as classical plate theory does.
        """
        return self._mass if rotary else self._assembled_mass(rotary=False)

    @cached_property
    def _mass(self) -> Array:
        return self._assembled_mass(rotary=True)

    def _assembled_mass(self, *, rotary: bool) -> Array:
        mesh, f = self.mesh, self.mesh.frames
        h = self.thickness[..., None, None, None]
        n_e, n_g, n_a = mesh.shape.shape
        tilt = (
            f.dual1[..., :, None] * mesh.d1[..., None, :]
            + f.dual2[..., :, None] * mesh.d2[..., None, :]
        )  # e g i A: −theta_i per a3·u_A
        theta = -float(rotary) * tilt[..., None] * f.a3[:, :, None, None, :]
        rows = np.empty((n_e, n_g, 2, 3, n_a, 3))
        rows[:, :, 0] = self.offset * h * theta
        for c in range(3):
            rows[:, :, 0, c, :, c] += mesh.shape
        weight = np.sqrt(self.density * mesh.area)[..., None, None, None]
        rows[:, :, 0] *= weight * np.sqrt(h)
        rows[:, :, 1] = weight * np.sqrt(h**3 / 12) * theta
        flat = rows.reshape(n_e, n_g * 6, 3 * n_a)
        return self.band.gather(np.swapaxes(flat, 1, 2) @ flat, on_held=0.0)

    def speed(self, v: Array, height: float) -> Array:
        """Compute velocities at a height over the reference, in thicknesses, per `v`."""
        mesh, f = self.mesh, self.mesh.frames
        local = mesh.gather(v)
        n1 = np.sum((mesh.d1 @ local) * f.a3, axis=-1, keepdims=True)
        n2 = np.sum((mesh.d2 @ local) * f.a3, axis=-1, keepdims=True)
        turning = n1 * f.dual1 + n2 * f.dual2
        return mesh.shape @ local - height * self.thickness[..., None] * turning

    def modal_mass(self, v: Array) -> float:
        """Compute ``v · M · v`` without assembling M: Simpson's rule through the thickness."""
        heights = (self.offset - 0.5, self.offset, self.offset + 0.5)
        squares = [np.sum(self.speed(v, z) ** 2, axis=-1) for z in heights]
        mean = (squares[0] + 4 * squares[1] + squares[2]) / 6
        return float(self.density * np.sum(self.mesh.area * self.thickness * mean))

    def pressure_forces(self) -> Array:
        """Compute forces per unit pressure pushing against the normal [N/Pa], shape (n_dof,)."""
        mesh = self.mesh
        pushed = -mesh.area[..., None] * mesh.frames.a3
        out = mesh.scatter(np.swapaxes(mesh.shape, 1, 2) @ pushed)
        out[self.band.held] = 0.0
        return out


def sym_product(v1: Array, v2: Array, w1: Array, w2: Array) -> Array:
    """Symmetric products (v1·w1, v2·w2, v1·w2 + v2·w1), shape (..., 3)."""
    return np.stack(
        [
            np.sum(v1 * w1, axis=-1),
            np.sum(v2 * w2, axis=-1),
            np.sum(v1 * w2, axis=-1) + np.sum(v2 * w1, axis=-1),
        ],
        axis=-1,
    )


def make_shell(
    mesh: ShellMesh,
    stiffness: ArrayLike,
    thickness: ArrayLike,
    *,
    density: float,
    held: ArrayLike = (),
    offset: float = 0.5,
    springs: Array | None = None,
) -> Shell:
    """Join mesh, cane and thickness.

    Parameters
    ----------
    mesh : ShellMesh
        Geometry.
    stiffness : array_like, shape (3, 3)
        Plane-stress matrix in fibre axes [Pa], positive definite.
    thickness : array_like, broadcast to (n_elements, n_gauss)
        Thickness at the quadrature points [m]; > 0.
    density : float
        Mass per volume [kg/m³].
    held : array_like of int
        Unknowns fixed at zero.
    offset : float
        Middle above the reference surface in thicknesses: 1/2 when the reference is the inner
        face, 0 when it is the middle.
    springs : ndarray, optional
        Further stiffness in banded storage, from `crowlight.blade.supports`.
    """
    root = np.linalg.cholesky(np.asarray(stiffness, dtype=float)).T
    scale = np.sqrt(mesh.area)[..., None, None] * (root @ mesh.turn)
    curve = -(scale @ mesh.bend)
    bending = curve[..., None] * mesh.frames.a3[:, :, None, None, :]
    h = np.broadcast_to(np.asarray(thickness, dtype=float), mesh.area.shape)
    band = band_of(mesh, np.unique(np.asarray(held, dtype=np.int64)))
    kept = None if springs is None else band.without_held(springs)
    return Shell(mesh, band, scale, bending, h, offset, density, kept)
