"""Which reeds are offered for a sitting, and the one somebody came from."""

from __future__ import annotations

from dataclasses import replace
from uuid import UUID

from crowlight.bench.desk import Desk
from crowlight.bench.ports import Page, Reed, ReedQuery
from crowlight.errors import NotFound

__all__ = ["OFFERED", "kept_reed", "offered"]

#: Reeds offered for a sitting.
OFFERED = 24


def kept_reed(desk: Desk, key: str) -> Reed | None:
    """Return the reed of a UUID; None if it is none, or there is no such reed."""
    try:
        return desk.records.reed(UUID(key))
    except (ValueError, NotFound):
        return None


def offered(desk: Desk, text: str, came_from: Reed | None) -> Page:
    """Return the reeds to choose from; the one somebody came from is always among them."""
    found = desk.reeds(ReedQuery(text=text[:200].strip(), limit=OFFERED))
    if came_from is None or any(row.uuid == came_from.uuid for row in found.rows):
        return found
    named = desk.reeds(ReedQuery(text=came_from.name, limit=OFFERED)).rows
    own = tuple(row for row in named if row.uuid == came_from.uuid)
    return replace(found, rows=(*own, *found.rows))
