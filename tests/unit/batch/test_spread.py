"""Components of variance and the gauge study: what is put in comes out."""

import math

import numpy as np
import pytest

from crowlight.batch.gauge_study import crossed_study
from crowlight.batch.spread import difference_of_variances, one_way, spread_of
from crowlight.errors import InputError


def test_reeds_and_gauge_are_told_apart() -> None:
    rng = np.random.default_rng(1)
    reeds, gauge = 0.020, 0.010
    values = rng.normal(0.45, reeds, 4000) + rng.normal(0.0, gauge, 4000)
    found = spread_of(values, np.full(4000, gauge))
    # four standard errors of a standard deviation of 4000 values
    assert found.reeds.value == pytest.approx(reeds, abs=4 * 0.0224 / math.sqrt(8000))
    assert found.reeds.low < reeds < found.reeds.high
    assert found.told_apart


def test_a_spread_within_repeatability_is_called_none() -> None:
    found = spread_of([0.450, 0.452, 0.448, 0.451, 0.449], [0.01] * 5)
    assert found.reeds.value == 0.0
    assert found.reeds.low == 0.0
    assert not found.told_apart


@pytest.mark.parametrize("second", [math.inf, 12.0])
def test_the_interval_covers_as_often_as_it_says(second: float) -> None:
    rng = np.random.default_rng(2)
    n, s1, s2, hits, trials = 8, 3.0, 1.0, 0, 2000
    for _ in range(trials):
        first = s1 * rng.chisquare(n - 1) / (n - 1)
        other = s2 if math.isinf(second) else s2 * rng.chisquare(second) / second
        low, high = difference_of_variances(first, n - 1, other, second)
        hits += low <= s1 - s2 <= high
    # three standard errors of 95 % in 2000 trials
    assert hits / trials == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / trials))


def test_unequal_groups_are_taken() -> None:
    rng = np.random.default_rng(3)
    groups = [
        list(rng.normal(0.0, 2.0) + rng.normal(0.0, 1.0, int(rng.integers(1, 6))))
        for _ in range(1500)
    ]
    found = one_way(groups)
    assert found.between.value == pytest.approx(2.0, abs=0.15)
    assert found.within.value == pytest.approx(1.0, abs=0.06)
    assert found.between.low < 2.0 < found.between.high


def test_a_crossed_study_finds_every_part() -> None:
    rng = np.random.default_rng(4)
    place, mounting, both, own = 0.100, 0.006, 0.004, 0.010
    x = (
        rng.normal(0.0, place, (60, 1, 1))
        + rng.normal(0.0, mounting, (1, 40, 1))
        + rng.normal(0.0, both, (60, 40, 1))
        + rng.normal(0.0, own, (60, 40, 3))
    )
    found = crossed_study(x)
    assert not found.pooled
    assert found.repeatability_low < own < found.repeatability_high
    assert found.reproducibility == pytest.approx(math.hypot(mounting, both), rel=0.2)
    assert found.between == pytest.approx(place, rel=0.3)
    assert found.interaction_p < 1e-6


def test_a_study_never_has_negative_parts() -> None:
    found = crossed_study(np.random.default_rng(5).normal(size=(5, 3, 2)))
    assert found.reproducibility >= 0.0
    assert found.gauge >= found.repeatability


def test_what_cannot_be_used_is_refused() -> None:
    with pytest.raises(InputError, match="two reeds or more"):
        spread_of([0.4], [0.01])
    with pytest.raises(InputError, match="negative"):
        spread_of([0.4, 0.5], [0.01, -0.01])
    with pytest.raises(InputError, match="repeats"):
        one_way([[1.0], [2.0]])
    with pytest.raises(InputError, match="two or more"):
        crossed_study(np.zeros((4, 1, 2)))
