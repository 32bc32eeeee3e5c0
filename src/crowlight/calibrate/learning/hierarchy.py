r"""Effects of groups, drawn together: a hierarchical normal model with several kinds of group.

    y_i = d_i (mu + sum over factors of effect[factor, level_i]) + error_i
    effect ~ normal(0, spread_factor),  error_i ~ normal(0, sqrt(s_i² + scatter²))

y what was seen, s_i its known standard error, d_i how far the effects count in it (1 unless told).
Levels that rest on little are drawn towards the
mean, the more so the less levels differ among each other. Means and effects are worked out exactly
for given spreads; spreads and scatter are averaged over their posterior on points that fill the
prior evenly (Sobol's sequence), weighed by the marginal likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import logsumexp, ndtr, ndtri
from scipy.stats import qmc

from crowlight.errors import InputError

__all__ = ["Estimate", "Grouped", "SpreadPrior", "at_spreads", "shrink"]

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SpreadPrior:
    """Prior of a standard deviation.

    Parameters
    ----------
    scale : float
        Standard deviation of a half-normal, the upper end of a uniform, or the median of a
        log-normal; unit of `y`; > 0.
    shape : {"half-normal", "uniform", "log-normal"}
        Which.
    log_sd : float
        Standard deviation of the logarithm of a log-normal; >= 0.

    Raises
    ------
    InputError
        If the scale is not above 0.
    """

    scale: float
    shape: Literal["half-normal", "uniform", "log-normal"] = "half-normal"
    log_sd: float = 0.5

    def __post_init__(self) -> None:
        if not (self.scale > 0 and math.isfinite(self.scale)):
            msg = f"the scale of a prior of a spread is {self.scale}; it must be above 0"
            raise InputError(msg)

    def quantile(self, share: Real) -> Real:
        """Return quantiles."""
        if self.shape == "uniform":
            return self.scale * share
        if self.shape == "log-normal":
            return self.scale * np.exp(self.log_sd * ndtri(share))
        return self.scale * ndtri(0.5 + 0.5 * share)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A quantity known through a mixture of normals.

    Parameters
    ----------
    weights, means, sds : ndarray, shape (k,)
        Of the mixture; the weights sum to 1.
    """

    weights: Real
    means: Real
    sds: Real

    @property
    def mean(self) -> float:
        """Mean."""
        return float(self.weights @ self.means)

    @property
    def sd(self) -> float:
        """Standard deviation."""
        spread = self.sds**2 + (self.means - self.mean) ** 2
        return math.sqrt(float(self.weights @ spread))

    def cdf(self, value: float) -> float:
        """Return the probability of values no larger."""
        return float(self.weights @ ndtr((value - self.means) / np.maximum(self.sds, 1e-300)))

    def quantile(self, share: float) -> float:
        """Return the value below which a share lies, by Brent's method; 0 < share < 1."""
        middle, sd = self.mean, self.sd
        if sd == 0.0:
            return middle
        reach = 12.0 * sd
        while not self.cdf(middle - reach) < share < self.cdf(middle + reach):
            reach *= 2.0
            if reach > 1e6 * sd:  # closer to 0 or 1 than numbers go
                return middle + math.copysign(reach, share - 0.5)
        off = brentq(lambda x: self.cdf(middle + x) - share, -reach, reach, xtol=1e-12 * sd)
        return middle + float(off)


