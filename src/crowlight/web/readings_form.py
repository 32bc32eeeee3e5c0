"""The form for thickness readings: rows of where and how thick, one mounting at a time."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from crowlight.bench.kinds import ReadingsTaken
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.errors import InputError
from crowlight.reed import (
    Blade,
    CaneState,
    Origin,
    Place,
    Reading,
    Side,
    check_reading,
    from_rim,
    instrument,
)
from crowlight.report.words import Words, mark
from crowlight.web.numbers import shown, typed_number
from crowlight.web.typing_in import Trouble, Typed

__all__ = [
    "MOST_ROWS",
    "ROWS",
    "Taken",
    "row_names",
    "rows_of",
    "start",
    "start_correction",
    "taken",
]

#: Empty rows offered at a time.
ROWS = 8
#: Most rows of one form; more readings come as a table.
MOST_ROWS = 200
#: Standard uncertainty of a length somebody read off a ruler [m] (common practice, no source).
_RULER = 0.25e-3
#: Places closer than this are the same place, read again [m].
_SAME = 0.05e-3

_COLUMNS = ("blade", "along", "side", "out", "thickness")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What a form of readings says."""

    payload: ReadingsTaken
    readings: tuple[Reading, ...]


def row_names(row: int) -> dict[str, str]:
    """Return the names of the fields of one row, by column."""
    return {c: f"{c}-{row}" for c in _COLUMNS}


def _one(typed: Typed, name: str) -> str:
    values = typed.get(name) or ("",)
    return values[0].strip()


def start(state: ReedState) -> dict[str, list[str]]:
    """Return what an empty form starts with: what is known of the reed."""
    last = state.readings[-1] if state.readings else None
    out = {"rows": [str(ROWS)], "origin": ["tip" if state.length is not None else "rim"]}
    if state.length is not None:
        out["tip-length"] = [shown(state.length * 1e3)]
    if state.lengths is not None and state.lengths.thread_top is not None:
        out["thread-length"] = [shown(state.lengths.thread_top * 1e3)]
    if last is not None:
        out["gauge"] = [last.reading.instrument]
        out["state"] = [last.reading.state.value]
        out["origin"] = [last.taken.origin]
    return out


def start_correction(entry: Entry) -> dict[str, list[str]]:
    """Return what one would have typed to get this entry."""
    payload = entry.payload
    if not isinstance(payload, ReadingsTaken):
        msg = f"entry {entry.seq} holds no readings"
        raise InputError(msg)
    length = payload.origin_length
    out = {"rows": [str(len(entry.readings))], "origin": [payload.origin if length else "rim"]}
    if length is not None:
        out[f"{payload.origin}-length"] = [shown(length * 1e3)]
    for row, r in enumerate(entry.readings):
        name = row_names(row)
        along = r.place.along
        if length is not None:
            along = length - along if payload.origin == "tip" else along - length
        out[name["blade"]] = [r.place.blade.value]
        out[name["along"]] = [shown(round(along * 1e3, 4))]
        out[name["side"]] = [_side_of(r.place.across)]
        out[name["out"]] = [shown(round(abs(r.place.across) * 1e3, 4))]
        out[name["thickness"]] = [shown(round(r.thickness * 1e3, 5))]
    return out


def _side_of(across: float) -> str:
    return "centre" if across == 0 else Side.LEFT if across < 0 else Side.RIGHT


