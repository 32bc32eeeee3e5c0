"""The log of a reed: what each entry says, in a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from crowlight.bench.advice_kinds import Advised
from crowlight.bench.desk import Sheet
from crowlight.bench.kinds import ReadingsTaken, Withdrawn
from crowlight.bench.light_kinds import LightMarks
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.workshop_kinds import Letter, Photo
from crowlight.reed import Blade, Reading, Side
from crowlight.report.advice_log import advised_said, followed_said
from crowlight.report.counting import Counting
from crowlight.report.light import marks_said
from crowlight.report.posted_words import SHOWS
from crowlight.report.sounds import entry_said
from crowlight.report.words import Words, mark
from crowlight.web.fields import FORMS
from crowlight.web.typing_in import typed_of

__all__ = ["Line", "lines", "runs"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One entry in the log.

    Parameters
    ----------
    uuid : UUID
        The entry.
    seq : int
        Its number.
    title : str
        Name of its kind.
    says : str
        What it says, as far as a line can hold it.
    at : datetime
        When it happened.
    gone : bool
        Whether a later entry replaced or withdrew it.
    replaces : int or None
        Number of the entry this one replaces.
    correctable : bool
        Whether there is a form to correct it.
    """

    uuid: UUID
    seq: int
    title: str
    says: str
    at: datetime
    gone: bool
    replaces: int | None
    correctable: bool
    withdrawal: bool
    burst: UUID | None = None


def runs(log: Sequence[Line]) -> list[list[Line]]:
    """Return the log with readings that were sent one by one, in a row, put together."""
    found: list[list[Line]] = []
    for line in log:
        if found and line.burst is not None and found[-1][-1].burst == line.burst:
            found[-1].append(line)
        else:
            found.append([line])
    return found


def lines(sheet: Sheet, words: Words) -> list[Line]:
    """Return the log of a reed, the latest entry first."""
    numbers = {e.uuid: e.seq for e in sheet.entries}
    replaced = {e.replaces for e in sheet.entries if e.replaces is not None}
    return [
        Line(
            uuid=e.uuid,
            seq=e.seq,
            title=words.kind(e.payload.kind),
            says=_says(e, words),
            at=e.happened_at,
            gone=e.uuid in replaced,
            replaces=numbers.get(e.replaces) if e.replaces is not None else None,
            correctable=e.payload.kind in FORMS or isinstance(e.payload, ReadingsTaken),
            withdrawal=isinstance(e.payload, Withdrawn),
            burst=e.payload.burst if isinstance(e.payload, ReadingsTaken) else None,
        )
        for e in reversed(sheet.entries)
    ]


def _says(entry: Entry, words: Words) -> str:
    payload = entry.payload
    if isinstance(payload, ReadingsTaken):
        parts = [
            f"{words.blade(b)} {n}"
            for b in Blade
            if (n := sum(r.place.blade is b for r in entry.readings))
        ]
        states = sorted({words.state(r.state) for r in entry.readings})
        if len(entry.readings) == 1:
            parts = [_reading_said(entry.readings[0], words)]
        parts.append(f"{words(mark('wet or dry:'))} {', '.join(states)}")
        if payload.source:
            parts.append(payload.source)
        return "; ".join(parts)
    if isinstance(payload, Withdrawn):
        return payload.reason
    if isinstance(payload, Advised):
        return advised_said(payload, words)
    if isinstance(payload, Photo):
        return f"{words(SHOWS[payload.shows])}. {payload.remark}".rstrip(" .")
    if isinstance(payload, LightMarks):
        return marks_said(payload, words)
    if isinstance(payload, Letter):
        return next(iter(payload.parts.values())).split("\n", 1)[0]
    if payload.kind not in FORMS:
        return entry_said(payload, words)
    typed = typed_of(payload.kind, payload)
    parts = []
    for field in FORMS[payload.kind].fields:
        values = [v for v in typed.get(field.name, []) if v]
        labels = dict(field.choices)
        if field.kind == "choice" and field.more and payload.kind != "described":
            values = [v for v in values if v in labels]  # others are uuids: nothing to read
        if not values or field.kind == "kept":
            continue
        said = ", ".join(words(labels.get(v, "")) or v for v in values)
        if field.kind == "text" and len(FORMS[payload.kind].fields) == 1:
            parts.append(said)
        else:
            parts.append(f"{words(field.label)}: {said} {field.unit}".rstrip())
    if isinstance(payload, Followed) and payload.advised is not None:
        parts.append(followed_said(payload, words))
    return "; ".join(parts)


def _reading_said(reading: Reading, words: Words) -> str:
    """Say one reading: where, as it is kept, and how thick."""
    place = reading.place
    where = Counting().where(place.along, words)
    side = words(mark("centreline"))
    if place.across:
        side = words.mm(abs(place.across), 1)
        side += f" {words.side(Side.LEFT if place.across < 0 else Side.RIGHT)}"
    return f"{words.blade(place.blade)}, {where}, {side}: {words.thick(reading.thickness, 3)}"
