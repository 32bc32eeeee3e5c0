"""How far reeds lie apart beyond what the gauge alone would show: components of variance.

Symbols
-------
======  ==========================================================
s1, s2  sample variances, with n1 and n2 degrees of freedom
F       upper quantile of the F distribution, first n1, second n2
G, H    factors of the modified large-sample interval
======  ==========================================================
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.errors import InputError

__all__ = ["Component", "OneWay", "Spread", "difference_of_variances", "one_way", "spread_of"]


@dataclass(frozen=True, slots=True)
class Component:
    """A standard deviation that is part of a spread, with its interval.

    Parameters
    ----------
    value : float
        Estimate; 0 where the estimate of the variance was negative (restricted estimate).
    low, high : float
        Interval; `high` may be infinite.
    """

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Values of several reeds against what the gauge alone would show.

    Parameters
    ----------
    count : int
        Reeds.
    mean : float
        Their mean.
    total : float
        Sample standard deviation.
    gauge : float
        Root mean square of the standard uncertainties of the single values.
    reeds : Component
        Standard deviation between the reeds themselves, the gauge's part taken off.
    level : float
        Of the interval.
    """

    count: int
    mean: float
    total: float
    gauge: float
    reeds: Component
    level: float

    @property
    def told_apart(self) -> bool:
        """Whether the reeds differ by more than the gauge alone would show."""
        return self.reeds.low > 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWay:
    """Components of variance of repeated values in groups.

    Parameters
    ----------
    groups, values : int
        How many.
    mean_square_between, mean_square_within : float
        Of the analysis of variance.
    between, within : Component
        Standard deviations between groups and of a single value within one.
    level : float
        Of the intervals.
    """

    groups: int
    values: int
    mean_square_between: float
    mean_square_within: float
    between: Component
    within: Component
    level: float


def _upper_f(tail: float, first: float, second: float) -> float:
    """Return the value that an F variable exceeds with probability `tail`; dof may be infinite."""
    from scipy.special import chdtri, fdtri

    if math.isinf(first) and math.isinf(second):
        return 1.0
    if math.isinf(second):
        return float(chdtri(first, tail)) / first
    if math.isinf(first):
        return second / float(chdtri(second, 1.0 - tail))
    return float(fdtri(first, second, 1.0 - tail))


def difference_of_variances(
    s1: float, n1: float, s2: float, n2: float, *, level: float = 0.95
) -> tuple[float, float]:
    r"""Return an interval for the difference of two variances.

    Parameters
    ----------
    s1, s2 : float
        Sample variances; >= 0.
    n1, n2 : float
        Their degrees of freedom; may be infinite.
    level : float
        Confidence level; 0 < level < 1.

    Returns
    -------
    low, high : float
        Interval of the first less the second; may be negative.

    Notes
    -----
    Modified large-sample interval: with a known second variance it is the exact chi-square one.

    References
    ----------
    N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam, T.-F. C. Lu, "Confidence intervals on
    linear combinations of variance components that are unrestricted in sign", *Journal of
    Statistical Computation and Simulation* 35 (1990) 135-143; R. K. Burdick, F. A. Graybill,
    *Confidence Intervals on Variance Components* (1992), section 3.3.

    Examples
    --------
    >>> low, high = difference_of_variances(4.0, 9, 1.0, float("inf"))
    >>> round(low, 3), round(high, 3)  # 9 * 4 / 19.023 - 1 and 9 * 4 / 2.700 - 1
    (0.892, 12.331)
    """
    tail = (1.0 - level) / 2.0
    inf = math.inf
    g1 = 1.0 - 1.0 / _upper_f(tail, n1, inf)
    g2 = 1.0 - 1.0 / _upper_f(tail, n2, inf)
    h1 = 1.0 / _upper_f(1.0 - tail, n1, inf) - 1.0
    h2 = 1.0 / _upper_f(1.0 - tail, n2, inf) - 1.0
    upper, lower = _upper_f(tail, n1, n2), _upper_f(1.0 - tail, n1, n2)
    g12 = ((upper - 1.0) ** 2 - (g1 * upper) ** 2 - h2**2) / upper
    h12 = ((1.0 - lower) ** 2 - (h1 * lower) ** 2 - g2**2) / lower
    down = (g1 * s1) ** 2 + (h2 * s2) ** 2 + g12 * s1 * s2
    up = (h1 * s1) ** 2 + (g2 * s2) ** 2 + h12 * s1 * s2
    found = s1 - s2
    return found - math.sqrt(max(down, 0.0)), found + math.sqrt(max(up, 0.0))


