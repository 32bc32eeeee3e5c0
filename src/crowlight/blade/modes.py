"""Lowest vibration modes of a shell, free or with some points held by contact.

Block inverse iteration with Rayleigh-Ritz on the last two blocks. Held points are kept exactly:
the inverse ``K⁻¹`` is replaced by ``K⁻¹ − Y (N Y)⁻¹ Y'`` with ``Y = K⁻¹ N'``.

References
----------
Bathe, K.-J. (1996). Finite Element Procedures, sec. 11.6 (subspace iteration). (From memory.)
Allemang, R.J., Brown, D.L. (1982). A correlation coefficient for modal vector analysis. Proc. 1st
Int. Modal Analysis Conf., 110-116: the modal assurance criterion. (From memory.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, eigh
from scipy.optimize import linear_sum_assignment

from crowlight.blade.arrays import Array, Ints
from crowlight.blade.band import Factor
from crowlight.errors import OutsideModel

__all__ = ["Modes", "held_inverse", "likeness", "lowest_modes", "match_modes"]

MAX_SWEEPS = 60


@dataclass(frozen=True)
class Modes:
    """Frequencies and shapes.

    Parameters
    ----------
    frequencies : ndarray, shape (n_modes,)
        Ascending [Hz].
    shapes : ndarray, shape (n_dof, n_modes)
        Displacement amplitudes with unit modal mass [1/sqrt(kg)].
    """

    frequencies: Array
    shapes: Array


def held_inverse(factor: Factor, held: Array | None) -> Callable[[Array], Array]:
    """Inverse of a factored stiffness, with the displacements ``held @ u`` kept at zero.

    Parameters
    ----------
    factor : Factor
        Cholesky factor of the stiffness.
    held : ndarray, shape (n_held, n_dof), or None
        Rows that give the displacements of the held points.
    """
    if held is None or len(held) == 0:
        return factor.solve
    y = factor.solve(np.asfortranarray(held.T))
    small = cho_factor(held @ y)

    def inverse(b: Array) -> Array:
        z = factor.solve(b)
        return z - y @ cho_solve(small, held @ z)

    return inverse


def lowest_modes(
    inverse: Callable[[Array], Array],
    mass_times: Callable[[Array], Array],
    count: int,
    *,
    start: Array,
    shift: float = 0.0,
    tolerance: float = 1e-9,
) -> tuple[Modes, Array]:
    """Lowest modes of ``K x = w² M x``, given the action of ``(K + shift M)⁻¹`` and ``M``.

    Parameters
    ----------
    inverse, mass_times : callable
        Act on columns, shape (n_dof, k).
    count : int
        How many modes.
    start : ndarray, shape (n_dof, k)
        Starting shapes, k > count; earlier modes speed up a similar problem.
    shift : float
        What was added, in units of w² [1/s²]; makes a free body solvable.
    tolerance : float
        Largest relative change of ``w² + shift`` between sweeps that ends the iteration.

    Returns
    -------
    modes : Modes
        What was asked for.
    block : ndarray, shape (n_dof, k)
        All shapes carried along, to start a similar problem from.

    Raises
    ------
    OutsideModel
        If the iteration does not settle.
    """
    block = start
    last = np.full(count, np.inf)
    carried: Array | None = None
    for _ in range(MAX_SWEEPS):
        force = mass_times(block)
        solved = inverse(np.asfortranarray(force))
        trial = solved if carried is None else np.hstack([solved, carried])
        trial = trial / np.linalg.norm(trial, axis=0)
        q, _ = np.linalg.qr(trial)
        mq = mass_times(q)
        # The Rayleigh quotient needs K q; K⁻¹ gives it on the dual side: q' M K⁻¹ M q.
        flexible = mq.T @ inverse(np.asfortranarray(mq))
        value, vector = eigh((flexible + flexible.T) / 2, (q.T @ mq + mq.T @ q) / 2)
        size = start.shape[1]
        best = np.argsort(value)[::-1][:size]
        carried = block
        block = q @ vector[:, best]
        roots = 1.0 / value[best[:count]]
        if np.all(np.abs(roots - last) <= tolerance * np.abs(roots)):
            squares = np.maximum(roots - shift, 0.0)
            shapes = np.ascontiguousarray(block[:, :count])
            return Modes(np.sqrt(squares) / (2 * np.pi), shapes), block
        last = roots
    msg = f"the lowest {count} modes did not settle in {MAX_SWEEPS} sweeps; ask for fewer"
    raise OutsideModel(msg)


def starting_shapes(n_dof: int, count: int) -> Array:
    """Make fixed, unrelated starting columns, shape (n_dof, count)."""
    rng = np.random.default_rng(20_000 + count)
    return rng.standard_normal((n_dof, count))


def likeness(a: Array, b: Array, mass_times: Callable[[Array], Array]) -> Array:
    """Modal assurance criterion between columns of `a` and `b`, mass-weighted, within [0, 1]."""
    mb = mass_times(b)
    cross = (a.T @ mb) ** 2
    own_a = np.sum(a * mass_times(a), axis=0)
    own_b = np.sum(b * mb, axis=0)
    return cross / np.outer(own_a, own_b)


def match_modes(
    before: Array, after: Array, mass_times: Callable[[Array], Array]
) -> tuple[Ints, Array]:
    """Which column of `after` continues each column of `before`, and how alike they are.

    Returns
    -------
    order : ndarray of int, shape (n_before,)
        Column of `after` that continues each column of `before`.
    alike : ndarray, shape (n_before,)
        Modal assurance criterion of each pair, 1 = same shape.
    """
    table = likeness(before, after, mass_times)
    rows, columns = linear_sum_assignment(-table)
    order = np.empty(before.shape[1], dtype=np.int64)
    order[rows] = columns
    return order, table[np.arange(len(order)), order]
