"""Rounds of readings: which points, in which order, and which repeats are asked about."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.bench.inputs import reed_inputs
from crowlight.bench.kept import Entry
from crowlight.bench.kinds import ReadingsTaken
from crowlight.bench.measuring import (
    CRITICAL_RANGE,
    Doubt,
    doubtful,
    measuring_round,
    repeat_limit,
)
from crowlight.bench.state import difference, state_of
from crowlight.reed import Blade, CaneState, Place, Reading, Repeatability, instruments
from crowlight.reed.styles import STYLE_CODES, style

LONG = style("long")
FLAT = Place(Blade.MARKED, 0.055, 0.0)
DIAL = instruments()["dial"]


def read(*values: float, place: Place = FLAT) -> list[Reading]:
    return [
        Reading(place, v, repeat=n, state=CaneState.WET, instrument="dial")
        for n, v in enumerate(values)
    ]


@given(st.sampled_from(STYLE_CODES), st.integers(0, 2**31))
def test_a_quick_look_is_eight_points_of_each_blade_and_two_of_them_again(code, seed):
    found = measuring_round(style(code), "quick", seed=seed)
    once, again = found.places[:16], found.places[16:]
    assert [p.blade for p in once] == [Blade.MARKED] * 8 + [Blade.PLAIN] * 8
    assert len(set(once)) == 16
    assert len(set(again)) == len(found.repeats) == 2
    assert set(again) < set(once)
    assert found == measuring_round(style(code), "quick", seed=seed)
    assert str(seed) in found.source


def test_repeats_are_drawn_evenly():
    drawn = [
        p for seed in range(400) for p in measuring_round(LONG, "quick", seed=seed).places[16:]
    ]
    counts = [drawn.count(p) for p in measuring_round(LONG, "quick", seed=0).places[:16]]
    # each of 16 points in 800 draws: 50, standard deviation below 7
    assert min(counts) > 50 - 4 * 7
    assert max(counts) < 50 + 4 * 7


@pytest.mark.parametrize("code", STYLE_CODES)
@pytest.mark.parametrize("kind", ["quick", "full"])
def test_points_run_down_the_blade_to_and_fro(code, kind):
    places = measuring_round(style(code), kind, seed=1).places
    one = [p for p in places[: 8 if kind == "quick" else len(places) // 2]]
    rows = [list(g) for _, g in itertools.groupby(one, key=lambda p: p.along)]
    assert [r[0].along for r in rows] == sorted({p.along for p in one}, reverse=True)
    ways = [np.sign(np.diff([p.across for p in row])) for row in rows if len(row) > 1]
    assert all(len(set(way)) == 1 for way in ways)
    assert all(a[0] == -b[0] for a, b in itertools.pairwise(ways))


def test_where_it_matters_most_comes_from_the_map_or_is_a_quick_look():
    wanted = (Place(Blade.PLAIN, 0.061, 1e-3),)
    assert measuring_round(LONG, "next", seed=1, matters=wanted).places == wanted
    assert len(measuring_round(LONG, "next", seed=1).places) == 16


def test_the_limit_is_the_critical_range_and_grows_on_a_slope():
    """ISO 5725-6:1994, 4.1: 2.8 repeatability standard deviations for two results."""
    flat = repeat_limit(FLAT, DIAL, None)
    spread = (DIAL.repeatability**2 + DIAL.seating**2) ** 0.5
    assert flat == pytest.approx(2.8 * spread + DIAL.resolution, rel=1e-12)
    assert pytest.approx(1.96 * 2**0.5, abs=0.05) == CRITICAL_RANGE
    steep = Place(Blade.MARKED, LONG.shape.transition, 0.0)
    assert repeat_limit(steep, DIAL, LONG) > 1.5 * repeat_limit(FLAT, DIAL, LONG)


def test_a_repeat_far_off_is_asked_about_and_a_third_settles_it():
    far = repeat_limit(FLAT, DIAL, None) * 1.01
    assert doubtful(read(0.4e-3)) == ()
    assert doubtful(read(0.4e-3, 0.4e-3 + 0.9 * far)) == ()
    (doubt,) = doubtful(read(0.4e-3, 0.4e-3 + far))
    assert doubt == Doubt(
        place=FLAT, values=(0.4e-3, 0.4e-3 + far), limit=pytest.approx(far / 1.01)
    )
    assert doubtful(read(0.4e-3, 0.4e-3 + far, 0.4e-3)) == ()
    assert len(doubtful(read(0.4e-3, 0.4e-3 + far, 0.4e-3 - 2 * far))) == 1


def test_a_repeat_elsewhere_or_in_another_state_is_none():
    apart = read(0.4e-3) + read(0.5e-3, place=Place(Blade.PLAIN, 0.055, 0.0))
    assert doubtful(apart) == ()
    dry = Reading(FLAT, 0.5e-3, repeat=1, state=CaneState.DRY)
    assert doubtful([*read(0.4e-3), dry]) == ()


def test_a_makers_own_gauge_counts():
    two = read(0.4e-3, 0.44e-3)
    assert doubtful(two)
    assert doubtful(two, own={"dial": Repeatability(0.02e-3, 30.0)}) == ()


def test_repeats_sent_one_by_one_are_averaged_as_those_of_one_entry():
    at = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
    one, other = uuid4(), uuid4()

    def entries(start: int, burst: UUID, *values: float) -> list[Entry]:
        return [
            Entry(
                uuid=uuid4(),
                payload=ReadingsTaken(burst=burst),
                happened_at=at + timedelta(minutes=start + n),
                recorded_at=at,
                readings=(r,),
                reed=uuid4(),
                seq=start + n,
            )
            for n, r in enumerate(read(*values))
        ]

    early, late = entries(1, one, 0.40e-3, 0.42e-3), entries(3, other, 0.38e-3, 0.36e-3)
    before, after = state_of(early), state_of([*early, *late])
    (change,) = difference(before, after).thickness
    assert change.before == pytest.approx(0.41e-3)
    assert change.after == pytest.approx(0.37e-3)
    assert reed_inputs("R", after)["sittings"] == (2, 2)
    seats = [r.seating for r in reed_inputs("R", after)["readings"]]
    assert seats == [0, 0, 1, 1]  # another time, another mounting
