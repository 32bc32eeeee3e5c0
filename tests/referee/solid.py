"""One blade as a solid: quadratic bricks on the inner face, cane axes in every brick, loads.

Only the description of the blade is shared with the shell (`BladeShape`, `ThicknessGrid`, `Cane`);
points, normals, axes and loads are worked out here, without splines. Lengths in mm, forces in N,
stresses in MPa, masses in t, as is usual for CalculiX.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crowlight.blade import BladeShape, Cane, ThicknessGrid

__all__ = ["Bricks", "Solid", "Through", "bricks"]

FRONT_SHARE = 8.5 / 23.0  # the thin part, meshed finer
STEP = 1e-5  # for differences of the surface's parameters
CORNERS = np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]])
SIDES = np.array([[1, 0, 0], [2, 1, 0], [1, 2, 0], [0, 1, 0]])
UP = np.array([0, 0, 2])
BRICK = np.concatenate([CORNERS, CORNERS + UP, SIDES, SIDES + UP, CORNERS + UP // 2])


@dataclass(frozen=True)
class Bricks:
    """How many bricks: across, along the front, along the rest, through the thickness."""

    across: int = 12
    front: int = 13
    behind: int = 9
    through: int = 1


@dataclass(frozen=True)
class Through:
    """What a solid needs and a thin shell does not: constants through the thickness.

    Assumed, as nobody has measured them on reed cane in this state: the cane is alike in all
    directions across its fibres, so E_R = E_T, nu_LR = nu_LT, G_LR = G_LT, and
    G_TR = E_T / 2 (1 + nu_TR). The first two numbers scale E_R, and both shear moduli.
    """

    stiffness: float = 1.0
    shear: float = 1.0
    poisson: float = 0.3  # nu_TR

    def constants(self, cane: Cane) -> list[float]:
        """E_L E_T E_R, nu_LT nu_LR nu_TR, G_LT G_LR G_TR [MPa, 1]."""
        along, across, shear = cane.along * 1e-6, cane.across * 1e-6, cane.shear * 1e-6
        radial = self.stiffness * across
        rolling = self.shear * across / (2 * (1 + self.poisson))
        return [
            *(along, across, radial),
            *(cane.poisson, cane.poisson, self.poisson),
            *(shear, self.shear * shear, rolling),
        ]


@dataclass(frozen=True)
class Solid:
    """A meshed blade.

    Parameters
    ----------
    nodes : ndarray, shape (n_nodes, 3)
        Positions [mm].
    parameters : ndarray, shape (n_nodes, 3)
        Across −1 to 1, along 0 to 1, outward 0 to 1.
    elements : ndarray of int, shape (n_elements, 20)
        Nodes of each brick from 0, in the order of C3D20R; the first face is the inner one.
    axes : ndarray, shape (n_elements, 2, 3)
        Along and across the fibres in the middle of each brick.
    inner_faces : ndarray of int, shape (n_faces, 8)
        Nodes of the faces that lie on the inner face, corners first.
    """

    nodes: np.ndarray
    parameters: np.ndarray
    elements: np.ndarray
    axes: np.ndarray
    inner_faces: np.ndarray

    def where(self, *, xi: float | None = None, eta: float | None = None, out: float | None = None):
        """Nodes at the given parameters."""
        chosen = np.ones(len(self.nodes), dtype=bool)
        for k, value in enumerate((xi, eta, out)):
            if value is not None:
                chosen &= np.abs(self.parameters[:, k] - value) < 1e-9
        return np.flatnonzero(chosen)

    @property
    def edges(self) -> np.ndarray:
        """Nodes of both inner edges, the thread left out."""
        both = np.concatenate([self.where(xi=s, out=0.0) for s in (-1.0, 1.0)])
        return np.setdiff1d(both, self.where(eta=0.0))

    @property
    def tip_middle(self) -> int:
        """Node at the middle of the tip on the inner face."""
        return int(self.where(xi=0.0, eta=1.0, out=0.0)[0])

    def closing_forces(self) -> np.ndarray:
        """Nodal forces of 1 MPa pulling the inner face inward as it lies at rest [N]."""
        forces = np.zeros_like(self.nodes)
        t, w = np.polynomial.legendre.leggauss(3)
        for r, wr in zip(t, w, strict=True):
            for s, ws in zip(t, w, strict=True):
                shape, by_r, by_s = face_shapes(r, s)
                corners = self.nodes[self.inner_faces]
                area = np.cross(
                    np.einsum("a,fac->fc", by_r, corners), np.einsum("a,fac->fc", by_s, corners)
                )
                for a in range(8):
                    np.add.at(forces, self.inner_faces[:, a], -wr * ws * shape[a] * area)
        return forces


def face_shapes(r: float, s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shape functions of the eight-node face, and their derivatives by r and s."""
    a = np.array([-1.0, 1, 1, -1, 0, 1, 0, -1])
    b = np.array([-1.0, -1, 1, 1, -1, 0, 1, 0])
    p, q = 1 + a * r, 1 + b * s
    corner = p * q * (a * r + b * s - 1) / 4
    corner_r = a * q * (2 * a * r + b * s) / 4
    corner_s = b * p * (2 * b * s + a * r) / 4
    on_r, on_s = (1 - r * r) * q / 2, (1 - s * s) * p / 2
    kind = np.where(np.abs(a * b) > 0, 0, np.where(a == 0, 1, 2))
    return (
        np.choose(kind, [corner, on_r, on_s]),
        np.choose(kind, [corner_r, -r * q, (1 - s * s) * a / 2]),
        np.choose(kind, [corner_s, (1 - r * r) * b / 2, -s * p]),
    )