def _root(variance: float) -> float:
    return math.sqrt(max(variance, 0.0))


def spread_of(
    values: ArrayLike,
    uncertainties: ArrayLike,
    *,
    dof: float = math.inf,
    level: float = 0.95,
) -> Spread:
    r"""Split the spread of one quantity over reeds into the reeds' part and the gauge's.

    Parameters
    ----------
    values : array_like, shape (n,)
        The quantity on each reed, any unit; n >= 2.
    uncertainties : array_like, shape (n,)
        Standard uncertainty of each, same unit; >= 0. Errors of different reeds are taken as
        independent: a gauge that is always off by the same amount shifts all of them and is not
        seen here.
    dof : float
        Degrees of freedom of the uncertainties together.
    level : float
        Of the interval.

    Returns
    -------
    Spread
        :math:`s^2 - \overline{u^2}`, restricted to 0 or more, as a standard deviation.

    Raises
    ------
    InputError
        Fewer than two reeds, a negative uncertainty, or a value that is not a number.

    Examples
    --------
    >>> found = spread_of([0.45, 0.47, 0.44, 0.49], [0.005] * 4)
    >>> round(found.total, 4), round(found.reeds.value, 4), found.told_apart
    (0.0222, 0.0216, True)
    """
    x, u = np.asarray(values, dtype=float), np.asarray(uncertainties, dtype=float)
    if x.ndim != 1 or x.shape != u.shape or len(x) < 2:
        msg = f"{x.shape} values with {u.shape} uncertainties; give two reeds or more, one of each"
        raise InputError(msg)
    if not (np.isfinite(x).all() and np.isfinite(u).all() and (u >= 0.0).all()):
        msg = "a value or its uncertainty is not a number, or an uncertainty is negative"
        raise InputError(msg)
    n = len(x)
    total, gauge = float(np.var(x, ddof=1)), float(np.mean(u**2))
    low, high = difference_of_variances(total, n - 1, gauge, dof, level=level)
    return Spread(
        count=n,
        mean=float(np.mean(x)),
        total=_root(total),
        gauge=_root(gauge),
        reeds=Component(_root(total - gauge), _root(low), _root(high)),
        level=level,
    )


def one_way(groups: Sequence[Sequence[float]], *, level: float = 0.95) -> OneWay:
    r"""Estimate how far groups lie apart beyond the scatter within them.

    Parameters
    ----------
    groups : sequence of sequences of float
        Repeated values; two groups or more, one of them with two values or more.
    level : float
        Of the intervals.

    Returns
    -------
    OneWay
        The estimate from the analysis of variance, :math:`(MS_b - MS_w) / n_0` restricted to 0 or
        more; where groups are of one size it is the restricted maximum likelihood estimate.

    Raises
    ------
    InputError
        If nothing was repeated or there is one group.

    Notes
    -----
    :math:`n_0 = (N - \sum n_i^2 / N) / (k - 1)`. The interval within is the chi-square one; that
    between is of the modified large-sample kind, exact enough for groups of about one size.

    References
    ----------
    S. R. Searle, G. Casella, C. E. McCulloch, *Variance Components* (1992), section 3.6.

    Examples
    --------
    >>> found = one_way([[1.0, 1.2], [2.0, 2.1], [3.1, 3.0]])
    >>> round(found.within.value, 3), round(found.between.value, 3)
    (0.1, 0.973)
    """
    from scipy.special import chdtri

    kept = [np.asarray(g, dtype=float) for g in groups if len(g)]
    k, total = len(kept), sum(map(len, kept))
    if k < 2 or total <= k:
        msg = f"{total} values in {k} groups; give two groups or more, and repeats in one of them"
        raise InputError(msg)
    grand = float(np.concatenate(kept).mean())
    between = math.fsum(len(g) * (float(g.mean()) - grand) ** 2 for g in kept) / (k - 1)
    within = math.fsum(float(((g - g.mean()) ** 2).sum()) for g in kept) / (total - k)
    size = (total - sum(len(g) ** 2 for g in kept) / total) / (k - 1)
    low, high = difference_of_variances(between, k - 1, within, total - k, level=level)
    tail, dof = (1.0 - level) / 2.0, total - k
    return OneWay(
        groups=k,
        values=total,
        mean_square_between=between,
        mean_square_within=within,
        between=Component(_root((between - within) / size), _root(low / size), _root(high / size)),
        within=Component(
            _root(within),
            _root(dof * within / float(chdtri(dof, tail))),
            _root(dof * within / float(chdtri(dof, 1.0 - tail))),
        ),
        level=level,
    )
