"""Held edges: which unknowns are zero, and stiff springs against turning."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.band import springs_of
from crowlight.blade.mesh import ShellMesh
from crowlight.blade.patch import Patch

__all__ = ["Side", "edge_controls", "edge_dofs", "turning_springs"]

Side = Literal["left", "right", "thread", "tip"]


def edge_controls(patch: Patch, side: Side) -> Ints:
    """Control points of one edge: left xi = min, right xi = max, thread eta = min, tip = max."""
    ids = np.arange(patch.n_control).reshape(patch.along.size, patch.across.size)
    return {"left": ids[:, 0], "right": ids[:, -1], "thread": ids[0], "tip": ids[-1]}[side]


def edge_dofs(patch: Patch, side: Side, directions: Sequence[int] = (0, 1, 2)) -> Ints:
    """Unknowns of one edge in the given space directions (0 x, 1 y, 2 z)."""
    return (3 * edge_controls(patch, side)[:, None] + np.asarray(directions)).ravel()


def turning_springs(
    mesh: ShellMesh, sides: Sequence[Side], stiffness: float, *, gauss: int = 4
) -> Array:
    """Springs against turning about edges: ``stiffness ∫ (a3·u,n)² ds`` in banded storage.

    Holding the second row of control points instead would also stop the membrane from stretching
    at the edge.

    Parameters
    ----------
    mesh : ShellMesh
        Geometry.
    sides : sequence of {"left", "right", "thread", "tip"}
        Edges that may not turn (clamped, or planes of symmetry).
    stiffness : float
        Moment per length and angle [N]; about 1000 times D / element length acts as rigid.
    """
    patch = mesh.patch
    total: Array = np.zeros((mesh.bandwidth + 1, mesh.n_dof), order="F")
    for side in sides:
        edge_along = side in ("left", "right")
        basis = patch.along if edge_along else patch.across
        other = patch.across if edge_along else patch.along
        fixed = other.breaks[0] if side in ("left", "thread") else other.breaks[-1]
        t, w = (a.ravel() for a in basis.gauss(gauss))
        at = np.full_like(t, fixed)
        f = patch.frames(at, t) if edge_along else patch.frames(t, at)
        tangent, outward = (f.a2, f.a1) if edge_along else (f.a1, f.a2)
        length = np.linalg.norm(tangent, axis=1)
        inplane, normal = (
            basis.values(t),
            other.values(at, 1) / np.linalg.norm(outward, axis=1)[:, None],
        )
        order = (inplane, normal) if edge_along else (normal, inplane)
        shape = np.einsum("pj,pi->pji", *order).reshape(len(t), -1)
        root = np.sqrt(stiffness * w * length)[:, None, None]
        rows = root * shape[:, :, None] * f.a3[:, None, :]
        total += springs_of(csr_array(rows.reshape(len(t), -1)), mesh.bandwidth)
    return total
