"""Three plain classes - clean, mixed, rattling - with a probability, and learning from labels.

Symbols: x features (standardised), beta weights, theta_1 < theta_2 thresholds, y class 0, 1, 2.
P(y <= j) = 1 / (1 + exp(-(theta_j - x . beta))): the proportional-odds model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

from crowlight.errors import InputError

__all__ = [
    "CLASSES",
    "FEATURES",
    "ClassModel",
    "Learned",
    "common_practice",
    "features",
    "fit_classes",
    "learn_classes",
]

Floats = NDArray[np.float64]

CLASSES = ("clean", "mixed", "rattling")
FEATURES = ("unpitched_db", "rattle_db", "stray_db")
"""10 lg((1 - share) / share); 20 lg of the rattle; stray partials against the pitch [dB]."""
LIMITS = np.array([[-40.0, 20.0], [-50.0, 0.0], [-60.0, 20.0]])

ENOUGH_REEDS = 8
"""Reeds from which a maker's own labels replace common practice, 2 at least in each class."""


@dataclass(frozen=True, slots=True)
class ClassModel:
    """A fitted proportional-odds model.

    Parameters
    ----------
    centre, scale : ndarray, shape (features,)
        What was taken away from and divided out of the features [dB].
    weight : ndarray, shape (features,)
        Weights of the standardised features [1].
    threshold : ndarray, shape (2,)
        Rising.
    basis : str
        ``"common practice"`` or ``"your labels"``.
    """

    centre: Floats
    scale: Floats
    weight: Floats
    threshold: Floats
    basis: str

    def probability(self, x: ArrayLike) -> Floats:
        """Probability of each class.

        Parameters
        ----------
        x : array_like, shape (..., features)
            Features [dB].

        Returns
        -------
        ndarray, shape (..., 3)
        """
        z = (np.asarray(x, dtype=np.float64) - self.centre) / self.scale
        return _probability(z, self.weight, self.threshold)


@dataclass(frozen=True, slots=True)
class Learned:
    """What was learnt from a maker's labels.

    Parameters
    ----------
    model : ClassModel
        Fitted to the labels if there are enough, else common practice.
    error : float or None
        Share of takes put in another class than the maker's, each reed judged by a model that has
        not heard it; None below 3 reeds.
    error_low, error_high : float or None
        95 % interval of it, counting reeds, not takes, as independent (Clopper-Pearson).
    reeds, takes : int
        How many were labelled.
    enough : bool
        Whether the labels are used.
    """

    model: ClassModel
    error: float | None
    error_low: float | None
    error_high: float | None
    reeds: int
    takes: int
    enough: bool


def features(share: float, rattle: float, stray: float) -> Floats:
    """Turn measures into features.

    Parameters
    ----------
    share : float
        Pitched share, 0-1.
    rattle : float
        Relative movement of level at 12-150 Hz [1].
    stray : float
        Stray partials against the pitch [dB].
    """
    inside = min(max(share, 1e-4), 1.0 - 1e-4)
    raw = [10.0 * np.log10((1.0 - inside) / inside), 20.0 * np.log10(max(rattle, 1e-4)), stray]
    return np.clip(np.array(raw), LIMITS[:, 0], LIMITS[:, 1])


def common_practice() -> ClassModel:
    """Give thresholds to start from, fitted to invented crows only.

    The numbers are :func:`fit_classes` with penalty 3 on 60 invented takes of each class. They are
    not known to hold for any real reed.
    """
    return ClassModel(
        centre=np.array([-15.2, -26.3, -22.6]),
        scale=np.array([13.3, 14.1, 20.6]),
        weight=np.array([2.1, 1.67, 1.88]),
        threshold=np.array([-2.97, 3.62]),
        basis="common practice",
    )


def _probability(z: Floats, weight: Floats, threshold: Floats) -> Floats:
    up_to = special.expit(threshold - (z @ weight)[..., None])
    return np.diff(up_to, axis=-1, prepend=0.0, append=1.0)


