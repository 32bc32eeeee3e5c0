"""What came of it, in words: the last thing done, the best moment so far, hunches and advice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from crowlight.bench.advice_kinds import Guess, Treated
from crowlight.bench.carrying import cut_part
from crowlight.bench.desk import LIKED
from crowlight.bench.guesses import Scored, Tally
from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.outcomes import BestMoment, Changed, Found
from crowlight.bench.payload import Followed
from crowlight.judge.findings import catalogue
from crowlight.reed import Blade
from crowlight.report.advice_log import offered_said
from crowlight.report.finding import zone_name
from crowlight.report.held import Held
from crowlight.report.next_cut import where_held
from crowlight.report.next_why import basis_said, chance_said, expected_rows, output_name
from crowlight.report.words import Words, mark

__all__ = [
    "RESULTS",
    "BestSaid",
    "Came",
    "CameRow",
    "ScoreRow",
    "best_said",
    "came_said",
    "deed_said",
    "guess_said",
    "score_rows",
]

#: How it was afterwards.
RESULTS: Mapping[str, str] = {
    "better": mark("better"),
    "same": mark("the same"),
    "worse": mark("worse"),
}
#: Options whose chance of coming closer to what is wanted was worked out.
_CUTS = ("scrape", "clip")
_FOUND: Mapping[str, str] = {
    "cane": mark("cane taken off where it was most"),
    "clip": mark("length clipped off"),
}


@dataclass(frozen=True, slots=True)
class CameRow:
    """One change: as it was foreseen and as it was found; empty where nobody said or measured."""

    name: str
    label: str
    foreseen: str
    basis: str
    found: str
    within: bool | None


@dataclass(frozen=True, slots=True)
class Came:
    """What came of the last thing done.

    Parameters
    ----------
    entry : str
        Its uuid.
    kind : str
        What kind of thing it was.
    at : datetime
        When.
    instead : str
        What was advised, if something else was done.
    result : str
        Better, the same or worse; empty if nobody said.
    better : str
        How likely it was to come closer to what is wanted, as told beforehand; empty for none.
    rows : tuple of CameRow
        Predicted ranges against what was found.
    """

    entry: str
    kind: str
    at: datetime
    instead: str
    result: str
    better: str
    rows: tuple[CameRow, ...]


@dataclass(frozen=True, slots=True)
class BestSaid:
    """When a reed was liked best: entry and time, how well, and what has gone since.

    `now` says that nothing was done since, `good` that it is liked well enough to be left.
    """

    entry: int
    at: datetime
    said: str
    words: str
    now: bool
    good: bool
    gone: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """Hunches or advice of one source: who, how many, how many were tried, and how they came out.

    `said` is the same in a sentence.
    """

    who: str
    made: int
    tried: int
    said: str


def came_said(changed: Changed, words: Words) -> Came:
    """Return what came of a deed, in words.

    Parameters
    ----------
    changed : Changed
        From ``desk.advice.what_changed``.
    words : Words
        The language.
    """
    found = {f.name: f for f in changed.found}
    rows: list[CameRow] = []
    offered, instead = changed.offered, ""
    if offered is not None and changed.followed:
        if offered.cane[2] > 0.0:
            low, _, high = offered.cane
            rows.append(_row("cane", _range(low, high, words), "", found, words))
        told = [
            {"name": e.name, "unit": e.unit, "change": (e.low, e.middle, e.high),
             "basis": e.basis, "without_own_cuts": e.raw, "own_cuts": e.own_cuts}
            for e in offered.expected
        ]  # fmt: skip
        rows += [
            _row(row.name, row.change, row.basis, found, words)
            for row in expected_rows(told, words)
        ]
    elif offered is not None:
        instead = offered_said(offered, words)
    seen = {r.name for r in rows}
    rows += [_row(name, "", "", found, words) for name in found if name not in seen]
    return Came(
        entry=str(changed.done.uuid),
        kind=words.kind(changed.done.payload.kind),
        at=changed.done.happened_at,
        instead=instead,
        result=words(RESULTS[changed.result]) if changed.result else "",
        better=chance_said(changed.better, words)
        if changed.better is not None and offered is not None and offered.kind in _CUTS
        else "",
        rows=tuple(rows),
    )


def _row(name: str, foreseen: str, basis: str, found: Mapping[str, Found], words: Words) -> CameRow:
    label = words(_FOUND[name]) if name in _FOUND else output_name(name, words)
    one = found.get(name)
    told = ""
    if one is not None:
        signed = name not in _FOUND
        digits = 3 if name == "cane" else 2
        value = words.mm(one.value, digits, signed=signed)
        told = f"{value} ± {words.number(one.uncertainty * 1e3, digits)}"
    return CameRow(
        name=name,
        label=label,
        foreseen=foreseen,
        basis=basis or (basis_said(["your data"], words) if foreseen else ""),
        found=told,
        within=one.within if one is not None else None,
    )


def _range(low: float, high: float, words: Words) -> str:
    return words.say(mark("%(low)s to %(high)s"), low=words.thin(low), high=words.thick(high))


def best_said(best: BestMoment, words: Words) -> BestSaid:
    """Return when a reed was liked best and what has gone since, in words.

    Parameters
    ----------
    best : BestMoment
        From ``desk.advice.best_moment``.
    words : Words
        The language.
    """
    gone = [
        words.say(
            mark("%(zone)s: %(strokes)s light strokes, both blades added up"),
            zone=zone_name(zone, words),
            strokes=words.number(n, 0),
        )
        for zone, n in best.strokes.items()
    ]
    if best.clipped:
        text = mark("%(length)s clipped off")
        gone.append(words.say(text, length=words.mm(best.clipped, 1)))
    for name, value, digits in (
        (mark("opening %(change)s"), best.opening, 2),
        (mark("%(change)s thinner on average where it was measured twice"), best.thinner, 3),
    ):
        if value is not None and round(value * 1e3, digits) != 0:
            change = words.mm(value, digits, signed="opening" in name)
            gone.append(words.say(name, change=change))
    said = (
        words(mark("better after what was done"))
        if best.grade is None
        else words.say(mark("%(grade)s of 5"), grade=best.grade)
    )
    return BestSaid(
        entry=best.entry,
        at=best.at,
        said=said,
        words=best.words,
        now=best.deeds == 0,
        good=(best.grade or 0) >= LIKED,
        gone=tuple(gone),
    )


_DOES: Mapping[str, str] = {
    "clip": mark("clip it"),
    "act": mark("something without a knife"),
    "leave": mark("leave it"),
    "rest": mark("rest it"),
}


def guess_said(guess: Guess, held: Held, words: Words) -> str:
    """Return a hunch in a line, its place as the reed is held."""
    if guess.does is not None and guess.does != "scrape":
        return words(_DOES[guess.does])
    place = {
        "kind": "scrape",
        "zone": guess.zone,
        "part": guess.part or "whole",
        "blades": list(guess.blades or tuple(Blade)),
    }
    return where_held(place, held, words)


def deed_said(payload: Followed, held: Held, words: Words) -> str:
    """Return what was done in a line, its place as the reed is held; empty where a kind says all.

    Parameters
    ----------
    payload : Followed
        A cut, clip, rest or treatment.
    held : Held
        How the reed is held.
    words : Words
        The language.
    """
    match payload:
        case Cut():
            zone, part = cut_part(payload)
            place = {
                "kind": "scrape",
                "zone": zone,
                "part": part.value,
                "blades": list(payload.blades),
            }
            said = [where_held(place, held, words)]
            if payload.strokes:
                said.append(
                    words.count("%(num)s light stroke", "%(num)s light strokes", payload.strokes)
                )
            elif payload.depth:
                said.append(words.thick(payload.depth, 3))
            return ", ".join(said)
        case Clip():
            return words.mm(payload.amount, 1) if payload.amount else words(mark("size not known"))
        case Treated():
            remedy = catalogue().remedies.get(payload.what)
            return words(remedy.title).rstrip(".") if remedy else payload.what
        case _:
            return ""


def score_rows(scored: Scored, words: Words) -> list[ScoreRow]:
    """Return how hunches and advice came out, the people first.

    Parameters
    ----------
    scored : Scored
        From ``desk.advice.guesses``.
    words : Words
        The language.
    """
    rows = [
        _score(who or words(mark("your guesses")), tally, words)
        for who, tally in sorted(scored.people.items())
    ]
    return [*rows, _score(words(mark("the tool")), scored.tool, words)]


def _score(who: str, tally: Tally, words: Words) -> ScoreRow:
    said = words.say(
        mark(
            "%(made)s made, %(tried)s tried: %(better)s better, %(same)s the same, %(worse)s worse"
        ),
        made=tally.made,
        tried=tally.tried,
        better=tally.better,
        same=tally.same,
        worse=tally.worse,
    )
    return ScoreRow(who, tally.made, tally.tried, said)
