"""What is known of a reed, from entries made by hand."""

from __future__ import annotations

import pickle
from datetime import UTC, datetime, timedelta
from itertools import permutations
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.bench.kinds import (
    Cane,
    Clip,
    Cut,
    Described,
    Lengths,
    Note,
    Opening,
    Payload,
    ReadingsTaken,
    Verdict,
    Wetting,
    Withdrawn,
)
from crowlight.bench.ports import Entry
from crowlight.bench.state import (
    WETTING_COUNTS_FOR,
    FieldChange,
    ReedState,
    ThicknessChange,
    current,
    difference,
    state_of,
)
from crowlight.reed import Blade, CaneState, Place, Reading

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)
REED = UUID(int=99)


def entry(
    seq: int,
    payload: Payload,
    minute: float = 0.0,
    *,
    replaces: int | None = None,
    readings: tuple[Reading, ...] = (),
) -> Entry:
    """Return entry number `seq`, which happened so many minutes past noon."""
    return Entry(
        uuid=UUID(int=seq),
        payload=payload,
        happened_at=NOON + timedelta(minutes=minute),
        readings=readings,
        replaces=None if replaces is None else UUID(int=replaces),
        reed=REED,
        seq=seq,
        recorded_at=NOON + timedelta(days=1, seconds=seq),
    )


def reading(
    mm: float = 0.5,
    *,
    blade: Blade = Blade.PLAIN,
    along: float = 0.065,
    state: CaneState = CaneState.WET,
    minutes: float | None = None,
) -> Reading:
    return Reading(Place(blade, along, 0.0), mm * 1e-3, state=state, minutes_wet=minutes)


def seqs(entries: tuple[Entry, ...]) -> list[int]:
    return [e.seq for e in entries]


# --- which entries count --------------------------------------------------------------------------


def test_an_entry_counts_until_it_is_replaced() -> None:
    entries = [
        entry(1, Note(text="a")),
        entry(2, Note(text="b")),
        entry(3, Note(text="c"), replaces=1),
        entry(4, Note(text="d"), replaces=3),
        entry(5, Withdrawn(), replaces=2),
    ]
    assert [seqs(current(entries, n)) for n in range(6)] == [
        [],
        [1],
        [1, 2],
        [2, 3],
        [2, 4],
        [4],
    ]
    assert current(entries) == current(entries, 5)


def test_a_withdrawal_may_itself_be_replaced() -> None:
    entries = [
        entry(1, Note(text="a")),
        entry(2, Withdrawn(), replaces=1),
        entry(3, Note(text="a, after all"), replaces=2),
    ]
    assert seqs(current(entries)) == [3]


def test_the_order_is_that_of_happening() -> None:
    entries = [
        entry(1, Note(text="noon")),
        entry(2, Note(text="before"), minute=-5),
        entry(3, Note(text="noon too")),
    ]
    for order in permutations(entries):
        assert seqs(current(order)) == [2, 1, 3]


@given(
    st.lists(
        st.tuples(st.booleans(), st.booleans(), st.integers(0, 1000), st.integers(-3, 3)),
        max_size=12,
    )
)
def test_against_the_rule_played_out_one_by_one(
    acts: list[tuple[bool, bool, int, int]],
) -> None:
    """Play the history forwards, striking entries out of a list, as one would on paper."""
    entries: list[Entry] = []
    standing: list[Entry] = []
    for seq, (replace, withdraw, pick, minute) in enumerate(acts, start=1):
        target = standing.pop(pick % len(standing)) if replace and standing else None
        gone = withdraw and target is not None
        payload = Withdrawn() if gone else Note(text="x")
        replaced = None if target is None else target.seq
        new = entry(seq, payload, minute, replaces=replaced)
        entries.append(new)
        if not gone:
            standing.append(new)
        assert {e.seq for e in current(entries)} == {e.seq for e in standing}
        assert current(entries, seq) == current(entries)


# --- the state ------------------------------------------------------------------------------------


def test_nothing_is_known_at_first() -> None:
    state = state_of([])
    assert state == ReedState()
    assert (state.last, state.latest("note"), state.described) == (None, None, Described())


def test_the_latest_counts_as_a_whole() -> None:
    entries = [
        entry(1, Described(thread_colour="red", cork_number="7")),
        entry(2, Described(thread_colour="blue"), minute=1),
        entry(3, Opening(height=0.6e-3)),
        entry(4, Verdict(grade=3)),
        entry(5, Verdict(words="no grade given"), minute=1),
    ]
    state = state_of(entries)
    assert state.seq == 5
    assert state.described == Described(thread_colour="blue")
    assert state.opening == Opening(height=0.6e-3)
    assert state.grade == 3
    assert state.last == entries[4]
    assert state.latest("described") == entries[1]


