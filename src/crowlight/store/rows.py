"""Entries and readings to and from rows."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from pydantic_core import from_json
from sqlalchemy import Connection, Row, Select, String, select, type_coerce

from crowlight.bench.kinds import ReadingsTaken
from crowlight.bench.kinds import read as read_payload
from crowlight.bench.ports import Entry, NewEntry, PlainEntry
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.store.schema import entry, person, reading, reed

__all__ = ["chunks", "entries_of", "load_entries", "plain_entries", "reading_row", "same_content"]

_AUTHOR = person.alias("author")
#: Variables in one statement; SQLite's limit is 32 766, PostgreSQL's 65 535.
CHUNK = 500


def entries_of(*conditions: Any) -> Select[Any]:
    """Select entries with the public names of their reed and author."""
    return (
        select(entry, reed.c.uuid.label("reed_uuid"), _AUTHOR.c.uuid.label("by_uuid"))
        .join(reed, reed.c.id == entry.c.reed)
        .outerjoin(_AUTHOR, _AUTHOR.c.id == entry.c.by)
        .where(*conditions)
        .order_by(entry.c.reed, entry.c.seq)
    )


def load_entries(
    connection: Connection, chosen: Select[Any], with_readings: bool = True
) -> list[Entry]:
    """Load the chosen entries: one statement, and one for each 500 of them with readings."""
    rows = connection.execute(chosen).all()
    # Only entries of this kind have readings; the others are not asked for any.
    ids = [row.id for row in rows if with_readings and row.kind == ReadingsTaken.kind]
    readings: dict[int, list[Reading]] = defaultdict(list)
    for some in chunks(ids):
        statement = (
            select(reading)
            .where(reading.c.entry.in_(some))
            .order_by(reading.c.entry, reading.c.position)
        )
        for row in connection.execute(statement):
            readings[row.entry].append(_reading(row))
    return [_entry(row, readings[row.id]) for row in rows]


def plain_entries(connection: Connection, kinds: Sequence[str]) -> list[PlainEntry]:
    """Load the entries of these kinds as plain values, in the order in which they happened.

    Text columns are taken as the database has them: for tens of thousands of entries, turning them
    into models, times and uuids costs many times as much as reading them.
    """
    rows = connection.execute(
        select(
            entry.c.reed,
            type_coerce(entry.c.uuid, String),
            entry.c.kind,
            type_coerce(entry.c.payload, String),
            type_coerce(entry.c.replaces, String),
        )
        .where(entry.c.kind.in_(kinds))
        .order_by(entry.c.happened_at, entry.c.seq)
    )
    return [
        # PostgreSQL's driver has read the payload already
        PlainEntry(r, str(u), k, from_json(p) if isinstance(p, str) else p, w and str(w))
        for r, u, k, p, w in rows
    ]


def _entry(row: Row[Any], readings: Iterable[Reading]) -> Entry:
    return Entry(
        uuid=row.uuid,
        payload=read_payload(row.kind, row.version, row.payload),
        happened_at=row.happened_at,
        readings=tuple(readings),
        by=row.by_uuid,
        replaces=row.replaces,
        reed=row.reed_uuid,
        seq=row.seq,
        recorded_at=row.recorded_at,
    )


def _reading(row: Row[Any]) -> Reading:
    return Reading(
        place=Place(Blade(row.blade), row.along, row.across),
        thickness=row.thickness,
        instrument=row.instrument,
        seating=row.seating,
        repeat=row.repeat,
        state=CaneState(row.state),
        minutes_wet=row.minutes_wet,
    )


def reading_row(entry_id: int, position: int, value: Reading) -> dict[str, Any]:
    """Return the row of one reading."""
    return {
        "entry": entry_id,
        "position": position,
        "blade": value.place.blade.value,
        "along": float(value.place.along),
        "across": float(value.place.across),
        "thickness": float(value.thickness),
        "instrument": value.instrument,
        "seating": value.seating,
        "repeat": value.repeat,
        "state": value.state.value,
        "minutes_wet": value.minutes_wet,
    }


def same_content(kept: Entry, sent: NewEntry, reed_uuid: UUID) -> bool:
    """Whether `sent` says what `kept` says, of the same reed."""
    return (
        kept.reed == reed_uuid
        and kept.payload == sent.payload
        and kept.happened_at == sent.happened_at
        and kept.readings == tuple(sent.readings)
        and kept.by == sent.by
        and kept.replaces == sent.replaces
    )


def chunks(values: Sequence[Any]) -> Iterable[Sequence[Any]]:
    """Cut a long list of values into pieces a statement can take."""
    for start in range(0, len(values), CHUNK):
        yield values[start : start + CHUNK]
