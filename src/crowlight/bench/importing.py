"""Tables of readings as entries about a reed."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from crowlight.bench.kinds import Described, Lengths, Payload
from crowlight.bench.ports import NewEntry, Reed, Table
from crowlight.errors import InputError
from crowlight.reed import Reading

__all__ = ["Imported", "entries_of_table"]

#: Name space of entry uuids made from the content of an imported table (RFC 9562, version 5).
_TABLES = UUID("a1c2b0de-5d5c-5b0e-9c56-2f6f1d9b7c11")


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import did.

    Parameters
    ----------
    reed : Reed
        The reed, as it is now.
    readings : int
        Readings in the table.
    added : int
        Entries written; 0 when the same table had been imported before.
    new_reed : bool
        Whether the reed was added for it.
    """

    reed: Reed
    readings: int
    added: int
    new_reed: bool


def entries_of_table(table: Table, reed: Reed, style_kept: str, *, at: datetime) -> list[NewEntry]:
    """Turn a table into entries whose uuids follow from their content and the reed.

    Parameters
    ----------
    table : Table
        The table.
    reed : Reed
        The reed it belongs to.
    style_kept : str
        The style the reed is kept with; empty for none.
    at : datetime
        When it was measured.

    Raises
    ------
    InputError
        If the table names another style than the reed has.
    """
    style = str(table.facts.get("style", ""))
    if style and style_kept and style != style_kept:
        msg = (
            f"the table says style {style!r}, but reed {reed.name!r} is kept as "
            f"{style_kept!r}; correct one of them"
        )
        raise InputError(msg)

    def entry(part: str, payload: Payload, readings: tuple[Reading, ...] = ()) -> NewEntry:
        content = hashlib.sha256(f"{reed.uuid}:{table.digest}:{part}".encode()).hexdigest()
        return NewEntry(
            uuid=uuid5(_TABLES, content), payload=payload, happened_at=at, readings=readings
        )

    entries: list[NewEntry] = []
    if style and not style_kept:
        entries.append(entry("described", Described(style=style)))
    if (length := table.facts.get("length")) is not None:
        known: dict[str, Any] = {
            "overall": length,
            "thread_top": table.facts.get("thread_top"),
        }
        if (uncertainty := table.facts.get("length_uncertainty")) is not None:
            known["overall_uncertainty"] = uncertainty
        entries.append(entry("lengths", Lengths(**known)))
    entries.append(entry("readings", table.taken, table.readings))
    return entries
