"""Logs of invented reeds, built without a store: payloads with times become entries."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from crowlight.bench.payload import Payload
from crowlight.bench.ports import Entry
from crowlight.reed import Reading

START = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
_SPACE = UUID(int=4711)
REED = uuid5(_SPACE, "reed")

Line = Payload | tuple[Payload, Sequence[Reading]]


def log(*lines: tuple[float, Line]) -> tuple[Entry, ...]:
    """Return entries; each line is minutes from the start and a payload, with readings or not."""
    return tuple(entry(i, *line) for i, line in enumerate(lines, start=1))


def entry(seq: int, minutes: float, what: Line, *, uuid: UUID | None = None) -> Entry:
    payload, readings = what if isinstance(what, tuple) else (what, ())
    at = START + timedelta(minutes=minutes)
    return Entry(
        uuid=uuid or named(seq),
        payload=payload,
        happened_at=at,
        readings=tuple(readings),
        reed=REED,
        seq=seq,
        recorded_at=at,
    )


def named(seq: int) -> UUID:
    """Return the uuid of the entry with this number."""
    return uuid5(_SPACE, str(seq))


def later(**span: float) -> datetime:
    """Return a moment after the start."""
    return START + timedelta(**span)
