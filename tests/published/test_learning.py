"""Scores and shrinkage against published numbers and general libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from crowlight.calibrate.learning import Predicted, at_spreads, ensemble_crps, score
from crowlight.calibrate.learning.scores import Pair
from crowlight.checks import learning
from crowlight.checks.case import Check

scoringrules = pytest.importorskip("scoringrules", reason="only this comparison needs it")
Z95 = 1.6448536269514722


@pytest.mark.parametrize("case", list(learning.cases()), ids=lambda c: c.name)
def test_published_value(case: Check) -> None:
    assert case.ok, f"{case.value} is not {case.expected} ± {case.tolerance} {case.unit}"


@pytest.mark.parametrize("happened", [-3.0, 0.4, 1.0, 1.1, 9.0])
@pytest.mark.parametrize("sd", [0.3, 2.0])
def test_the_score_of_an_even_prediction_is_that_of_a_normal(happened: float, sd: float) -> None:
    told = Predicted(1.0 - Z95 * sd, 1.0, 1.0 + Z95 * sd)
    assert told.crps(happened) == pytest.approx(
        scoringrules.crps_normal(happened, 1.0, sd), rel=1e-9
    )


@pytest.mark.parametrize("happened", [-2.0, 0.5, 0.7, 8.0])
def test_the_score_of_a_lopsided_prediction_is_that_of_many_draws(happened: float) -> None:
    """The even quantiles of the distribution as an ensemble; its error falls with its size."""
    told = Predicted(-0.5, 0.5, 4.0)
    n = 4000
    draws = told.quantile((np.arange(n) + 0.5) / n)
    theirs = float(scoringrules.crps_ensemble(happened, draws, estimator="nrg"))
    assert told.crps(happened) == pytest.approx(theirs, abs=2e-3)


@pytest.mark.parametrize("seed", range(4))
def test_the_score_of_an_ensemble(seed: int) -> None:
    rng = np.random.default_rng(seed)
    draws, happened = rng.gamma(2.0, 1.0, 37), float(rng.normal())
    theirs = float(scoringrules.crps_ensemble(happened, draws, estimator="nrg"))
    assert ensemble_crps(draws, happened) == pytest.approx(theirs, rel=1e-9)


def test_coverage_is_counted_as_with_the_intervals_of_scipy() -> None:
    rng = np.random.default_rng(5)
    happened = rng.normal(0.3, 1.4, 400)
    told = Predicted(-Z95, 0.0, Z95)
    (found,) = score(Pair("x", told, x, cut=str(i)) for i, x in enumerate(happened.tolist()))
    for c in found.coverage:
        low, high = norm.interval(c.level)
        assert c.share == np.mean((happened >= low) & (happened <= high))
    assert [c.tells for c in found.coverage] == ["narrow", "narrow"]


def test_balanced_data_give_what_a_mixed_model_gives() -> None:
    """Restricted maximum likelihood of statsmodels: spreads, mean and predicted effects."""
    mixed = pytest.importorskip(
        "statsmodels.regression.mixed_linear_model", reason="only this comparison needs it"
    )
    rng = np.random.default_rng(11)
    groups = np.repeat(list("abcdefgh"), 6)
    y = 3.0 + np.repeat(rng.normal(0.0, 1.2, 8), 6) + rng.normal(0.0, 0.8, 48)
    theirs = mixed.MixedLM(y, np.ones((48, 1)), groups=groups).fit(reml=True)

    def against(logs: np.ndarray) -> float:
        tau, sigma = np.exp(logs)
        return -at_spreads(y, np.zeros(48), {"g": groups.tolist()}, spreads={"g": tau},
                           scatter=sigma)[0]  # fmt: skip

    best = minimize(
        against, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10}
    )
    tau, sigma = np.exp(best.x)
    assert tau**2 == pytest.approx(float(np.asarray(theirs.cov_re)[0, 0]), rel=1e-3)
    assert sigma**2 == pytest.approx(float(theirs.scale), rel=1e-3)
    _, means, _ = at_spreads(
        y,
        np.zeros(48),
        {"g": groups.tolist()},
        spreads={"g": float(np.sqrt(np.asarray(theirs.cov_re)[0, 0]))},
        scatter=float(np.sqrt(theirs.scale)),
    )
    assert means[0] == pytest.approx(float(np.asarray(theirs.fe_params)[0]), rel=1e-8)
    for name, effect in zip("abcdefgh", means[1:], strict=True):
        assert effect == pytest.approx(float(np.asarray(theirs.random_effects[name])[0]), abs=1e-7)
