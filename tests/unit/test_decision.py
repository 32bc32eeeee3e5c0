"""When a difference counts."""

import math

import pytest
from scipy import stats

from crowlight.errors import InputError
from crowlight.judge import coverage_factor, decide, effective_dof


@pytest.mark.parametrize("dof", [1.0, 3.0, 7.5, 40.0, math.inf])
@pytest.mark.parametrize("comparisons", [1, 6, 60])
def test_factor_is_students_quantile(dof: float, comparisons: int) -> None:
    tail = 1 - 0.05 / 2 / comparisons
    peer = stats.norm.ppf(tail) if math.isinf(dof) else stats.t.ppf(tail, dof)
    assert coverage_factor(dof, comparisons=comparisons) == pytest.approx(peer, rel=1e-9)


def test_outcome_follows_the_interval() -> None:
    apart = decide(-0.05, 0.01, tolerance=0.02)
    assert apart.outcome == "differs"
    assert apart.high < -0.02
    unsure = decide(0.03, 0.01, tolerance=0.02)
    assert unsure.outcome == "no_difference_seen"
    assert not unsure.within_tolerance
    even = decide(0.001, 0.005, tolerance=0.02)
    assert even.within_tolerance


def test_more_comparisons_ask_for_more() -> None:
    assert decide(0.045, 0.01, tolerance=0.02).outcome == "differs"
    assert decide(0.045, 0.01, tolerance=0.02, comparisons=40).outcome == "no_difference_seen"


def test_dof_of_one_component_is_its_own() -> None:
    assert effective_dof([(2.0, 5)]) == pytest.approx(5)
    assert effective_dof([(2.0, math.inf)]) == math.inf
    assert effective_dof([(1.0, 5), (1.0, 5)]) == pytest.approx(10)


@pytest.mark.parametrize(
    ("value", "u", "tolerance", "said"),
    [
        (0.1, 0.1, -1.0, "tolerance = -1.0 must be 0 or more"),
        (0.1, 0.1, math.nan, "tolerance = nan"),
        (math.nan, 0.1, 0.1, "difference nan"),
        (0.1, -0.1, 0.1, "standard uncertainty -0.1"),
    ],
)
def test_unusable_numbers_are_refused(value: float, u: float, tolerance: float, said: str) -> None:
    with pytest.raises(InputError, match=said):
        decide(value, u, tolerance=tolerance)
