"""A style made from a maker's own reeds."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.reed import CaneState
from crowlight.reed.styles import style
from crowlight.reed.thickness import Fit, fit_profile, own_style

MM = 1e-3
LONG = style("long")


def fits_of(count: int, *, thicker: float = 0.0, seed: int = 20304) -> list[Fit]:
    """Reeds of a hand that leaves everything behind the transition thicker."""
    found = []
    for i in range(count):
        rng = np.random.default_rng([seed, i])
        reed = draw_reed(rng)
        readings = [
            dataclasses.replace(r, thickness=r.thickness + thicker * (r.place.along < 64.5 * MM))
            for r in measure(reed, planned_places(reed.style), rng)
        ]
        found.append(fit_profile(readings, reed.style))
    return found


@pytest.fixture(scope="module")
def eight() -> list[Fit]:
    return fits_of(8, thicker=0.03 * MM)


def test_means_follow_the_makers_reeds(eight: list[Fit]):
    base, mine = own_style(LONG, fits_of(8), code="even"), own_style(LONG, eight, code="mine")
    for name in ("heart.front", "heart.back", "back.front"):
        moved = mine.profile[name].value - base.profile[name].value
        assert moved == pytest.approx(0.03 * MM, abs=0.012 * MM), name
    assert mine.code == "mine"
    gained = mine.thickness(61 * MM, 0.0) - base.thickness(61 * MM, 0.0)
    assert gained == pytest.approx(0.03 * MM, abs=0.008 * MM)


def test_figures_no_reading_touched_stay_what_they_were(eight: list[Fit]):
    mine = own_style(LONG, eight, code="mine")
    bark = mine.profile["bark.start"]
    assert bark.source == LONG.profile["bark.start"].source
    assert bark.value == pytest.approx(LONG.profile["bark.start"].value, abs=0.15 * MM)
    assert bark.spread == pytest.approx(LONG.profile["bark.start"].spread, rel=0.1)
    assert mine.profile["heart.front"].source == "own"
    assert mine.profile["transition.position"].source == "own"


def test_a_steady_hand_has_smaller_spreads():
    rng = np.random.default_rng(20306)
    reed = draw_reed(rng, twin=True)
    same = fit_profile(measure(reed, planned_places(reed.style), rng), reed.style)
    steady = own_style(LONG, [same] * 8, code="steady")
    mixed = own_style(LONG, fits_of(8), code="mixed")
    # only a well measured figure can show how steady the hand is
    name = "transition.position"
    assert steady.profile[name].spread < 0.9 * mixed.profile[name].spread


def test_one_reed_moves_the_style_less_than_eight(eight: list[Fit]):
    one = own_style(LONG, fits_of(1, thicker=0.06 * MM), code="one")
    assert one.profile["tip.front"].spread > 0
    many = own_style(LONG, eight, code="many")
    key = "transition.position"
    far = [abs(s.profile[key].value - LONG.profile[key].value) for s in (one, many)]
    assert max(far) < 1.5 * MM
    assert many.lengths["overall"].source == "own"
    assert 69 * MM < many.lengths["overall"].value < 71 * MM


def test_zones_move_with_the_makers_transition(eight: list[Fit]):
    mine = own_style(LONG, eight, code="mine")
    key = "transition.position"
    shift = mine.profile[key].value - LONG.profile[key].value
    assert mine.zone("tip").start[0] == pytest.approx(LONG.zone("tip").start[0] + shift)
    assert mine.zone("windows") == LONG.zone("windows")


def test_an_own_style_fits_own_reeds_better(eight: list[Fit]):
    mine = own_style(LONG, eight, code="mine")
    gain = 0.0
    for i in range(4):
        rng = np.random.default_rng([20305, i])
        reed = draw_reed(rng)
        readings = [
            dataclasses.replace(r, thickness=r.thickness + 0.03 * MM * (r.place.along < 64.5 * MM))
            for r in measure(reed, planned_places(reed.style, quick=True), rng)
        ]
        length = reed.style.length
        gain += fit_profile(readings, mine.placed(length)).log_likelihood
        gain -= fit_profile(readings, LONG.placed(length)).log_likelihood
    assert gain > 0


def test_what_cannot_be_is_refused(eight: list[Fit]):
    with pytest.raises(InputError, match="no reed"):
        own_style(LONG, [], code="mine")
    dry = dataclasses.replace(
        eight[0], observed=dataclasses.replace(eight[0].observed, state=CaneState.DRY)
    )
    with pytest.raises(InputError, match="some dry"):
        own_style(LONG, [dry, eight[1]], code="mine")
    with pytest.raises(InputError, match="not 'short-u'"):
        own_style(style("short-u"), eight, code="mine")