@dataclass(frozen=True)
class Grouped:
    """What was learned of all groups together.

    Parameters
    ----------
    levels : mapping of str to tuple of str
        Levels of each factor that were seen.
    weights : ndarray, shape (k,)
        Of the drawn spreads.
    means : ndarray, shape (k, 1 + q)
        Mean and effects of all levels, for each.
    covariances : ndarray, shape (k, 1 + q, 1 + q)
        Their covariance.
    spreads : ndarray, shape (k, n_factors)
        Spread of each factor.
    scatters : ndarray, shape (k,)
        Scatter of one from the next beside its known error.
    count : int
        How many observations it rests on.
    """

    levels: Mapping[str, tuple[str, ...]]
    weights: Real
    means: Real
    covariances: Real
    spreads: Real
    scatters: Real
    count: int

    def effect(self, at: Mapping[str, str] | None = None) -> Estimate:
        """Return the mean at given levels of the factors.

        Parameters
        ----------
        at : mapping of str to str
            Level by factor. A factor left out, or a level never seen, stands for a new one: its
            effect is nothing, give or take the spread of that factor.
        """
        given = dict(at or {})
        unknown = set(given) - set(self.levels)
        if unknown:
            msg = f"no factor {sorted(unknown)}; there are {', '.join(self.levels) or 'none'}"
            raise InputError(msg)
        weight = np.zeros(self.means.shape[1])
        weight[0] = 1.0
        extra = np.zeros(len(self.weights))
        start = 1
        for f, (factor, levels) in enumerate(self.levels.items()):
            if given.get(factor) in levels:
                weight[start + levels.index(given[factor])] = 1.0
            else:
                extra = extra + self.spreads[:, f] ** 2
            start += len(levels)
        variance = np.einsum("i,kij,j->k", weight, self.covariances, weight) + extra
        return Estimate(self.weights, self.means @ weight, np.sqrt(np.maximum(variance, 0.0)))

    def next_one(self, at: Mapping[str, str] | None = None) -> Estimate:
        """Return what the next observation at given levels may be, its own known error aside."""
        found = self.effect(at)
        return Estimate(found.weights, found.means, np.hypot(found.sds, self.scatters))

    def spread(self, factor: str) -> Estimate:
        """Return the spread of a factor."""
        values = self.spreads[:, list(self.levels).index(factor)]
        return Estimate(self.weights, values, np.zeros(len(values)))


def shrink(
    y: ArrayLike,
    errors: ArrayLike,
    groups: Mapping[str, Sequence[str]],
    *,
    spreads: Mapping[str, SpreadPrior],
    scatter: SpreadPrior | None = None,
    mean_sd: float = math.inf,
    draws: int = 1024,
    along: ArrayLike | None = None,
) -> Grouped:
    """Learn the effects of all groups.

    Parameters
    ----------
    y : array_like, shape (n,)
        What was seen, any unit.
    errors : array_like, shape (n,)
        Known standard errors, same unit; >= 0. Where there is no scatter, > 0.
    groups : mapping of str to sequence of str
        For each factor the level of every observation.
    spreads : mapping of str to SpreadPrior
        Prior of the spread of each factor.
    scatter : SpreadPrior, optional
        Prior of the scatter beyond the known errors; None: there is none.
    mean_sd : float
        Prior standard deviation of the mean about 0; infinite: nothing is known.
    draws : int
        Points the spreads are averaged over; a power of 2.
    along : array_like, shape (n,), optional
        How far mean and effects count in each observation; 1 by default, below 0 the other way.

    Returns
    -------
    Grouped
        Means, effects and spreads.

    Raises
    ------
    InputError
        If the parts do not fit together, or there is nothing to learn from.

    References
    ----------
    A. Gelman et al., *Bayesian Data Analysis*, 3rd ed., section 5.4, for one factor.

    Examples
    --------
    >>> learned = shrink([4.0, 6.0, -2.0], [3.0, 3.0, 3.0], {"zone": ["tip", "tip", "heart"]},
    ...                  spreads={"zone": SpreadPrior(5.0)}, mean_sd=5.0)
    >>> tip, heart = (learned.effect({"zone": z}).mean for z in ("tip", "heart"))
    >>> heart < tip < 5.0  # both are drawn towards each other
    True
    """
    values, known = np.asarray(y, float), np.asarray(errors, float)
    _check(values, known, groups, spreads, scatter)
    levels, x = _design(len(values), groups)
    if along is not None:
        x = x * np.asarray(along, float)[:, None]
    sizes = [len(levels[f]) for f in groups]
    priors = [*(spreads[f] for f in groups), *([scatter] if scatter else [])]
    drawn = _drawn(priors, draws)
    taus = drawn[:, : len(sizes)]
    sigmas = drawn[:, len(sizes)] if scatter else np.zeros(len(drawn))
    logs = np.empty(len(drawn))
    means = np.empty((len(drawn), x.shape[1]))
    covariances = np.empty((len(drawn), x.shape[1], x.shape[1]))
    for k in range(len(drawn)):
        precision = np.concatenate(
            [[mean_sd**-2], *(np.full(n, t**-2) for n, t in zip(sizes, taus[k], strict=True))]
        )
        logs[k], means[k], covariances[k] = _given(x, values, known**2 + sigmas[k] ** 2, precision)
    weights = np.exp(logs - logsumexp(logs))
    return Grouped(levels, weights, means, covariances, taus, sigmas, len(values))


