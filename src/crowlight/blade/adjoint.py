"""What a little more thickness at each place does to an output, by one adjoint solution.

Geometry does not depend on thickness (the reference is the gouged face), and thickness is only
ever changed at the scraped face. So every derivative by thickness is an integrand at that face:
with e(v) the strain increment there, s the stress there and C the plane-stress matrix,

    force balance   d(a·R)/dh   =  e(a)' C e(u)
    stiffness       d(a·K·w)/dh =  e(a)' C e(w) + s' (a,x·w,x)        (first, second below)
    mass            d(w·M·w)/dh =  rho |v(h)|²

per area, and the stiffness also follows the displacement through its third derivative ``third``.
An output J(u) has ``dJ/dh = − d(a·R)/dh`` with ``K a = dJ/du`` on the touching points.

References
----------
Haftka, R.T., Guerdal, Z. (1992). Elements of Structural Optimization, 3rd ed., ch. 7: adjoint
sensitivities and derivatives of eigenvalues. (From memory.)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.shell import Shell, Strained
from crowlight.blade.tangent import Tangent

__all__ = [
    "balance_by_thickness",
    "compliance_by_thickness",
    "mass_by_thickness",
    "output_by_thickness",
    "stiffness_by_displacement",
    "stiffness_by_thickness",
]


def face_of(shell: Shell, middle: Array, curve: Array) -> Array:
    """Scaled strain at the scraped face from that of the middle and the curvature."""
    return middle + shell.thickness[..., None] / 2 * curve


def face_increment(shell: Shell, at: Strained, v: Array) -> Array:
    """Scaled strain increment at the scraped face per displacement `v`."""
    return face_of(shell, *shell.increment(at, v))


def balance_by_thickness(shell: Shell, at: Strained, a: Array) -> Array:
    """``d(a·R)/dh`` at each quadrature point, times its area, shape (n_elements, n_gauss)."""
    strain = face_of(shell, at.middle, at.curve)
    return np.sum(face_increment(shell, at, a) * strain, axis=-1)


def stiffness_by_thickness(shell: Shell, at: Strained, a: Array, w: Array) -> Array:
    """``d(a·K·w)/dh`` at fixed displacement, times area, shape (n_elements, n_gauss)."""
    ea = face_increment(shell, at, a)
    ew = ea if w is a else face_increment(shell, at, w)
    stress = face_of(shell, at.middle, at.curve)
    return np.sum(ea * ew, axis=-1) + np.sum(stress * shell.quadratic(a, w), axis=-1)


def mass_by_thickness(shell: Shell, v: Array) -> Array:
    """``d(v·M·v)/dh``, times area: density times squared speed of the scraped face."""
    face = shell.speed(v, shell.offset + 0.5)
    return shell.density * shell.mesh.area * np.sum(face**2, axis=-1)


def stiffness_by_displacement(shell: Shell, at: Strained, a: Array, w: Array) -> Array:
    """Gradient of ``a·K(u)·w`` by u, shape (n_dof,): the third derivative of the energy."""
    h = shell.thickness[..., None]
    ma, _ = shell.increment(at, a)
    if w is a:
        out = 2 * shell.prestress_times(h * ma, a)
    else:
        mw, _ = shell.increment(at, w)
        out = shell.prestress_times(h * ma, w) + shell.prestress_times(h * mw, a)
    stress = h * shell.quadratic(a, w)
    return out + shell.forces_of(stress, np.zeros_like(stress), at)


def output_by_thickness(tangent: Tangent, rows: Sequence[Array]) -> list[Array]:
    """Thickness gradient of ``sum rows·u`` at an equilibrium, per body and quadrature point."""
    adjoint, _ = tangent.solve(rows)
    return [
        -balance_by_thickness(s, at, a)
        for s, at, a in zip(tangent.pair.shells, tangent.at, adjoint, strict=True)
    ]


def compliance_by_thickness(
    tangent: Tangent, rows: Sequence[Array], forces: Sequence[Array]
) -> list[Array]:
    """Thickness gradient of ``sum rows·w`` with ``K w = forces``, the state's own shift included.

    The touching points stay the same: derivatives are those of one side where that changes.
    """
    pair, at = tangent.pair, tangent.at
    adjoint, _ = tangent.solve(rows)
    response, _ = tangent.solve(forces)
    shift = [
        stiffness_by_displacement(s, where, a, w)
        for s, where, a, w in zip(pair.shells, at, adjoint, response, strict=True)
    ]
    follow, _ = tangent.solve(shift)
    return [
        balance_by_thickness(s, where, f) - stiffness_by_thickness(s, where, a, w)
        for s, where, a, w, f in zip(pair.shells, at, adjoint, response, follow, strict=True)
    ]
