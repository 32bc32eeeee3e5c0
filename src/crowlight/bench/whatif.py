"""What a cut would do, before it is made: effects of every zone, and a full solve when chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.cuts import Cut, Lever, Leverage
from crowlight.bench.learned import unknowns_of
from crowlight.bench.ports import Report
from crowlight.bench.solved import FILM, Solved, laid, solved
from crowlight.blade import (
    OUTPUTS,
    Interval,
    Mechanics,
    change_intervals,
    changed,
    evaluate,
    intervals,
)
from crowlight.reed import Blade

__all__ = ["Moved", "Outcome", "leverage", "what_if"]

Grid = NDArray[np.floating[Any]]

#: Ways of the transition at which its effect is kept [m].
MOVES = (0.0, 0.25e-3, 0.5e-3, 1e-3, 2e-3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One output before and after a cut, each with its interval.

    Parameters
    ----------
    before, before_low, before_high, after, after_low, after_high : float
        The reed as it is, and as it would be.
    change, change_low, change_high : float
        What the cut does: far surer than either state, as what is unknown is unknown of both.
    """

    before: float
    before_low: float
    before_high: float
    after: float
    after_low: float
    after_high: float
    change: float
    change_low: float
    change_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A cut, solved in full.

    Parameters
    ----------
    outputs : mapping of str to Moved
        By name.
    level : float
        Probability of the intervals.
    notes : tuple of str
        Where to read the result with care.
    """

    outputs: Mapping[str, Moved]
    level: float
    notes: tuple[str, ...]


def leverage(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Leverage:
    """Say what cane off each zone does, for `foresee`.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Raises
    ------
    InputError
        If there is no style or too few readings.
    OutsideModel
        If the model has no answer for this reed.
    """
    reed = solved(inputs, report)
    names = [n for n in OUTPUTS if n in reed.answer.values]

    def slopes(part: Grid, blade: Blade) -> tuple[float, ...]:
        return _slopes(reed, blade, laid(part, blade), names)

    levers = tuple(
        Lever(zone=zone, blade=blade, side=side, slopes=slopes(-part, blade))
        for zone, side, part in reed.parts()
        for blade in Blade
    )
    moves = MOVES if reed.transition else ()
    answer = reed.answer
    effects = answer.effects
    clips = dict(zip(effects.names, effects.clip_slopes, strict=True)) if effects else {}
    return Leverage(
        names=tuple(names),
        values=tuple(float(answer.values[n]) for n in names),
        levers=levers,
        moves=moves,
        moved={
            blade: tuple(_slopes(reed, blade, reed.moved_back(blade, by), names) for by in moves)
            for blade in Blade
        },
        clip=tuple(float(clips.get(n, np.nan)) for n in names),
    )


def what_if(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Outcome:
    """Solve a reed before and after a cut.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`, with ``cut`` (`Cut`).
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    Outcome
        Intervals to first order.

    Raises
    ------
    InputError
        If the reed has no such zone, or no transition to move.
    OutsideModel
        If the model has no answer for the reed before or after.
    """
    cut: Cut = inputs["cut"]
    reed = solved(inputs, lambda f: report(0.3 * f))
    change, thin = reed.change(cut)
    after = evaluate(
        changed(reed.answer.blades, change).apart(),
        playing_pressure=reed.answer.playing_pressure,
        report=lambda f: report(0.3 + 0.3 * f),
    )
    found = _outcome(reed, after, inputs, report)
    if not thin:
        return found
    return Outcome(outputs=found.outputs, level=found.level, notes=(FILM, *found.notes))


def _outcome(reed: Solved, after: Mechanics, inputs: Mapping[str, Any], report: Report) -> Outcome:
    before = reed.answer
    marked, plain = reed.marked, reed.plain
    unknowns = unknowns_of(before.blades, inputs.get("learned"))
    moved = change_intervals(before, after, unknowns, marked=marked, plain=plain)
    report(0.8)
    one = intervals(before, unknowns, marked=marked, plain=plain, samples=0)
    report(0.9)
    unknowns = unknowns_of(after.blades, inputs.get("learned"))
    two = intervals(after, unknowns, marked=marked, plain=plain, samples=0)
    report(1.0)
    return Outcome(
        outputs={n: _row(one[n], two[n], moved[n]) for n in OUTPUTS if n in moved},
        level=next(iter(moved.values())).level,
        notes=tuple(dict.fromkeys((*before.notes, *after.notes))),
    )


def _row(before: Interval, after: Interval, change: Interval) -> Moved:
    return Moved(
        before=before.value,
        before_low=before.low,
        before_high=before.high,
        after=after.value,
        after_low=after.low,
        after_high=after.high,
        change=change.value,
        change_low=change.low,
        change_high=change.high,
    )


def _slopes(reed: Solved, blade: Blade, change: Grid, names: list[str]) -> tuple[float, ...]:
    effects = reed.answer.effects
    if effects is None:
        return tuple(float("nan") for _ in names)
    marked = blade is Blade.MARKED
    told = effects.predict(marked=change) if marked else effects.predict(plain=change)
    return tuple(float(f"{told.get(n, np.nan):.6g}") for n in names)