def fit_classes(
    x: ArrayLike, y: ArrayLike, *, penalty: float = 1.0, basis: str = "your labels"
) -> ClassModel:
    """Fit the model by penalised maximum likelihood.

    Minimises -sum(log P(y_i)) + penalty / 2 |beta|^2 over beta, theta_1 and log(theta_2 - theta_1).

    Parameters
    ----------
    x : array_like, shape (n, features)
        Features; standardised inside.
    y : array_like of int, shape (n,)
        Classes 0, 1, 2; all three present.
    penalty : float
        >= 0; 0 is plain maximum likelihood, which has no answer for separable classes.
    basis : str
        Kept with the model.

    Raises
    ------
    InputError
        If a class is absent or shapes do not fit.

    References
    ----------
    McCullagh, Journal of the Royal Statistical Society B 42 (1980) 109 (from memory).
    """
    data, label = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.int_)
    if data.ndim != 2 or label.shape != data.shape[:1] or not np.all(np.isfinite(data)):
        msg = f"features {data.shape} and labels {label.shape} must match and be finite numbers"
        raise InputError(msg)
    if set(label.tolist()) != {0, 1, 2}:
        names = ", ".join(CLASSES[i] for i in range(3) if i not in label)
        msg = (
            f"labels need all of clean, mixed and rattling; missing or unknown: {names or 'other'}"
        )
        raise InputError(msg)
    centre, scale = data.mean(axis=0), np.maximum(data.std(axis=0), 1e-9)
    z = (data - centre) / scale
    # All classes are there, so both shares lie between 0 and 1, and the second is the larger.
    first = special.logit([np.mean(label <= 0), np.mean(label <= 1)])
    start = np.concatenate([np.zeros(z.shape[1]), [first[0], np.log(first[1] - first[0])]])
    found = optimize.minimize(
        _loss,
        start,
        args=(z, label, penalty),
        jac=True,
        method="BFGS",
        options={"gtol": 1e-8, "maxiter": 500},
    )
    theta = found.x[-2] + np.array([0.0, np.exp(found.x[-1])])
    return ClassModel(centre, scale, found.x[:-2], theta, basis)


def _loss(free: Floats, z: Floats, y: NDArray[np.int_], penalty: float) -> tuple[float, Floats]:
    """Penalised negative log likelihood and its gradient."""
    weight, gap = free[:-2], np.exp(min(free[-1], 50.0))
    theta = np.array([-np.inf, free[-2], free[-2] + gap, np.inf])
    eta = z @ weight
    high, low = special.expit(theta[y + 1] - eta), special.expit(theta[y] - eta)
    p = np.maximum(high - low, 1e-300)
    slope_high, slope_low = high * (1.0 - high) / p, low * (1.0 - low) / p
    by_theta = np.zeros(2)
    for j in (0, 1):
        by_theta[j] = -np.sum(slope_high[y == j]) + np.sum(slope_low[y == j + 1])
    gradient = np.concatenate(
        [
            z.T @ (slope_high - slope_low) + penalty * weight,
            [by_theta.sum(), by_theta[1] * gap],
        ]
    )
    return float(-np.sum(np.log(p)) + 0.5 * penalty * weight @ weight), gradient


def learn_classes(
    x: ArrayLike, y: ArrayLike, reeds: Sequence[str | int], *, penalty: float = 1.0
) -> Learned:
    """Refit from a maker's labels and say how well that works on reeds it has not heard.

    Parameters
    ----------
    x, y : array_like
        As in :func:`fit_classes`; a class may be absent, then there are not enough.
    reeds : sequence
        Which reed each take is of; takes of one reed are never split.
    penalty : float
        As in :func:`fit_classes`.
    """
    data = np.asarray(x, dtype=np.float64).reshape(-1, len(FEATURES))
    label, reed = np.asarray(y, dtype=np.int_), np.asarray(reeds)
    names = np.unique(reed)
    in_class = [len(np.unique(reed[label == j])) for j in range(3)]
    enough = len(names) >= ENOUGH_REEDS and min(in_class) >= 2
    if not enough:
        return Learned(common_practice(), None, None, None, len(names), len(label), False)
    wrong = np.zeros(len(label), dtype=bool)
    for name in names:
        out = reed == name
        known = fit_classes(data[~out], label[~out], penalty=penalty)
        wrong[out] = np.argmax(known.probability(data[out]), axis=1) != label[out]
    error, n = float(wrong.mean()), len(names)
    k = error * n
    low = float(stats.beta.ppf(0.025, k, n - k + 1)) if k > 0 else 0.0
    high = float(stats.beta.ppf(0.975, k + 1, n - k)) if k < n else 1.0
    return Learned(fit_classes(data, label, penalty=penalty), error, low, high, n, len(label), True)
