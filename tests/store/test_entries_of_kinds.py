"""Entries of some kinds over all reeds, on SQLite and on PostgreSQL."""

from datetime import UTC, datetime
from uuid import uuid4

from crowlight.bench.kinds import Note, ReadingsTaken, Verdict
from crowlight.bench.ports import NewEntry, NewReed
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.store import SqlRecords

NOON = datetime(2026, 2, 3, 12, 0, tzinfo=UTC)


def test_entries_of_some_kinds_come_by_reed_and_number(records: SqlRecords) -> None:
    place = Place(blade=Blade.MARKED, along=0.07, across=0.0)
    taken = Reading(place=place, thickness=1e-4, instrument="dial", state=CaneState.WET)
    kept = [records.add_reed(NewReed(uuid=uuid4(), name=name)) for name in ("b", "a")]
    for reed in kept:
        records.append(
            reed.uuid,
            [
                NewEntry(uuid=uuid4(), payload=Note(text=reed.name), happened_at=NOON),
                NewEntry(uuid=uuid4(), payload=Verdict(grade=3), happened_at=NOON),
                NewEntry(
                    uuid=uuid4(), payload=ReadingsTaken(), happened_at=NOON, readings=(taken,)
                ),
            ],
        )
    found = records.entries_of_kinds({"note", "readings"})
    assert [(e.reed, e.seq) for e in found] == [(r.uuid, n) for r in kept for n in (1, 3)]
    assert all(e.readings == () for e in found)
    (one,) = records.entries_of_kinds({"verdict"}, reed=kept[1].uuid)
    assert (one.reed, one.seq) == (kept[1].uuid, 2)
    assert records.entries_of_kinds(set()) == ()
