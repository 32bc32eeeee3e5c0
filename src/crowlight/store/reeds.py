"""Reeds in the database: adding and finding them, whose they are, and the order of the list."""

from __future__ import annotations

from contextlib import suppress
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Connection, Select, insert, or_, select, update

from crowlight.bench.kinds import clean_text
from crowlight.bench.names import folded, no_such
from crowlight.bench.ports import Clock, NewReed, Reed, ReedQuery
from crowlight.errors import Conflict, InputError, NotFound
from crowlight.store import people
from crowlight.store.schema import batch, person, reed, reed_summary
from crowlight.store.summary import lock, refresh

__all__ = [
    "add_reed",
    "assign",
    "conditions_of",
    "find_reed",
    "order_of",
    "reed_id_of",
    "reed_rows",
]

_MAKER, _PLAYER = person.alias("reed_maker"), person.alias("reed_player")


def reed_rows() -> Select[*tuple[Any, ...]]:
    """Select reeds as the pages know them."""
    return (
        select(
            reed.c.uuid,
            reed.c.name,
            _MAKER.c.uuid.label("maker"),
            _PLAYER.c.uuid.label("player"),
            batch.c.uuid.label("batch"),
            reed.c.invented,
            reed.c.created_at,
            reed_summary.c.seq,
        )
        .join(reed_summary, reed_summary.c.reed == reed.c.id)
        .outerjoin(_MAKER, _MAKER.c.id == reed.c.maker)
        .outerjoin(_PLAYER, _PLAYER.c.id == reed.c.player)
        .outerjoin(batch, batch.c.id == reed.c.batch)
    )


def add_reed(connection: Connection, new: NewReed, clock: Clock) -> Reed:
    """Add a reed within the transaction of `connection`; see `Records.add_reed`."""
    name = people.checked_name(new.name, "reed")
    same = or_(reed.c.uuid == new.uuid, reed.c.name == name)
    for row in connection.execute(reed_rows().where(same)):
        if row.uuid == new.uuid and row.name == name:
            return Reed(**row._mapping)
        if row.uuid == new.uuid:
            msg = f"this reed is kept already under the name {row.name!r}, not {name!r}"
            raise Conflict(msg)
        msg = f"another reed has the name {name!r}; choose a different name"
        raise Conflict(msg)
    row = {
        "uuid": new.uuid,
        "name": name,
        "maker": people.person_id(connection, new.maker),
        "player": people.person_id(connection, new.player),
        "batch": people.batch_id(connection, new.batch),
        "invented": new.invented,
        "created_at": clock.now(),
    }
    reed_id = connection.execute(insert(reed).values(row).returning(reed.c.id)).scalar_one()
    refresh(connection, reed_id)
    return Reed(**connection.execute(reed_rows().where(reed.c.id == reed_id)).one()._mapping)


def assign(
    connection: Connection,
    uuid: UUID,
    maker: UUID | None,
    player: UUID | None,
    of: UUID | None,
) -> Reed:
    """Say whose a reed is; see `Records.assign`."""
    # people and batch first, as everywhere: who waits for a reed must not hold what others wait for
    new = {
        "maker": people.person_id(connection, maker),
        "player": people.person_id(connection, player),
        "batch": people.batch_id(connection, of),
    }
    reed_id = reed_id_of(connection, uuid)
    lock(connection, reed_id)
    connection.execute(update(reed).where(reed.c.id == reed_id).values(new))
    refresh(connection, reed_id)
    return Reed(**connection.execute(reed_rows().where(reed.c.id == reed_id)).one()._mapping)


def find_reed(connection: Connection, key: str | UUID) -> Reed:
    """Return a reed by uuid or name; see `Records.reed`."""
    wanted: list[ColumnElement[bool]] = []
    if isinstance(key, str):
        wanted.append(reed.c.name == clean_text(key, lines=False))
        with suppress(ValueError):
            key = UUID(key)
    if isinstance(key, UUID):
        wanted.insert(0, reed.c.uuid == key)
    for condition in wanted:
        row = connection.execute(reed_rows().where(condition)).one_or_none()
        if row is not None:
            return Reed(**row._mapping)
    names = connection.execute(select(reed.c.name)).scalars().all()
    raise NotFound(no_such("reed", str(key), names))


def reed_id_of(connection: Connection, uuid: UUID) -> int:
    """Return the number of a reed."""
    kept = connection.execute(select(reed.c.id).where(reed.c.uuid == uuid)).scalar()
    if kept is None:
        msg = f"no reed {uuid} is kept; look it up in the list of reeds"
        raise NotFound(msg)
    return kept


def conditions_of(query: ReedQuery) -> list[ColumnElement[bool]]:
    """Return what a query asks of a row of the list."""
    if len(query.text) > 200:
        msg = f"the search has {len(query.text)} characters, more than 200; use a few words"
        raise InputError(msg)
    words = folded(query.text).split()
    conditions = [reed_summary.c.search.contains(word, autoescape=True) for word in words]
    if query.batch:
        conditions.append(reed_summary.c.batch == query.batch)
    return conditions


def order_of(query: ReedQuery) -> list[ColumnElement[Any]]:
    """Sort; what has no value comes last in both directions, equal ones by name."""
    column = {
        "name": reed_summary.c.sort_name,
        "last": reed_summary.c.last_at,
        "batch": reed_summary.c.batch,
        "style": reed_summary.c.style,
        "grade": reed_summary.c.grade,
        "length": reed_summary.c.length,
    }.get(query.sort)
    if column is None:
        msg = (
            f"reeds cannot be sorted by {query.sort!r}; use name, last, batch, style, grade, length"
        )
        raise InputError(msg)
    first = column.desc() if query.descending else column.asc()
    return [first.nulls_last(), reed_summary.c.sort_name, reed_summary.c.reed]
