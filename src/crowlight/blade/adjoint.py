"""What a little more thickness at each place does to an output, by one adjoint solution.

Geometry does not depend on thickness (the reference is the gouged face), and thickness is only
ever changed at the scraped face. So every derivative by thickness is an integrand at that face:
with e(v) the strain increment there, s the stress there, C the plane-stress matrix and q the width
of that layer over the reference's (see `crowlight.blade.layers`),

    force balance   d(a·R)/dh   =  q e(a)' C e(u)
    stiffness       d(a·K·w)/dh =  q e(a)' C e(w) + q s' (a,x·w,x)        (first, second below)
    mass            d(w·M·w)/dh =  q rho |v(h)|²

per area of the reference, and the stiffness also follows the displacement, by the third derivative
of the energy. An output J(u) has ``dJ/dh = − d(a·R)/dh`` with ``K a = dJ/du`` on the touching
points.

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
    "output_by_thickness",
    "stiffness_by_displacement",
    "stiffness_by_thickness",
]


def balance_by_thickness(shell: Shell, at: Strained, a: Array) -> Array:
    """``d(a·R)/dh`` at each quadrature point, times its area, shape (n_elements, n_gauss)."""
    return np.sum(shell.face_increment(at, a) * shell.face(at), axis=-1)


def stiffness_by_thickness(shell: Shell, at: Strained, a: Array, w: Array) -> Array:
    """``d(a·K·w)/dh`` at fixed displacement, times area, shape (n_elements, n_gauss)."""
    ea = shell.face_increment(at, a)
    ew = ea if w is a else shell.face_increment(at, w)
    stretched = shell.face(at) * shell.face_quadratic(a, w)
    return np.sum(ea * ew + stretched, axis=-1)


def stiffness_by_displacement(shell: Shell, at: Strained, a: Array, w: Array) -> Array:
    """Gradient of ``a·K(u)·w`` by u, shape (n_dof,): the third derivative of the energy."""
    ma, _ = shell.increment(at, a)
    if w is a:
        out = 2 * shell.prestress_times(ma, a)
    else:
        mw, _ = shell.increment(at, w)
        out = shell.prestress_times(ma, w) + shell.prestress_times(mw, a)
    return out + shell.stretch_forces(shell.quadratic(a, w), at)


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
