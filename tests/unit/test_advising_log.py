"""Between measurements: readings carried past cuts, strokes learned, predictions scored."""

from __future__ import annotations

import math

import pytest
from tests.kept_entries import log, named

from crowlight.bench.advice_kinds import Advised, AfterCheck, Foretold, Guess, Offered, Treated
from crowlight.bench.carrying import CutsLaid, carried, cut_part, earlier_cuts
from crowlight.bench.guesses import Tally, scored_guesses
from crowlight.bench.kinds import (
    Clip,
    Cut,
    Described,
    Knife,
    Lengths,
    Opening,
    ReadingsTaken,
    Rest,
    Verdict,
    read,
)
from crowlight.bench.outcomes import best_moment, changed_by
from crowlight.bench.state import state_of
from crowlight.bench.stroking import logged_cuts, sharpenings, strokes_of
from crowlight.errors import InputError
from crowlight.plan.cut import Part, StrokeSize
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.reed.styles import style

LONG = style("long")
BOTH = (Blade.MARKED, Blade.PLAIN)
SIZE = StrokeSize(4e-6, 0.3)
CUT = Cut(zone="heart", blades=(Blade.MARKED,), strokes=5, direction="along")


def reading(place: Place, thickness: float) -> Reading:
    return Reading(place, thickness, instrument="digital", state=CaneState.WET)


def gauged(*, less: float = 0.0, blades: tuple = BOTH, heart_only: bool = False) -> tuple:
    """Read the style at its standard points; the marked heart is thinner by `less` [m]."""
    laid = CutsLaid(LONG)
    found = []
    for blade in blades:
        for p in LONG.full:
            place = p.on(blade)
            if heart_only and p.zone != "heart":
                continue
            thickness = float(LONG.thickness(p.along, p.across))
            found.append(reading(place, thickness - less * laid.share(CUT, place, "dial")))
    return ReadingsTaken(), tuple(found)


START = (
    (0, Described(style="long")),
    (1, Lengths(overall=LONG.length, thread_top=LONG.thread_top)),
)


def test_a_cut_takes_cane_off_the_readings_before_it_where_it_was_made() -> None:
    state = state_of(log(*START, (5, gauged()), (9, CUT)))
    now = carried(state, LONG, SIZE)
    before = {t.reading.place: t.reading.thickness for t in state.readings}
    laid = CutsLaid(LONG)
    for t in now.readings:
        place = t.reading.place
        off = before[place] - t.reading.thickness
        assert off == pytest.approx(5 * 4e-6 * laid.share(CUT, place, "dial"), abs=1e-12)
        assert off >= 0
        if place.blade is Blade.PLAIN:
            assert off == 0
    deepest = max(before[t.reading.place] - t.reading.thickness for t in now.readings)
    assert deepest == pytest.approx(20e-6, rel=0.1)  # some standard point lies in the middle
    # one standard deviation of the stroke either way
    spread = math.exp(0.3)
    for low, middle, high in zip(now.least, now.readings, now.most, strict=True):
        off = before[middle.reading.place] - middle.reading.thickness
        assert before[low.reading.place] - low.reading.thickness == pytest.approx(off / spread)
        assert before[high.reading.place] - high.reading.thickness == pytest.approx(off * spread)


def test_readings_after_a_cut_are_taken_as_they_are() -> None:
    state = state_of(log(*START, (5, CUT), (9, gauged())))
    now = carried(state, LONG, SIZE)
    assert [t.reading for t in now.readings] == [t.reading for t in state.readings]
    assert now.least == now.most == ()


def test_three_touched_points_join_the_sitting_before_them() -> None:
    touched = gauged(less=30e-6, blades=(Blade.MARKED,), heart_only=True)
    few = (touched[0], touched[1][:3])
    state = state_of(log(*START, (5, gauged()), (9, CUT), (12, few)))
    now = carried(state, LONG, SIZE)
    assert len(now.readings) == 2 * len(LONG.full) + 3
    # a full sitting of the blade replaces what was read of it before
    again = state_of(log(*START, (5, gauged()), (9, CUT), (12, gauged(blades=(Blade.MARKED,)))))
    marked = [t for t in carried(again, LONG, SIZE).readings if t.reading.place.blade is BOTH[0]]
    assert len(marked) == len(LONG.full)


def test_what_was_clipped_off_is_no_reading_any_more() -> None:
    state = state_of(log(*START, (5, gauged()), (9, Clip(amount=1.0e-3, against="stop"))))
    assert state.length == pytest.approx(LONG.length - 1.0e-3)
    short = LONG.placed(state.length)
    places = [t.reading.place for t in carried(state, short, SIZE).readings]
    assert places
    assert max(p.along for p in places) <= short.length


