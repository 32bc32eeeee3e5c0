"""Before and after: order statistics from tables, coverage by counting."""

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.listen import Spread, compare_attempts, compare_measures, estimate_spread, summarise
from crowlight.listen.compare import CHANGED, NO_CHANGE, TOO_FEW, median_factor

# Variance of the median of n standard normal values: Sarhan & Greenberg, Contributions to Order
# Statistics (1962), table 10C.1, as recalled; n = 1 is 1 and n -> inf is pi / (2 n).
TABLE = {3: 0.4487, 5: 0.2868, 7: 0.2104, 9: 0.1661}


@pytest.mark.parametrize("n", TABLE)
def test_variance_of_the_median_agrees_with_the_table(n):
    assert median_factor(n) ** 2 == pytest.approx(TABLE[n], abs=0.00006)


def test_median_of_one_and_two_and_many():
    assert median_factor(1) == pytest.approx(1.0)
    assert median_factor(2) ** 2 == pytest.approx(0.5)
    assert median_factor(401) ** 2 == pytest.approx(np.pi / (2 * 401), rel=0.01)
    assert median_factor(4) >= 0.5460  # exact 0.5461 (by simulation below): never too small
    with pytest.raises(InputError, match="at least 1 attempt"):
        median_factor(0)


@pytest.mark.parametrize("n", [4, 6])
def test_even_counts_are_on_the_safe_side(n):
    rng = np.random.default_rng(n)
    simulated = np.std(np.median(rng.standard_normal((40_000, n)), axis=1))
    assert simulated < median_factor(n) < 1.3 * simulated


def test_summary_leaves_out_what_has_no_value():
    found = summarise([4.0, None, float("nan"), 2.0])
    assert (found.median, found.low, found.high, found.attempts) == (3.0, 2.0, 4.0, 2)
    assert not found.enough
    assert summarise([]).attempts == 0


def test_spread_is_pooled_within_reeds():
    found = estimate_spread([[1.0, 3.0], [11.0, 13.0], [5.0], []])
    assert found == Spread(pytest.approx(np.sqrt(2.0)), 2.0)
    assert estimate_spread([[1.0]]).freedom == 0


def coverage(n, known_groups, control, trials=600):
    rng = np.random.default_rng(9)
    hits = 0
    for _ in range(trials):
        weather = rng.normal(0, 5)
        known = estimate_spread(list(rng.normal(0, 2, (known_groups, 3)))) if known_groups else None
        reed = None
        if control:
            reed = (rng.normal(7, 2, 2), rng.normal(7 + weather, 2, 2))
        found = compare_attempts(
            rng.normal(0, 2, n),
            rng.normal(3 + (weather if control else 0), 2, n),
            known=known,
            control=reed,
        )
        hits += found.low <= 3.0 <= found.high
    return hits / trials


@pytest.mark.parametrize(
    ("n", "known", "control"), [(3, 0, False), (5, 0, False), (3, 10, False), (3, 10, True)]
)
def test_intervals_cover_as_often_as_they_say(n, known, control):
    # 600 trials at 95 %: standard error 0.9 %; medians of few normal values are not exactly
    # t-distributed, and the control adds its own share, so both sides have 2 % to spare
    assert coverage(n, known, control) == pytest.approx(0.95, abs=0.03)


def test_false_alarms_without_a_change():
    rng = np.random.default_rng(10)
    alarms = 0
    for _ in range(500):
        known = estimate_spread(list(rng.normal(0, 2, (12, 3))))
        found = compare_attempts(rng.normal(0, 2, 3), rng.normal(0, 2, 3), known=known)
        alarms += found.verdict == CHANGED
    assert alarms <= 45  # 25 expected, standard error 5


def test_verdicts():
    assert compare_attempts([0, 1, 2], [20, 21, 22]).verdict == CHANGED
    assert compare_attempts([0, 1, 2], [1, 2, 0]).verdict == NO_CHANGE
    few = compare_attempts([0, 1], [20, 21, 22])
    assert few.verdict == TOO_FEW
    assert few.high == np.inf


def test_the_makers_known_spread_keeps_lucky_agreement_from_counting():
    before, after = [10.0, 10.01, 10.02], [10.2, 10.21, 10.22]
    assert compare_attempts(before, after).verdict == CHANGED
    known = Spread(3.0, 30.0)
    assert compare_attempts(before, after, known=known).verdict == NO_CHANGE


def test_the_control_reed_takes_the_weather_away():
    before, after = [0.0, 1.0, 2.0], [20.0, 21.0, 22.0]
    control = ([5.0, 5.5], [25.0, 25.5])
    alone = compare_attempts(before, after)
    with_control = compare_attempts(before, after, control=control)
    assert alone.verdict == CHANGED
    assert with_control.difference == pytest.approx(0.0)
    assert with_control.control == pytest.approx(20.0)
    assert with_control.verdict == NO_CHANGE


def test_a_control_without_values_is_not_used():
    found = compare_attempts([0, 1, 2], [20, 21, 22], control=([None], [1.0]))
    assert found.control is None


def test_several_measures_share_one_level_of_false_alarms():
    before, after = [0.0, 1.0, 2.0], [3.0, 4.5, 5.0]
    alone = compare_attempts(before, after)
    names = ("a", "b", "c", "d")
    together = compare_measures(
        dict.fromkeys(names, before),
        dict.fromkeys(names, after),
        control=({"a": [0.0]}, {"a": [0.1]}),
    )
    assert together["b"].high - together["b"].low > alone.high - alone.low
    assert together["a"].control == pytest.approx(0.1)
    assert together["b"].control is None


def test_attempts_alike_to_the_digit_do_not_make_a_change_certain():
    found = compare_attempts([10.0] * 3, [10.01] * 3)
    assert (found.verdict, found.low, found.high) == (TOO_FEW, -np.inf, np.inf)
    # the maker's own spread from earlier takes still counts
    known = Spread(4.0, 20.0)
    assert compare_attempts([10.0] * 3, [10.01] * 3, known=known).verdict == NO_CHANGE
    assert compare_attempts([10.0] * 3, [60.0] * 3, known=known).verdict == CHANGED
