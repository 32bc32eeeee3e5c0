r"""Gaussian-process regression with explicit basis functions, exactly as published.

========  =========================================================
symbol    meaning
========  =========================================================
K         covariance of the function at the data plus noise, (n, n)
K*        covariance between data and wanted places, (n, m)
K**       covariance at the wanted places, (m, m)
H, H*     basis functions at data (n, p) and wanted places (m, p)
b, B      prior mean (p,) and covariance (p, p) of the coefficients
========  =========================================================
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular

from crowlight.errors import OutsideModel

__all__ = ["Factor", "Posterior", "regress", "regress_with_basis"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Posterior:
    """Result of a regression.

    Parameters
    ----------
    mean : ndarray, shape (m,)
        Predictive mean.
    covariance : ndarray, shape (m, m)
        Predictive covariance of the function, noise not included.
    log_likelihood : float
        Log marginal likelihood of the data.
    """

    mean: Array
    covariance: Array
    log_likelihood: float


class Factor:
    """A covariance matrix, factored once.

    Parameters
    ----------
    matrix : array_like, shape (n, n)
        Symmetric, positive definite.

    Raises
    ------
    OutsideModel
        If it is not positive definite.
    """

    def __init__(self, matrix: ArrayLike) -> None:
        try:
            self.lower: Array = cholesky(np.asarray(matrix), lower=True, check_finite=False)
        except np.linalg.LinAlgError:
            msg = "the readings contradict each other beyond rounding: covariance is not positive"
            raise OutsideModel(msg) from None

    def half(self, right: ArrayLike) -> Array:
        """Return :math:`L^{-1} A`."""
        return solve_triangular(self.lower, np.asarray(right), lower=True, check_finite=False)

    def solve(self, right: ArrayLike) -> Array:
        """Return :math:`K^{-1} A`."""
        return cho_solve((self.lower, True), np.asarray(right), check_finite=False)

    @property
    def log_determinant(self) -> float:
        """The logarithm of the determinant."""
        return 2.0 * float(np.log(np.diagonal(self.lower)).sum())

    def log_density(self, residual: ArrayLike) -> float:
        """Return the log density of a zero-mean normal with this covariance."""
        r = self.half(residual)
        n = len(self.lower)
        return -0.5 * (float(r @ r) + self.log_determinant + n * math.log(2.0 * math.pi))


def regress(y: ArrayLike, covariance: ArrayLike, cross: ArrayLike, wanted: ArrayLike) -> Posterior:
    """Regress without basis functions.

    Parameters
    ----------
    y : array_like, shape (n,)
        Data.
    covariance : array_like, shape (n, n)
        K, noise included.
    cross : array_like, shape (n, m)
        K*.
    wanted : array_like, shape (m, m)
        K**.

    Returns
    -------
    Posterior
        Mean and covariance at the wanted places.

    References
    ----------
    C. E. Rasmussen, C. K. I. Williams, *Gaussian Processes for Machine Learning*, MIT Press 2006,
    equations 2.22 to 2.26 (predictive equations) and 2.30 (marginal likelihood).
    """
    factor = Factor(covariance)
    half = factor.half(cross)
    white = factor.half(y)
    return Posterior(half.T @ white, np.asarray(wanted) - half.T @ half, factor.log_density(y))


def regress_with_basis(
    y: ArrayLike,
    covariance: ArrayLike,
    cross: ArrayLike,
    wanted: ArrayLike,
    *,
    basis: ArrayLike,
    basis_wanted: ArrayLike,
    prior_mean: ArrayLike,
    prior_covariance: ArrayLike,
) -> Posterior:
    """Regress with basis functions whose coefficients have a normal prior.

    Parameters
    ----------
    y, covariance, cross, wanted : array_like
        As in `regress`.
    basis : array_like, shape (n, p)
        H, a row for each datum.
    basis_wanted : array_like, shape (m, p)
        H*.
    prior_mean : array_like, shape (p,)
        b.
    prior_covariance : array_like, shape (p, p)
        B.

    Returns
    -------
    Posterior
        Mean and covariance at the wanted places, the uncertainty of the coefficients included.

    References
    ----------
    Rasmussen & Williams 2006, section 2.7: the model of equation 2.40 (a Gaussian process with
    mean H b and covariance K + H B H'), whose predictions are equations 2.41.
    """
    h, h_wanted = np.asarray(basis, float), np.asarray(basis_wanted, float)
    b, spread = np.asarray(prior_mean, float), np.asarray(prior_covariance, float)
    found = regress(
        np.asarray(y, float) - h @ b,
        np.asarray(covariance) + h @ spread @ h.T,
        np.asarray(cross) + h @ spread @ h_wanted.T,
        np.asarray(wanted) + h_wanted @ spread @ h_wanted.T,
    )
    return Posterior(found.mean + h_wanted @ b, found.covariance, found.log_likelihood)
