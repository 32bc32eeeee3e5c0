"""What a gauge sees of a cut, and what is learned of strokes from it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.stats import norm
from tests.cut_reeds import LONG, fake_reed

from crowlight.plan.cut import Part, SeenFall, logged_cut, patch, read_share, slope_at
from crowlight.reed import Blade, Place
from crowlight.reed.styles import style

Real = NDArray[np.float64]
FOOT, PLACEMENT = 0.8e-3, 0.15e-3
PLACE = Place(Blade.MARKED, LONG.length - 12e-3, 1e-3)


def test_an_even_cut_is_read_as_it_is() -> None:
    assert read_share(lambda p: np.ones(len(p)), LONG, PLACE, FOOT, PLACEMENT) == pytest.approx(1.0)


def test_a_parabola_is_read_less_the_variance_of_the_foot() -> None:
    """Mean of 1 - (d / w)² over a disc and a normal placement, in closed form."""
    w = 1.5e-3

    def parabola(points: Real) -> Real:
        return 1.0 - ((points[:, 0] - PLACE.along) / w) ** 2

    variance = (FOOT / 2.0) ** 2 / 4.0 + PLACEMENT**2
    got = read_share(parabola, LONG, PLACE, FOOT, PLACEMENT)
    assert got == pytest.approx(1.0 - variance / w**2, rel=1e-9)


def test_a_groove_narrower_than_the_foot_is_read_shallower() -> None:
    """A normal groove smeared by a normal: both variances add."""
    width, sd = 0.4e-3, math.hypot(FOOT / 4.0, PLACEMENT)
    half = float(LONG.outline.half_width(PLACE.along))

    def groove(points: Real) -> Real:
        x = points[:, 1] * half - PLACE.across
        return np.exp(-0.5 * (x / width) ** 2)

    got = read_share(groove, LONG, PLACE, FOOT, PLACEMENT)
    # the blade tapers a little under the foot, and five points are few for a narrow groove
    assert got == pytest.approx(width / math.hypot(width, sd), rel=0.01)


def test_at_the_edge_of_the_blade_nothing_beyond_it_is_read() -> None:
    half = float(LONG.outline.half_width(LONG.length))
    corner = Place(Blade.PLAIN, LONG.length, half)

    def there(points: Real) -> Real:
        assert points[:, 0].max() <= LONG.length
        assert np.abs(points[:, 1]).max() <= 1.0
        return np.ones(len(points))

    assert read_share(there, LONG, corner, FOOT, PLACEMENT) == pytest.approx(1.0)


def test_slopes_are_those_of_the_style() -> None:
    steep = LONG.zone("transition")
    middle = 0.5 * (steep.start[0] + steep.stop[0])
    inside = slope_at(LONG, Place(Blade.MARKED, middle, 0.0))
    heart = LONG.zone("heart")
    flat = slope_at(LONG, Place(Blade.MARKED, 0.5 * (heart.start[0] + heart.stop[0]), 0.0))
    assert inside > 3.0 * flat
    rise = float(LONG.thickness(middle - 1e-4, 0.0) - LONG.thickness(middle + 1e-4, 0.0)) / 2e-4
    assert inside == pytest.approx(abs(rise), rel=0.3)  # over half a millimetre, not 0.2 mm


@pytest.mark.parametrize("code", ["long", "short-u"])
def test_slopes_at_the_edges_are_those_just_inside(code: str) -> None:
    """One-sided differences of a straight line are its slope: none is halved at an edge."""
    laid = style(code)
    edge = float(laid.outline.half_width(laid.length))
    for along, across in ((laid.length, 0.0), (laid.length, edge), (laid.thread_top, 0.0)):
        inward = -1e-4 if along == laid.length else 1e-4
        there, further = (float(laid.thickness(along + k * inward, across)) for k in (0.0, 1.0))
        rise = (further - there) / 1e-4
        sideways = 0.0
        if across:
            sideways = (
                float(laid.thickness(along, across)) - float(laid.thickness(along, across - 1e-4))
            ) / 1e-4
        found = slope_at(laid, Place(Blade.MARKED, along, across))
        assert found == pytest.approx(float(np.hypot(rise, sideways)), rel=0.25, abs=2e-4)
        # off the blade is as at its edge
        assert slope_at(laid, Place(Blade.MARKED, along - 10 * inward, across)) == found


def test_places_are_pooled_by_least_squares_through_zero() -> None:
    """The general solver finds the same cane; its covariance the same uncertainty."""
    rng = np.random.default_rng(4)
    share, fall = rng.uniform(0.3, 1.0, 9), rng.uniform(20e-6, 50e-6, 9)
    found = logged_cut(7, [SeenFall(s, f, 36e-12, 0.0) for s, f in zip(share, fall, strict=True)])
    assert found is not None
    (cane,), *_ = np.linalg.lstsq(share[:, None], fall, rcond=None)
    assert found.cane == pytest.approx(cane)
    assert found.uncertainty == pytest.approx(6e-6 / math.sqrt(share @ share))


def test_places_hardly_touched_tell_nothing() -> None:
    assert logged_cut(5, []) is None
    assert logged_cut(5, [SeenFall(0.2, 1e-5, 1e-12, 0.0)]) is None
    both = [SeenFall(0.9, 3e-5, 1e-12, 0.0), SeenFall(0.1, 9e-5, 1e-12, 0.0)]
    assert logged_cut(5, both) == logged_cut(5, both[:1])


def test_strokes_on_narrow_windows_are_learned_without_bias() -> None:
    """A foot half on the spine reads less than was taken; the strokes must not come out lighter.

    An invented gauge averages the cut itself over a disc at a scattered place.
    """
    reed = fake_reed()
    cut = patch(reed, "windows", Part.WHOLE)
    at = RegularGridInterpolator((reed.along[::-1], reed.fraction), cut[::-1])
    rng = np.random.default_rng(2)
    points = [p.on(Blade.MARKED) for p in LONG.full if p.zone == "windows"]
    cane, told, naive = 40e-6, [], []
    for _ in range(200):
        seen = []
        for place in points:
            r, angle = FOOT / 2 * np.sqrt(rng.uniform(size=300)), rng.uniform(0, 2 * np.pi, 300)
            s = place.along + rng.normal(0, PLACEMENT) + r * np.cos(angle)
            c = place.across + rng.normal(0, PLACEMENT) + r * np.sin(angle)
            u = np.clip(c / LONG.outline.half_width(s), -1.0, 1.0)
            fall = cane * float(at(np.stack([s, u], axis=1)).mean())
            seen.append(SeenFall(read_share(at, LONG, place, FOOT, PLACEMENT), fall, 64e-12, 0.0))
        found = logged_cut(10, seen)
        assert found is not None
        told.append(found.cane)
        naive.append(np.mean([s.fall for s in seen]))
    error = norm.ppf(0.999) * np.std(told) / math.sqrt(len(told))
    assert np.mean(told) == pytest.approx(cane, abs=error + 0.02 * cane)
    assert np.mean(naive) < 0.9 * cane
