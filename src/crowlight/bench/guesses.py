"""Hunches and advice, scored by what came of them.

A guess can be judged only where it was tried: what would have come of the other one nobody knows.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from crowlight.bench.advice_kinds import Advised, AfterCheck, Guess, Offered
from crowlight.bench.carrying import cut_part
from crowlight.bench.kinds import Clip, Cut, Rest
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import current
from crowlight.reed import Blade

__all__ = ["Scored", "Tally", "scored_guesses"]

Result = Literal["better", "same", "worse"]


@dataclass(frozen=True, slots=True)
class Tally:
    """How guesses came out: tried and better, the same or worse afterwards; the rest untried."""

    made: int = 0
    better: int = 0
    same: int = 0
    worse: int = 0

    @property
    def tried(self) -> int:
        """How many were tried and checked afterwards."""
        return self.better + self.same + self.worse

    def and_one(self, result: Result | None) -> Tally:
        """Return the tally with one more guess; None: it was not tried, or not checked."""
        return Tally(
            self.made + 1,
            self.better + (result == "better"),
            self.same + (result == "same"),
            self.worse + (result == "worse"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Scored:
    """Hunches against the tool, over many reeds.

    Parameters
    ----------
    tool : Tally
        Of the options that were advised.
    people : mapping of str to Tally
        Of each who guessed, by the name they gave.
    agreed, both : int
        How often hunch and advice were the same, of how many times both were made.
    brier : float or None
        Mean square of the tool's probability that it comes closer less what came (better 1, the
        same one half, worse 0); a coin gets 0.25 where half come out better and half worse. None
        where nothing was tried.
    predicted : int
        How many predictions that is over.
    """

    tool: Tally = Tally()
    people: Mapping[str, Tally] = field(default_factory=dict[str, Tally])
    agreed: int = 0
    both: int = 0
    brier: float | None = None
    predicted: int = 0


#: What an act is, for telling whether two are the same: kind, zone, part, blades.
Mark = tuple[str, str, str, frozenset[Blade]]


def scored_guesses(logs: Iterable[Sequence[Entry]]) -> Scored:
    """Score the guesses and the advice of several reeds.

    Parameters
    ----------
    logs : iterable of sequence of Entry
        The entries of each reed.
    """
    tool, agreed, both = Tally(), 0, 0
    people: dict[str, Tally] = {}
    squares: list[float] = []
    for log in logs:
        entries = current(log)
        results: dict[UUID, Result] = {
            e.payload.follows: e.payload.result
            for e in entries
            if isinstance(e.payload, AfterCheck)
        }
        for i, e in enumerate(entries):
            if isinstance(e.payload, Advised):
                chosen = e.payload.options[e.payload.advised]
                deed = _next_deed(entries, i)
                result = _came_of(_mark(chosen), deed, results)
                tool = tool.and_one(result)
                if result is not None:
                    came = {"better": 1.0, "same": 0.5, "worse": 0.0}[result]
                    squares.append((chosen.better - came) ** 2)
            elif isinstance(e.payload, Guess):
                own = _guessed(e.payload)
                who = e.payload.who
                result = _came_of(own, _next_deed(entries, i), results)
                people[who] = people.get(who, Tally()).and_one(result)
                told = _next_advice(entries, i)
                if told is not None:
                    both += 1
                    agreed += _same(own, _mark(told.options[told.advised]))
    return Scored(
        tool=tool,
        people=people,
        agreed=agreed,
        both=both,
        brier=math.fsum(squares) / len(squares) if squares else None,
        predicted=len(squares),
    )


def _next_deed(entries: Sequence[Entry], start: int) -> Entry | None:
    return next((e for e in entries[start + 1 :] if isinstance(e.payload, Followed)), None)


def _next_advice(entries: Sequence[Entry], start: int) -> Advised | None:
    for e in entries[start + 1 :]:
        if isinstance(e.payload, Guess | Followed):
            return None
        if isinstance(e.payload, Advised):
            return e.payload
    return None


def _came_of(guessed: Mark, deed: Entry | None, results: Mapping[UUID, Result]) -> Result | None:
    """Return what came of a guess; None where something else was done, or nothing checked."""
    if deed is None or not _same(guessed, _done(deed)):
        return None
    return results.get(deed.uuid)


def _mark(offered: Offered) -> Mark:
    place = offered.name if offered.kind == "act" else offered.zone
    return offered.kind, place, offered.part or "whole", frozenset(offered.blades)


def _guessed(guess: Guess) -> Mark:
    zone, part = guess.zone.strip().lower(), guess.part or "whole"
    if zone in ("corners", "corner"):
        zone, part = "tip", guess.part or "corners"
    return guess.does or "scrape", zone, part, frozenset(guess.blades or tuple(Blade))


def _done(entry: Entry) -> Mark:
    match entry.payload:
        case Cut() as cut:
            zone, part = cut_part(cut)
            return "scrape", zone, part.value, frozenset(cut.blades)
        case Clip():
            return "clip", "length", "whole", frozenset(Blade)
        case Rest():
            return "rest", "", "whole", frozenset[Blade]()
        case _:
            return "act", getattr(entry.payload, "what", ""), "whole", frozenset[Blade]()


def _same(one: Mark, two: Mark) -> bool:
    """Whether two acts are the same thing at the same place."""
    if one[0] != two[0]:
        return False
    return one == two if one[0] == "scrape" else one[0] != "act" or one[1] in ("", two[1])
