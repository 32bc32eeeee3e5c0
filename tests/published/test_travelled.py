"""The hierarchical update against a worked example from a textbook."""

import numpy as np
import pytest

from crowlight.plan.travel_history import slope_posterior

# Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., table 5.2 (coaching in eight schools).
EFFECTS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
ERRORS = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])


def test_complete_pooling_of_the_eight_schools() -> None:
    # Section 5.5: "pooled estimate is 7.7 ... standard error 4.1".
    found = slope_posterior(
        np.ones(8), EFFECTS, ERRORS, prior_mean=0.0, prior_deviation=1e6, spread_scale=0.0
    )
    assert float(found.mean[0]) == pytest.approx(7.7, abs=0.05)
    assert float(found.deviation[0]) == pytest.approx(4.1, abs=0.05)


def test_partial_pooling_of_the_eight_schools() -> None:
    # Section 5.5, figure 5.5: the spread between schools is most likely near 0 and values above 15
    # are unlikely ("less than 5 percent", read from the figure, from memory); a half normal prior
    # of scale 50 is nearly the flat one used there.
    found = slope_posterior(
        np.ones(8),
        EFFECTS,
        ERRORS,
        prior_mean=0.0,
        prior_deviation=1e6,
        spread_scale=50.0,
        grid=2000,
    )
    assert found.spread[found.weight.argmax()] < 2.0
    assert 0.02 < float(found.weight[found.spread > 15.0].sum()) < 0.15
    # Table 5.3's medians follow the mean of the schools, about 8.
    assert float((found.weight * found.mean).sum()) == pytest.approx(8.0, abs=0.5)
