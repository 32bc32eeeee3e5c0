"""Cane per light stroke, learned from logged cuts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.plan.cut import LoggedCut, learn_strokes
from crowlight.plan.cut.strokes import _KNIVES, _MAKERS, _STROKES, _USUAL


def test_without_cuts_it_is_common_practice() -> None:
    usual = learn_strokes()
    assert usual.basis == "common practice"
    assert usual.median == pytest.approx(_USUAL, rel=0.01)
    # maker and knife scatter independently: variances add, but for the cut-off grid
    assert usual.spread == pytest.approx(math.hypot(_MAKERS, _KNIVES), rel=0.02)


def test_it_agrees_with_weighing_random_makers() -> None:
    """Bayes' rule by importance sampling, an independent way to the same posterior."""
    cuts = [LoggedCut(9, 0.041e-3, 0.007e-3, knife=0), LoggedCut(12, 0.070e-3, 0.007e-3, knife=0),
            LoggedCut(15, 0.060e-3, 0.007e-3, knife=1)]  # fmt: skip
    rng = np.random.default_rng(3)
    n = 400_000
    maker = math.log(_USUAL) + _MAKERS * rng.standard_normal(n)
    knives = maker[:, None] + _KNIVES * rng.standard_normal((n, 3))
    weight = np.zeros(n)
    for cut in cuts:
        size = np.exp(knives[:, cut.knife])
        sd = np.sqrt(cut.uncertainty**2 + cut.strokes * (_STROKES * size) ** 2)
        weight += -0.5 * ((cut.cane - cut.strokes * size) / sd) ** 2 - np.log(sd)
    weight = np.exp(weight - weight.max())
    for knife in (0, 1, 2):
        mean = np.average(knives[:, knife], weights=weight)
        sd = math.sqrt(np.average((knives[:, knife] - mean) ** 2, weights=weight))
        got = learn_strokes(cuts, knife=knife)
        assert math.log(got.median) == pytest.approx(mean, abs=0.01)
        assert got.spread == pytest.approx(sd, rel=0.03)


def test_intervals_hold_as_often_as_they_say() -> None:
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(300):
        maker = math.log(_USUAL) + _MAKERS * rng.standard_normal()
        size = math.exp(maker + _KNIVES * rng.standard_normal())
        cuts = []
        for _ in range(4):
            k = int(rng.integers(3, 10))
            taken = k * size + math.sqrt(k) * _STROKES * size * rng.standard_normal()
            cuts.append(LoggedCut(k, taken + 0.007e-3 * rng.standard_normal(), 0.007e-3))
        low, high = learn_strokes(cuts).interval(0.9)
        held += low <= size <= high
    # binomial: 270 expected, standard deviation 5.2; four of them either way
    assert 249 <= held <= 291


def test_a_sharpened_or_changed_knife_is_known_less_well() -> None:
    cuts = [LoggedCut(12, 0.048e-3, 0.007e-3, knife=4)] * 5
    same, changed = learn_strokes(cuts, knife=4), learn_strokes(cuts, knife=5)
    assert same.spread < changed.spread < learn_strokes().spread
    assert same.basis == changed.basis == "your data"


def test_order_does_not_matter() -> None:
    cuts = [LoggedCut(3 + i, (3 + i) * (2e-6 + 3e-7 * i), 0.007e-3, knife=i % 2) for i in range(6)]
    assert learn_strokes(cuts) == learn_strokes(cuts[::-1])


def test_three_light_strokes_tell_next_to_nothing() -> None:
    """Three strokes lie below what a gauge resolves; pooled ones do not."""
    before = learn_strokes()
    once = learn_strokes([LoggedCut(3, 0.009e-3, 0.014e-3)])
    often = learn_strokes([LoggedCut(3, 0.009e-3, 0.014e-3)] * 30)
    assert once.spread > 0.9 * before.spread
    assert often.spread < 0.6 * before.spread


@pytest.mark.parametrize(
    ("strokes", "cane", "u"), [(0, 1e-5, 1e-6), (3, math.nan, 1e-6), (3, 1e-5, 0.0)]
)
def test_impossible_cuts_are_refused(strokes: int, cane: float, u: float) -> None:
    with pytest.raises(InputError, match="strokes must be 1 or more"):
        LoggedCut(strokes, cane, u)
