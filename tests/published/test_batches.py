"""Batch statistics against certified values, worked examples and general libraries."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import NormalIndPower, TTestIndPower
from statsmodels.stats.proportion import proportion_confint, proportion_effectsize

from crowlight.batch.candidates import good_and_poor, shared_risk
from crowlight.batch.figures import share
from crowlight.batch.power import reeds_for_means, reeds_for_shares, share_of_true_answers
from crowlight.batch.split import evaluate_split
from crowlight.batch.tracking import mixed_model
from crowlight.checks import batches
from crowlight.checks.case import Check


@pytest.mark.parametrize("case", list(batches.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"


def test_mixed_model_of_the_dyestuff() -> None:
    """The manual of lme4 prints 1527.5 ± 19.38, variances 1764 and 2451."""
    groups = batches.data()["dyestuff"]["batches"]
    values = [v for g in groups for v in g]
    found = mixed_model(values, [i for i, g in enumerate(groups) for _ in g])
    assert found.converged
    assert (found.reeds, found.groups) == (30, 6)
    assert found.intercept == pytest.approx(1527.5, abs=0.005)
    assert found.intercept_error == pytest.approx(19.38, abs=0.005)
    # the fit stops where the likelihood is flat to some 1e-8: a part in a thousand of a variance
    assert found.between**2 == pytest.approx(1764, rel=1e-3)
    assert found.within**2 == pytest.approx(2451, rel=1e-3)


@pytest.mark.parametrize("seed", range(5))
def test_shared_risk_as_statsmodels_has_it(seed: int) -> None:
    p = np.random.default_rng(seed).beta(0.5, 2.0, 30)
    expected = multipletests(p, method="fdr_bh")[1]
    assert shared_risk(p) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(("effect", "count"), [(0.3, 10), (0.8, 5), (2.0, 3), (0.0, 20)])
def test_power_as_statsmodels_has_it(effect: float, count: int) -> None:
    expected = TTestIndPower().power(effect, count, 0.05)
    assert share_of_true_answers(effect, count) == pytest.approx(expected, abs=1e-9)


def test_reeds_needed_as_statsmodels_has_it() -> None:
    for effect in (0.4, 0.9, 1.6):
        expected = TTestIndPower().solve_power(effect, power=0.8, alpha=0.05)
        assert reeds_for_means(effect, 1.0) == int(np.ceil(expected))
    expected = NormalIndPower().solve_power(proportion_effectsize(0.75, 0.4), power=0.8, alpha=0.05)
    assert reeds_for_shares(0.4, 0.75) == int(np.ceil(expected))


@pytest.mark.parametrize(("count", "of"), [(0, 3), (2, 9), (9, 9), (61, 340)])
def test_shares_as_statsmodels_has_them(count: int, of: int) -> None:
    found = share(count, of)
    low, high = proportion_confint(count, of, method="wilson")
    assert found.low == pytest.approx(low, abs=1e-12)
    assert found.high == pytest.approx(high, abs=1e-12)


def test_welch_as_scipy_has_it() -> None:
    rng = np.random.default_rng(4)
    a, b = rng.normal(0.0, 1.0, 7), rng.normal(1.0, 3.0, 5)
    limits = stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.95)
    told = evaluate_split([*a, *b], [1] * 7 + [0] * 5, before=1.0, rng=rng)
    assert (told.low, told.high) == pytest.approx((limits.low, limits.high), rel=1e-12)
    found = good_and_poor({"x": [*a, *b]}, [5] * 7 + [1] * 5).tested[0]
    assert (found.low, found.high) == pytest.approx((limits.low, limits.high), rel=1e-12)


def test_dealing_out_anew_is_a_permutation_test() -> None:
    rng = np.random.default_rng(5)
    values = np.r_[rng.normal(0.0, 1.0, 6), rng.normal(1.3, 1.0, 6)]
    expected = stats.permutation_test(
        (values[6:], values[:6]), lambda a, b: a.mean() - b.mean(), n_resamples=np.inf
    ).pvalue
    told = evaluate_split(values, [0] * 6 + [1] * 6, before=-1.0, rng=rng)
    # 4999 draws: three standard errors of a share
    assert told.p == pytest.approx(expected, abs=3 * np.sqrt(expected / 5000) + 2e-4)
