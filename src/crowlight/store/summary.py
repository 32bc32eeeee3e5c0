"""The row of each reed in the list, always worked out from the other tables."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, Select, delete, func, insert, select

from crowlight.bench.names import folded
from crowlight.bench.ports import ReedSummary
from crowlight.bench.state import state_of
from crowlight.store.rows import entries_of, load_entries
from crowlight.store.schema import batch, entry, maker, player, reading, reed, reed_summary

__all__ = ["held", "lock", "natural", "refresh", "summary_of", "summary_row"]


def natural(name: str) -> str:
    """Return `name` as a list sorts it: numbers by their value.

    Examples
    --------
    >>> sorted(["Reed 10", "reed 9", "Reed 1"], key=natural)
    ['Reed 1', 'reed 9', 'Reed 10']
    """
    return re.sub(r"[0-9]+", lambda digits: digits[0].lstrip("0").zfill(12), folded(name))


def refresh(connection: Connection, reed_id: int) -> None:
    """Work out the summary of one reed again and keep it; the caller holds its lock."""
    row = summary_row(connection, reed_id)
    connection.execute(delete(reed_summary).where(reed_summary.c.reed == reed_id))
    connection.execute(insert(reed_summary).values(**row))


def held(condition: ColumnElement[bool]) -> Select[Any]:
    """Select a reed's number; see `lock`."""
    return select(reed.c.id).where(condition).with_for_update(key_share=True)


def lock(connection: Connection, reed_id: int) -> None:
    """Let writers of one reed queue, on PostgreSQL; SQLite has one writer at a time anyway.

    Statements after this one see what those before in the queue have written.
    """
    connection.execute(held(reed.c.id == reed_id))


def summary_row(connection: Connection, reed_id: int) -> dict[str, Any]:
    """Work out the summary of one reed from the tables of record."""
    state = state_of(load_entries(connection, entries_of(entry.c.reed == reed_id), False))
    counted = {e.uuid for e in state.entries}
    per_entry = connection.execute(
        select(entry.c.uuid, func.count())
        .join(reading, reading.c.entry == entry.c.id)
        .where(entry.c.reed == reed_id)
        .group_by(entry.c.uuid)
    )
    names = connection.execute(
        select(
            reed.c.name,
            func.coalesce(maker.c.name, "").label("maker"),
            func.coalesce(player.c.name, "").label("player"),
            func.coalesce(batch.c.name, "").label("batch"),
        )
        .outerjoin(maker, maker.c.person == reed.c.maker)
        .outerjoin(player, player.c.person == reed.c.player)
        .outerjoin(batch, batch.c.id == reed.c.batch)
        .where(reed.c.id == reed_id)
    ).one()
    described, last = state.described, state.last
    words = (
        *names,
        described.thread_colour,
        described.cork_number,
        described.style,
    )
    return {
        "reed": reed_id,
        "maker": names.maker,
        "player": names.player,
        "batch": names.batch,
        "thread_colour": described.thread_colour,
        "cork_number": described.cork_number,
        "style": described.style,
        "seq": state.seq,
        "readings": sum(count for uuid, count in per_entry if uuid in counted),
        "length": state.length,
        "opening": state.opening.height if state.opening else None,
        "grade": state.grade,
        "last_kind": last.payload.kind if last else "",
        "last_at": last.happened_at if last else None,
        "search": "\n".join(folded(word) for word in words if word),
        "sort_name": natural(names.name),
    }


def summary_of(row: Row[Any]) -> ReedSummary:
    """Return what a list shows of one row, selected with the reed's uuid, name and invented."""
    return ReedSummary(
        uuid=row.uuid,
        name=row.name,
        invented=row.invented,
        maker=row.maker,
        player=row.player,
        batch=row.batch,
        thread_colour=row.thread_colour,
        cork_number=row.cork_number,
        style=row.style,
        seq=row.seq,
        readings=row.readings,
        length=row.length,
        opening=row.opening,
        grade=row.grade,
        last_kind=row.last_kind,
        last_at=row.last_at,
    )
