"""Two blades face to face, and the states they can be in.

Two blades alike are solved as one against the plane between them. Two different blades share the
contact forces: their gaps and compliances add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array
from crowlight.blade.body import Body
from crowlight.blade.shell import Shell
from crowlight.blade.thickness import ThicknessGrid

__all__ = ["Pair", "State", "rest_guess", "tightened"]

ROUGH = 1e-6  # roughness of a scraped edge [m], from memory: no less


@dataclass(frozen=True)
class Pair:
    """Both blades with their loads.

    Parameters
    ----------
    bodies : tuple of Body
        One (both blades alike) or two.
    shells : tuple of Shell
        Their shells, lip springs included.
    steady : tuple of ndarray, shape (n_dof,)
        Constant forces on each: lip.
    gap : ndarray, shape (n_touching,)
        What the gap would be at zero displacement [m] (half of it if the blades are alike).
    rest : tuple of ndarray, shape (n_dof,)
        Displacements at rest: how far the tie has already pressed the edges together.
    """

    bodies: tuple[Body, ...]
    shells: tuple[Shell, ...]
    steady: tuple[Array, ...]
    gap: Array
    rest: tuple[Array, ...]

    @property
    def alike(self) -> bool:
        """Whether one body stands for both blades."""
        return len(self.bodies) == 1

    @property
    def copies(self) -> int:
        """How many blades each body stands for."""
        return 2 if self.alike else 1

    @property
    def touching(self) -> csr_array:
        """Rows of the points that may touch, the same for every body."""
        return self.bodies[0].touching

    @property
    def shape_area(self) -> float:
        """Compute the opening area of the measured rest shape [m²]."""
        return self.copies * sum(b.tip_area for b in self.bodies)

    def with_grids(self, grids: Sequence[ThicknessGrid]) -> Pair:
        """Return the reed after scraping: tie, lip and rest shape before the cut are kept."""
        bodies = tuple(b.with_grid(g) for b, g in zip(self.bodies, grids, strict=True))
        shells = tuple(
            s.with_thickness(b.shell.thickness) for s, b in zip(self.shells, bodies, strict=True)
        )
        return replace(self, bodies=bodies, shells=shells)

    def area(self, u: Sequence[Array]) -> float:
        """Compute the opening area at displacements [m²]."""
        moved = sum(
            float(b.tip_row @ (v - r)) for b, v, r in zip(self.bodies, u, self.rest, strict=True)
        )
        return self.shape_area + self.copies * moved

    @property
    def shape_height(self) -> float:
        """Opening height of the measured rest shape at the middle of the tip [m]."""
        return self.copies * sum(
            float(b.patch.control[-1, :, 2] @ middle_of(b)) for b in self.bodies
        )

    def height(self, u: Sequence[Array]) -> float:
        """Compute the opening height at the middle of the tip at displacements [m]."""
        moved = sum(
            float(b.middle_row @ (v - r)) for b, v, r in zip(self.bodies, u, self.rest, strict=True)
        )
        return self.shape_height + self.copies * moved


def middle_of(body: Body) -> Array:
    """Weights of the tip's control points at its middle, shape (across.size,)."""
    return body.patch.across.values(0.0)[0]


@dataclass(frozen=True)
class State:
    """Equilibrium at one pressure.

    Parameters
    ----------
    pressure : float
        Closing pressure difference [Pa].
    u : tuple of ndarray, shape (n_dof,)
        Displacement of each body [m].
    force : ndarray, shape (n_touching,)
        Contact forces [N], >= 0.
    area : float
        Opening area [m²].
    """

    pressure: float
    u: tuple[Array, ...]
    force: Array
    area: float

    @property
    def touching(self) -> np.ndarray:
        """Which points touch, as bool, shape (n_touching,)."""
        return self.force > 0


def tightened(loose: Pair, pressed: State) -> Pair:
    """Return the pair whose measured rest shape is that of the pressed state.

    Edge points that the tie leaves open by no more than edges are rough still touch, without force:
    a few nanometres near the tip, which the first pascals would close. Counted as open they would
    soften the first compliance by a few per cent, by how many depending on the mesh.
    """
    moved = sum(loose.touching @ u for u in pressed.u)
    apart = np.maximum(loose.gap + moved - ROUGH, 0.0)
    lifted = np.where(loose.bodies[0].on_edge & ~pressed.touching, apart, 0.0)
    height = np.sum([b.touching_height for b in loose.bodies], axis=0)
    return replace(loose, rest=pressed.u, gap=height + lifted - moved)


def rest_guess(pair: Pair) -> State:
    """Start of every path: the rest displacements, nothing pressing."""
    return State(0.0, pair.rest, np.zeros(len(pair.gap)), pair.area(pair.rest))