def at_spreads(
    y: ArrayLike,
    errors: ArrayLike,
    groups: Mapping[str, Sequence[str]],
    *,
    spreads: Mapping[str, float],
    scatter: float = 0.0,
) -> tuple[float, Real, Real]:
    """Return what follows for given spreads, with nothing known of the mean.

    Parameters
    ----------
    y, errors, groups
        As in `shrink`.
    spreads : mapping of str to float
        Standard deviation of each factor; > 0.
    scatter : float
        Of one from the next beside the known errors.

    Returns
    -------
    float
        Restricted log likelihood, up to a constant that is the same for all spreads.
    ndarray, shape (1 + q,)
        Mean and effects of all levels: the best linear unbiased predictions.
    ndarray, shape (1 + q, 1 + q)
        Their covariance.
    """
    values, known = np.asarray(y, float), np.asarray(errors, float)
    levels, x = _design(len(values), groups)
    precision = np.concatenate(
        [[0.0], *(np.full(len(levels[f]), spreads[f] ** -2.0) for f in levels)]
    )
    return _given(x, values, known**2 + scatter**2, precision)


def _design(n: int, groups: Mapping[str, Sequence[str]]) -> tuple[dict[str, tuple[str, ...]], Real]:
    """Return the levels of each factor, and which of them each observation has."""
    levels = {f: tuple(dict.fromkeys(groups[f])) for f in groups}
    columns = [np.ones((n, 1))]
    columns += [
        np.array([[x == level for level in levels[f]] for x in groups[f]], float) for f in groups
    ]
    return levels, np.concatenate(columns, axis=1)


def _drawn(priors: Sequence[SpreadPrior], draws: int) -> Real:
    """Return points that fill the prior of all spreads evenly, shape (draws, n)."""
    if not priors:
        return np.zeros((1, 0))
    if len(priors) == 1:
        shares = ((np.arange(draws) + 0.5) / draws)[:, None]
    else:
        shares = qmc.Sobol(len(priors), scramble=False).random(draws) + 0.5 / draws
    return np.stack([p.quantile(shares[:, j]) for j, p in enumerate(priors)], axis=1)


def _given(x: Real, y: Real, variance: Real, precision: Real) -> tuple[float, Real, Real]:
    """Marginal log likelihood, means and covariance of all coefficients for given spreads.

    Up to a constant that is the same for all spreads.
    """
    weighted = x / variance[:, None]
    inverse = x.T @ weighted + np.diag(precision)
    root = np.linalg.cholesky(inverse)
    half = np.linalg.solve(root, weighted.T @ y)
    covariance = np.linalg.inv(inverse)
    mean = covariance @ (weighted.T @ y)
    flat = precision > 0
    log = -0.5 * float(np.log(variance).sum() + (y * y / variance).sum() - half @ half)
    log += 0.5 * float(np.log(precision[flat]).sum()) - float(np.log(np.diagonal(root)).sum())
    return log, mean, np.asarray(covariance, np.float64)


def _check(
    y: Real,
    errors: Real,
    groups: Mapping[str, Sequence[str]],
    spreads: Mapping[str, SpreadPrior],
    scatter: SpreadPrior | None,
) -> None:
    if y.ndim != 1 or not len(y) or y.shape != errors.shape:
        msg = f"{y.shape} values and {errors.shape} errors: both must be one list, not empty"
        raise InputError(msg)
    if not (np.all(np.isfinite(y)) and np.all(errors >= 0) and np.all(np.isfinite(errors))):
        msg = "a value or error is no number, or an error below 0; leave out what was not measured"
        raise InputError(msg)
    if scatter is None and not np.all(errors > 0):
        msg = "an error of 0 without scatter: a value that is exactly right leaves nothing to learn"
        raise InputError(msg)
    for factor, levels in groups.items():
        if len(levels) != len(y):
            msg = f"factor {factor!r} has {len(levels)} levels for {len(y)} values; one for each"
            raise InputError(msg)
        if factor not in spreads:
            msg = f"factor {factor!r} has no prior of its spread; give one in `spreads`"
            raise InputError(msg)
