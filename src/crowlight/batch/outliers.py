"""Reeds that lie apart from the others in several quantities at once.

Distances are taken from the minimum covariance determinant: centre and covariance of that half of
the reeds which lie closest together, so that a strange reed cannot hide by widening the measure it
is measured with; then once more from all reeds that are not far from that half.

In small batches such distances are far longer than the chi-square distribution says. The cut is
therefore the chi-square quantile times a correction found by drawing batches of the same size from
a normal distribution and measuring them in the same way. It holds for all of them, because the
distances do not change with units or with how the quantities hang together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError

__all__ = ["LEAST_PER_QUANTITY", "Apart", "closest_half", "distance_cut", "robust_distances"]

Array = NDArray[np.float64]

#: Reeds needed for each quantity: with fewer the half that lies closest is closest by chance.
LEAST_PER_QUANTITY = 5
#: Random starts, and concentration steps from each.
_STARTS, _STEPS = 500, 12
#: Starts for the drawn batches: what they need not find is only a little longer.
_STARTS_DRAWN, _DRAWN = 12, 300
#: Reeds within this quantile of the half count in the second measuring.
_INSIDE = 0.975


@dataclass(frozen=True, slots=True, kw_only=True)
class Apart:
    """How far each reed lies from the middle of the others.

    Parameters
    ----------
    distance : tuple of float
        Robust distance of each reed.
    cut : float
        A reed of the same kind exceeds this with probability `risk`.
    correction : float
        The cut over the root of the chi-square quantile; 1 in very large batches.
    outlying : tuple of int
        Indices of those that do, the furthest first.
    risk : float
        For each reed.
    """

    distance: tuple[float, ...]
    cut: float
    correction: float
    outlying: tuple[int, ...]
    risk: float


def robust_distances(
    values: ArrayLike,
    *,
    rng: np.random.Generator,
    risk: float = 0.01,
) -> Apart:
    """Measure how far each reed lies apart.

    Parameters
    ----------
    values : array_like, shape (n, p)
        Quantities of the reeds, in any units; n >= 5 p.
    rng : Generator
        Source of the random starts and of the drawn batches.
    risk : float
        Chance that an ordinary reed is named, each on its own; 0 < risk < 1.

    Returns
    -------
    Apart
        Distances by the reweighted minimum covariance determinant, and who lies beyond the cut.

    Raises
    ------
    InputError
        Too few reeds, something that is not a number, or quantities that determine each other.

    References
    ----------
    P. J. Rousseeuw, K. Van Driessen, "A fast algorithm for the minimum covariance determinant
    estimator", *Technometrics* 41 (1999) 212-223; for the simulated cut in small samples A.
    Cerioli, "Multivariate outlier detection with high-breakdown estimators", *Journal of the
    American Statistical Association* 105 (2010) 147-156, who draws corrections likewise.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> reeds = rng.normal(size=(20, 2))
    >>> reeds[4] = 6.0, -6.0
    >>> robust_distances(reeds, rng=rng).outlying
    (4,)
    """
    x = np.asarray(values, dtype=float)
    n, p = x.shape if x.ndim == 2 else (0, 0)
    if p < 1 or n < LEAST_PER_QUANTITY * p or not np.isfinite(x).all():
        msg = (
            f"{n} reeds with {p} quantities; give {LEAST_PER_QUANTITY} reeds or more for each "
            "quantity, all measured"
        )
        raise InputError(msg)
    if not (np.ptp(x, axis=0) > 0.0).all():
        msg = "a quantity is the same on all reeds; leave it out"
        raise InputError(msg)
    off = x - np.median(x, axis=0)
    # a reed far off would widen the deviation so much that all others seem to be one
    width = np.median(np.abs(off), axis=0)
    z = off / np.where(width > 0.0, width, x.std(axis=0, ddof=1))
    distance = _distances(z[None], rng, _STARTS)[0]
    cut, correction = distance_cut(n, p, rng=rng, risk=risk)
    return Apart(
        distance=tuple(map(float, distance)),
        cut=cut,
        correction=correction,
        outlying=tuple(int(i) for i in np.argsort(-distance) if distance[i] > cut),
        risk=risk,
    )


def distance_cut(
    n: int, p: int, *, rng: np.random.Generator, risk: float = 0.01
) -> tuple[float, float]:
    """Return the distance an ordinary reed exceeds with probability `risk`, and its correction.

    Parameters
    ----------
    n, p : int
        Reeds and quantities.
    rng : Generator
        Source of the drawn batches.
    risk : float
        For each reed.

    Returns
    -------
    cut, correction : float
        The cut, and how often it is the root of the chi-square quantile.

    Examples
    --------
    >>> rng = np.random.default_rng(2)
    >>> small, large = (distance_cut(n, 2, rng=rng)[1] for n in (12, 200))
    >>> small > 1.5, 1.0 < large < 1.2
    (True, True)
    """
    from scipy.special import chdtri

    draws = max(_DRAWN, math.ceil(30.0 / (risk * n)))  # thirty reeds beyond the cut, on average
    found = _distances(rng.standard_normal((draws, n, p)), rng, _STARTS_DRAWN)
    cut = float(np.quantile(found, 1.0 - risk))
    return cut, cut / math.sqrt(float(chdtri(p, risk)))


def closest_half(z: Array, rng: np.random.Generator, starts: int) -> NDArray[np.intp]:
    """Return the half of each batch with the smallest determinant that was found.

    Parameters
    ----------
    z : ndarray, shape (batches, n, p)
        Values, in about one unit.
    rng : Generator
        Source of the random starts.
    starts : int
        How many for each batch.

    Returns
    -------
    ndarray of int, shape (batches, h)
        Indices; h is (n + p + 1) // 2, so that as many as possible may be strange.
    """
    batches, n, p = z.shape
    h = (n + p + 1) // 2
    every = z[:, None]
    chosen = np.argsort(rng.random((batches, starts, n)), axis=-1)[..., : p + 1]
    for _ in range(_STEPS):
        centre, covariance = _moments(every, chosen)
        d2 = _squared(every, centre, covariance + 1e-9 * np.eye(p))
        chosen = np.argpartition(d2, h - 1, axis=-1)[..., :h]
    _, covariance = _moments(every, chosen)
    best = np.argmin(np.linalg.det(covariance), axis=-1)
    return np.take_along_axis(chosen, best[:, None, None], axis=1)[:, 0]


def _moments(every: Array, chosen: NDArray[np.intp]) -> tuple[Array, Array]:
    part = np.take_along_axis(every, chosen[..., None], axis=-2)
    centre = part.mean(axis=-2)
    off = part - centre[..., None, :]
    return centre, np.einsum("...ki,...kj->...ij", off, off) / part.shape[-2]


def _squared(every: Array, centre: Array, covariance: Array) -> Array:
    off = every - centre[..., None, :]
    return np.einsum("...ki,...ij,...kj->...k", off, np.linalg.inv(covariance), off)


def _distances(z: Array, rng: np.random.Generator, starts: int) -> Array:
    """Return the reweighted robust distances of each batch, shape (batches, n)."""
    from scipy.special import chdtr, chdtri

    _, n, p = z.shape
    half = closest_half(z, rng, starts)
    centre, covariance = _moments(z, half)
    if not (np.linalg.det(covariance) > 1e-12).all():
        msg = "half of the reeds have quantities that determine each other; leave one of them out"
        raise InputError(msg)
    share = half.shape[-1] / n
    # what makes the covariance of the half that of all (Croux and Haesbroeck 1999)
    scale = share / float(chdtr(p + 2, float(chdtri(p, 1.0 - share))))
    d2 = _squared(z, centre, covariance * scale)
    inside = d2 <= float(chdtri(p, 1.0 - _INSIDE))
    np.put_along_axis(inside, half, True, axis=-1)  # a half is never given up
    weight = inside / inside.sum(axis=-1, keepdims=True)
    centre = np.einsum("...k,...ki->...i", weight, z)
    off = z - centre[..., None, :]
    covariance = np.einsum("...k,...ki,...kj->...ij", weight, off, off)
    kept = _INSIDE / float(chdtr(p + 2, float(chdtri(p, 1.0 - _INSIDE))))
    return np.sqrt(_squared(z, centre, covariance * kept))
