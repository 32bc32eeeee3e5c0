"""The covariance of what a blade departs from its profile by."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import dblquad

from crowlight.reed import Blade, Place
from crowlight.reed.styles import STYLE_CODES, style
from crowlight.reed.thickness import Scales
from crowlight.reed.thickness.observation import sites
from crowlight.reed.thickness.unevenness import local, unevenness, variance

MM = 1e-3
SCALES = Scales()


def at(laid, places, foot=0.0):
    values = np.tile(laid.vector()[0], (2, 1))
    where = sites(laid, places, foot)
    return where, local(laid, values, where)[2]


def somewhere(laid, count=40, seed=1):
    rng = np.random.default_rng(seed)
    along = rng.uniform(laid.thread_top, laid.length, count)
    across = rng.uniform(-1, 1, count) * laid.outline.half_width(along)
    return [
        Place(list(Blade)[i % 2], float(s), float(c))
        for i, (s, c) in enumerate(zip(along, across, strict=True))
    ]


@pytest.mark.parametrize("code", STYLE_CODES)
def test_covariance_is_positive_and_its_diagonal_is_the_variance(code: str):
    laid = style(code)
    where, parts = at(laid, somewhere(laid))
    k = unevenness(where, where, parts, parts, SCALES)
    np.testing.assert_allclose(k, k.T, rtol=1e-12)
    np.testing.assert_allclose(np.diagonal(k), variance(parts, SCALES), rtol=1e-12)
    assert np.linalg.eigvalsh(k).min() > -1e-12 * np.trace(k)
    paired = unevenness(where, where, parts, parts, SCALES, paired=True)
    np.testing.assert_allclose(paired, np.diagonal(k), rtol=1e-12)


def test_blades_share_less_than_half_of_a_heart():
    long = style("long")
    where, parts = at(long, [Place(b, 61 * MM, 1 * MM) for b in Blade])
    k = unevenness(where, where, parts, parts, SCALES)
    shared = (SCALES.common * np.exp(0) + SCALES.habit) * parts.broad[0] ** 2
    assert k[0, 1] == pytest.approx(shared, rel=0.02)  # lines are far
    assert k[0, 1] < 0.55 * k[0, 0]


def test_grain_carries_further_along_than_across():
    long = style("long")
    middle = Place(Blade.MARKED, 61 * MM, 0.3 * MM)
    along = Place(Blade.MARKED, 59.8 * MM, 0.3 * MM)
    across = Place(Blade.MARKED, 61 * MM, 1.5 * MM)
    where, parts = at(long, [middle, along, across])
    k = unevenness(where, where, parts, parts, SCALES)
    assert k[0, 1] > k[0, 2]


def test_windows_of_the_two_sides_lie_independently():
    long = style("long")
    flank = 0.3 * float(long.outline.half_width(55 * MM))
    where, parts = at(long, [Place(Blade.MARKED, 55 * MM, side * flank) for side in (-1, 1)])
    only = Scales(amount=1e-6, wander=(0.0, 0.0, 0.0), step=(0.0, 0.0, 0.0))
    k = unevenness(where, where, parts, parts, only)
    assert k[0, 0] > (8e-6) ** 2
    assert abs(k[0, 1]) < 1e-3 * k[0, 0]


def test_a_foot_averages_exactly():
    """The footprint's closed form against the integral over a normal footprint."""
    long = style("long")
    only = Scales(wander=(0.0, 0.0, 0.0), step=(0.0, 0.0, 0.0), flank=0.0, common=0.0, habit=0.0)
    places = [Place(Blade.MARKED, 61 * MM, 0.0), Place(Blade.MARKED, 61.8 * MM, 0.5 * MM)]
    sd = 0.4 * MM
    wide, parts = at(long, places, np.array([sd, 0.0]))
    got = unevenness(wide, wide, parts, parts, only)[0, 1]

    def integrand(y, x):
        weight = np.exp(-(x * x + y * y) / (2 * sd**2)) / (2 * np.pi * sd**2)
        dx, dy = 0.8 * MM - x, 0.5 * MM - y
        broad = np.exp(-0.5 * ((dx / only.along) ** 2 + (dy / only.across) ** 2))
        fine = np.exp(-0.5 * ((dx / only.fine_along) ** 2 + (dy / only.fine_across) ** 2))
        return weight * (
            parts.broad[0] * parts.broad[1] * broad + parts.fine[0] * parts.fine[1] * fine
        )

    reach = 6 * sd
    expected, _ = dblquad(integrand, -reach, reach, -reach, reach, epsabs=0, epsrel=1e-8)
    assert got == pytest.approx(expected, rel=1e-6)
