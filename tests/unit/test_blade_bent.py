"""Bent lines through made-up outputs: intervals must hold the truth as often as they say."""

import numpy as np
import pytest

from crowlight.blade.bent import bent_line, drawn
from crowlight.errors import OutsideModel

SLOPE = np.array([0.10, 0.05, -0.04])
DIRECTION = SLOPE / np.linalg.norm(SLOPE)


def parabola(t):
    """Return an output whose logarithm is a parabola along one direction."""
    return np.exp(t @ SLOPE + 0.05 * (t @ DIRECTION) ** 2)


def crooked(t):
    """Return the same with a wave across it that no parabola follows."""
    return parabola(t) * np.exp(0.08 * np.sin(3.0 * (t @ [0.3, -0.8, 0.5])))


def kinked(t):
    """Return an output that gives way beyond the middle, where slopes see only one side."""
    return np.exp(np.minimum(t @ SLOPE, 0.3 * (t @ SLOPE)))


def line_of(output):
    both = output(DIRECTION), output(-DIRECTION)
    return bent_line("area", float(output(np.zeros(3))), SLOPE, DIRECTION, both)


def found(output, seed, count=12):
    rng = np.random.default_rng(seed)
    return drawn({"area": line_of(output)}, lambda t, _: {"area": output(t)}, count, rng)["area"]


@pytest.mark.parametrize(
    ("output", "held", "off"),
    [(parabola, (0.9, 1.0), 0.02), (crooked, (0.0, 0.1), 0.02), (kinked, (0.2, 0.8), 0.05)],
)
def test_ninety_per_cent_intervals_hold_nine_of_ten(output, held, off):
    """A few solved reeds are enough; a sharp kink costs a few in a hundred."""
    truth = output(np.random.default_rng(99).standard_normal((4000, 3)))
    shares, helds = [], []
    for seed in range(60):
        one = found(output, seed)
        low, high = np.quantile(one.values, [0.05, 0.95])
        shares.append(np.mean((truth >= low) & (truth <= high)))
        helds.append(one.held)
    assert np.mean(shares) == pytest.approx(0.9, abs=off)
    assert np.std(shares) < 0.08
    assert held[0] <= np.mean(helds) <= held[1]


def test_a_line_that_holds_needs_few_solved_reeds():
    asked = []

    def solve(t, _):
        asked.append(t)
        return {"area": parabola(t)}

    drawn({"area": line_of(parabola)}, solve, 40, np.random.default_rng(1))
    assert len(asked) == 6
    asked.clear()
    drawn(
        {"area": line_of(crooked)},
        lambda t, n: solve(t, n) | {"area": crooked(t)},
        20,
        np.random.default_rng(1),
    )
    assert len(asked) == 20


def test_outputs_that_may_be_negative_are_not_taken_in_the_logarithm():
    line = bent_line("tilt", 0.01, SLOPE, DIRECTION, (0.2, -0.2))
    assert not line.log
    assert line(np.zeros(3)) == pytest.approx(0.01)
    assert line(DIRECTION) == pytest.approx(0.2)
    assert line(-DIRECTION) == pytest.approx(-0.2)


def test_too_few_reeds_with_an_answer_are_a_reason():
    def solve(t, _):
        if t[0] > -1.0:
            msg = "no answer"
            raise OutsideModel(msg)
        return {"area": 1.0}

    with pytest.raises(OutsideModel, match="have an answer; measure the map"):
        drawn({"area": line_of(parabola)}, solve, 12, np.random.default_rng(3))
