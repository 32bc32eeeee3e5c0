"""Published cases for the regression behind the thickness map."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from crowlight.checks.case import Check
from crowlight.reed.thickness.regression import Posterior, regress, regress_with_basis

__all__ = ["cases", "kriging", "one_datum", "quartet"]

_KRIGING = (
    "E. H. Isaaks, R. M. Srivastava, An Introduction to Applied Geostatistics, Oxford 1989, "
    "chapter 12, example of ordinary kriging, from memory"
)
_QUARTET = "F. J. Anscombe, The American Statistician 27 (1973) 17, first data set, from memory"
_BOOK = "C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT 2006"


def kriging() -> Posterior:
    """Estimate one value from seven samples around a free constant mean.

    Ordinary kriging is regression with one constant basis function whose coefficient is free:
    covariance 10 exp(-0.3 h), samples of the book, wanted at (65, 137).
    """
    places = np.array(
        [(61, 139), (63, 140), (64, 129), (68, 128), (71, 140), (73, 141), (75, 128), (65, 137)],
        dtype=float,
    )
    values = np.array([477.0, 696.0, 227.0, 646.0, 606.0, 791.0, 783.0])
    distance = np.hypot(*(np.subtract.outer(c, c) for c in places.T))
    covariance = 10.0 * np.exp(-0.3 * distance)
    return regress_with_basis(
        values,
        covariance[:-1, :-1],
        covariance[:-1, -1:],
        covariance[-1:, -1:],
        basis=np.ones((7, 1)),
        basis_wanted=np.ones((1, 1)),
        prior_mean=[0.0],
        prior_covariance=[[1e9]],
    )


def quartet() -> Posterior:
    """Fit a straight line with nothing but noise beside it: intercept and slope.

    With the residual variance of the publication as noise and free coefficients, the regression
    with basis functions is ordinary least squares.
    """
    x = np.array([10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0])
    y = np.array([8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68])
    return regress_with_basis(
        y,
        13.75 / 9 * np.eye(11),
        np.zeros((11, 2)),
        np.zeros((2, 2)),
        basis=np.column_stack([np.ones(11), x]),
        basis_wanted=np.eye(2),
        prior_mean=[0.0, 0.0],
        prior_covariance=1e6 * np.eye(2),
    )


def one_datum(y: float = 0.8, distance: float = 1.0, noise: float = 0.5) -> Posterior:
    """Regress on a single reading with a squared exponential of unit scale."""
    k = math.exp(-0.5 * distance**2)
    return regress([y], [[1.0 + noise**2]], [[k]], [[1.0]])


def cases() -> Iterator[Check]:
    """Yield every published case of this topic."""
    found = kriging()
    yield Check("ordinary kriging, estimate", float(found.mean[0]), 592.7, 0.05, "ppm", _KRIGING)
    yield Check(
        "ordinary kriging, variance", float(found.covariance[0, 0]), 8.96, 0.005, "ppm²", _KRIGING
    )
    line = quartet()
    yield Check("least squares, intercept", float(line.mean[0]), 3.0, 0.05, "1", _QUARTET)
    yield Check("least squares, slope", float(line.mean[1]), 0.500, 0.0005, "1", _QUARTET)
    error = math.sqrt(float(line.covariance[1, 1]))
    yield Check("least squares, standard error of slope", error, 0.118, 0.0005, "1", _QUARTET)
    # y = 0.8 at distance 1, noise 0.5: k = exp(-1/2), K = 1.25, all in closed form.
    one = one_datum()
    k = math.exp(-0.5)
    yield Check(
        "one reading, mean", float(one.mean[0]), k * 0.8 / 1.25, 1e-12, "1", f"{_BOOK}, eq. 2.25"
    )
    yield Check(
        "one reading, variance",
        float(one.covariance[0, 0]),
        1.0 - k * k / 1.25,
        1e-12,
        "1",
        f"{_BOOK}, eq. 2.26",
    )
    likelihood = -0.5 * 0.8**2 / 1.25 - 0.5 * math.log(1.25) - 0.5 * math.log(2.0 * math.pi)
    yield Check(
        "one reading, log likelihood",
        one.log_likelihood,
        likelihood,
        1e-12,
        "1",
        f"{_BOOK}, eq. 2.30",
    )
