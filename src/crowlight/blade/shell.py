"""Kirchhoff-Love shell with eccentric thickness, layers as wide as they are, exact membrane strain.

Symbols: u displacement of the reference surface, g_a = a_a + u,a deformed tangents, h thickness,
U the root of the energy of all layers (see `crowlight.blade.layers`): ``middle`` and ``curve`` are
the two halves of ``U (eps, kappa)``. On a flat sheet they are the strain of the middle and the
curvature, times the roots of h C and h³/12 C.

    eps_ab = (u,a·a_b + u,b·a_a + u,a·u,b) / 2        kappa_ab = −(u,ab − G^c_ab u,c)·a3
    W = 1/2 ∫ |U (eps, kappa)|² dA = 1/2 ∫ |middle|² + |curve|² dA

The membrane strain is exact; the curvature is linear in u and holds for rotations well below 1.
Shear through the thickness is neglected.

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
from crowlight.blade.layers import Layers, Moments, layers_of
from crowlight.blade.mesh import ShellMesh

__all__ = ["Shell", "Strained", "make_shell"]


@dataclass(frozen=True)
class Strained:
    """The shell at one displacement.

    Parameters
    ----------
    g1, g2 : ndarray, shape (n_elements, n_gauss, 3)
        Deformed tangents.
    eps, kappa : ndarray, shape (n_elements, n_gauss, 3)
        Covariant membrane strain and curvature (11, 22, 2·12).
    middle, curve : ndarray, shape (n_elements, n_gauss, 3)
        Both halves of the root of the energy, area included.
    """

    g1: Array
    g2: Array
    eps: Array
    kappa: Array
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
    layers : Layers
        Cane through the thickness.
    thickness : ndarray, shape (n_elements, n_gauss)
        Thickness h at the quadrature points [m]; > 0.
    density : float
        Mass per volume [kg/m³].
    springs : ndarray or None
        Further constant stiffness (clamp, lip) in banded storage.
    """

    mesh: ShellMesh
    band: Band
    layers: Layers
    thickness: Array
    density: float
    springs: Array | None

    def with_thickness(self, thickness: ArrayLike) -> Shell:
        """Return the same blade after scraping; geometry arrays are shared."""
        h = np.broadcast_to(np.asarray(thickness, dtype=float), self.mesh.area.shape)
        return replace(self, thickness=h)

    @cached_property
    def _roots(self) -> tuple[Array, Array, Array]:
        """Root of the energy from covariant strains, area included, each (..., 3, 3).

        ``middle = stretch eps + carry kappa``, ``curve = bend kappa``.
        """
        root = self.layers.roots(self.thickness)
        turn = np.sqrt(self.mesh.area)[..., None, None] * self.mesh.turn
        return root[..., :3, :3] @ turn, root[..., :3, 3:] @ turn, root[..., 3:, 3:] @ turn

    @cached_property
    def _face(self) -> tuple[Array, Array]:
        """Root of the energy of the scraped face from covariant eps and kappa, area included."""
        stretch, bend, width = self.layers.face(self.thickness)
        root = np.linalg.cholesky(self.layers.law).T
        turned = np.sqrt(self.mesh.area * width)[..., None, None] * self.mesh.turn
        return root @ stretch @ turned, root @ bend @ turned

    @cached_property
    def _moments(self) -> Moments:
        return self.layers.moments(self.thickness)

    def _rooted(self, eps: Array, kappa: Array) -> tuple[Array, Array]:
        stretch, carry, bend = self._roots
        return applied(stretch, eps) + applied(carry, kappa), applied(bend, kappa)

    def strain(self, u: Array) -> Strained:
        """Strains at a displacement (n_dof,)."""
        u1, u2, kappa = self.mesh.derivatives(u)
        a1, a2 = self.mesh.frames.a1, self.mesh.frames.a2
        eps = np.stack(
            [
                np.sum(u1 * (a1 + u1 / 2), axis=-1),
                np.sum(u2 * (a2 + u2 / 2), axis=-1),
                np.sum(u1 * (a2 + u2), axis=-1) + np.sum(u2 * a1, axis=-1),
            ],
            axis=-1,
        )
        return Strained(a1 + u1, a2 + u2, eps, kappa, *self._rooted(eps, kappa))

    def _increment(self, at: Strained, v: Array) -> tuple[Array, Array]:
        """Change of covariant eps and kappa per displacement `v`, at a state."""
        v1, v2, kappa = self.mesh.derivatives(v)
        return sym_product(at.g1, at.g2, v1, v2), kappa

    def increment(self, at: Strained, v: Array) -> tuple[Array, Array]:
        """Change of `middle` and `curve` per displacement `v`, at a state."""
        return self._rooted(*self._increment(at, v))

    def face(self, at: Strained) -> Array:
        """Root of the energy per thickness of the scraped face, shape (..., 3)."""
        stretch, bend = self._face
        return applied(stretch, at.eps) + applied(bend, at.kappa)

    def face_increment(self, at: Strained, v: Array) -> Array:
        """Change of `face` per displacement `v`."""
        eps, kappa = self._increment(at, v)
        stretch, bend = self._face
        return applied(stretch, eps) + applied(bend, kappa)

    def _quadratic(self, v: Array, w: Array) -> Array:
        mesh = self.mesh
        lv, lw = mesh.gather(v), mesh.gather(w)
        return sym_product(mesh.d1 @ lv, mesh.d2 @ lv, mesh.d1 @ lw, mesh.d2 @ lw)

    def quadratic(self, v: Array, w: Array) -> Array:
        """Second variation of `middle`, from ``sym(v,a·w,b)``, per pair v, w."""
        return applied(self._roots[0], self._quadratic(v, w))

    def face_quadratic(self, v: Array, w: Array) -> Array:
        """Second variation of `face` per pair v, w."""
        return applied(self._face[0], self._quadratic(v, w))

    def energy(self, at: Strained, u: Array) -> float:
        """Elastic energy [J], springs included."""
        elastic = 0.5 * float(np.sum(at.middle**2 + at.curve**2))
        if self.springs is not None:
            elastic += 0.5 * float(u @ self.band.times(self.springs, u))
        return elastic

    def forces(self, at: Strained, u: Array) -> Array:
        """Compute internal forces [N], shape (n_dof,): the gradient of the energy, 0 where held."""
        out = self.mesh.scatter(self._pull(at.middle, at.curve, at))
        if self.springs is not None:
            out += self.band.times(self.springs, u)
        out[self.band.held] = 0.0
        return out

    def stretch_forces(self, middle: Array, at: Strained) -> Array:
        """Compute forces that do work through a given `middle`."""
        out = self.mesh.scatter(self._pull(middle, None, at))
        out[self.band.held] = 0.0
        return out

    def _tension(self, middle: Array) -> Array:
        """Membrane force per area, dual to covariant eps, of a given `middle`."""
        return applied(np.swapaxes(self._roots[0], -1, -2), middle)

    def _pull(self, middle: Array, curve: Array | None, at: Strained) -> Array:
        mesh = self.mesh
        _, carry, bend = self._roots
        s, m = self._tension(middle), applied(np.swapaxes(carry, -1, -2), middle)
        if curve is not None:
            m = m + applied(np.swapaxes(bend, -1, -2), curve)
        t1 = s[..., 0:1] * at.g1 + s[..., 2:3] * at.g2
        t2 = s[..., 1:2] * at.g2 + s[..., 2:3] * at.g1
        bent = -m[..., None] * mesh.frames.a3[:, :, None, :]
        return mesh.pulled(t1, t2, bent)

    @cached_property
    def _bent(self) -> tuple[Array, Array]:
        """Share of curvature in `middle`, and stiffness of `curve` alone.

        Shapes (n_elements, n_gauss, 3, 3, n_local) and (n_elements, 3 n_local, 3 n_local).
        """
        mesh = self.mesh
        n_e, n_g, n_a = mesh.d1.shape
        normal = -mesh.frames.a3[:, :, None, :, None]
        _, carry, bend = self._roots
        alone = ((bend @ mesh.bend)[..., None, :] * normal).reshape(n_e, n_g * 3, 3 * n_a)
        return (carry @ mesh.bend)[..., None, :] * normal, np.swapaxes(alone, 1, 2) @ alone

    def elements(self, at: Strained, *, prestress: bool = True) -> Array:
        """Tangent element stiffnesses, shape (n_elements, 3 n_local, 3 n_local)."""
        mesh = self.mesh
        r = self._roots[0]
        p1 = r[..., 0:1] * at.g1[..., None, :] + r[..., 2:3] * at.g2[..., None, :]
        p2 = r[..., 1:2] * at.g2[..., None, :] + r[..., 2:3] * at.g1[..., None, :]
        n_e, n_g, n_a = mesh.d1.shape
        carried, alone = self._bent
        rows = p1[..., None] * mesh.d1[:, :, None, None, :]
        rows += p2[..., None] * mesh.d2[:, :, None, None, :]
        rows += carried
        flat = rows.reshape(n_e, n_g * 3, 3 * n_a)
        out = np.swapaxes(flat, 1, 2) @ flat
        out += alone
        if prestress:
            self._add_prestress(out, self._tension(at.middle))
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
        view = elements.reshape(n_e, 3, n_a, 3, n_a)
        for c in range(3):
            view[:, c, :, c, :] += block

    def prestress_times(self, middle: Array, v: Array) -> Array:
        """Geometric stiffness of a given `middle`, times `v`, shape (n_dof,)."""
        s, mesh = self._tension(middle), self.mesh
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
        mesh, f, cane = self.mesh, self.mesh.frames, self._moments
        n_e, n_g, n_a = mesh.shape.shape
        heavy = self.density * mesh.area
        weighted = np.swapaxes((heavy * cane.volume)[..., None] * mesh.shape, 1, 2)
        moved = weighted @ mesh.shape
        if rotary:
            # theta_i per u_A: −(a^1_i N_A,1 + a^2_i N_A,2) a3, shape (e, i, g, 3 n_local)
            tilt = f.dual1[..., :, None] * mesh.d1[..., None, :]
            tilt += f.dual2[..., :, None] * mesh.d2[..., None, :]
            theta = -np.swapaxes(tilt, 1, 2)[..., None, :] * f.a3[:, None, :, :, None]
            theta = theta.reshape(n_e, 3, n_g, 3 * n_a)
            drawn = weighted * cane.height[:, None, :]
            mixed = (drawn[:, None] @ theta).reshape(n_e, 3 * n_a, 3 * n_a)
            turned = np.sqrt(heavy * (cane.spread + cane.volume * cane.height**2))
            flat = (turned[:, None, :, None] * theta).reshape(n_e, 3 * n_g, 3 * n_a)
            elements = np.swapaxes(flat, 1, 2) @ flat + mixed + np.swapaxes(mixed, 1, 2)
        else:
            elements = np.zeros((n_e, 3 * n_a, 3 * n_a))
        view = elements.reshape(n_e, 3, n_a, 3, n_a)
        for c in range(3):
            view[:, c, :, c, :] += moved
        return self.band.gather(elements, on_held=0.0)

    def _speed(self, v: Array, height: Array) -> tuple[Array, Array]:
        """Velocities at a height [m] over the reference, and their growth with it, per `v`."""
        mesh, f = self.mesh, self.mesh.frames
        local = mesh.gather(v)
        n1 = np.sum((mesh.d1 @ local) * f.a3, axis=-1, keepdims=True)
        n2 = np.sum((mesh.d2 @ local) * f.a3, axis=-1, keepdims=True)
        turning = -(n1 * f.dual1 + n2 * f.dual2)
        return mesh.shape @ local + height[..., None] * turning, turning

    def modal_mass(self, v: Array) -> float:
        """Compute ``v · M · v`` without assembling M."""
        cane = self._moments
        moved, turning = self._speed(v, cane.height)
        squares = cane.volume * np.sum(moved**2, axis=-1) + cane.spread * np.sum(
            turning**2, axis=-1
        )
        return float(self.density * np.sum(self.mesh.area * squares))

    def face_mass(self, v: Array) -> Array:
        """``d(v·M·v)/dh``, times area: density times squared speed of the scraped face."""
        z = self.thickness * (self.layers.offset + 0.5)
        moved, _ = self._speed(v, z)
        area = self.mesh.area * self.layers.width(z)
        return self.density * area * np.sum(moved**2, axis=-1)

    def pressure_forces(self) -> Array:
        """Compute forces per unit pressure pushing against the normal [N/Pa], shape (n_dof,)."""
        mesh = self.mesh
        pushed = -mesh.area[..., None] * mesh.frames.a3
        out = mesh.scatter(np.swapaxes(mesh.shape, 1, 2) @ pushed)
        out[self.band.held] = 0.0
        return out


def applied(matrices: Array, vectors: Array) -> Array:
    """Multiply matrices (..., 3, 3) with vectors (..., 3)."""
    return (matrices @ vectors[..., None])[..., 0]


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
    widening: bool = True,
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
    widening : bool
        Whether outer layers of an arch are wider than inner ones, as they are. False: all layers as
        wide as the reference surface, as in the theory of thin shells.
    """
    law = np.asarray(stiffness, dtype=float)
    h = np.broadcast_to(np.asarray(thickness, dtype=float), mesh.area.shape)
    band = band_of(mesh, np.unique(np.asarray(held, dtype=np.int64)))
    kept = None if springs is None else band.without_held(springs)
    layers = layers_of(mesh.curvature if widening else np.zeros_like(mesh.curvature), law, offset)
    return Shell(mesh, band, layers, h, density, kept)
