"""Published cases for the update of a reed by measurements: normal Bayes in closed form."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from crowlight.calibrate.gaussian import effective_share, linear_update, peak, surprise
from crowlight.checks.case import Check

__all__ = ["cases"]

_BDA = "Gelman et al., Bayesian Data Analysis, 3rd ed. (2013)"
_FLAT = 1e5
"""Prior standard deviation that stands for a flat prior."""


def cases() -> Iterator[Check]:
    """Yield every case of this topic."""
    yield from _schools()
    yield from _conjugate()
    yield from _tarantola()
    yield from _surprises()
    yield from _weights()


def _schools() -> Iterator[Check]:
    effects = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
    errors = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])
    found = linear_update(np.full((8, 1), _FLAT), effects, errors)
    source = f"{_BDA}, section 5.5, pooled estimate of eight schools (from memory)"
    yield Check(
        "eight schools pooled: mean", _FLAT * float(found.mean[0]), 7.7, 0.05, "points", source
    )
    spread = _FLAT * math.sqrt(float(found.covariance[0, 0]))
    yield Check("eight schools pooled: standard error", spread, 4.1, 0.05, "points", source)


def _conjugate() -> Iterator[Check]:
    # a mean with prior 180 ± 40 and ten readings of mean 150, each ± 20
    found = linear_update(np.full((10, 1), 40.0), np.full(10, 150.0 - 180.0), np.full(10, 20.0))
    source = f"{_BDA}, exercise 2.8b: (180/40² + n 150/20²) / (1/40² + n/20²) (from memory)"
    yield Check(
        "weights of ten students: mean",
        180.0 + 40.0 * float(found.mean[0]),
        150.7,
        0.05,
        "lb",
        source,
    )
    spread = 40.0 * math.sqrt(float(found.covariance[0, 0]))
    yield Check("weights of ten students: deviation", spread, 6.25, 0.005, "lb", source)
    climbed = peak(
        lambda t: np.full(10, 40.0 * t[0]),
        lambda _: np.full((10, 1), 40.0),
        np.full(10, -30.0),
        np.full(10, 20.0),
        np.zeros(1),
    )
    value = 180.0 + 40.0 * float(climbed.mode[0])
    yield Check("the same, climbing to the mode", value, 150.7, 0.05, "lb", source)


def _tarantola() -> Iterator[Check]:
    g = np.array([[1.0, 0.3, 0.0], [0.2, 0.7, 0.5]])
    d, s = np.array([1.5, -0.4]), np.array([0.5, 0.8])
    found = linear_update(g, d, s)
    gain = g.T @ np.linalg.inv(g @ g.T + np.diag(s**2))
    source = "Tarantola, Inverse Problem Theory (2005), eqs. 3.37-3.38, in data space (from memory)"
    for k, expected in enumerate((gain @ d).tolist()):
        yield Check(
            f"three unknowns, two data: mean {k + 1}",
            float(found.mean[k]),
            expected,
            1e-12,
            "1",
            source,
        )
    for k, expected in enumerate(np.diag(np.eye(3) - gain @ g).tolist()):
        name = f"three unknowns, two data: variance {k + 1}"
        yield Check(name, float(found.covariance[k, k]), expected, 1e-12, "1", source)


def _surprises() -> Iterator[Check]:
    one = np.ones((2, 1))
    pair = surprise(np.zeros(2), one, np.array([1.0, 0.0]), np.ones(2))
    source = "closed form: conditional of two normals with variances 2 and covariance 1"
    yield Check(
        "a datum given its fellow: 1 / sqrt(3/2)",
        float(pair.others[0]),
        1 / math.sqrt(1.5),
        1e-12,
        "1",
        source,
    )
    yield Check(
        "the same datum by itself: 1 / sqrt(2)",
        float(pair.alone[0]),
        1 / math.sqrt(2.0),
        1e-12,
        "1",
        source,
    )
    far = surprise(np.zeros(2), np.zeros((2, 1)), np.sqrt(np.array([3.0, 2.991])), np.ones(2))
    table = "chi-squared table, 2 degrees of freedom, 5 % point 5.991"
    yield Check("five in a hundred pairs are this odd", far.chance, 0.05, 5e-5, "1", table)


def _weights() -> Iterator[Check]:
    yield Check(
        "half of the draws weigh nothing",
        effective_share(np.array([0.0, 0.0, -np.inf, -np.inf])),
        0.5,
        1e-15,
        "1",
        f"{_BDA}, eq. 10.4: effective size 1 / sum of squared weights (from memory)",
    )
    spread = np.log(np.array([1.0, 3.0]))
    yield Check(
        "weights of 1 and 3: 1 / (1 + cv²) with cv² = 1/4",
        effective_share(spread),
        0.8,
        1e-12,
        "1",
        "Kish, Survey Sampling (1965): design effect of unequal weights (from memory)",
    )
