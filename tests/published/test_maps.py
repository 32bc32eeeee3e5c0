"""The regression behind the thickness map against published numbers and the plain formulae."""

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF

from crowlight.checks import maps
from crowlight.reed.thickness.regression import regress, regress_with_basis

CASES = list(maps.cases())


@pytest.mark.parametrize("case", CASES, ids=[c.name for c in CASES])
def test_published_case(case):
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"


@pytest.fixture
def small():
    """Five readings, three wanted places, a squared exponential along and across."""
    rng = np.random.default_rng(4)
    x, wanted = rng.uniform(0, 5, (5, 2)), rng.uniform(0, 5, (3, 2))
    y = np.sin(x[:, 0]) + 0.3 * x[:, 1]
    kernel = 0.7**2 * RBF(length_scale=[1.3, 0.8])
    return x, wanted, y, kernel, 0.1


def test_predictions_are_equations_2_22_to_2_26(small):
    """R&W (2006): the joint normal of 2.21 conditioned by explicit inverses."""
    x, wanted, y, kernel, sigma = small
    k, cross, prior = kernel(x), kernel(x, wanted), kernel(wanted)
    inverse = np.linalg.inv(k + sigma**2 * np.eye(5))
    found = regress(y, k + sigma**2 * np.eye(5), cross, prior)
    np.testing.assert_allclose(found.mean, cross.T @ inverse @ y, rtol=1e-10)
    np.testing.assert_allclose(found.covariance, prior - cross.T @ inverse @ cross, atol=1e-12)


def test_predictions_and_likelihood_agree_with_scikit_learn(small):
    x, wanted, y, kernel, sigma = small
    peer = GaussianProcessRegressor(kernel, alpha=sigma**2, optimizer=None).fit(x, y)
    mean, covariance = peer.predict(wanted, return_cov=True)
    found = regress(y, kernel(x) + sigma**2 * np.eye(5), kernel(x, wanted), kernel(wanted))
    np.testing.assert_allclose(found.mean, mean, rtol=1e-9)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-10)
    assert found.log_likelihood == pytest.approx(
        peer.log_marginal_likelihood(kernel.theta), rel=1e-9
    )


def test_basis_functions_are_equation_2_41(small):
    """R&W (2006), equation 2.41: the GLS form with R and beta-bar, written out."""
    x, wanted, y, kernel, sigma = small
    k_y = kernel(x) + sigma**2 * np.eye(5)
    cross, prior = kernel(x, wanted), kernel(wanted)
    h, h_wanted = (np.column_stack([np.ones(len(p)), p]).T for p in (x, wanted))  # p x n
    b, spread = np.array([0.2, -0.1, 0.4]), np.diag([0.5, 0.3, 0.2])
    inverse = np.linalg.inv(k_y)
    precision = np.linalg.inv(spread)
    a = precision + h @ inverse @ h.T
    beta = np.linalg.solve(a, h @ inverse @ y + precision @ b)
    r = h_wanted - h @ inverse @ cross
    mean = h_wanted.T @ beta + cross.T @ inverse @ (y - h.T @ beta)
    covariance = prior - cross.T @ inverse @ cross + r.T @ np.linalg.solve(a, r)
    found = regress_with_basis(
        y,
        k_y,
        cross,
        prior,
        basis=h.T,
        basis_wanted=h_wanted.T,
        prior_mean=b,
        prior_covariance=spread,
    )
    np.testing.assert_allclose(found.mean, mean, rtol=1e-9)
    np.testing.assert_allclose(found.covariance, covariance, atol=1e-10)
