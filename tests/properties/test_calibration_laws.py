"""Laws that hold for any data: more never widens, order does not matter, units are asked about."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from crowlight.calibrate import ForceTest, linear_update, surprise
from crowlight.calibrate.gaussian import effective_share, peak
from crowlight.errors import InputError

GRAVITY = 9.80665e-3  # newtons per gram
Real = NDArray[np.float64]
Case = tuple[Real, Real, Real]


@st.composite
def linear_cases(draw: st.DrawFn) -> Case:
    unknowns, data = draw(st.integers(1, 6)), draw(st.integers(1, 6))
    rng = np.random.default_rng(draw(st.integers(0, 2**31)))
    size = 10.0 ** draw(st.floats(-3, 2))
    slopes = size * rng.standard_normal((data, unknowns))
    spread = 10.0 ** rng.uniform(-2, 1, data)
    return slopes, rng.standard_normal(data), spread


@given(linear_cases())
def test_more_data_never_widen_any_direction(case: Case) -> None:
    slopes, measured, spread = case
    less = linear_update(slopes[:-1], measured[:-1], spread[:-1]).covariance
    more = linear_update(slopes, measured, spread).covariance
    assert np.linalg.eigvalsh(less - more)[0] >= -1e-9
    sizes = np.linalg.eigvalsh(more)
    assert sizes[0] > -1e-9
    assert sizes[-1] <= 1 + 1e-9


@given(linear_cases())
def test_information_adds_up(case: Case) -> None:
    slopes, measured, spread = case
    found = linear_update(slopes, measured, spread)
    information = np.eye(slopes.shape[1]) + slopes.T @ (slopes / spread[:, None] ** 2)
    product = information @ found.covariance
    rounding = 1e-13 * float(np.linalg.norm(information, 2))
    assert product == pytest.approx(np.eye(len(product)), abs=1e-12 + rounding)


@given(linear_cases(), st.randoms(use_true_random=False))
def test_the_order_of_measuring_does_not_matter(case: Case, shuffle: object) -> None:
    slopes, measured, spread = case
    order = list(range(len(measured)))
    shuffle.shuffle(order)  # type: ignore[attr-defined]  # a random.Random from Hypothesis
    first = linear_update(slopes, measured, spread)
    second = linear_update(slopes[order], measured[order], spread[order])
    assert second.mean == pytest.approx(first.mean, abs=1e-7)
    assert second.covariance == pytest.approx(first.covariance, abs=1e-9)


@given(linear_cases())
def test_climbing_a_linear_model_gives_its_exact_answer(case: Case) -> None:
    slopes, measured, spread = case
    exact = linear_update(slopes, measured, spread)
    start = np.zeros(slopes.shape[1])
    found = peak(lambda t: slopes @ t, lambda _: slopes, measured, spread, start)
    assert found.mode == pytest.approx(exact.mean, abs=1e-5)
    assert found.covariance == pytest.approx(exact.covariance, abs=1e-12)


@given(linear_cases())
def test_a_datum_that_says_nothing_changes_nothing(case: Case) -> None:
    slopes, measured, spread = case
    silent = np.vstack([slopes, np.zeros(slopes.shape[1])])
    found = linear_update(silent, np.append(measured, 5.0), np.append(spread, 0.1))
    assert found.mean == pytest.approx(linear_update(slopes, measured, spread).mean, abs=1e-7)


@given(linear_cases())
def test_what_was_expected_surprises_nobody(case: Case) -> None:
    slopes, expected, spread = case
    found = surprise(expected, slopes, expected, spread)
    assert np.all(found.alone == 0.0)
    assert np.all(found.others == 0.0)
    assert found.chance == 1.0


@given(linear_cases(), st.floats(1.1, 10))
def test_odder_data_have_less_chance(case: Case, factor: float) -> None:
    slopes, left, spread = case
    zero = np.zeros(len(left))
    odd, odder = (surprise(zero, slopes, f * left, spread) for f in (1.0, factor))
    assert odder.chance <= odd.chance
    assert odder.alone == pytest.approx(factor * odd.alone)


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=50))
def test_effective_share_lies_between_one_draw_and_all(logs: list[float]) -> None:
    share = effective_share(np.array(logs))
    assert 1 / len(logs) - 1e-12 <= share <= 1 + 1e-12


@settings(max_examples=60)
@given(st.floats(16.0, 800.0))
def test_a_likely_force_in_the_wrong_unit_is_always_asked_about(grams: float) -> None:
    newtons = grams * GRAVITY
    assert ForceTest(newtons, 0.05 * newtons).value == newtons
    with pytest.raises(InputError, match="grams typed as newtons"):
        ForceTest(grams, 0.05 * grams)
    mistyped = newtons * GRAVITY  # newtons typed where grams are asked for
    with pytest.raises(InputError, match=r"newtons .* typed as grams"):
        ForceTest(mistyped, 0.05 * mistyped)