def test_an_old_entry_corrected_today_does_not_hide_a_newer_one() -> None:
    entries = [
        entry(1, Lengths(overall=0.072), minute=-60),
        entry(2, Lengths(overall=0.070)),
        entry(3, Lengths(overall=0.073), minute=-60, replaces=1),
    ]
    assert state_of(entries).length == 0.070


def test_a_state_of_the_past() -> None:
    entries = [entry(1, Lengths(overall=0.072)), entry(2, Lengths(overall=0.07), replaces=1)]
    assert state_of(entries, up_to=1).length == 0.072
    assert state_of(entries, up_to=1).seq == 1
    assert state_of(entries, up_to=2).length == 0.07
    assert state_of(entries, up_to=0) == ReedState()


def test_clips_shorten_the_measured_length() -> None:
    lengths = Lengths(overall=0.072, overall_uncertainty=0.1e-3)
    entries = [
        entry(1, Clip(amount=0.5e-3), minute=-1),  # before the length was measured
        entry(2, lengths),
        entry(3, Clip(amount=0.2e-3), minute=1),
        entry(4, Clip(amount=0.3e-3), minute=2),
    ]
    state = state_of(entries)
    assert state.length == pytest.approx(0.0715, abs=1e-12)
    assert state.length_uncertainty == 0.1e-3
    assert state.clipped == pytest.approx(1.0e-3, abs=1e-12)
    assert (state.clips_unmeasured, state.lengths) == (0, lengths)


def test_a_clip_by_eye_leaves_the_length_unknown() -> None:
    entries = [
        entry(1, Lengths(overall=0.072)),
        entry(2, Clip(), minute=1),
        entry(3, Clip(amount=0.2e-3), minute=2),
    ]
    state = state_of(entries)
    assert (state.length, state.length_uncertainty) == (None, None)
    assert (state.clips_unmeasured, state.clipped) == (1, 0.2e-3)
    measured = [*entries, entry(4, Lengths(overall=0.0711), minute=3)]
    assert state_of(measured).length == 0.0711


@pytest.mark.parametrize(
    ("then", "old"),
    [
        (Cut(zone="tip", blades=(Blade.PLAIN,)), True),
        (Clip(), True),
        (Note(text="x"), False),
        (Opening(height=0.5e-3), False),
    ],
)
def test_a_cut_makes_the_opening_old(then: Payload, old: bool) -> None:
    entries = [entry(1, Opening(height=0.6e-3)), entry(2, then, minute=1)]
    assert state_of(entries).opening_old is old


def test_without_an_opening_none_is_old() -> None:
    assert state_of([entry(1, Clip())]).opening_old is False


# --- minutes since wetted -------------------------------------------------------------------------


def minutes(*entries: Entry) -> list[tuple[float | None, bool]]:
    return [(r.minutes_wet, r.derived) for r in state_of(entries).readings]


def taken(seq: int, minute: float, *readings: Reading) -> Entry:
    return entry(seq, ReadingsTaken(), minute, readings=readings)


def test_minutes_come_from_the_last_soaking() -> None:
    assert minutes(
        entry(1, Wetting(how="soaked"), 0),
        taken(2, 4, reading()),
        entry(3, Wetting(how="soaked"), 10),
        entry(4, Wetting(how="wiped"), 11),
        taken(5, 12.5, reading()),
    ) == [(4.0, True), (2.5, True)]
    assert minutes(entry(1, Wetting(how="soaked")), taken(2, 0, reading())) == [(0.0, True)]


def test_what_was_stated_stands() -> None:
    assert minutes(
        entry(1, Wetting(how="soaked")), taken(2, 4, reading(minutes=1.5), reading())
    ) == [(1.5, False), (4.0, True)]


def test_minutes_that_nothing_tells() -> None:
    assert minutes(taken(1, 0, reading()), entry(2, Wetting(how="soaked"), 1)) == [(None, False)]
    assert minutes(entry(1, Wetting(how="wiped")), taken(2, 1, reading())) == [(None, False)]
    assert minutes(entry(1, Wetting(how="soaked")), taken(2, 1, reading(state=CaneState.DRY))) == [
        (None, False)
    ]


def test_a_soaking_long_ago_tells_nothing() -> None:
    limit = WETTING_COUNTS_FOR / timedelta(minutes=1)
    soaked = entry(1, Wetting(how="soaked"))
    assert minutes(soaked, taken(2, limit, reading())) == [(limit, True)]
    assert minutes(soaked, taken(2, limit + 0.01, reading())) == [(None, False)]


def test_a_withdrawn_soaking_does_not_count() -> None:
    assert minutes(
        entry(1, Wetting(how="soaked")),
        taken(2, 4, reading()),
        entry(3, Withdrawn(), 5, replaces=1),
    ) == [(None, False)]


# --- readings and cuts ----------------------------------------------------------------------------


