"""Symmetric banded matrices: adding up elements, factoring, solving."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import blas, lapack
from scipy.sparse import csr_array

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.mesh import ShellMesh, element_dofs, element_nodes

__all__ = ["Band", "Factor", "Pivoted", "band_of", "factor", "pivoted", "springs_of"]


@dataclass(frozen=True)
class Factor:
    """Cholesky factor of a banded matrix, lower form."""

    lower: Array

    def solve(self, rhs: Array) -> Array:
        """Solve for one vector (n,) or several columns (n, k)."""
        x, info = lapack.dpbtrs(self.lower, rhs, lower=1)
        assert info == 0  # noqa: S101  only a wrong shape or NaN could make it otherwise
        return x

    def half(self, rhs: Array) -> Array:
        """Solve with the lower factor alone, so that ``half(a).T @ half(b)`` is ``a' K⁻¹ b``."""
        x, info = lapack.dtbtrs(self.lower, rhs, uplo="L")
        assert info == 0  # noqa: S101  as above
        return x


@dataclass(frozen=True)
class Pivoted:
    """LU factor of a symmetric banded matrix that is not positive definite."""

    width: int
    lu: Array
    pivots: Ints

    def solve(self, rhs: Array) -> Array:
        """Solve for one vector (n,) or several columns (n, k)."""
        x, info = lapack.dgbtrs(self.lu, self.width, self.width, rhs, self.pivots)
        assert info == 0  # noqa: S101  as above
        return x


@dataclass(frozen=True)
class Band:
    """Where each entry of an element matrix goes in lower banded storage.

    Parameters
    ----------
    n_dof, width : int
        Order of the matrix; number of sub-diagonals.
    adding : csr_array, shape (n_places, n_elements m²)
        Adds entries of all element matrices in their storage places; those of held unknowns and
        of the upper triangle go nowhere.
    held : ndarray of int
        Unknowns fixed at zero; their rows and columns become those of the identity.
    """

    n_dof: int
    width: int
    adding: csr_array
    held: Ints

    def gather(self, elements: Array, *, on_held: float = 1.0) -> Array:
        """Add element matrices, shape (n_elements, m, m), into banded storage (width + 1, n)."""
        rows = self.width + 1
        stored = self.adding @ elements.ravel()
        stored[self.held * rows] = on_held
        return stored.reshape(self.n_dof, rows).T

    def without_held(self, stored: Array) -> Array:
        """Copy banded storage with rows and columns of held unknowns set to zero."""
        out = stored.copy(order="F")
        out[:, self.held] = 0.0
        for k in range(1, self.width + 1):
            columns = self.held[self.held >= k] - k
            out[k, columns] = 0.0
        return out

    def times(self, stored: Array, vectors: Array) -> Array:
        """Multiply a banded matrix with one vector (n,) or several columns (n, k)."""
        columns = vectors.reshape(self.n_dof, -1)
        out = np.empty_like(columns)
        for k in range(columns.shape[1]):
            out[:, k] = blas.dsbmv(self.width, 1.0, stored, columns[:, k], lower=1)
        return out.reshape(vectors.shape)


def band_of(mesh: ShellMesh, held: Ints) -> Band:
    """Plan the banded storage of a mesh whose unknowns `held` are fixed at zero."""
    sizes = (mesh.patch.across.size, mesh.patch.along.size, mesh.patch.across.degree)
    return planned(*sizes, tuple(np.asarray(held, dtype=np.int64).tolist()))


@lru_cache(maxsize=8)
def planned(across: int, along: int, degree: int, held: tuple[int, ...]) -> Band:
    """Plan for all patches of so many control points: it does not depend on their shape."""
    dofs = element_dofs(element_nodes(across, along, degree))
    n, m = 3 * across * along, dofs.shape[1]
    width = 3 * (degree * across + degree) + 2
    row, column = np.divmod(np.arange(m * m), m)
    lower = np.flatnonzero(row >= column)
    i, j = dofs[:, row[lower]], dofs[:, column[lower]]
    place = np.minimum(i, j) * (width + 1) + np.abs(i - j)
    fixed = np.zeros(n, dtype=bool)
    fixed[list(held)] = True
    used = ~(fixed[i] | fixed[j])
    entry = m * m * np.arange(len(dofs))[:, None] + lower
    shape = (n * (width + 1), len(dofs) * m * m)
    adding = csr_array((np.ones(used.sum()), (place[used], entry[used])), shape=shape)
    return Band(n, width, adding, np.array(held, dtype=np.int64))


def factor(stored: Array) -> Factor | None:
    """Cholesky factor of a banded matrix, or None if it is not positive definite."""
    lower, info = lapack.dpbtrf(stored, lower=1)
    return Factor(lower) if info == 0 else None


def springs_of(rows: csr_array, width: int) -> Array:
    """Stiffness ``rows' rows`` of springs in banded storage.

    Parameters
    ----------
    rows : csr_array, shape (n_springs, n_dof)
        Root of each spring's stiffness times the displacement it feels; each spring may only
        reach across unknowns at most `width` apart.
    width : int
        Number of sub-diagonals.
    """
    stored = np.zeros((width + 1, rows.shape[1]), order="F")
    square = (rows.T @ rows).tocoo()
    low = square.row >= square.col
    stored[(square.row - square.col)[low], square.col[low]] = square.data[low]
    return stored


def pivoted(stored: Array) -> Pivoted:
    """LU factor of a symmetric matrix given by its lower band."""
    width, n = len(stored) - 1, stored.shape[1]
    full = np.zeros((3 * width + 1, n), order="F")
    full[2 * width :] = stored
    for k in range(1, width + 1):
        full[2 * width - k, k:] = stored[k, : n - k]
    lu, pivots, _ = lapack.dgbtrf(full, width, width)
    return Pivoted(width, lu, pivots)
