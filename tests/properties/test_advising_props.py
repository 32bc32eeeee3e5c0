"""Laws of what is carried between measurements, and of what is scored."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.kept_entries import log, named

from crowlight.bench.advice_kinds import AfterCheck, Guess
from crowlight.bench.carrying import CutsLaid, carried
from crowlight.bench.guesses import scored_guesses
from crowlight.bench.kinds import Cut, Described, Lengths, ReadingsTaken
from crowlight.bench.state import state_of
from crowlight.plan.cut import StrokeSize
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.reed.styles import style

LONG = style("long")
ZONES = st.sampled_from(["tip", "corners", "transition", "heart", "windows", "back", "elsewhere"])
PARTS = st.sampled_from([None, "sides", "left", "right", "corners", "left-corner", "right-foot"])
CUTS = st.builds(
    Cut,
    zone=ZONES,
    part=PARTS,
    blades=st.sampled_from([(Blade.MARKED,), (Blade.PLAIN,), tuple(Blade)]),
    strokes=st.integers(0, 12),
    direction=st.sampled_from([None, "along", "oblique"]),
)
START = (
    (0.0, Described(style="long")),
    (1.0, Lengths(overall=LONG.length)),
    (
        2.0,
        (
            ReadingsTaken(),
            tuple(
                Reading(p.on(b), float(LONG.thickness(p.along, p.across)), state=CaneState.WET)
                for b in Blade
                for p in LONG.full
            ),
        ),
    ),
)


@settings(max_examples=25)
@given(cuts=st.lists(CUTS, max_size=4), size=st.floats(1e-6, 9e-6))
def test_carrying_only_ever_takes_cane_and_only_where_it_was_cut(
    cuts: list[Cut], size: float
) -> None:
    state = state_of(log(*START, *((5.0 + i, cut) for i, cut in enumerate(cuts))))
    now = carried(state, LONG, StrokeSize(size, 0.4))
    cut_blades = {b for cut in cuts for b in cut.blades}
    for before, after in zip(state.readings, now.readings, strict=True):
        assert 0 < after.reading.thickness <= before.reading.thickness
        if before.reading.place.blade not in cut_blades:
            assert after.reading == before.reading
    for few, many in zip(now.least, now.most, strict=True):
        assert many.reading.thickness <= few.reading.thickness


@settings(max_examples=40)
@given(cut=CUTS, along=st.floats(48e-3, 70e-3), fraction=st.floats(-1.0, 1.0))
def test_a_mirrored_cut_is_mirrored(cut: Cut, along: float, fraction: float) -> None:
    other = {"left": "right", "right": "left"}
    part = cut.part
    for a, b in other.items():
        if part is not None and part.startswith(a):
            part = part.replace(a, b, 1)
            break
    image = cut.model_copy(update={"part": part})
    laid = CutsLaid(LONG)
    across = fraction * float(LONG.outline.half_width(along))
    blade = cut.blades[0]
    one = laid.share(cut, Place(blade, along, across), "dial")
    two = laid.share(image, Place(blade, along, -across), "dial")
    assert 0.0 <= one <= 1.0
    assert abs(one - two) < 1e-9


@given(
    results=st.lists(st.sampled_from(["better", "same", "worse", None]), max_size=6),
    does=st.sampled_from(["scrape", "clip", "rest"]),
)
def test_no_guess_is_scored_that_was_not_tried_and_checked(
    results: list[str | None], does: str
) -> None:
    logs = []
    for result in results:
        lines = [(0.0, Guess(who="a", does=does, zone="tip")), (1.0, Cut(zone="tip", blades=Blade))]
        if result is not None:
            lines.append((2.0, AfterCheck(follows=named(2), result=result)))
        logs.append(log(*lines))
    tally = scored_guesses(logs).people.get("a")
    made = tally.made if tally else 0
    assert made == len(results)
    expected = sum(r is not None for r in results) if does == "scrape" else 0
    assert (tally.tried if tally else 0) == expected