def surface(shape: BladeShape, xi: np.ndarray, eta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points of the inner face [mm] and outward unit normals, by differences of the shape."""
    by_xi = shape.inner(xi + STEP, eta) - shape.inner(xi - STEP, eta)
    by_eta = shape.inner(xi, eta + STEP) - shape.inner(xi, eta - STEP)
    normal = np.cross(by_xi, by_eta)
    return 1e3 * shape.inner(xi, eta), normal / np.linalg.norm(normal, axis=-1, keepdims=True)


def bricks(shape: BladeShape, grid: ThicknessGrid, count: Bricks | None = None) -> Solid:
    """Grow bricks from the inner face outward by the thickness."""
    count = count or Bricks()
    corners = np.concatenate(
        [
            np.linspace(0, 1 - FRONT_SHARE, count.behind + 1)[:-1],
            np.linspace(1 - FRONT_SHARE, 1, count.front + 1),
        ]
    )
    along = np.interp(np.arange(2 * len(corners) - 1) / 2, np.arange(len(corners)), corners)
    across = np.linspace(-1, 1, 2 * count.across + 1)
    out = np.linspace(0, 1, 2 * count.through + 1)
    lattice = np.stack(np.meshgrid(across, along, out, indexing="ij"), axis=-1)
    odd = np.indices(lattice.shape[:3]) % 2
    kept = odd.sum(axis=0) <= 1  # corners and middles of edges
    number = np.full(kept.shape, -1)
    number[kept] = np.arange(kept.sum())
    parameters = lattice[kept]
    xi, eta = parameters[:, 0], parameters[:, 1]
    point, normal = surface(shape, xi, eta)
    h = 1e3 * grid.at(xi, eta * shape.free_length)
    first = 2 * np.stack(np.meshgrid(*(np.arange(n // 2) for n in kept.shape), indexing="ij"), -1)
    first = first.reshape(-1, 3)
    elements = number[tuple(np.moveaxis(first[:, None] + BRICK, -1, 0))]
    inner = elements[first[:, 2] == 0]
    middle = parameters[elements[:, :8]].mean(axis=1)
    _, outward = surface(shape, middle[:, 0], middle[:, 1])
    fibre = np.array([0.0, 1.0, 0.0]) - outward[:, 1:2] * outward
    fibre /= np.linalg.norm(fibre, axis=1, keepdims=True)
    return Solid(
        nodes=point + (parameters[:, 2] * h)[:, None] * normal,
        parameters=parameters,
        elements=elements,
        axes=np.stack([fibre, np.cross(fibre, outward)], axis=1),
        inner_faces=inner[:, [0, 1, 2, 3, 8, 9, 10, 11]],
    )
