"""The row of each reed in the list against what the entries say, whatever happened."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid4

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text, update

from crowlight.bench.kinds import (
    Clip,
    Cut,
    Described,
    Lengths,
    Note,
    Opening,
    Payload,
    ReadingsTaken,
    Verdict,
    Withdrawn,
)
from crowlight.bench.ports import Entry, Maker, NewEntry, NewReed, ReedQuery, ReedSummary
from crowlight.bench.state import state_of
from crowlight.errors import Conflict
from crowlight.reed import Blade, Place, Reading
from crowlight.store import SqlRecords
from crowlight.store.schema import reed_summary

START = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)

payloads: st.SearchStrategy[Payload] = st.one_of(
    st.builds(
        Described,
        thread_colour=st.sampled_from(["", "red", "Grün"]),
        cork_number=st.sampled_from(["", "7", "-3"]),
        style=st.sampled_from(["", "long", "short-u"]),
    ),
    st.builds(Lengths, overall=st.floats(0.066, 0.074)),
    st.builds(Clip, amount=st.none() | st.floats(0.1e-3, 1e-3)),
    st.builds(Opening, height=st.floats(0, 1.5e-3)),
    st.builds(Verdict, grade=st.none() | st.integers(1, 5)),
    st.builds(Cut, zone=st.just("tip"), blades=st.just((Blade.PLAIN,))),
    st.builds(Note, text=st.just("hm")),
    st.builds(ReadingsTaken),
)


@st.composite
def histories(draw: st.DrawFn) -> list[list[NewEntry]]:
    """Draw sendings, some of whose entries correct or withdraw an earlier one."""
    sendings: list[list[NewEntry]] = []
    open_to_change: list[NewEntry] = []
    for _ in range(draw(st.integers(1, 4))):
        sending: list[NewEntry] = []
        for _ in range(draw(st.integers(1, 5))):
            replaced = None
            if open_to_change and draw(st.booleans()):
                place = draw(st.integers(0, len(open_to_change) - 1))
                replaced = open_to_change.pop(place).uuid
            withdraw = replaced is not None and draw(st.booleans())
            payload = Withdrawn() if withdraw else draw(payloads)
            count = draw(st.integers(0, 4)) if isinstance(payload, ReadingsTaken) else 0
            new = NewEntry(
                uuid=draw(st.uuids(version=4)),
                payload=payload,
                happened_at=START + timedelta(minutes=draw(st.integers(-5, 5))),
                readings=(Reading(Place(Blade.PLAIN, 0.065, 0.0), 0.5e-3),) * count,
                replaces=replaced,
            )
            sending.append(new)
            open_to_change.append(new)
        sendings.append(sending)
    return sendings


def expected(entries: tuple[Entry, ...]) -> dict[str, object]:
    """Work the row out from the entries, with nothing of the database."""
    state = state_of(entries)
    return {
        "seq": len(entries),
        "thread_colour": state.described.thread_colour,
        "cork_number": state.described.cork_number,
        "style": state.described.style,
        "readings": len(state.readings),
        "length": state.length,
        "opening": state.opening.height if state.opening else None,
        "grade": state.grade,
        "last_kind": state.last.payload.kind if state.last else "",
        "last_at": state.last.happened_at if state.last else None,
    }


def shown(row: ReedSummary) -> dict[str, object]:
    return {name: getattr(row, name) for name in expected(())}


@given(history=histories())
@settings(
    max_examples=40,
    # Every example adds a reed of its own to the same records.
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_the_summary_is_what_the_entries_say(
    records: SqlRecords, history: list[list[NewEntry]]
) -> None:
    reed = records.add_reed(NewReed(uuid=uuid4(), name=str(uuid4())))
    for sending in history:
        try:
            records.append(reed.uuid, sending)
        except Conflict:  # Hypothesis likes to draw the same uuid again
            continue
        (row,) = records.reeds(ReedQuery(text=reed.name)).rows
        assert shown(row) == expected(records.entries(reed.uuid))
    assert records.rebuild_summaries() == 0


@given(history=histories())
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_past_never_changes(records: SqlRecords, history: list[list[NewEntry]]) -> None:
    reed = records.add_reed(NewReed(uuid=uuid4(), name=str(uuid4())))
    states = [state_of(())]
    for sending in history:
        try:
            records.append(reed.uuid, sending)
        except Conflict:
            continue
        states.append(state_of(records.entries(reed.uuid)))
    for state in states:
        entries = records.entries(reed.uuid, up_to=state.seq)
        assert state_of(entries) == state
        assert state_of(records.entries(reed.uuid), up_to=state.seq) == state


def test_a_rebuild_finds_and_mends_what_is_wrong(records: SqlRecords) -> None:
    maker = Maker(uuid=uuid4(), name="Ann")
    records.add_person(maker)
    for name in ("R 1", "R 2", "R 3"):
        reed = records.add_reed(NewReed(uuid=uuid4(), name=name, maker=maker.uuid))
        records.append(
            reed.uuid,
            [NewEntry(uuid=uuid4(), payload=Lengths(overall=0.07), happened_at=START)],
        )
    right = records.reeds(ReedQuery())
    with records.database.engine.begin() as connection:
        connection.execute(update(reed_summary).where(text("reed = 1")).values(length=0.05))
        connection.execute(update(reed_summary).where(text("reed = 2")).values(search="?"))
        connection.execute(text("DELETE FROM reed_summary WHERE reed = 3"))
    assert records.reeds(ReedQuery()) != right
    assert records.rebuild_summaries() == 3
    assert records.reeds(ReedQuery()) == right
    assert records.rebuild_summaries() == 0