def test_readings_know_whether_their_blade_was_cut_since() -> None:
    both = reading(blade=Blade.PLAIN), reading(blade=Blade.MARKED)
    state = state_of(
        [
            taken(1, 0, *both),
            entry(2, Cut(zone="heart", blades=(Blade.PLAIN,)), 1),
            taken(3, 2, *both),
        ]
    )
    assert [(r.reading.place.blade, r.cut_since) for r in state.readings] == [
        ("plain", True),
        ("marked", False),
        ("plain", False),
        ("marked", False),
    ]


def test_readings_carry_their_entry() -> None:
    how = ReadingsTaken(origin="tip", origin_length=0.07)
    (found,) = state_of([entry(7, how, 3, readings=(reading(),))]).readings
    assert (found.taken, found.entry, found.at) == (how, UUID(int=7), NOON + timedelta(minutes=3))


def test_a_state_can_be_sent_to_another_process() -> None:
    state = state_of([taken(1, 0, reading()), entry(2, Described(style="long"))])
    assert pickle.loads(pickle.dumps(state)) == state  # noqa: S301 - our own


# --- two moments ----------------------------------------------------------------------------------


def test_the_difference_of_a_state_from_itself_is_nothing() -> None:
    state = state_of([taken(1, 0, reading()), entry(2, Lengths(overall=0.07)), entry(3, Clip())])
    same = difference(state, state)
    assert (same.happened, same.gone, same.described, same.thickness) == ((), (), (), ())
    assert (same.clipped, same.opening) == (0.0, None)


def test_what_happened_between_two_moments() -> None:
    entries = [
        entry(1, Lengths(overall=0.072)),
        entry(2, Opening(height=0.6e-3)),
        entry(3, Verdict(grade=2)),
        entry(4, Described(style="long", cane=Cane(diameter=10.5e-3))),
        entry(5, Note(text="wrong reed")),
        entry(6, Clip(amount=0.5e-3), 1),
        entry(7, Opening(height=0.7e-3), 2),
        entry(8, Verdict(grade=4), 2),
        entry(9, Described(style="long", cane=Cane(diameter=10.6e-3)), 2),
        entry(10, Withdrawn(), 3, replaces=5),
    ]
    found = difference(state_of(entries, up_to=5), state_of(entries))
    assert seqs(found.happened) == [6, 7, 8, 9]
    assert seqs(found.gone) == [5]
    assert found.length == pytest.approx(-0.5e-3, abs=1e-12)
    assert found.opening == pytest.approx(0.1e-3, abs=1e-12)
    assert (found.clipped, found.grade) == (0.5e-3, 2)
    assert found.described == (FieldChange(name="cane.diameter", before=10.5e-3, after=10.6e-3),)
    back = difference(state_of(entries), state_of(entries, up_to=5))
    assert back.length == pytest.approx(0.5e-3, abs=1e-12)
    assert (seqs(back.happened), seqs(back.gone)) == ([5], [6, 7, 8, 9])


def test_thickness_is_compared_place_by_place() -> None:
    entries = [
        taken(1, 0, reading(0.50), reading(0.52), reading(0.40, along=0.060)),
        taken(2, 9, reading(0.45), reading(0.47), reading(0.30, along=0.062)),
    ]
    found = difference(state_of(entries, up_to=1), state_of(entries)).thickness
    assert [(c.place, c.state) for c in found] == [(Place(Blade.PLAIN, 0.065, 0.0), CaneState.WET)]
    assert found[0].before == pytest.approx(0.51e-3, abs=1e-12)
    assert found[0].after == pytest.approx(0.46e-3, abs=1e-12)


def test_a_place_typed_again_is_the_same_place() -> None:
    entries = [
        taken(1, 0, reading(0.50, along=0.0701 - 0.005)),
        taken(2, 9, reading(0.45, along=0.0651)),
    ]
    assert entries[0].readings[0].place != entries[1].readings[0].place
    assert len(difference(state_of(entries, up_to=1), state_of(entries)).thickness) == 1


def test_wet_and_dry_are_never_compared() -> None:
    entries = [
        taken(1, 0, reading(0.50, state=CaneState.WET)),
        taken(2, 9, reading(0.45, state=CaneState.DRY)),
        taken(3, 9, reading(0.46, state=CaneState.UNKNOWN)),
    ]
    assert difference(state_of(entries, up_to=1), state_of(entries)).thickness == ()


def test_the_last_measurement_before_is_the_one_compared_with() -> None:
    entries = [
        taken(1, 0, reading(0.60)),
        taken(2, 5, reading(0.50)),
        taken(3, 9, reading(0.45)),
    ]
    (found,) = difference(state_of(entries, up_to=2), state_of(entries)).thickness
    assert found == ThicknessChange(
        place=Place(Blade.PLAIN, 0.065, 0.0),
        state=CaneState.WET,
        before=pytest.approx(0.50e-3, abs=1e-12),
        after=pytest.approx(0.45e-3, abs=1e-12),
    )
