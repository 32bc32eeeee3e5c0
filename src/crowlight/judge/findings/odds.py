r"""Arithmetic of belief: likelihood ratios, their combination, and what a check could tell.

========  ======================================================================================
symbol    meaning
========  ======================================================================================
F         the finding holds; :math:`\bar F`: it does not
l         natural logarithm of a likelihood ratio p(evidence | F) / p(evidence | not F)
q         how likely it is that a sign is there, as told by an unbiased witness (1/2: no idea)
m, s      shift of a quantity when F holds; its spread among reeds, F or not
u         standard uncertainty of the measured value
========  ======================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "LR_UNCERTAINTY",
    "TEMPER",
    "combined",
    "count_weight",
    "entropy",
    "graded_information",
    "graded_weight",
    "log_odds",
    "probability",
    "sign_information",
    "sign_weight",
    "witness",
]

Array = NDArray[np.float64]

#: Within a family of evidence, everything but the strongest item for and the strongest against
#: counts with this share. 1 would be independence, 0 the strongest only. Our choice.
TEMPER = 0.25
#: Standard deviation of a log likelihood ratio as a share of itself: those of the catalogue are
#: common practice put in numbers. Our choice. Below 0.78, more support never lowers the low end.
LR_UNCERTAINTY = 0.25


def probability(log_odds_: float) -> float:
    """Return the probability for natural log odds."""
    if log_odds_ >= 0:
        return 1 / (1 + math.exp(-log_odds_))
    e = math.exp(log_odds_)
    return e / (1 + e)


def log_odds(p: float) -> float:
    """Return natural log odds of a probability, 0 < p < 1."""
    return math.log(p) - math.log1p(-p)


def witness(posterior: float, base: float) -> float:
    """Return what a classifier's posterior says by itself, its base rate taken off.

    Parameters
    ----------
    posterior : float
        Probability the classifier gives; 0 to 1.
    base : float
        Probability it would give without any data; 0 < base < 1.

    Returns
    -------
    float
        q; 1/2 when `posterior` equals `base`.

    References
    ----------
    J. Pearl, *Probabilistic Reasoning in Intelligent Systems* (1988), section 2.2.2, virtual
    evidence (from memory).

    Examples
    --------
    >>> witness(0.25, 0.25)
    0.5
    """
    yes, no = posterior / base, (1 - posterior) / (1 - base)
    return yes / (yes + no)


def sign_weight(q: float, if_so: float, otherwise: float) -> float:
    r"""Return the weight of a sign that is there (q = 1), absent (0) or in between.

    .. math:: l = \ln \frac{q\,p_F + (1-q)(1-p_F)}{q\,p_{\bar F} + (1-q)(1-p_{\bar F})}

    Parameters
    ----------
    q : float
        0 to 1; 1/2 carries no weight.
    if_so, otherwise : float
        Chance of the sign when the finding holds and when it does not; between 0 and 1.

    References
    ----------
    For q = 1 and 0 the likelihood ratios of a positive and a negative test, J. J. Deeks and
    D. G. Altman, *BMJ* 329 (2004) 168; in between Pearl's virtual evidence.

    Examples
    --------
    >>> round(math.exp(sign_weight(1.0, 0.90, 0.37)), 2), sign_weight(0.5, 0.90, 0.37)
    (2.43, 0.0)
    """
    return math.log(
        (q * if_so + (1 - q) * (1 - if_so)) / (q * otherwise + (1 - q) * (1 - otherwise))
    )


def count_weight(seen: int, of: int, if_so: float, otherwise: float, cap: float) -> float:
    """Return the weight of `seen` out of `of` alike cases (binomial), within the cap."""
    yes, no = math.log(if_so / otherwise), math.log((1 - if_so) / (1 - otherwise))
    return min(max(seen * yes + (of - seen) * no, -math.log(cap)), math.log(cap))


def graded_weight(value: float, u: float, shift: float, spread: float, cap: float) -> float:
    r"""Return the weight of a measured deviation, within plus and minus ln(cap).

    Both with and without the finding the quantity is normal with one spread s; the finding shifts
    its mean from 0 to m. The measurement adds its variance, so

    .. math:: l = \frac{m\,x - m^2/2}{s^2 + u^2}

    rises steadily with the deviation in the finding's direction and vanishes as u grows. The cap
    stands for blunders and for a model that is only a model.

    Parameters
    ----------
    value, u : float
        Deviation and its standard uncertainty.
    shift, spread : float
        m and s > 0, same unit.
    cap : float
        Largest likelihood ratio, > 1.

    Examples
    --------
    >>> round(graded_weight(0.05, 0.0, 0.05, 0.02, 100.0), 3)
    3.125
    >>> graded_weight(0.05, math.inf, 0.05, 0.02, 100.0)
    0.0
    """
    weight = (shift * value - 0.5 * shift * shift) / (spread * spread + u * u)
    return min(max(weight, -math.log(cap)), math.log(cap))


def combined(weights: Iterable[float]) -> float:
    """Combine the weights of one family of evidence, whose items hang together.

    The strongest for and the strongest against count in full, the others with `TEMPER`. The
    result rises with every weight and does not depend on their order; an item without weight
    changes nothing.

    Examples
    --------
    >>> combined([2.0, 2.0]), combined([2.0]), combined([])
    (2.5, 2.0, 0.0)
    """
    weights = list(weights)
    strongest = max(0.0, *weights, 0.0) + min(0.0, *weights, 0.0)
    return (1 - TEMPER) * strongest + TEMPER * math.fsum(weights)


def entropy(p: ArrayLike) -> Array:
    """Return the entropy of a yes-no question [bit]."""
    p = np.asarray(p, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        h = -(p * np.log2(p) + (1 - p) * np.log2(1 - p))
    return np.where((p <= 0) | (p >= 1), 0.0, h)


def sign_information(p: ArrayLike, if_so: ArrayLike, otherwise: ArrayLike) -> Array:
    """Return what a sign will tell about a finding on average: mutual information [bit].

    Parameters
    ----------
    p : array_like
        Probability of the finding now.
    if_so, otherwise : array_like
        Chance of the sign with and without it; all broadcast.

    Examples
    --------
    >>> float(sign_information(0.5, 1.0, 0.0))
    1.0
    """
    p, a, b = np.asarray(p, float), np.asarray(if_so, float), np.asarray(otherwise, float)
    return entropy(p * a + (1 - p) * b) - p * entropy(a) - (1 - p) * entropy(b)


_GRID: Array = np.linspace(0.0, 1.0, 61)


def graded_information(p: ArrayLike, distance: ArrayLike) -> Array:
    """Return what a measurement will tell about a finding on average [bit].

    Parameters
    ----------
    p : array_like
        Probability of the finding now.
    distance : array_like
        Shift over the root of spread squared plus uncertainty squared; >= 0; broadcasts with `p`.

    Returns
    -------
    ndarray
        Mutual information of the finding and a normal quantity whose mean it shifts, by the
        trapezium rule over the quantity; within 1e-3 bit up to a distance of 8.
    """
    p, d = np.broadcast_arrays(np.asarray(p, float), np.asarray(distance, float))
    d = np.minimum(d, 8.0)[..., None]
    x = -5.0 + (d + 10.0) * _GRID
    with_f = np.exp(-0.5 * (x - d) ** 2)
    without = np.exp(-0.5 * x**2)
    mixture = p[..., None] * with_f + (1 - p[..., None]) * without
    posterior = p[..., None] * with_f / np.maximum(mixture, 1e-300)
    left = (mixture * entropy(posterior)).sum(axis=-1) / mixture.sum(axis=-1)
    return np.maximum(entropy(p) - left, 0.0)
