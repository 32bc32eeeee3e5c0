"""The shell with every layer as wide as it is: what explains its difference from the solid.

`crowlight.blade.shell` gives each layer of the blade the area of the inner face and measures its
strain there. Here layer z has lengths across grown by q = 1 + z/R, with R the radius of the arch
across the fibres (along them the blade is nearly straight). Small displacements only. To second
order in z, with b = −1/R the curvature of the arch:

    covariant strain TT    eps + z kappa + z² (kappa/R − eps/R²)
    covariant strain 2LT   eps + z kappa + z² kappa/2R
    physical strain        LL as it is, TT / q², 2LT / q;   volume q dz dA

References
----------
Flügge, W. (1973). Stresses in Shells, 2nd ed., ch. 5: the factor 1 + z/R. (From memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from crowlight.blade.body import Body

__all__ = ["Layered", "layered"]

HEIGHTS, WEIGHTS = np.polynomial.legendre.leggauss(4)


@dataclass(frozen=True)
class Layered:
    """Frequencies [Hz] and first fall of the middle of the tip per pressure [m/Pa]."""

    free: np.ndarray
    held: np.ndarray
    free_tip: float
    held_tip: float


def strains(body: Body) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Membrane and bending strain per control-point displacement in fibre axes, and 1/R."""
    mesh, f = body.shell.mesh, body.shell.mesh.frames
    d1, d2 = mesh.d1[..., None], mesh.d2[..., None]
    a1, a2 = f.a1[:, :, None, :], f.a2[:, :, None, :]
    stretch = np.stack([d1 * a1, d2 * a2, d1 * a2 + d2 * a1], axis=2)
    normal = f.a3[:, :, None, None, :]
    bend = -mesh.bend[..., None] * normal
    control = body.patch.control.reshape(-1, 3)[mesh.nodes]
    arch = np.sum(mesh.bend @ control[:, None] * f.a3[:, :, None, :], axis=-1)
    turned = [np.einsum("egij,egjac->egiac", mesh.turn, b) for b in (stretch, bend)]
    shape = (*mesh.area.shape, 3, -1)
    curved = -np.einsum("egij,egj->egi", mesh.turn, arch)[..., 1]
    return turned[0].reshape(shape), turned[1].reshape(shape), curved


def layered(body: Body, *, modes: int = 6) -> Layered:
    """Solve one blade, layers as wide as they are."""
    mesh, n = body.shell.mesh, body.shell.mesh.n_dof
    stretch, bend, arch = strains(body)
    moved, turning = motion(body)
    stiffness, mass = np.zeros((n, n)), np.zeros((n, n))
    h, law = body.shell.thickness, body.cane.plane_stress()
    for height, weight in zip(HEIGHTS, WEIGHTS, strict=True):
        z = (h * (1 + height) / 2)[..., None, None]
        r = arch[..., None, None]
        q = 1 + z * r
        b = stretch + z * bend
        b[:, :, 1:2] += z**2 * r * (bend[:, :, 1:2] - r * stretch[:, :, 1:2])
        b[:, :, 2:3] += z**2 * r / 2 * bend[:, :, 2:3]
        b[:, :, 1:2] /= q**2
        b[:, :, 2:3] /= q
        v = moved + z * turning
        volume = mesh.area[..., None, None] * h[..., None, None] * weight / 2 * q
        add(stiffness, mesh.dofs, np.einsum("egip,ij,egjq->epq", b, law, volume * b, optimize=True))
        add(mass, mesh.dofs, np.einsum("egip,egiq->epq", v, body.cane.density * volume * v))
    springs = body.shell.springs
    assert springs is not None
    for k, diagonal in enumerate(springs):
        rows = np.arange(k, n)
        stiffness[rows, rows - k] += diagonal[: n - k]
        if k:
            stiffness[rows - k, rows] += diagonal[: n - k]
    free = np.setdiff1d(np.arange(n), body.shell.band.held)
    edges = body.touching[np.flatnonzero(body.on_edge)].toarray()
    held = np.setdiff1d(free, np.flatnonzero(np.abs(edges).max(axis=0) > 1e-12))
    answers = []
    for kept in (free, held):
        k, m = stiffness[np.ix_(kept, kept)], mass[np.ix_(kept, kept)]
        squares = eigh(k, m, eigvals_only=True, subset_by_index=[0, modes - 1])
        fall = -float(body.middle_row[kept] @ np.linalg.solve(k, body.push[kept]))
        answers.append((np.sqrt(squares) / (2 * np.pi), fall))
    return Layered(answers[0][0], answers[1][0], answers[0][1], answers[1][1])


def motion(body: Body) -> tuple[np.ndarray, np.ndarray]:
    """Velocity of the inner face, and its growth with height, per control-point velocity."""
    mesh, f = body.shell.mesh, body.shell.mesh.frames
    tilt = f.dual1[..., None] * mesh.d1[:, :, None] + f.dual2[..., None] * mesh.d2[:, :, None]
    turning = -tilt[..., None] * f.a3[:, :, None, None, :]
    moved = mesh.shape[:, :, None, :, None] * np.eye(3)[None, None, :, None, :]
    shape = (*mesh.area.shape, 3, -1)
    return moved.reshape(shape), turning.reshape(shape)


def add(total: np.ndarray, dofs: np.ndarray, elements: np.ndarray) -> None:
    """Add element matrices into a dense one."""
    np.add.at(total, (dofs[:, :, None], dofs[:, None, :]), elements)
