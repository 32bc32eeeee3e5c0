"""Control charts name what is there, seldom what is not; capability waits for enough reeds."""

import numpy as np
import pytest

from crowlight.batch.control import CAPABILITY_FROM, capability, control_chart
from crowlight.errors import InputError


def rules(values) -> list[tuple[str, int]]:
    return [(s.rule, s.at) for s in control_chart(values).signals]


def test_a_shift_is_a_run_of_seven() -> None:
    values = [0.0, 1.0, -1.0, 0.5, -0.5, 1.0, -1.0, 2.2, 1.6, 2.4, 1.7, 2.5, 1.8, 2.1]
    assert ("run", 13) in rules(values)
    assert ("run", 12) not in rules(values)


def test_a_dulling_knife_is_a_trend_of_seven() -> None:
    values = [0.0, 0.6, -0.6, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.2, -0.5, 0.1]
    assert [s for s in rules(values) if s[0] == "trend"] == [("trend", 8)]


def test_equal_neighbours_break_a_trend() -> None:
    assert not [s for s in rules([0.0, 1.0, 2.0, 3.0, 3.0, 4.0, 5.0, 6.0]) if s[0] == "trend"]


def test_a_steady_batch_is_seldom_named() -> None:
    rng = np.random.default_rng(1)
    charts = [control_chart(rng.normal(size=25)) for _ in range(400)]
    beyond = np.mean([any(s.rule == "beyond" for s in c.signals) for c in charts])
    # one point in 370, 25 points, and limits that are estimated themselves
    assert 0.03 < beyond < 0.15


def test_the_limits_follow_units_and_zero() -> None:
    values = np.array([5.0, 5.6, 4.8, 5.5, 5.0, 5.4, 4.9, 5.5])
    one, other = control_chart(values), control_chart(1000.0 * values - 7.0)
    assert other.high == pytest.approx(1000.0 * one.high - 7.0)
    assert other.range_high == pytest.approx(1000.0 * one.range_high)
    assert one.preliminary


def test_few_reeds_have_no_capability_but_a_count() -> None:
    found = capability(np.random.default_rng(2).normal(size=20), low=-4.0, high=4.0)
    assert found.missing == CAPABILITY_FROM - 20
    assert found.spread is None


def test_an_unsteady_process_has_none_either() -> None:
    values = np.r_[np.random.default_rng(3).normal(size=60), 30.0]
    found = capability(values, low=-4.0, high=4.0)
    assert not found.steady
    assert found.nearest is None


def test_intervals_of_capability_cover() -> None:
    rng = np.random.default_rng(4)
    hits, stated = 0, 0
    for _ in range(400):
        found = capability(rng.normal(size=50), low=-4.0, high=4.0)
        if found.spread is not None:
            stated += 1
            hits += found.spread[1] <= 4.0 / 3.0 <= found.spread[2]
    assert stated > 150
    assert hits / stated > 0.9


def test_what_cannot_be_charted_is_refused() -> None:
    with pytest.raises(InputError, match="6 values or more"):
        control_chart([1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="lower one first"):
        capability([1.0] * 60, low=2.0, high=1.0)


@pytest.mark.parametrize("count", [6, 7, 10, 60])
@pytest.mark.parametrize("value", [0.1, 0.45, 0.57, 7.3])
def test_values_that_are_all_the_same_have_no_signal_and_no_capability(value, count) -> None:
    """Means of equal values are off by their rounding, which is no point beyond a limit."""
    assert not rules([value] * count)
    with pytest.raises(InputError, match="all values are the same"):
        capability([value] * count, low=value - 1.0, high=value + 1.0, least=count)
