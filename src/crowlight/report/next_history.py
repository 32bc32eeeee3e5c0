"""What came of it: the best moment so far, and the last thing done against what was foreseen."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from crowlight.bench.advice_kinds import Advised, AfterCheck, Offered
from crowlight.bench.kinds import Clip, Cut, Opening, Verdict
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.reed import Blade
from crowlight.report.finding import zone_name
from crowlight.report.next_why import expected_rows
from crowlight.report.words import Words, mark

__all__ = ["Best", "Foretold", "Outcome", "best_moment", "last_outcome"]

#: A reed that was never liked has no best moment.
_LIKED = 3
_RESULTS = {
    "better": mark("better"),
    "same": mark("the same"),
    "worse": mark("worse"),
}


@dataclass(frozen=True, slots=True)
class Best:
    """When a reed was liked best, and what has gone since.

    Parameters
    ----------
    seq : int
        Entry that said so.
    at : datetime
        When that was.
    grade : int
        1 to 5.
    now : bool
        Whether nothing was taken off since.
    gone : tuple of str
        What was cut and clipped since, by place.
    """

    seq: int
    at: datetime
    grade: int
    now: bool
    gone: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Foretold:
    """One change: as it was foreseen, and as it was found; empty where nobody measured."""

    label: str
    foreseen: str
    basis: str
    found: str
    inside: bool | None


@dataclass(frozen=True, slots=True)
class Outcome:
    """The last thing done, and what came of it.

    Parameters
    ----------
    entry : Entry
        What was done.
    advised : bool
        Whether it was one of the options of an advice.
    result : str
        Better, the same or worse; empty if nobody said.
    rows : tuple of Foretold
        Predicted ranges against what was found.
    """

    entry: Entry
    advised: bool
    result: str
    rows: tuple[Foretold, ...]


def best_moment(state: ReedState, words: Words) -> Best | None:
    """Return when a reed was liked best; None if nobody liked it yet.

    Parameters
    ----------
    state : ReedState
        The reed.
    words : Words
        The language.
    """
    graded = [
        (p.grade, i, e)
        for i, e in enumerate(state.entries)
        if isinstance(p := e.payload, Verdict) and p.grade is not None
    ]
    if not graded:
        return None
    grade, index, entry = max(graded, key=lambda g: g[:2])
    if grade < _LIKED:
        return None
    since = [e.payload for e in state.entries[index + 1 :]]
    strokes: Counter[tuple[str, tuple[Blade, ...]]] = Counter()
    unknown: Counter[tuple[str, tuple[Blade, ...]]] = Counter()
    for p in since:
        if isinstance(p, Cut):
            key = (p.zone, tuple(sorted(p.blades)))
            if p.strokes is None:
                unknown[key] += 1
            else:
                strokes[key] += p.strokes
    clips = [p for p in since if isinstance(p, Clip)]
    gone = [
        words.say(
            mark("%(where)s: %(strokes)s light strokes"),
            where=_where(*key, words),
            strokes=words.number(n, 0),
        )
        for key, n in strokes.items()
    ]
    gone += [
        words.say(mark("%(where)s: cuts of unknown size"), where=_where(*key, words))
        for key in unknown
    ]
    known = sum(c.amount for c in clips if c.amount is not None)
    if known:
        gone.append(words.say(mark("%(length)s of length"), length=words.mm(known, 1)))
    if any(c.amount is None for c in clips):
        gone.append(words(mark("a clip of unknown size")))
    return Best(entry.seq, entry.happened_at, grade, not gone, tuple(gone))


def _where(zone: str, blades: tuple[Blade, ...], words: Words) -> str:
    name = zone_name(zone, words)
    which = words(mark("both blades")) if len(blades) == 2 else words.blade(blades[0])
    return f"{name}, {which}"


def last_outcome(state: ReedState, words: Words) -> Outcome | None:
    """Return the last thing that was done to a reed and what came of it; None for nothing.

    Parameters
    ----------
    state : ReedState
        The reed.
    words : Words
        The language.
    """
    done = [(i, e) for i, e in enumerate(state.entries) if isinstance(e.payload, Followed)]
    if not done:
        return None
    index, entry = done[-1]
    option = _option(state, entry)
    checks = [
        p.result
        for e in state.entries
        if isinstance(p := e.payload, AfterCheck) and p.follows == entry.uuid
    ]
    rows: list[Foretold] = []
    if option is not None:
        found = _opening_change(state, index)
        for e, row in zip(option.expected, expected_rows(_plain(option), words), strict=True):
            told, inside = "", None
            if e.name == "rest_height" and found is not None:
                change, spread = found
                told = f"{words.mm(change, 2, signed=True)} ± {words.number(spread * 1e3, 2)}"
                inside = e.low - 2 * spread <= change <= e.high + 2 * spread
            rows.append(Foretold(row.label, row.change, row.basis, told, inside))
    return Outcome(
        entry=entry,
        advised=option is not None,
        result=words(_RESULTS[checks[-1]]) if checks else "",
        rows=tuple(rows),
    )


def _option(state: ReedState, entry: Entry) -> Offered | None:
    payload = entry.payload
    if not isinstance(payload, Followed) or payload.option is None:
        return None
    advice = next((e.payload for e in state.entries if e.uuid == payload.advised), None)
    if not isinstance(advice, Advised) or payload.option >= len(advice.options):
        return None
    return advice.options[payload.option]


def _plain(option: Offered) -> list[dict[str, object]]:
    return [
        {"name": e.name, "unit": e.unit, "change": (e.low, e.middle, e.high), "basis": e.basis}
        for e in option.expected
    ]


def _opening_change(state: ReedState, index: int) -> tuple[float, float] | None:
    """Return how the opening changed over an entry, and its standard uncertainty [m]."""
    before = _first_opening(reversed(state.entries[:index]))
    after = _first_opening(iter(state.entries[index + 1 :]))
    if before is None or after is None:
        return None
    spread = (before.uncertainty**2 + after.uncertainty**2) ** 0.5
    return after.height - before.height, spread


def _first_opening(entries: Iterator[Entry]) -> Opening | None:
    """Return the first opening before anything else was taken off."""
    for e in entries:
        if isinstance(e.payload, (Cut, Clip)):
            return None
        if isinstance(e.payload, Opening):
            return e.payload
    return None
