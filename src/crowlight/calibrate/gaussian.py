"""Bayes with normal distributions: the update, and what data say about each other.

Everything unknown is counted in standard deviations of its prior, so the prior is a standard normal
and "posterior over prior" is read off directly.

=========  ==========================================================
symbol     meaning
=========  ==========================================================
t          unknowns, standard normal before the data
f, J       what the model says would be measured, its slopes by t
y, s       what was measured, its standard deviation
C          posterior covariance of t, (1 + J' J / s^2)^-1
=========  ==========================================================

References
----------
Gelman, Carlin, Stern, Dunson, Vehtari, Rubin (2013). Bayesian Data Analysis, 3rd ed., sections 3.5
and 14.8 (normal prior as additional data), 4.1 (normal approximation at the mode), 10.4 (importance
sampling and effective sample size). Tarantola (2005). Inverse Problem Theory, SIAM, eqs. 3.37-3.38
(linear Gaussian case). Both from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from crowlight.errors import OutsideModel

__all__ = [
    "Linear",
    "Peak",
    "Surprise",
    "effective_share",
    "linear_update",
    "peak",
    "surprise",
]

Real = NDArray[np.float64]

_STEPS = 100  # far from the prior each may win only a tenth
_SMALL = 1e-5


@dataclass(frozen=True, slots=True)
class Linear:
    """Normal posterior of standard normal unknowns.

    Parameters
    ----------
    mean : ndarray, shape (n,)
        In prior standard deviations.
    covariance : ndarray, shape (n, n)
        Eigenvalues within (0, 1]: data never widen.
    """

    mean: Real
    covariance: Real


def linear_update(slopes: Real, measured: Real, spread: Real) -> Linear:
    """Update standard normal unknowns by ``measured = slopes @ t + spread * noise``.

    Parameters
    ----------
    slopes : ndarray, shape (m, n)
        m may be 0.
    measured, spread : ndarray, shape (m,)
        Spreads > 0.

    Returns
    -------
    Linear
        Exact.

    Examples
    --------
    >>> found = linear_update(np.array([[1.0]]), np.array([2.0]), np.array([1.0]))
    >>> float(found.mean[0].round(12)), float(found.covariance[0, 0].round(12))
    (1.0, 0.5)
    """
    weighed = slopes / spread[:, None]
    _, size, across = np.linalg.svd(weighed)
    left = np.ones(slopes.shape[1])
    left[: len(size)] = 1.0 / (1.0 + size**2)
    covariance = (across.T * left) @ across
    mean = covariance @ (weighed.T @ (measured / spread))
    return Linear(mean, 0.5 * (covariance + covariance.T))


@dataclass(frozen=True, slots=True)
class Peak:
    """Where the posterior is highest, with its normal approximation there.

    Parameters
    ----------
    mode : ndarray, shape (n,)
        In prior standard deviations.
    covariance : ndarray, shape (n, n)
        Of the normal approximation.
    slopes : ndarray, shape (m, n)
        Of the predictions there.
    """

    mode: Real
    covariance: Real
    slopes: Real


Predict = Callable[[Real], Real]
Slopes = Callable[[Real], Real]


def peak(predict: Predict, slopes: Slopes, measured: Real, spread: Real, start: Real) -> Peak:
    """Climb to the posterior's mode by Gauss-Newton steps, halved while they do not climb.

    Parameters
    ----------
    predict : callable
        ``predict(t)`` gives the predictions, shape (m,); NaN where the model has no answer.
    slopes : callable
        ``slopes(t)`` gives their derivatives, shape (m, n).
    measured, spread : ndarray, shape (m,)
        What was measured and its standard deviation, > 0.
    start : ndarray, shape (n,)
        Where to begin.

    Raises
    ------
    OutsideModel
        If the model has no answer at the start, or the climb does not end.
    """

    def height(t: Real) -> float:
        return -0.5 * float(t @ t + np.sum(((measured - predict(t)) / spread) ** 2))

    t, best = np.array(start), height(start)
    if not np.isfinite(best):
        msg = (
            "the modelled reed does not sound, though a pitch or pressure of its crow is given; "
            "check map and opening, or leave the crow out"
        )
        raise OutsideModel(msg)
    for _ in range(_STEPS):
        j = slopes(t)
        aim = linear_update(j, measured - predict(t) + j @ t, spread).mean
        share = 1.0
        while share > _SMALL:
            new = t + share * (aim - t)
            reached = height(new)
            if reached >= best:
                break
            share *= 0.5
        else:
            new, reached = t, best
        moved = float(np.max(np.abs(new - t), initial=0.0))
        t, best = new, reached
        if moved < _SMALL:
            j = slopes(t)
            return Peak(t, linear_update(j, np.zeros(len(measured)), spread).covariance, j)
    msg = f"no most likely reed found in {_STEPS} steps; check the measurements against each other"
    raise OutsideModel(msg)


@dataclass(frozen=True, slots=True)
class Surprise:
    """How unlikely data are before anything is fitted.

    Parameters
    ----------
    alone : ndarray, shape (m,)
        Each datum against what the prior expects [standard deviations].
    others : ndarray, shape (m,)
        Each datum against what the prior and all other data expect [standard deviations].
    chance : float
        Chance of data this odd or odder if prior and spreads are right, 0 to 1.
    """

    alone: Real
    others: Real
    chance: float


def surprise(expected: Real, slopes: Real, measured: Real, spread: Real) -> Surprise:
    """Prior predictive check, each datum alone and each left out in turn.

    Parameters
    ----------
    expected : ndarray, shape (m,)
        Predictions at the prior's middle.
    slopes : ndarray, shape (m, n)
        Their derivatives there.
    measured, spread : ndarray, shape (m,)
        Spreads > 0.

    Notes
    -----
    With S = J J' + s², P = S⁻¹ and r = y − f: alone ``r_i / sqrt(S_ii)``, left out
    ``(P r)_i / sqrt(P_ii)`` (Rasmussen and Williams, Gaussian Processes for Machine Learning
    (2006), eq. 5.12, from memory), and ``r' P r`` is chi-squared with m degrees of freedom.
    """
    if not len(measured):
        return Surprise(np.zeros(0), np.zeros(0), 1.0)
    left = measured - expected
    total = slopes @ slopes.T + np.diag(spread**2)
    precision = np.linalg.inv(total)
    weighed = precision @ left
    return Surprise(
        alone=left / np.sqrt(np.diag(total)),
        others=weighed / np.sqrt(np.diag(precision)),
        chance=float(stats.chi2.sf(left @ weighed, len(measured))),
    )


def effective_share(log_weights: Real) -> float:
    """Effective sample size of weighted draws, as a share of their number, 0 to 1.

    Examples
    --------
    >>> effective_share(np.zeros(10))
    1.0
    """
    w = np.exp(log_weights - np.max(log_weights))
    return float(w.sum() ** 2 / np.sum(w**2) / len(w))