def test_a_cut_that_says_neither_where_nor_how_much_is_pointed_out() -> None:
    odd = replace_zone(CUT, "somewhere")
    vague = Cut(zone="tip", blades=BOTH)
    state = state_of(log(*START, (5, gauged()), (9, odd), (10, vague), (11, CUT)))
    now = carried(state, LONG, SIZE)
    assert now.unplaced == (4, 5)
    measured = Cut(zone="tip", blades=BOTH, depth=10e-6)
    told = carried(state_of(log(*START, (5, gauged()), (9, measured))), LONG, SIZE)
    assert told.unplaced == ()
    assert told.least == ()  # a measured depth does not hang on the stroke
    off = [a.reading.thickness - b.reading.thickness
           for a, b in zip(state.readings, told.readings, strict=True)]  # fmt: skip
    assert max(off) == pytest.approx(10e-6, rel=0.15)


def replace_zone(cut: Cut, zone: str) -> Cut:
    return cut.model_copy(update={"zone": zone})


def test_version_1_of_a_cut_is_still_read() -> None:
    old = read("cut", 1, {"zone": "corners", "blades": ["plain"], "sides": ["right"], "strokes": 2})
    assert isinstance(old, Cut)
    assert cut_part(old) == ("tip", Part.RIGHT_CORNER)
    assert (old.advised, old.option, old.part) == (None, None, None)
    assert read("clip", 1, {"amount": 1e-4, "against": "stop"}).amount == 1e-4
    assert read("rest", 1, {}).duration is None
    with pytest.raises(InputError, match="reads up to 2"):
        read("cut", 3, {"zone": "tip", "blades": ["plain"]})


# --- strokes --------------------------------------------------------------------------------------


def test_strokes_are_pooled_between_two_gaugings() -> None:
    cuts = [(9.0 + i, CUT) for i in range(3)]
    state = state_of(log(*START, (5, gauged()), *cuts, (30, gauged(less=15 * 5e-6))))
    (told,) = list(logged_cuts(state))
    assert told.strokes == 15
    # positions are compared to 10 µm, over which the edge of a cut changes by a ten-thousandth
    assert told.cane == pytest.approx(75e-6, rel=1e-4)
    # a digital gauge: 4 µm a reading, 4 µm a mounting, both times
    assert 4e-6 < told.uncertainty < 9e-6
    learned = strokes_of([state]).size
    assert learned.basis == "your data"
    assert 3.3e-6 < learned.median < 5.2e-6  # from 3 µm towards the true 5


def test_a_sharpened_knife_widens_and_is_not_pooled_across() -> None:
    cuts = [(9.0 + i, CUT) for i in range(4)]
    base = (*START, (5, gauged()), *cuts, (30, gauged(less=20 * 5e-6)))
    used = strokes_of([state_of(log(*base))])
    sharpened = strokes_of([state_of(log(*base, (40, Knife(what="sharpened"))))])
    assert sharpened.size.spread > used.size.spread
    assert sharpened.since_sharpened == 0
    advised = strokes_of([state_of(log(*base, (40, Treated(what="sharpen"))))])
    assert advised == sharpened
    assert used.since_sharpened is None
    between = (*START, (5, gauged()), *cuts[:2], (10.5, Knife(what="changed")), *cuts[2:],
               (30, gauged(less=20 * 5e-6)))  # fmt: skip
    state = state_of(log(*between))
    assert list(logged_cuts(state, knives=sharpenings([state]))) == []


def test_a_cut_without_strokes_teaches_nothing() -> None:
    vague = CUT.model_copy(update={"strokes": None})
    state = state_of(log(*START, (5, gauged()), (9, CUT), (10, vague), (30, gauged(less=3e-5))))
    assert list(logged_cuts(state)) == []


# --- predicted against found ----------------------------------------------------------------------


def offered(**more: object) -> Offered:
    usual = {
        "kind": "scrape", "name": "equalise-heart", "zone": "heart", "part": "whole",
        "blades": (Blade.MARKED,), "strokes": 5, "cane": (10e-6, 20e-6, 30e-6), "better": 0.8,
        "expected": (Foretold(name="rest_height", unit="m", low=-2e-5, middle=0.0, high=1e-5),),
    }  # fmt: skip
    return Offered.model_validate({**usual, **more})


def advised(**more: object) -> Advised:
    return Advised(
        target="style",
        answer="findings",
        options=(offered(**more), Offered(kind="leave", name="leave")),
        advised=0,
        seq=3,
        code="crowlight test",
        digest="0" * 64,
    )


