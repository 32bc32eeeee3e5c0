"""Tables of gauge readings: CSV or TSV, as a maker types or a spreadsheet saves them.

The columns are documented in ``docs/howto/tables.md``, which the tests keep in step with `COLUMNS`
and `HEAD`.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from crowlight.bench.kinds import Lengths, ReadingsTaken, clean_text
from crowlight.bench.ports import Clock, Table
from crowlight.errors import InputError, Problem, TableError
from crowlight.reed import (
    Blade,
    CaneState,
    Origin,
    Place,
    Reading,
    check_reading,
    from_rim,
    instrument,
)

__all__ = ["COLUMNS", "HEAD", "TableFiles", "parse_number"]

#: Column names and what they mean. One of the three positions along is needed.
COLUMNS: Mapping[str, str] = {
    "blade": "marked or plain (m, p)",
    "from_rim_mm": "position from the bottom rim of the staple, mm",
    "from_tip_mm": "position from the tip, mm; needs the length in the head",
    "from_thread_mm": "position from the thread top, mm; needs the thread top in the head",
    "across_mm": "distance from the centreline as seen facing the blade, left negative, mm",
    "thickness_mm": "thickness, mm",
    "thickness_in": "thickness, inches, instead of thickness_mm",
    "seating": "number of the mounting: change it when the reed is taken off the gauge; optional",
    "instrument": "code of the gauge, if it changes within the table; optional",
    "state": "wet or dry, if it changes within the table; optional",
    "minutes_wet": "minutes since the reed was last wetted; optional",
}

#: Lines ``# name: value`` above the column names. All optional.
HEAD: Mapping[str, str] = {
    "reed": "name of the reed",
    "style": "scrape style",
    "length_mm": "overall length, bottom rim to tip, mm",
    "length_uncertainty_mm": "how well that length is known, one standard deviation, mm",
    "thread_top_mm": "bottom rim to the top of the thread, mm",
    "instrument": "code of the gauge",
    "state": "wet or dry",
    "measured_at": "date and time with zone, ISO 8601",
}

_ORIGINS = {f"from_{origin.value}_mm": origin for origin in Origin}
_BLADES = {"marked": Blade.MARKED, "m": Blade.MARKED, "plain": Blade.PLAIN, "p": Blade.PLAIN}
_MAX_BYTES = 20_000_000
_MAX_ROWS = 100_000
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")


def parse_number(text: str) -> float:
    """Read a number with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        What was typed.

    Returns
    -------
    float
        The number.

    Raises
    ------
    InputError
        If it is anything else; thousands separators are not guessed at.

    Examples
    --------
    >>> parse_number("0,46"), parse_number("-2.5")
    (0.46, -2.5)
    """
    typed = text.strip().replace("\N{MINUS SIGN}", "-")
    if not _NUMBER.fullmatch(typed) or not typed.isascii():
        msg = f"{text.strip()[:40]!r} is not a number; write it like 0.46 or 0,46, without unit"
        raise InputError(msg)
    number = float(typed.replace(",", "."))
    if not math.isfinite(number):
        msg = f"{typed[:12]!r}… has {len(typed)} characters; is a separator missing? Type it again"
        raise InputError(msg)
    return number


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    cells: Mapping[str, str]


class TableFiles:
    """Reads tables of readings; implements the port `Tables`.

    Parameters
    ----------
    clock : Clock
        The time, against which moments that lie ahead are asked about.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    def read(self, data: bytes, *, name: str = "") -> Table:
        """Read a CSV or TSV file; see `crowlight.bench.ports.Tables`."""
        text = _decode(data, name)
        head, columns, rows = _split(text, name)
        problems: list[Problem] = []
        facts = _facts(head, self._clock.now(), problems)
        origin = _origin(columns, {key for _, key, _ in head}, problems)
        if problems:
            raise TableError(problems)
        readings: list[Reading] = []
        for row in rows:
            try:
                readings.append(_reading(row.cells, facts, origin))
            except InputError as error:
                problems.append(Problem(row.line, str(error)))
        if problems:
            raise TableError(problems)
        if not readings:
            raise TableError([Problem(0, f"{name or 'the table'} has column names but no rows")])
        counted = _count_repeats(readings)
        return Table(
            readings=counted,
            taken=_taken(origin, facts, name),
            facts={k: v for k, v in facts.items() if k not in {"instrument", "state"}},
            digest=_digest(counted, facts),
        )


def _decode(data: bytes, name: str) -> str:
    if len(data) > _MAX_BYTES:
        msg = (
            f"{name or 'the table'} has {len(data) / 1e6:.0f} MB, more than {_MAX_BYTES / 1e6:.0f} "
            f"MB; is it a table of readings? Split it by reed"
        )
        raise InputError(msg)
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        return data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        msg = f"{name or 'the file'} is not UTF-8 text; save the table as CSV in UTF-8"
        raise TableError([Problem(0, msg)]) from None


