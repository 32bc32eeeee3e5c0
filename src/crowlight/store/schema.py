"""The tables, declared once.

`migrations` bring a database to this schema; a test checks that the two agree. The tables `entry`
and `reading` are append-only: triggers made by the first migration refuse to change or delete
their rows. Names and addresses stand in `maker`, `player` and `place` alone, so that erasing a
person deletes those rows and leaves a bare number in `person` for entries to refer to.
`reed_summary` holds nothing that could not be worked out again from the other tables. `setting`,
`sitting` and `sitting_reed` say how pages are shown and what lies on the bench, never what was
measured: they may be changed.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    Uuid,
)
from sqlalchemy.dialects import postgresql
from sqlalchemy.types import TypeDecorator

__all__ = [
    "HEAD",
    "Utc",
    "batch",
    "entry",
    "maker",
    "metadata",
    "person",
    "place",
    "player",
    "reading",
    "reed",
    "reed_summary",
    "setting",
    "sitting",
    "sitting_reed",
    "style",
]

#: Revision of the latest migration; a test compares it with the migrations folder.
HEAD = "0002"

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class Utc(TypeDecorator[datetime]):
    """A time with its zone, kept and returned in UTC."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Convert to UTC; SQLite keeps the digits alone."""
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the time its zone back."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


# Text is ordered by code point on both databases, whatever the server's language.
_Text = Text().with_variant(postgresql.TEXT(collation="C"), "postgresql")


person = Table(
    "person",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
)

maker = Table(
    "maker",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("name", _Text, nullable=False),
    Column("hand", _Text, nullable=False),
    CheckConstraint("hand IN ('left', 'right', '')", "hand"),
)

player = Table(
    "player",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("name", _Text, nullable=False),
    Column("contact", _Text, nullable=False),
    Column("uses_knife", Boolean),
)

place = Table(
    "place",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("person", ForeignKey("person.id"), nullable=False, index=True),
    Column("name", _Text, nullable=False),
    Column("altitude", Float),
    Column("temperature", Float),
    Column("humidity", Float),
    CheckConstraint("temperature > 0", "temperature"),
    CheckConstraint("humidity BETWEEN 0 AND 1", "humidity"),
)

batch = Table(
    "batch",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("name", _Text, nullable=False),
    Column("maker", ForeignKey("person.id"), index=True),
)

style = Table(
    "style",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("name", _Text, nullable=False, unique=True),
    Column("maker", ForeignKey("person.id"), index=True),
    Column("text", _Text, nullable=False),
    Column("created_at", Utc, nullable=False),
)

reed = Table(
    "reed",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("name", _Text, nullable=False, unique=True),
    Column("maker", ForeignKey("person.id"), index=True),
    Column("player", ForeignKey("person.id"), index=True),
    Column("batch", ForeignKey("batch.id"), index=True),
    Column("invented", Boolean, nullable=False),
    Column("created_at", Utc, nullable=False),
)

entry = Table(
    "entry",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("reed", ForeignKey("reed.id"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("kind", _Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("happened_at", Utc, nullable=False),
    Column("recorded_at", Utc, nullable=False),
    Column("by", ForeignKey("person.id"), index=True),
    # An entry is replaced at most once: a correction of a correction replaces the correction.
    Column("replaces", ForeignKey("entry.uuid"), unique=True),
    Column("payload", JSON, nullable=False),
    # Two windows that both write number `seq` cannot both succeed.
    UniqueConstraint("reed", "seq"),
    CheckConstraint("seq >= 1", "seq"),
)

reading = Table(
    "reading",
    metadata,
    Column("entry", ForeignKey("entry.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("blade", _Text, nullable=False),
    Column("along", Float, nullable=False),
    Column("across", Float, nullable=False),
    Column("thickness", Float, nullable=False),
    Column("instrument", _Text, nullable=False),
    Column("seating", Integer, nullable=False),
    Column("repeat", Integer, nullable=False),
    Column("state", _Text, nullable=False),
    Column("minutes_wet", Float),
    CheckConstraint("blade IN ('marked', 'plain')", "blade"),
    CheckConstraint("thickness > 0", "thickness"),
    CheckConstraint("state IN ('wet', 'dry', 'unknown')", "state"),
    sqlite_with_rowid=False,  # kept in the order of its key, as it is read
)

reed_summary = Table(
    "reed_summary",
    metadata,
    Column("reed", ForeignKey("reed.id"), primary_key=True),
    Column("maker", _Text, nullable=False),
    Column("player", _Text, nullable=False),
    Column("batch", _Text, nullable=False),
    Column("thread_colour", _Text, nullable=False),
    Column("cork_number", _Text, nullable=False),
    Column("style", _Text, nullable=False),
    Column("seq", Integer, nullable=False),
    Column("readings", Integer, nullable=False),
    Column("length", Float),
    Column("opening", Float),
    Column("grade", Integer),
    Column("last_kind", _Text, nullable=False),
    Column("last_at", Utc),
    # What a search looks in, and the name as a person would sort it.
    Column("search", _Text, nullable=False),
    Column("sort_name", _Text, nullable=False),
    Index(None, "sort_name"),
    Index(None, "last_at"),
    Index(None, "batch"),
)

setting = Table(
    "setting",
    metadata,
    Column("person", ForeignKey("person.id"), primary_key=True),
    Column("chosen", JSON, nullable=False),
    Column("changed_at", Utc, nullable=False),
)

sitting = Table(
    "sitting",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("uuid", Uuid, nullable=False, unique=True),
    Column("started_at", Utc, nullable=False),
    Column("ended_at", Utc),
    Column("shown", ForeignKey("reed.id"), index=True),
)

sitting_reed = Table(
    "sitting_reed",
    metadata,
    Column("sitting", ForeignKey("sitting.id"), primary_key=True),
    Column("reed", ForeignKey("reed.id"), primary_key=True, index=True),
    Column("position", Integer, nullable=False),
    # The number of the reed's latest entry when it was laid on the bench.
    Column("joined", Integer, nullable=False),
    # Steps gone past without an entry, each with the number of the latest entry at that moment.
    Column("passed", JSON, nullable=False),
)
