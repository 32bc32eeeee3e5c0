"""Makers' own scrape styles: added, never changed."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Select, insert, or_, select

from crowlight.bench.ports import OwnStyle
from crowlight.errors import Conflict
from crowlight.store.people import checked_name, person_id
from crowlight.store.schema import person, style

__all__ = ["add_style", "all_styles"]


def _rows() -> Select[*tuple[Any, ...]]:
    return select(
        style.c.uuid, style.c.name, person.c.uuid.label("maker"), style.c.text, style.c.created_at
    ).outerjoin(person, person.c.id == style.c.maker)


def add_style(connection: Connection, new: OwnStyle) -> None:
    """Add a style within the transaction of `connection`; see `Records.add_style`."""
    name = checked_name(new.name, "style")
    same = or_(style.c.uuid == new.uuid, style.c.name == name)
    for row in connection.execute(_rows().where(same)):
        if row.uuid != new.uuid:
            msg = f"another style has the name {name!r}; choose a different name"
            raise Conflict(msg)
        if (row.name, row.text) != (name, new.text):
            msg = f"the style {row.name!r} is kept already with other content; make a new one"
            raise Conflict(msg)
        return
    row = {
        "uuid": new.uuid,
        "name": name,
        "maker": person_id(connection, new.maker),
        "text": new.text,
        "created_at": new.created_at,
    }
    connection.execute(insert(style).values(row))


def all_styles(connection: Connection) -> tuple[OwnStyle, ...]:
    """Return all styles by name."""
    found = [OwnStyle(**row._mapping) for row in connection.execute(_rows())]
    return tuple(sorted(found, key=lambda s: (s.name.casefold(), s.name)))
