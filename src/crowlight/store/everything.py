"""Every kept row in plain values, for export."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Connection, Select, select

from crowlight.store.schema import (
    batch,
    entry,
    maker,
    person,
    place,
    player,
    reading,
    reed,
    setting,
    sitting,
    sitting_reed,
    style,
)

__all__ = ["everything"]


def _tables() -> Iterator[tuple[str, Select[*tuple[Any, ...]]]]:
    """Yield each table with its rows; references are the public uuids, not our numbers."""
    who, wrote = person.alias("who"), person.alias("wrote")
    yield (
        "maker",
        select(who.c.uuid, maker.c.name, maker.c.hand)
        .join(who, who.c.id == maker.c.person)
        .order_by(maker.c.person),
    )
    yield (
        "player",
        select(who.c.uuid, player.c.name, player.c.contact, player.c.uses_knife)
        .join(who, who.c.id == player.c.person)
        .order_by(player.c.person),
    )
    yield (
        "place",
        select(
            place.c.uuid,
            who.c.uuid.label("person"),
            place.c.name,
            place.c.altitude,
            place.c.temperature,
            place.c.humidity,
        )
        .join(who, who.c.id == place.c.person)
        .order_by(place.c.id),
    )
    yield (
        "batch",
        select(batch.c.uuid, batch.c.name, who.c.uuid.label("maker"))
        .outerjoin(who, who.c.id == batch.c.maker)
        .order_by(batch.c.id),
    )
    yield (
        "style",
        select(
            style.c.uuid, style.c.name, who.c.uuid.label("maker"), style.c.text, style.c.created_at
        )
        .outerjoin(who, who.c.id == style.c.maker)
        .order_by(style.c.id),
    )
    yield (
        "reed",
        select(
            reed.c.uuid,
            reed.c.name,
            who.c.uuid.label("maker"),
            wrote.c.uuid.label("player"),
            batch.c.uuid.label("batch"),
            reed.c.invented,
            reed.c.created_at,
        )
        .outerjoin(who, who.c.id == reed.c.maker)
        .outerjoin(wrote, wrote.c.id == reed.c.player)
        .outerjoin(batch, batch.c.id == reed.c.batch)
        .order_by(reed.c.id),
    )
    yield (
        "entry",
        select(
            entry.c.uuid,
            reed.c.uuid.label("reed"),
            entry.c.seq,
            entry.c.kind,
            entry.c.version,
            entry.c.happened_at,
            entry.c.recorded_at,
            wrote.c.uuid.label("by"),
            entry.c.replaces,
            entry.c.payload,
        )
        .join(reed, reed.c.id == entry.c.reed)
        .outerjoin(wrote, wrote.c.id == entry.c.by)
        .order_by(entry.c.reed, entry.c.seq),
    )
    yield (
        "reading",
        select(
            entry.c.uuid.label("entry"),
            *(column for column in reading.c if column.name != "entry"),
        )
        .join(entry, entry.c.id == reading.c.entry)
        .order_by(entry.c.reed, entry.c.seq, reading.c.position),
    )

    yield (
        "setting",
        select(who.c.uuid.label("person"), setting.c.chosen, setting.c.changed_at)
        .join(who, who.c.id == setting.c.person)
        .order_by(setting.c.person),
    )
    yield (
        "sitting",
        select(sitting.c.uuid, sitting.c.started_at, sitting.c.ended_at, reed.c.uuid.label("shown"))
        .outerjoin(reed, reed.c.id == sitting.c.shown)
        .order_by(sitting.c.id),
    )
    yield (
        "sitting_reed",
        select(
            sitting.c.uuid.label("sitting"),
            reed.c.uuid.label("reed"),
            sitting_reed.c.position,
            sitting_reed.c.joined,
            sitting_reed.c.passed,
        )
        .join(sitting, sitting.c.id == sitting_reed.c.sitting)
        .join(reed, reed.c.id == sitting_reed.c.reed)
        .order_by(sitting_reed.c.sitting, sitting_reed.c.position),
    )


def everything(connection: Connection) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield every kept row as (table name, plain values)."""
    for name, rows in _tables():
        for row in connection.execution_options(yield_per=1000).execute(rows).mappings():
            yield name, {str(key): _plain(value) for key, value in row.items()}


def _plain(value: Any) -> Any:
    match value:
        case UUID():
            return str(value)
        case datetime():
            return value.isoformat()
        case _:
            return value
