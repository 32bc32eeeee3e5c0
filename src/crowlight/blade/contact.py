"""Which points touch and how hard: the linear complementarity problem of one Newton step.

Find ``force >= 0`` with ``gap = free_gap + W force >= 0`` and ``gap · force = 0``, where W is the
compliance between the candidate points.

References
----------
Hintermueller, M., Ito, K., Kunisch, K. (2002). The primal-dual active set strategy as a semismooth
Newton method. SIAM J. Optim. 13, 865-888. (From memory.)
Lawson, C.L., Hanson, R.J. (1974). Solving Least Squares Problems, ch. 23 (NNLS): the fallback.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import nnls

from crowlight.blade.arrays import Array

__all__ = ["contact_forces"]

ROUNDS = 40
GAP_ZERO = 1e-13  # metres


def contact_forces(compliance: Array, free_gap: Array, guess: np.ndarray) -> Array:
    """Solve for the contact forces.

    Parameters
    ----------
    compliance : ndarray, shape (n, n)
        Symmetric, positive definite [m/N].
    free_gap : ndarray, shape (n,)
        Gap without contact forces [m].
    guess : ndarray of bool, shape (n,)
        Points expected to touch; only speeds things up.

    Returns
    -------
    ndarray, shape (n,)
        Forces [N], >= 0.

    Examples
    --------
    >>> contact_forces(np.eye(2), np.array([-1.0, 1.0]), np.array([False, True])).tolist()
    [1.0, 0.0]
    """
    if len(free_gap) == 0:
        return np.zeros(0)
    active = guess.copy()
    seen: set[bytes] = set()
    for _ in range(ROUNDS):
        force = np.zeros(len(free_gap))
        if active.any():
            force[active] = np.linalg.solve(compliance[np.ix_(active, active)], -free_gap[active])
        gap = free_gap + compliance @ force
        new = np.where(active, force > 0, gap < -GAP_ZERO)
        if np.array_equal(new, active):
            return force
        active = new
        key = active.tobytes()
        if key in seen:
            break
        seen.add(key)
    return by_least_squares(compliance, free_gap)


def by_least_squares(compliance: Array, free_gap: Array) -> Array:
    """Solve the same problem with non-negative least squares, which never cycles."""
    jitter = 1e-13 * np.trace(compliance) / len(free_gap)
    root = cholesky(compliance + jitter * np.eye(len(free_gap)))
    target = -solve_triangular(root, free_gap, trans="T")
    return nnls(root, target)[0]
