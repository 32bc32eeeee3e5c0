"""What differs between a maker's good and poor reeds: candidates for a test, never causes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError

__all__ = [
    "GOOD",
    "LEAST_EACH",
    "POOR",
    "Candidate",
    "Candidates",
    "good_and_poor",
    "shared_risk",
    "welch_interval",
]

Array = NDArray[np.float64]

#: Grades that count as good and as poor; the middle one as neither.
GOOD, POOR = 4, 2
#: Reeds needed of each: with fewer even a complete separation is not rare (2 in 70 for four each).
LEAST_EACH = 4


def shared_risk(chances: ArrayLike) -> tuple[float, ...]:
    """Return p-values adjusted so that few of those that are named are named wrongly.

    Parameters
    ----------
    chances : array_like, shape (n,)
        p-values, 0 to 1.

    Returns
    -------
    tuple of float
        Naming those at or below some share, at most that share of what is named is expected to be
        wrong, for tests that are independent or hang together positively.

    References
    ----------
    Y. Benjamini, Y. Hochberg, *Journal of the Royal Statistical Society* B 57 (1995) 289-300.

    Examples
    --------
    >>> [round(q, 3) for q in shared_risk([0.01, 0.04, 0.03])]
    [0.03, 0.04, 0.04]
    """
    from scipy.stats import false_discovery_control

    found = np.asarray(chances, dtype=float)
    return tuple(map(float, false_discovery_control(found, method="bh"))) if found.size else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One quantity of good and poor reeds.

    Parameters
    ----------
    quantity : str
        Its code.
    good, poor : int
        Reeds that have it.
    difference : float
        Median of all differences good less poor (Hodges-Lehmann), in the quantity's unit.
    low, high : float
        Interval of the difference of the means (Welch), same unit.
    exceeds : float
        How often a good reed has more of it than a poor one; 0.5 for no difference.
    p, q : float
        p-value of the rank sum test, and as adjusted for all quantities looked at.
    """

    quantity: str
    good: int
    poor: int
    difference: float
    low: float
    high: float
    exceeds: float
    p: float
    q: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """What differs between good and poor reeds.

    Parameters
    ----------
    good, poor : int
        Reeds of each.
    missing : int
        How many more are needed before anything is compared, both kinds together.
    tested : tuple of Candidate
        All quantities compared, the surest first.
    risk : float
        Largest expected share of wrong ones among those named.
    """

    good: int
    poor: int
    missing: int
    tested: tuple[Candidate, ...]
    risk: float

    @property
    def named(self) -> tuple[Candidate, ...]:
        """Those worth a test."""
        return tuple(c for c in self.tested if c.q <= self.risk)


def good_and_poor(
    quantities: Mapping[str, ArrayLike],
    grades: Sequence[int | None],
    *,
    risk: float = 0.1,
    level: float = 0.95,
) -> Candidates:
    """Compare every quantity of good reeds with that of poor ones.

    Parameters
    ----------
    quantities : mapping of str to array_like, shape (n,)
        By code; NaN where a reed was not measured.
    grades : sequence of int or None, length n
        1 to 5.
    risk : float
        Largest expected share of wrong ones among those named.
    level : float
        Of the intervals, each on its own.

    Returns
    -------
    Candidates
        Rank sum tests, p-values adjusted by Benjamini and Hochberg. Nothing here is a cause: what
        differs may only come along with what matters.

    Raises
    ------
    InputError
        If a quantity is not as long as the grades.

    References
    ----------
    H. B. Mann, D. R. Whitney, *Annals of Mathematical Statistics* 18 (1947) 50-60.

    Examples
    --------
    >>> tip = [0.09, 0.10, 0.09, 0.10, 0.14, 0.15, 0.14, 0.16]
    >>> found = good_and_poor({"tip": tip}, [5, 4, 5, 4, 1, 2, 2, 1])
    >>> found.named[0].quantity, round(found.named[0].difference, 3)
    ('tip', -0.05)
    """
    from scipy.stats import mannwhitneyu

    marks = np.array([math.nan if g is None else float(g) for g in grades])
    best, worst = marks >= GOOD, marks <= POOR
    good, poor = int(best.sum()), int(worst.sum())
    missing = max(LEAST_EACH - good, 0) + max(LEAST_EACH - poor, 0)
    rows: list[Candidate] = []
    for code, values in quantities.items():
        x = np.asarray(values, dtype=float)
        if x.shape != marks.shape:
            msg = f"{code} has {x.shape} values for {marks.shape} grades; give one of each per reed"
            raise InputError(msg)
        a, b = x[best & np.isfinite(x)], x[worst & np.isfinite(x)]
        if min(len(a), len(b)) < LEAST_EACH or np.ptp(np.concatenate([a, b])) == 0.0:
            continue
        tie = len(np.unique(np.concatenate([a, b]))) < len(a) + len(b)
        method = "asymptotic" if tie or max(len(a), len(b)) > 20 else "exact"
        test = mannwhitneyu(a, b, method=method)
        low, high = welch_interval(a, b, level)
        rows.append(
            Candidate(
                quantity=code,
                good=len(a),
                poor=len(b),
                difference=float(np.median(a[:, None] - b[None, :])),
                low=low,
                high=high,
                exceeds=float(test.statistic) / (len(a) * len(b)),
                p=float(test.pvalue),
                q=1.0,
            )
        )
    adjusted = shared_risk([r.p for r in rows])
    tested = [replace(r, q=q) for r, q in zip(rows, adjusted, strict=True)]
    tested.sort(key=lambda r: (r.p, r.quantity))
    return Candidates(good=good, poor=poor, missing=missing, tested=tuple(tested), risk=risk)


def welch_interval(a: Array, b: Array, level: float = 0.95) -> tuple[float, float]:
    """Return an interval for the mean of `a` less that of `b`, whose spreads may be unlike.

    Parameters
    ----------
    a, b : ndarray
        Values; two or more of each.
    level : float
        Of the interval.

    Returns
    -------
    low, high : float
        B. L. Welch, *Biometrika* 34 (1947) 28-35; NaN where neither group has any spread.

    Examples
    --------
    >>> low, high = welch_interval(np.array([3.0, 4.0, 5.0]), np.array([1.0, 2.0]))
    >>> round(low, 2), round(high, 2)
    (0.01, 4.99)
    """
    from scipy.special import stdtrit

    va, vb = float(a.var(ddof=1)) / len(a), float(b.var(ddof=1)) / len(b)
    middle = float(a.mean() - b.mean())
    if np.ptp(a) == 0.0 and np.ptp(b) == 0.0:
        return math.nan, math.nan
    dof = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    half = float(stdtrit(dof, 0.5 + level / 2.0)) * math.sqrt(va + vb)
    return middle - half, middle + half