def taken(
    typed: Typed, *, words: Words, before: Sequence[Reading] = (), corrects: Entry | None = None
) -> tuple[Taken | None, list[Trouble]]:
    """Read a form of readings.

    Parameters
    ----------
    typed : Typed
        What was typed.
    words : Words
        The language of the messages.
    before : sequence of Reading
        Readings that are kept already: they tell which of the new ones are repeats.
    corrects : Entry, optional
        The entry this form corrects: what is not asked again is taken from it, row by row.

    Returns
    -------
    taken : Taken or None
        None if anything is wrong.
    troubles : list of Trouble
        Everything that is wrong, in the order of the fields.
    """
    troubles: list[Trouble] = []
    try:
        origin = Origin(_one(typed, "origin") or "rim")
    except ValueError:
        origin = Origin.RIM
        text = words(mark("Choose where the positions are counted from."))
        troubles.append(Trouble("origin", text))
    length = _origin_length(typed, origin, words, troubles)
    common = _common(typed, words, troubles, corrects)
    as_written = start_correction(corrects) if corrects is not None else {}
    same_origin = all(_one(typed, n) == _one(as_written, n) for n in ("origin", f"{origin}-length"))
    found: list[Reading] = []
    for row in range(rows_of(typed)):
        model = common
        if corrects is not None and row < len(corrects.readings):
            model = _kept(corrects.readings[row], common, typed)
            names = row_names(row).values()
            if same_origin and all(_one(typed, n) == _one(as_written, n) for n in names):
                found.append(model)  # not touched, so not rounded either
                continue
        reading = _row(typed, row, origin, length, model, words, troubles)
        if reading is not None:
            found.append(reading)
    if not found and not troubles:
        text = words(
            mark("No reading is filled in; type position and thickness into at least one row.")
        )
        troubles.append(Trouble(row_names(0)["along"], text))
    if troubles:
        return None, troubles
    before_it = corrects.payload if corrects is not None else None
    payload = ReadingsTaken(
        origin=origin.value,
        origin_length=None if origin is Origin.RIM else length,
        origin_uncertainty=0.0 if origin is Origin.RIM else _RULER,
        source=before_it.source if isinstance(before_it, ReadingsTaken) else "",
        burst=before_it.burst if isinstance(before_it, ReadingsTaken) else None,
    )
    return Taken(payload=payload, readings=tuple(_numbered(found, before))), []


def _origin_length(
    typed: Typed, origin: Origin, words: Words, troubles: list[Trouble]
) -> float | None:
    if origin is Origin.RIM:
        return None
    name = f"{origin}-length"
    label, low, high = (
        (words(mark("Overall length")), 30.0, 100.0)
        if origin is Origin.TIP
        else (words(mark("Top of the thread")), 10.0, 90.0)
    )
    text = _one(typed, name)
    if not text:
        why = words.say(
            mark(
                "%(field)s is needed, because the positions are counted from there; measure it, "
                "or count from the bottom rim"
            ),
            field=label,
        )
        troubles.append(Trouble(name, why))
        return None
    try:
        mm = typed_number(text, unit="mm", words=words)
    except InputError as error:
        troubles.append(Trouble(name, f"{label}: {error}"))
        return None
    if not low < mm < high:
        why = words.say(
            mark(
                "%(field)s = %(value)s mm must lie between %(low)s mm and %(high)s mm; %(remedy)s"
            ),
            field=label,
            value=shown(mm),
            low=shown(low),
            high=shown(high),
            remedy=words.say(
                mark("if it was read in inches, type %(mm)s"), mm=f"{shown(round(mm * 25.4, 2))} mm"
            )
            if low < mm * 25.4 < high
            else words(mark("measure again")),
        )
        troubles.append(Trouble(name, why))
        return None
    return mm * 1e-3


def _common(typed: Typed, words: Words, troubles: list[Trouble], corrects: Entry | None) -> Reading:
    """Return a reading that holds what all rows share."""
    blade, state, gauge = Blade.MARKED, CaneState.UNKNOWN, "dial"
    if corrects is None:
        try:
            blade = Blade(_one(typed, "blade"))
        except ValueError:
            troubles.append(Trouble("blade", words(mark("Choose the blade that was measured."))))
    if _one(typed, "state"):
        try:
            state = CaneState(_one(typed, "state"))
        except ValueError:
            troubles.append(Trouble("state", words(mark("Choose whether the cane was wet."))))
    if _one(typed, "gauge"):
        try:
            gauge = instrument(_one(typed, "gauge")).code
        except InputError as error:
            troubles.append(Trouble("gauge", str(error)))
    minutes = None
    if _one(typed, "minutes"):
        label = words(mark("Minutes since it was wetted"))
        try:
            minutes = typed_number(_one(typed, "minutes"), unit="min", words=words)
            if not 0 <= minutes < 10_000:
                text = words.say(
                    mark(
                        "%(value)s min must lie between 0 min and 10,000 min; leave it empty if "
                        "not known"
                    ),
                    value=shown(minutes),
                )
                troubles.append(Trouble("minutes", f"{label}: {text}"))
        except InputError as error:
            troubles.append(Trouble("minutes", f"{label}: {error}"))
    place = Place(blade, 0.05, 0.0)
    return Reading(place, 0.5e-3, instrument=gauge, state=state, minutes_wet=minutes)


