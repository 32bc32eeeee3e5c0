"""How people want the pages, and what lies on the bench: rows that may be changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Connection, delete, insert, select, update

from crowlight.bench.ports import Sitting, SittingReed
from crowlight.errors import NotFound
from crowlight.store.people import named
from crowlight.store.schema import person, reed, setting, sitting, sitting_reed

__all__ = ["begin", "change", "find_setting", "open_now", "put_setting"]


def find_setting(connection: Connection, uuid: UUID) -> Mapping[str, Any]:
    """Return how a person wants the pages; nothing if they never said."""
    rows = select(setting.c.chosen).join(person, person.c.id == setting.c.person)
    return connection.execute(rows.where(person.c.uuid == uuid)).scalar() or {}


def put_setting(
    connection: Connection, uuid: UUID, chosen: Mapping[str, Any], *, now: datetime
) -> None:
    """Keep how a person wants the pages."""
    # held until the end, so that no erasing comes between the look and the writing
    found = connection.execute(named(uuid).with_for_update(key_share=True)).scalar()
    if found is None:
        msg = f"no person {uuid} is kept; choose another one under whose name to keep this"
        raise NotFound(msg)
    row = {"person": found, "chosen": dict(chosen), "changed_at": now}
    done = connection.execute(update(setting).where(setting.c.person == found).values(row))
    if not done.rowcount:
        connection.execute(insert(setting).values(row))


def open_now(connection: Connection) -> Sitting | None:
    """Return the sitting that has not ended; the latest, should there be several."""
    latest = (
        select(sitting.c.uuid)
        .where(sitting.c.ended_at.is_(None))
        .order_by(sitting.c.id.desc())
        .limit(1)
    )
    uuid = connection.execute(latest).scalar()
    return None if uuid is None else _load(connection, uuid)


def begin(connection: Connection, new: Sitting) -> Sitting:
    """Begin a sitting; an open one ends when this one starts."""
    kept = _load(connection, new.uuid)
    if kept is not None:
        return kept
    connection.execute(
        update(sitting).where(sitting.c.ended_at.is_(None)).values(ended_at=new.started_at)
    )
    connection.execute(insert(sitting).values(uuid=new.uuid, started_at=new.started_at))
    return _store(connection, new)


def change(connection: Connection, uuid: UUID, make: Callable[[Sitting], Sitting]) -> Sitting:
    """Put what `make` makes of a sitting in its place."""
    held = select(sitting.c.id).where(sitting.c.uuid == uuid).with_for_update()
    connection.execute(held)
    kept = _load(connection, uuid)
    if kept is None:
        msg = f"no sitting {uuid} is kept; begin a new one at the bench"
        raise NotFound(msg)
    return _store(connection, make(kept))


def _load(connection: Connection, uuid: UUID) -> Sitting | None:
    row = connection.execute(
        select(sitting, reed.c.uuid.label("reed_shown"))
        .outerjoin(reed, reed.c.id == sitting.c.shown)
        .where(sitting.c.uuid == uuid)
    ).one_or_none()
    if row is None:
        return None
    reeds = connection.execute(
        select(reed.c.uuid, sitting_reed.c.joined, sitting_reed.c.passed)
        .join(reed, reed.c.id == sitting_reed.c.reed)
        .where(sitting_reed.c.sitting == row.id)
        .order_by(sitting_reed.c.position)
    )
    return Sitting(
        uuid=row.uuid,
        started_at=row.started_at,
        ended_at=row.ended_at,
        shown=row.reed_shown,
        reeds=tuple(SittingReed(reed=r.uuid, joined=r.joined, passed=r.passed) for r in reeds),
    )


def _store(connection: Connection, new: Sitting) -> Sitting:
    ids = _reed_ids(connection, [r.reed for r in new.reeds])
    sitting_id = connection.execute(
        select(sitting.c.id).where(sitting.c.uuid == new.uuid)
    ).scalar_one()
    connection.execute(
        update(sitting)
        .where(sitting.c.id == sitting_id)
        .values(ended_at=new.ended_at, shown=None if new.shown is None else ids[new.shown])
    )
    connection.execute(delete(sitting_reed).where(sitting_reed.c.sitting == sitting_id))
    rows = [
        {
            "sitting": sitting_id,
            "reed": ids[r.reed],
            "position": position,
            "joined": r.joined,
            "passed": dict(r.passed),
        }
        for position, r in enumerate(new.reeds)
    ]
    if rows:
        connection.execute(insert(sitting_reed), rows)
    return new


def _reed_ids(connection: Connection, uuids: Iterable[UUID]) -> dict[UUID, int]:
    wanted = list(uuids)
    rows = connection.execute(select(reed.c.uuid, reed.c.id).where(reed.c.uuid.in_(wanted)))
    found: dict[UUID, int] = {row.uuid: row.id for row in rows}
    for uuid in wanted:
        if uuid not in found:
            msg = f"no reed {uuid} is kept; look it up in the list of reeds"
            raise NotFound(msg)
    return found
