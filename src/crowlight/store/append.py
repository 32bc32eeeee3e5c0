"""Writing entries down: all or none, twice harmless, never over something newer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import Connection, func, insert, select

from crowlight.bench.kinds import ReadingsTaken, Withdrawn, clean_text
from crowlight.bench.ports import Appended, Entry, NewEntry
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.reed import Reading, check_reading
from crowlight.store.rows import chunks, entries_of, load_entries, reading_row, same_content
from crowlight.store.schema import entry, person, reading, reed
from crowlight.store.summary import held, refresh

__all__ = ["append"]


def append(
    connection: Connection,
    reed_uuid: UUID,
    sent: Sequence[NewEntry],
    *,
    expected_seq: int | None,
    now: datetime,
) -> Appended:
    """Write `sent` down within the transaction of `connection`; see `Records.append`."""
    for index, new in enumerate(sent):
        _check(new, index)
    reed_id = connection.execute(held(reed.c.uuid == reed_uuid)).scalar()
    if reed_id is None:
        msg = f"no reed {reed_uuid} is kept; look it up in the list of reeds"
        raise NotFound(msg)
    kept = _kept(connection, [new.uuid for new in sent])
    fresh = _fresh(sent, kept, reed_uuid)
    if fresh:
        latest = _latest(connection, reed_id)
        if expected_seq is not None and expected_seq != latest:
            msg = (
                f"this reed has {latest} entries and the page was made when it had {expected_seq}: "
                f"somebody wrote in between. Nothing was written; reload, look, and send again"
            )
            raise Conflict(msg)
        _check_replaced(connection, reed_id, fresh)
        written = _insert(connection, reed_id, reed_uuid, fresh, latest, now)
        kept |= {new.uuid: new for new in written}
        refresh(connection, reed_id)
    return Appended(entries=tuple(kept[new.uuid] for new in sent), added=len(fresh))


def _check(new: NewEntry, index: int) -> None:
    """Refuse what no database should hold."""
    if new.happened_at.tzinfo is None:
        msg = f"entry {index + 1} happened at {new.happened_at} without a time zone; state one"
        raise InputError(msg)
    if isinstance(new.payload, Withdrawn) and new.replaces is None:
        msg = f"entry {index + 1} withdraws nothing; state the entry it replaces"
        raise InputError(msg)
    if new.readings and not isinstance(new.payload, ReadingsTaken):
        msg = f"entry {index + 1} of kind {new.payload.kind!r} cannot have readings"
        raise InputError(msg)
    for number, value in enumerate(new.readings, start=1):
        try:
            check_reading(value)
            _check_numbers(value)
            if clean_text(value.instrument, lines=False) != value.instrument:
                msg = f"instrument {value.instrument!r} has blanks at its ends; delete them"
                raise InputError(msg)
        except InputError as error:
            msg = f"entry {index + 1}, reading {number}: {error}"
            raise InputError(msg) from None


def _check_numbers(value: Reading) -> None:
    """Refuse counts that no one reaches by measuring."""
    for name in ("seating", "repeat"):
        count = getattr(value, name)
        if not 0 <= count <= 1_000_000:
            msg = f"{name} = {count} must be from 0 to 1 000 000; count the mountings from 0"
            raise InputError(msg)


def _kept(connection: Connection, uuids: Sequence[UUID]) -> dict[UUID, Entry]:
    found: dict[UUID, Entry] = {}
    for some in chunks(uuids):
        chosen = entries_of(entry.c.uuid.in_(some))
        found |= {e.uuid: e for e in load_entries(connection, chosen)}
    return found


def _fresh(sent: Sequence[NewEntry], kept: dict[UUID, Entry], reed_uuid: UUID) -> list[NewEntry]:
    """Return what is not kept yet, each once."""
    fresh: dict[UUID, NewEntry] = {}
    for new in sent:
        if new.uuid in kept:
            if not same_content(kept[new.uuid], new, reed_uuid):
                msg = (
                    f"entry {new.uuid} is kept already with other content or for another reed; "
                    f"nothing was written: a change is a new entry that replaces the old one"
                )
                raise Conflict(msg)
        elif fresh.setdefault(new.uuid, new) != new:
            msg = f"entry {new.uuid} was sent twice with different content; nothing was written"
            raise Conflict(msg)
    return list(fresh.values())


def _latest(connection: Connection, reed_id: int) -> int:
    statement = select(func.coalesce(func.max(entry.c.seq), 0)).where(entry.c.reed == reed_id)
    return connection.execute(statement).scalar_one()


def _check_replaced(connection: Connection, reed_id: int, fresh: Sequence[NewEntry]) -> None:
    """Check that what is replaced is there, of this reed, and not replaced already."""
    wanted = [new.replaces for new in fresh if new.replaces is not None]
    reeds: dict[UUID, int] = {}
    replaced: set[UUID] = set()
    for some in chunks(wanted):
        rows = connection.execute(select(entry.c.uuid, entry.c.reed).where(entry.c.uuid.in_(some)))
        reeds |= {row.uuid: row.reed for row in rows}
        taken = connection.execute(select(entry.c.replaces).where(entry.c.replaces.in_(some)))
        replaced |= set(taken.scalars())
    for new in fresh:
        target = new.replaces
        if target is not None:
            if target not in reeds:
                msg = f"entry {target}, which is to be replaced, is not kept; nothing was written"
                raise NotFound(msg)
            if reeds[target] != reed_id:
                msg = f"entry {target}, which is to be replaced, is of another reed"
                raise Conflict(msg)
            if target in replaced:
                msg = (
                    f"entry {target} has been replaced already; nothing was written: "
                    f"reload and replace its successor"
                )
                raise Conflict(msg)
            replaced.add(target)
        reeds[new.uuid] = reed_id


def _insert(
    connection: Connection,
    reed_id: int,
    reed_uuid: UUID,
    fresh: Sequence[NewEntry],
    latest: int,
    now: datetime,
) -> list[Entry]:
    authors = _authors(connection, {new.by for new in fresh if new.by is not None})
    rows = [
        {
            "uuid": new.uuid,
            "reed": reed_id,
            "seq": latest + number,
            "kind": new.payload.kind,
            "version": new.payload.version,
            "happened_at": new.happened_at,
            "recorded_at": now,
            "by": None if new.by is None else authors[new.by],
            "replaces": new.replaces,
            "payload": new.payload.model_dump(mode="json"),
        }
        for number, new in enumerate(fresh, start=1)
    ]
    connection.execute(insert(entry), rows)
    ids = connection.execute(
        select(entry.c.id)
        .where(entry.c.reed == reed_id, entry.c.seq > latest)
        .order_by(entry.c.seq)
    ).scalars()
    readings = [
        reading_row(entry_id, position, value)
        for entry_id, new in zip(ids.all(), fresh, strict=True)
        for position, value in enumerate(new.readings)
    ]
    if readings:
        connection.execute(insert(reading), readings)
    return [
        Entry(
            uuid=new.uuid,
            payload=new.payload,
            happened_at=new.happened_at,
            readings=tuple(new.readings),
            by=new.by,
            replaces=new.replaces,
            reed=reed_uuid,
            seq=latest + number,
            recorded_at=now,
        )
        for number, new in enumerate(fresh, start=1)
    ]


def _authors(connection: Connection, uuids: set[UUID]) -> dict[UUID, int]:
    rows = connection.execute(select(person.c.uuid, person.c.id).where(person.c.uuid.in_(uuids)))
    found = {row.uuid: row.id for row in rows}
    for missing in uuids - found.keys():
        msg = f"no person {missing} is kept, who is said to have written; add the person first"
        raise NotFound(msg)
    return found