def _kept(old: Reading, common: Reading, typed: Typed) -> Reading:
    """Return an old reading with what the correction states for all rows."""
    return replace(
        old,
        state=common.state if _one(typed, "state") else old.state,
        instrument=common.instrument if _one(typed, "gauge") else old.instrument,
        minutes_wet=common.minutes_wet if _one(typed, "minutes") else old.minutes_wet,
    )


def _row(
    typed: Typed,
    row: int,
    origin: Origin,
    length: float | None,
    model: Reading,
    words: Words,
    troubles: list[Trouble],
) -> Reading | None:
    """Read one row; None if it is empty or wrong."""
    name = row_names(row)
    along, out, thickness = (_one(typed, name[c]) for c in ("along", "out", "thickness"))
    side = _one(typed, name["side"])
    if not (along or out or thickness):
        return None
    where = words.say(mark("Row %(row)s"), row=row + 1)
    numbers: dict[str, float] = {}
    wrong = len(troubles)
    for column, text, label in (
        ("along", along, words(mark("position"))),
        ("out", out or ("0" if side == "centre" else ""), words(mark("from the centreline"))),
        ("thickness", thickness, words(mark("thickness"))),
    ):
        if not text:
            missing = words.say(
                mark("%(what)s is missing; fill it in or clear the row"), what=label
            )
            troubles.append(Trouble(name[column], f"{where}: {missing}"))
            continue
        try:
            numbers[column] = typed_number(text, unit="mm", words=words)
        except InputError as error:
            troubles.append(Trouble(name[column], f"{where}, {label}: {error}"))
    if len(troubles) > wrong:
        return None
    trouble = _side_trouble(side, numbers["out"], words)
    if trouble:
        troubles.append(Trouble(name["out"], f"{where}: {trouble}"))
        return None
    blade = model.place.blade
    if _one(typed, name["blade"]) in set(Blade):
        blade = Blade(_one(typed, name["blade"]))
    if origin is not Origin.RIM and length is None:
        return None  # said once, beside the length
    position = from_rim(
        numbers["along"] * 1e-3, origin, length=length or 0.0, thread_top=length or 0.0
    )
    # to a tenth of a micrometre: what is less comes from the arithmetic
    position = round(position, 7)
    across = round(numbers["out"] * 1e-3 * (-1 if side == "left" else 1), 7)
    place = Place(blade, position, across)
    if math.dist((position, across), (model.place.along, model.place.across)) < 1e-7:
        place = replace(model.place, blade=blade)  # not moved, so not rounded either
    reading = replace(model, place=place, thickness=round(numbers["thickness"] * 1e-3, 8))
    try:
        check_reading(reading)
    except InputError as error:
        bad = "along" if "along" in str(error) else "out" if "across" in str(error) else "thickness"
        troubles.append(Trouble(name[bad], f"{where}: {error}"))
        return None
    return reading


def _side_trouble(side: str, out: float, words: Words) -> str:
    """Ask about a side that is in doubt rather than guess it."""
    if out < 0:
        return words.say(
            mark(
                "%(value)s mm from the centreline must be 0 mm or more; choose left or right for "
                "the side"
            ),
            value=shown(out),
        )
    if side == "centre" and out > 0:
        return words.say(
            mark(
                "%(value)s mm from the centreline is not at the centre; choose left or right, or "
                "type 0"
            ),
            value=shown(out),
        )
    if side not in {"left", "right", "centre"} and out > 0:
        return words.say(
            mark("%(value)s mm from the centreline, but on which side? Choose left or right"),
            value=shown(out),
        )
    return ""


def _numbered(found: Sequence[Reading], before: Iterable[Reading]) -> Iterable[Reading]:
    """Yield the readings with the repeats of each place numbered, those kept before counted."""

    def key(r: Reading) -> tuple[object, ...]:
        return (
            r.place.blade,
            round(r.place.along / _SAME),
            round(r.place.across / _SAME),
            r.state,
        )

    seen: Counter[tuple[object, ...]] = Counter(key(r) for r in before)
    for r in found:
        yield replace(r, repeat=seen[key(r)])
        seen[key(r)] += 1


def rows_of(typed: Mapping[str, Sequence[str]]) -> int:
    """Return how many rows a form shows."""
    text = _one(typed, "rows")
    return max(1, min(int(text) if text.isdecimal() else ROWS, MOST_ROWS))
