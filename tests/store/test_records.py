"""What `crowlight.bench.ports.Records` promises, on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from threading import Barrier, Event, Thread
from uuid import uuid4

import pytest
from sqlalchemy import event, insert, select, text
from sqlalchemy.exc import DBAPIError

from crowlight.bench.kinds import (
    Lengths,
    Note,
    Opening,
    Payload,
    ReadingsTaken,
    Recording,
    Verdict,
    Withdrawn,
)
from crowlight.bench.ports import (
    Batch,
    Maker,
    NewEntry,
    NewReed,
    Reed,
    ReedQuery,
)
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.store import SqlRecords, open_records
from crowlight.store.schema import entry, reading

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def new_reed(records: SqlRecords, name: str = "R 1", **more: object) -> Reed:
    return records.add_reed(NewReed(uuid=uuid4(), name=name, **more))


def said(payload: Payload | str = "good", **more: object) -> NewEntry:
    payload = Note(text=payload) if isinstance(payload, str) else payload
    return NewEntry(**{"uuid": uuid4(), "payload": payload, "happened_at": NOON} | more)


def some_readings(number: int = 3) -> tuple[Reading, ...]:
    return tuple(
        Reading(
            Place(Blade.PLAIN if i % 2 else Blade.MARKED, 0.0601 + i * 1e-7, -0.00123),
            0.46e-3 + i * 1e-8,
            seating=i,
            repeat=i % 2,
            state=CaneState.WET,
            minutes_wet=None if i % 3 else 2.5,
        )
        for i in range(number)
    )


# --- entries --------------------------------------------------------------------------------------


def test_entries_come_back_as_they_were_written(records: SqlRecords) -> None:
    who = Maker(uuid=uuid4(), name="Somebody")
    records.add_person(who)
    reed = new_reed(records)
    sent = [
        said("<b>soft</b>\nnot \u201cflat\u201d – 日本 \U0001f600", by=who.uuid),
        said(ReadingsTaken(origin="tip", origin_length=0.0702), readings=some_readings(7)),
        said(
            Recording(
                sound_of="crow",
                digest="0" * 64,
                sample_rate=48000,
                settings={"gain": 0.1, "\x00": "\ud800"},
            )
        ),
        said(Opening(height=0.55e-3, profile=((0.0, 0.1e-3), (1e-3, 0.5e-3)))),
        said(ReadingsTaken(), readings=some_readings(2)),
    ]
    kept = records.append(reed.uuid, sent)
    assert kept.added == 5
    assert [e.seq for e in kept.entries] == [1, 2, 3, 4, 5]
    assert records.entries(reed.uuid) == kept.entries
    for before, after in zip(sent, kept.entries, strict=True):
        for name in ("uuid", "payload", "happened_at", "readings", "by", "replaces"):
            assert getattr(after, name) == getattr(before, name)


def test_entries_up_to_a_number(records: SqlRecords) -> None:
    reed = new_reed(records)
    records.append(reed.uuid, [said(str(i)) for i in range(5)])
    assert [e.seq for e in records.entries(reed.uuid, up_to=3)] == [1, 2, 3]
    assert records.entries(reed.uuid, up_to=0) == ()


def test_times_are_kept_with_their_zone_as_utc(records: SqlRecords) -> None:
    reed = new_reed(records)
    summer = timezone(timedelta(hours=5, minutes=30))
    local = datetime(2026, 7, 1, 0, 15, 0, 123456, tzinfo=summer)
    records.append(reed.uuid, [said(happened_at=local)])
    (kept,) = records.entries(reed.uuid)
    assert kept.happened_at == local
    assert kept.happened_at.utcoffset() == timedelta(0)
    assert kept.happened_at.isoformat() == "2026-06-30T18:45:00.123456+00:00"
    assert kept.recorded_at.utcoffset() == timedelta(0)


def test_a_time_without_zone_is_asked_about(records: SqlRecords) -> None:
    reed = new_reed(records)
    with pytest.raises(InputError, match="without a time zone; state one"):
        records.append(reed.uuid, [said(happened_at=datetime(2026, 1, 1))])
    assert records.entries(reed.uuid) == ()


def test_sending_twice_is_harmless(records: SqlRecords) -> None:
    reed = new_reed(records)
    sent = [said("one"), said(ReadingsTaken(), readings=some_readings())]
    first = records.append(reed.uuid, sent, expected_seq=0)
    again = records.append(reed.uuid, sent, expected_seq=0)
    assert again.added == 0
    assert again.entries == first.entries
    assert len(records.entries(reed.uuid)) == 2


def test_one_uuid_twice_in_one_sending(records: SqlRecords) -> None:
    reed = new_reed(records)
    note = said("one")
    assert records.append(reed.uuid, [note, note]).added == 1
    other = said("two")
    with pytest.raises(Conflict, match="sent twice with different content"):
        records.append(reed.uuid, [other, replace(other, payload=Note(text="three"))])
    assert len(records.entries(reed.uuid)) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"payload": Note(text="other")},
        {"happened_at": NOON + timedelta(seconds=1)},
        {"payload": Verdict(words="good")},
    ],
)
def test_a_uuid_with_other_content_is_refused(
    records: SqlRecords, change: dict[str, object]
) -> None:
    reed = new_reed(records)
    note = said("good")
    records.append(reed.uuid, [note])
    with pytest.raises(Conflict, match="kept already with other content"):
        records.append(reed.uuid, [said("fresh"), replace(note, **change)])
    assert [e.uuid for e in records.entries(reed.uuid)] == [note.uuid]


def test_a_uuid_with_other_readings_is_refused(records: SqlRecords) -> None:
    reed = new_reed(records)
    taken = said(ReadingsTaken(), readings=some_readings(3))
    records.append(reed.uuid, [taken])
    with pytest.raises(Conflict, match="kept already with other content"):
        records.append(reed.uuid, [replace(taken, readings=some_readings(2))])


def test_a_uuid_of_another_reed_is_refused(records: SqlRecords) -> None:
    note = said("good")
    records.append(new_reed(records, "R 1").uuid, [note])
    other = new_reed(records, "R 2")
    with pytest.raises(Conflict, match="for another reed"):
        records.append(other.uuid, [note])


def test_two_windows(records: SqlRecords) -> None:
    reed = new_reed(records)
    records.append(reed.uuid, [said("first window")], expected_seq=0)
    with pytest.raises(Conflict, match="has 1 entries and the page was made when it had 0"):
        records.append(reed.uuid, [said("second window")], expected_seq=0)
    records.append(reed.uuid, [said("second window, having looked")], expected_seq=1)
    assert records.reed("R 1").seq == 2


def test_two_windows_at_the_very_same_moment(records: SqlRecords, where: str) -> None:
    reed = new_reed(records)
    barrier, outcomes = Barrier(4), []

    def write() -> None:
        with open_records(where, records.clock) as window:
            barrier.wait()
            try:
                outcomes.append(window.append(reed.uuid, [said("mine")], expected_seq=0).added)
            except Conflict as error:
                outcomes.append(str(error))

    threads = [Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcomes.count(1) == 1
    assert sum("somebody wrote in between" in str(o) for o in outcomes) == 3
    assert len(records.entries(reed.uuid)) == 1


def test_many_writers_without_expectation_lose_nothing(records: SqlRecords, where: str) -> None:
    reed = new_reed(records)
    barrier = Barrier(3)

    def write() -> None:
        with open_records(where, records.clock) as window:
            barrier.wait()
            for number in range(5):
                window.append(reed.uuid, [said(str(number))])

    threads = [Thread(target=write) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [e.seq for e in records.entries(reed.uuid)] == list(range(1, 16))
    assert records.rebuild_summaries() == 0


def test_names_change_while_entries_and_reeds_are_written(records: SqlRecords, where: str) -> None:
    """Nobody waits for ever, and the list is right in the end."""
    maker, batch = Maker(uuid=uuid4(), name="Ann 0"), Batch(uuid=uuid4(), name="B 0")
    records.add_person(maker)
    records.add_batch(batch)
    reed = new_reed(records, maker=maker.uuid, batch=batch.uuid)
    barrier, errors = Barrier(3), []

    def rename(window: SqlRecords, number: int) -> None:
        window.add_person(replace(maker, name=f"Ann {number}"))
        window.add_batch(replace(batch, name=f"B {number}"))

    def write(window: SqlRecords, number: int) -> None:
        window.append(reed.uuid, [said(str(number), by=maker.uuid)])

    def add(window: SqlRecords, number: int) -> None:
        new_reed(window, f"New {number}", maker=maker.uuid, batch=batch.uuid)

    def run(use: Callable[[SqlRecords, int], None]) -> None:
        with open_records(where, records.clock) as window:
            barrier.wait()
            try:
                for number in range(12):
                    use(window, number)
            except Exception as error:  # noqa: BLE001 - whatever it is, the test shows it
                errors.append(error)

    threads = [Thread(target=run, args=(use,)) for use in (rename, write, add)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert records.rebuild_summaries() == 0
    assert records.reeds(ReedQuery(text="ann 11", batch="B 11")).total == 13


@pytest.mark.parametrize("change", ["maker", "batch", "erased"])
def test_a_name_that_changes_while_a_reed_is_being_added(
    records: SqlRecords, where: str, change: str
) -> None:
    maker, batch = Maker(uuid=uuid4(), name="Ann"), Batch(uuid=uuid4(), name="March")
    records.add_person(maker)
    records.add_batch(batch)
    added, go_on = Event(), Event()

    def pause(point: str) -> None:
        if point == "records:before-commit":
            added.set()
            go_on.wait(30)

    def add() -> None:
        with open_records(where, records.clock, failpoint=pause) as window:
            new_reed(window, maker=maker.uuid, batch=batch.uuid)

    def rename() -> None:
        match change:
            case "maker":
                records.add_person(replace(maker, name="Bea"))
            case "batch":
                records.add_batch(replace(batch, name="April"))
            case _:
                records.erase_person(maker.uuid)

    adding, renaming = Thread(target=add), Thread(target=rename)
    adding.start()
    added.wait(30)
    renaming.start()
    renaming.join(0.5)  # it has to wait: the reed is not committed yet
    assert renaming.is_alive()
    go_on.set()
    adding.join()
    renaming.join()
    (row,) = records.reeds(ReedQuery()).rows
    expected = {"maker": ("Bea", "March"), "batch": ("Ann", "April"), "erased": ("", "March")}
    assert (row.maker, row.batch) == expected[change]
    assert records.rebuild_summaries() == 0


def test_the_database_itself_refuses_a_number_twice(records: SqlRecords) -> None:
    reed = new_reed(records)
    records.append(reed.uuid, [said("one")])
    with records.database.read() as connection:
        row = dict(connection.execute(select(entry)).mappings().one())
    del row["id"]
    with pytest.raises(Conflict, match="nothing was written"), records.database.write() as writing:
        writing.execute(insert(entry).values(row | {"uuid": uuid4()}))
    with pytest.raises(Conflict, match="nothing was written"), records.database.write() as writing:
        writing.execute(insert(entry).values(row | {"seq": 2}))


@pytest.mark.parametrize("table", ["entry", "reading"])
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET {} = 7"])
def test_the_database_itself_refuses_to_change_an_entry(
    records: SqlRecords, table: str, verb: str
) -> None:
    reed = new_reed(records)
    records.append(reed.uuid, [said(ReadingsTaken(), readings=some_readings())])
    statement = verb.format(table, "seq" if table == "entry" else "seating")
    with (
        records.database.engine.connect() as connection,
        pytest.raises(DBAPIError, match="is append-only"),
    ):
        connection.execute(text(statement))


def test_all_or_none(records: SqlRecords) -> None:
    reed = new_reed(records)
    with pytest.raises(NotFound, match="which is to be replaced, is not kept"):
        records.append(reed.uuid, [said("kept?"), said("bad", replaces=uuid4())])
    with pytest.raises(NotFound, match="who is said to have written"):
        records.append(reed.uuid, [said("kept?"), said("bad", by=uuid4())])
    assert records.entries(reed.uuid) == ()
    assert records.reed("R 1").seq == 0


def test_a_failure_after_writing_leaves_no_trace(where: str, clock: object) -> None:
    def fail(point: str) -> None:
        if armed and point == "records:before-commit":
            raise OSError(28, "No space left on device")

    armed = False
    with open_records(where, clock, failpoint=fail) as records:
        reed = new_reed(records)
        armed = True
        with pytest.raises(OSError, match="No space"):
            records.append(reed.uuid, [said(ReadingsTaken(), readings=some_readings())])
        armed = False
        assert records.entries(reed.uuid) == ()
        with records.database.read() as connection:
            assert connection.execute(select(reading)).first() is None
        assert records.append(reed.uuid, [said()]).entries[0].seq == 1


def test_an_unknown_reed(records: SqlRecords) -> None:
    for use in (records.entries, lambda uuid: records.append(uuid, [said()])):
        with pytest.raises(NotFound, match=r"no reed .* is kept"):
            use(uuid4())


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), -0.02e-3), "reading 2: thickness = -0.02 mm"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), 0.018e-3), "state the unit"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.02), 0.5e-3), "off the blade"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), float("nan")), "is not a number"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), 5e-4, seating=10**12), "seating = 1000000000000"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), 5e-4, repeat=-1), "repeat = -1 must be from 0"),
        (Reading(Place(Blade.PLAIN, 0.065, 0.0), 5e-4, instrument="di\x00al"), r"U\+0000"),
    ],
)
def test_a_reading_that_cannot_be_right(records: SqlRecords, bad: Reading, message: str) -> None:
    reed = new_reed(records)
    with pytest.raises(InputError, match=message):
        records.append(reed.uuid, [said(ReadingsTaken(), readings=(*some_readings(1), bad))])
    assert records.entries(reed.uuid) == ()


def test_only_readings_have_readings(records: SqlRecords) -> None:
    reed = new_reed(records)
    with pytest.raises(InputError, match="'note' cannot have readings"):
        records.append(reed.uuid, [said("words", readings=some_readings())])


def test_ten_thousand_readings(records: SqlRecords) -> None:
    reed = new_reed(records)
    many = some_readings(10_000)
    records.append(reed.uuid, [said(ReadingsTaken(), readings=many)])
    assert records.entries(reed.uuid)[0].readings == many
    assert records.reeds(ReedQuery()).rows[0].readings == 10_000


# --- corrections ----------------------------------------------------------------------------------


def test_a_correction_may_come_in_the_same_sending(records: SqlRecords) -> None:
    reed = new_reed(records)
    wrong = said(Lengths(overall=0.0702))
    right = said(Lengths(overall=0.0712), replaces=wrong.uuid)
    records.append(reed.uuid, [wrong, right])
    assert records.reeds(ReedQuery()).rows[0].length == 0.0712


def test_a_correction_before_what_it_corrects_is_refused(records: SqlRecords) -> None:
    reed = new_reed(records)
    wrong = said("wrong")
    with pytest.raises(NotFound, match="is not kept"):
        records.append(reed.uuid, [said("right", replaces=wrong.uuid), wrong])


def test_an_entry_is_replaced_once(records: SqlRecords) -> None:
    reed = new_reed(records)
    wrong = said("wrong")
    right = said("right", replaces=wrong.uuid)
    records.append(reed.uuid, [wrong, right])
    with pytest.raises(Conflict, match="has been replaced already"):
        records.append(reed.uuid, [said("righter", replaces=wrong.uuid)])
    with pytest.raises(Conflict, match="has been replaced already"):
        records.append(
            reed.uuid,
            [said("righter", replaces=right.uuid), said("rightest", replaces=right.uuid)],
        )
    records.append(reed.uuid, [said("righter", replaces=right.uuid)])
    assert len(records.entries(reed.uuid)) == 3


def test_a_correction_of_another_reed_is_refused(records: SqlRecords) -> None:
    note = said("one")
    records.append(new_reed(records, "R 1").uuid, [note])
    other = new_reed(records, "R 2")
    with pytest.raises(Conflict, match="is of another reed"):
        records.append(other.uuid, [said("two", replaces=note.uuid)])


def test_a_withdrawal_says_what_it_withdraws(records: SqlRecords) -> None:
    reed = new_reed(records)
    with pytest.raises(InputError, match="withdraws nothing"):
        records.append(reed.uuid, [said(Withdrawn())])


# --- work done ------------------------------------------------------------------------------------


def statements(records: SqlRecords, use: Callable[[], object]) -> list[str]:
    """Return the statements sent while `use` runs."""
    sent: list[str] = []

    def note(_c: object, _cursor: object, statement: str, *_: object) -> None:
        if not statement.startswith("BEGIN"):
            sent.append(statement)

    event.listen(records.database.engine, "before_cursor_execute", note)
    try:
        use()
    finally:
        event.remove(records.database.engine, "before_cursor_execute", note)
    return sent


def test_the_work_does_not_grow_with_the_records(records: SqlRecords) -> None:
    reeds = [new_reed(records, f"R {number}") for number in range(30)]
    for reed in reeds:
        records.append(reed.uuid, [said(), said(ReadingsTaken(), readings=some_readings(20))])
    assert len(statements(records, lambda: records.reeds(ReedQuery(text="r")))) == 2
    assert len(statements(records, lambda: records.entries(reeds[0].uuid))) == 3
    one = [said(ReadingsTaken(), readings=some_readings(1))]
    many = [said(ReadingsTaken(), readings=some_readings(200)) for _ in range(40)]
    for_one, for_many = (
        statements(records, lambda sent=sent: records.append(reeds[0].uuid, sent))
        for sent in (one, many)
    )
    assert [s.split()[:3] for s in for_many] == [s.split()[:3] for s in for_one]
