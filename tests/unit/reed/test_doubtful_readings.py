"""Readings that do not go with the others."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.reed.thickness import doubtful_readings, fit_profile
from crowlight.reed.thickness.doubt import left_out

MM = 1e-3


def test_left_out_is_the_regression_without_that_reading():
    """R&W (2006), equation 5.12, against leaving rows and columns out."""
    rng = np.random.default_rng(1)
    reed = draw_reed(rng)
    fit = fit_profile(measure(reed, planned_places(reed.style, quick=True), rng), reed.style)
    whole = fit.factor.lower @ fit.factor.lower.T
    residual = whole @ fit.white
    expected, sd = left_out(fit)
    n = len(residual)
    for i in range(n):
        rest = np.delete(np.arange(n), i)
        solved = np.linalg.solve(whole[np.ix_(rest, rest)], np.c_[residual[rest], whole[rest, i]])
        mean = whole[i, rest] @ solved[:, 0]
        variance = whole[i, i] - whole[i, rest] @ solved[:, 1]
        shift = fit.observed.thickness[i] - residual[i]
        assert expected[i] == pytest.approx(mean + shift, rel=1e-8)
        assert sd[i] ** 2 == pytest.approx(variance, rel=1e-7)


def test_slips_are_found_and_honest_readings_are_left_alone():
    found, false = 0, 0
    for i in range(20):
        rng = np.random.default_rng([20308, i])
        reed = draw_reed(rng)
        readings = list(measure(reed, planned_places(reed.style), rng))
        false += bool(doubtful_readings(fit_profile(readings, reed.style)))
        # one digit of a heart reading slips
        at = 13 + int(rng.integers(5))
        readings[at] = dataclasses.replace(
            readings[at], thickness=readings[at].thickness - 0.1 * MM
        )
        doubts = doubtful_readings(fit_profile(readings, reed.style))
        found += any(d.index == at for d in doubts)
    assert found >= 18
    assert false <= 2