def _split(text: str, name: str) -> tuple[list[tuple[int, str, str]], list[str], list[_Row]]:
    """Split a file into head lines, column names and rows."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    head: list[tuple[int, str, str]] = []
    start = 0
    for start, line in enumerate(lines):
        stripped = line.strip()
        if stripped.startswith("#"):
            key, colon, value = stripped.lstrip("# ").partition(":")
            if colon:
                head.append((start + 1, key.strip().lower(), value.strip()))
        elif stripped:
            break
    else:
        what = "has head lines (#) but no line of column names, and no rows" if head else "is empty"
        raise TableError(
            [Problem(0, f"{name or 'the table'} {what}; write both as docs/howto/tables.md shows")]
        )
    delimiter = max("\t;,", key=lines[start].count)
    body = csv.reader(io.StringIO("\n".join(lines[start:])), delimiter=delimiter, strict=True)
    try:
        columns = [c.strip().lower() for c in next(body)]
        unknown = [c for c in columns if c and c not in COLUMNS]
        if unknown or len(set(columns)) != len(columns):
            what = f"columns {unknown} are not known" if unknown else "a column stands twice"
            msg = f"{what}; use these: {', '.join(COLUMNS)}"
            raise TableError([Problem(start + 1, msg)])
        return head, columns, list(_rows(body, columns, start, delimiter))
    except csv.Error as error:
        msg = f"the table cannot be read here ({error}); is a quotation mark left open?"
        raise TableError([Problem(start + body.line_num, msg)]) from None


def _rows(body: Any, columns: Sequence[str], start: int, delimiter: str) -> Iterator[_Row]:
    for count, cells in enumerate(body):
        line = start + body.line_num
        if not any(c.strip() for c in cells) or cells[0].lstrip().startswith("#"):
            continue
        if count >= _MAX_ROWS:
            msg = f"more than {_MAX_ROWS} rows; a reed has some hundreds of readings: split it"
            raise TableError([Problem(line, msg)])
        if len(cells) != len(columns):
            hint = (
                "; a decimal comma needs ; or a tab between the columns"
                if delimiter == "," and len(cells) > len(columns)
                else ""
            )
            msg = f"{len(cells)} cells where {len(columns)} columns are named{hint}"
            raise TableError([Problem(line, msg)])
        yield _Row(line, dict(zip(columns, (c.strip() for c in cells), strict=True)))


def _length(text: str) -> float:
    value = parse_number(text) * 1e-3
    if not 30e-3 < value < 100e-3:
        hint = " (inches? write millimetres)" if 30e-3 < value * 25.4 < 100e-3 else ""
        msg = f"length = {value * 1e3:g} mm is outside 30 to 100 mm{hint}; measure it again"
        raise InputError(msg)
    return value


def _thread_top(text: str) -> float:
    value = parse_number(text) * 1e-3
    if not 10e-3 < value < 90e-3:
        msg = f"thread top = {value * 1e3:g} mm from the rim is outside 10 to 90 mm; measure again"
        raise InputError(msg)
    return value


def _uncertainty(text: str) -> float:
    value = parse_number(text) * 1e-3
    if not 0 < value < 5e-3:
        msg = f"length uncertainty = {value * 1e3:g} mm must be above 0 and below 5 mm"
        raise InputError(msg)
    return value


def _instrument(text: str) -> str:
    return instrument(text.lower()).code


def _state(text: str) -> CaneState:
    try:
        return CaneState(text.lower())
    except ValueError:
        msg = f"state {text[:40]!r} must be wet, dry or unknown"
        raise InputError(msg) from None


def _moment(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        msg = f"measured_at {text[:40]!r} must be like 2026-03-01T14:30+01:00, with its zone"
        raise InputError(msg)
    return at


#: Clocks of two machines may be set a day apart.
_AHEAD = timedelta(days=1)
_FIRST_YEAR = 1900


def _check_moment(at: datetime, now: datetime) -> None:
    """Refuse a moment that is not likely to be meant."""
    if at > now + _AHEAD:
        msg = (
            f"measured_at {at.isoformat(timespec='minutes')} lies ahead: it is "
            f"{now.isoformat(timespec='minutes')} now; correct it, or the clock of this machine"
        )
        raise InputError(msg)
    if at.year < _FIRST_YEAR:
        msg = (
            f"measured_at {at.isoformat(timespec='minutes')} lies before {_FIRST_YEAR}; is the "
            f"year written with four digits? Correct it"
        )
        raise InputError(msg)


#: Most characters of a name, as everywhere.
_LONGEST_NAME = 100


def _line(text: str) -> str:
    line = clean_text(text, lines=False)
    if len(line) > _LONGEST_NAME:  # cut off, names of two reeds could become one
        msg = f"a name of {len(line)} characters is too long; give at most {_LONGEST_NAME}"
        raise InputError(msg)
    return line


_HEAD_READERS: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "reed": ("reed", _line),
    "style": ("style", _line),
    "length_mm": ("length", _length),
    "length_uncertainty_mm": ("length_uncertainty", _uncertainty),
    "thread_top_mm": ("thread_top", _thread_top),
    "instrument": ("instrument", _instrument),
    "state": ("state", _state),
    "measured_at": ("measured_at", _moment),
}


def _facts(
    head: Sequence[tuple[int, str, str]], now: datetime, problems: list[Problem]
) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for line, key, value in head:
        if key not in _HEAD_READERS:
            continue  # any other remark
        name, reader = _HEAD_READERS[key]
        try:
            found = reader(value)
            if isinstance(found, datetime):
                _check_moment(found, now)
        except InputError as error:
            problems.append(Problem(line, str(error)))
            continue
        if name in facts and facts[name] != found:
            problems.append(Problem(line, f"{key} stands twice with different values: which?"))
        facts[name] = found
    length, top = facts.get("length"), facts.get("thread_top")
    if length is not None and top is not None and not top < length:
        msg = f"thread top {top * 1e3:g} mm is not below the tip at {length * 1e3:g} mm"
        problems.append(Problem(0, msg))
    return facts


def _origin(columns: Sequence[str], stated: Set[str], problems: list[Problem]) -> Origin:
    """Return what positions are counted from; `stated` are the keys of the head, right or not."""
    named = [c for c in columns if c in _ORIGINS]
    origin = _ORIGINS[named[0]] if named else Origin.RIM
    if len(named) != 1:
        msg = f"name exactly one of {', '.join(_ORIGINS)}; found {len(named)}"
        problems.append(Problem(0, msg))
    thickness = [c for c in columns if c.startswith("thickness_")]
    if len(thickness) != 1:
        msg = f"name exactly one of thickness_mm, thickness_in; found {len(thickness)}"
        problems.append(Problem(0, msg))
    problems.extend(
        Problem(0, f"the column {needed} is missing")
        for needed in ("blade", "across_mm")
        if needed not in columns
    )
    if origin is Origin.TIP and "length_mm" not in stated:
        problems.append(Problem(0, "from_tip_mm needs the line '# length_mm: ...' above the table"))
    if origin is Origin.THREAD and "thread_top_mm" not in stated:
        msg = "from_thread_mm needs the line '# thread_top_mm: ...' above the table"
        problems.append(Problem(0, msg))
    return origin


def _reading(cells: Mapping[str, str], facts: Mapping[str, Any], origin: Origin) -> Reading:
    blade = _BLADES.get(cells["blade"].lower())
    if blade is None:
        msg = f"blade {cells['blade'][:40]!r} must be marked or plain (or m, p)"
        raise InputError(msg)
    distance = parse_number(cells[f"from_{origin.value}_mm"]) * 1e-3
    if origin is not Origin.RIM and distance < 0:
        msg = f"from_{origin.value}_mm = {distance * 1e3:g} mm lies off the blade; it must be >= 0"
        raise InputError(msg)
    along = from_rim(
        distance,
        origin,
        length=facts.get("length", math.nan),
        thread_top=facts.get("thread_top", math.nan),
    )
    if "length" in facts and along > facts["length"]:
        msg = (
            f"position {along * 1e3:g} mm from the rim is beyond the tip at "
            f"{facts['length'] * 1e3:g} mm; check the position or the length"
        )
        raise InputError(msg)
    inch = "thickness_in" in cells
    thickness = parse_number(cells["thickness_in" if inch else "thickness_mm"])
    minutes, seating = cells.get("minutes_wet", ""), cells.get("seating", "")
    reading = Reading(
        place=Place(blade, along, parse_number(cells["across_mm"]) * 1e-3),
        thickness=thickness * (25.4e-3 if inch else 1e-3),
        instrument=_instrument(cells.get("instrument") or facts.get("instrument", "dial")),
        seating=_whole(seating) if seating else 0,
        state=_state(cells["state"])
        if cells.get("state")
        else facts.get("state", CaneState.UNKNOWN),
        minutes_wet=parse_number(minutes) if minutes else None,
    )
    check_reading(reading)
    return reading


def _whole(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}", text):
        msg = f"seating {text[:40]!r} must be a whole number, 0 or more"
        raise InputError(msg)
    return int(text)


def _count_repeats(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    seen: Counter[Place] = Counter()
    counted: list[Reading] = []
    for reading in readings:
        counted.append(replace(reading, repeat=seen[reading.place]))
        seen[reading.place] += 1
    return tuple(counted)


def _taken(origin: Origin, facts: Mapping[str, Any], name: str) -> ReadingsTaken:
    source = "".join(c if c.isprintable() else "?" for c in name)[:200]
    if origin is Origin.RIM:
        return ReadingsTaken(source=source)
    used = facts["length"] if origin is Origin.TIP else facts["thread_top"]
    usual = Lengths.model_fields["overall_uncertainty"].default
    return ReadingsTaken(
        origin=origin.value,
        origin_length=used,
        origin_uncertainty=facts.get("length_uncertainty", usual),
        source=source,
    )


def _digest(readings: Sequence[Reading], facts: Mapping[str, Any]) -> str:
    """Digest what was said, not how it was typed: lengths count to the nanometre."""
    lines = [f"{k}={v!r}" for k, v in sorted(facts.items())]
    lines += [
        f"{r.place.blade},{r.place.along:.9f},{r.place.across:.9f},{r.thickness:.9f},"
        f"{r.instrument},{r.seating},{r.repeat},{r.state},{r.minutes_wet}"
        for r in readings
    ]
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()