def test_what_came_of_a_cut_is_put_beside_what_was_said() -> None:
    followed = CUT.model_copy(update={"advised": named(5), "option": 0})
    entries = log(
        *START, (3, Opening(height=0.70e-3)), (5, gauged()), (6, advised()), (9, followed),
        (10, AfterCheck(follows=named(6), result="better")),
        (12, Opening(height=0.69e-3)), (20, gauged(less=25e-6)),
    )  # fmt: skip
    came = changed_by(entries)
    assert came is not None
    assert (came.followed, came.result, came.better) == (True, "better", 0.8)
    found = {f.name: f for f in came.found}
    assert found["rest_height"].value == pytest.approx(-1e-5)
    assert found["rest_height"].within
    assert found["cane"].value == pytest.approx(25e-6, rel=1e-4)
    assert found["cane"].within
    wide = changed_by(
        log(*START, (5, gauged()), (6, advised(cane=(1e-6, 2e-6, 3e-6))),
            (9, CUT.model_copy(update={"advised": named(4), "option": 0})),
            (20, gauged(less=60e-6)))
    )  # fmt: skip
    assert wide is not None
    assert [f.within for f in wide.found if f.name == "cane"] == [False]


def test_something_else_keeps_what_was_advised_but_claims_no_prediction() -> None:
    instead = CUT.model_copy(update={"advised": named(4), "option": None})
    came = changed_by(log(*START, (5, gauged()), (6, advised()), (9, instead)))
    assert came is not None
    assert came.followed is False
    assert came.offered is not None
    assert came.offered.name == "equalise-heart"
    assert came.better is None
    assert changed_by(log(*START)) is None


def test_the_best_moment_and_what_has_gone_since() -> None:
    entries = log(
        *START, (4, Verdict(words="sweet", grade=4)), (5, Opening(height=0.70e-3)), (6, gauged()),
        (7, Verdict(words="still sweet", grade=4)), (9, CUT),
        (10, Clip(amount=2e-4, against="stop")),
        (11, Verdict(grade=2)), (12, Opening(height=0.62e-3)),
    )  # fmt: skip
    best = best_moment(entries)
    assert best is not None
    assert (best.entry, best.grade, best.latest_grade) == (6, 4, 2)  # the latest of equals
    assert best.words == "still sweet"
    assert best.strokes == {"heart": 5}
    assert best.clipped == pytest.approx(2e-4)
    assert best.opening == pytest.approx(-0.08e-3)
    assert best.deeds == 2
    assert best_moment(log(*START)) is None
    later = best_moment(log(*START, (9, CUT), (10, AfterCheck(follows=named(3), result="better"))))
    assert later is not None
    assert (later.grade, later.deeds) == (None, 0)


# --- guesses --------------------------------------------------------------------------------------


def cycle(guess: Guess, done: object, result: str) -> tuple:
    return log(
        (0, guess), (1, advised()), (2, done), (3, AfterCheck(follows=named(3), result=result))
    )


def test_hunch_and_tool_are_scored_only_where_they_were_tried() -> None:
    right = Guess(who="ann", does="scrape", zone="heart", blades=(Blade.MARKED,))
    wrong = Guess(who="ann", does="scrape", zone="tip", part="corners")
    followed = CUT.model_copy(update={"advised": named(2), "option": 0})
    scored = scored_guesses(
        [
            cycle(right, followed, "better"),
            cycle(wrong, followed, "worse"),
            cycle(wrong, Cut(zone="corners", blades=BOTH, strokes=2), "same"),
            log((0, Guess(who="ben", does="rest")), (1, Rest())),
        ]
    )
    assert scored.tool == Tally(made=3, better=1, same=0, worse=1)
    assert scored.people["ann"] == Tally(made=3, better=1, same=1, worse=0)
    assert scored.people["ben"] == Tally(made=1)  # rested as guessed, but never checked
    assert (scored.agreed, scored.both) == (1, 3)
    # 0.8 said: better came once, worse once
    assert scored.brier == pytest.approx(((0.8 - 1.0) ** 2 + 0.8**2) / 2)
    assert scored.predicted == 2


def test_a_guess_after_which_something_was_done_first_has_no_advice_of_its_own() -> None:
    guess = Guess(who="ann", does="scrape", zone="heart")
    assert scored_guesses([log((0, guess), (1, CUT), (2, advised()))]).both == 0


def test_an_advice_must_name_one_of_its_options() -> None:
    data = advised().model_dump()
    with pytest.raises(InputError, match=r"advised.*2 options"):
        read("advised", 1, data | {"advised": 2})


def test_a_plan_is_told_of_every_cut_since_the_reed_came() -> None:
    deep = Cut(zone="corners", blades=(Blade.PLAIN,), sides=("left",), depth=0.012e-3)
    vague = Cut(zone="tip", blades=BOTH)
    state = state_of(log(*START, (2, CUT), (5, gauged()), (9, deep), (10, vague), (11, CUT)))
    found = earlier_cuts(state, LONG, SIZE)
    assert [(e.zone, e.part, e.blades) for e in found] == [
        ("heart", Part.WHOLE, (Blade.MARKED,)),
        ("tip", Part.LEFT_CORNER, (Blade.PLAIN,)),
        ("heart", Part.WHOLE, (Blade.MARKED,)),
    ]
    # also those before it was measured: what they spilled is in the map, and adds up all the same
    assert [round(e.cane * 1e6, 3) for e in found] == [20.0, 12.0, 20.0]
