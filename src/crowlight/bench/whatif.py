"""What a cut would do, before it is made: a quick sum while choosing, a full solve when chosen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.learned import middle_of, unknowns_of
from crowlight.bench.mapping import thickness_map
from crowlight.bench.mechanics import reed_blades, wet_readings
from crowlight.bench.ports import Report
from crowlight.blade import (
    OUTPUTS,
    Change,
    Interval,
    Mechanics,
    change_intervals,
    changed,
    evaluate,
    intervals,
    move_transition,
)
from crowlight.errors import InputError
from crowlight.reed import Blade, Side
from crowlight.reed.thickness import ThicknessMap

__all__ = [
    "LIMITS",
    "Cut",
    "Foreseen",
    "Lever",
    "Leverage",
    "Moved",
    "Outcome",
    "foresee",
    "leverage",
    "what_if",
]

Grid = NDArray[np.floating[Any]]

#: Most that may be asked about at once [m]: depth of a scrape, way of the transition, clip.
LIMITS: Mapping[str, float] = {"depth": 0.2e-3, "back": 2e-3, "clip": 2e-3}
#: Ways of the transition at which its effect is kept [m].
MOVES = (0.0, 0.25e-3, 0.5e-3, 1e-3, 2e-3)
#: A blade is never taken to be thinner than this [m].
THINNEST = 6e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A cut one thinks of.

    Parameters
    ----------
    zone : str
        Zone of the style to scrape; empty for none.
    blade : Blade or None
        The blade to scrape; None for both.
    side : Side or None
        The side of it, as seen facing that blade; None for both.
    depth : float
        Cane taken off all over the zone [m].
    back : float
        How far the transition is moved towards the thread [m], on the same blades.
    clip : float
        Clipped off the tip [m].

    Raises
    ------
    InputError
        If a length is negative or above `LIMITS`.
    """

    zone: str = ""
    blade: Blade | None = None
    side: Side | None = None
    depth: float = 0.0
    back: float = 0.0
    clip: float = 0.0

    def __post_init__(self) -> None:
        for name, most in LIMITS.items():
            value = float(getattr(self, name))
            if not 0.0 <= value <= most * (1 + 1e-9):
                msg = f"{name} {value * 1e3:g} mm must lie between 0 and {most * 1e3:g} mm"
                raise InputError(msg)

    @property
    def blades(self) -> tuple[Blade, ...]:
        """The blades that are cut."""
        return tuple(Blade) if self.blade is None else (self.blade,)

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides that are scraped."""
        return tuple(Side) if self.side is None else (self.side,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What cane off one side of a zone of one blade does.

    Parameters
    ----------
    zone, blade, side
        As in `Cut`.
    slopes : tuple of float
        Change of every output per length taken off [output unit / m].
    """

    zone: str
    blade: Blade
    side: Side
    slopes: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leverage:
    """Everything needed to foresee a cut without solving anything.

    Parameters
    ----------
    names : tuple of str
        Outputs, in the order of the slopes.
    values : tuple of float
        The outputs as they are.
    levers : tuple of Lever
        One for each side of each zone of each blade.
    moves : tuple of float
        Ways of the transition [m]; empty if the style has none.
    moved : mapping of Blade to tuple
        Change of every output for each of them.
    clip : tuple of float
        Change of every output per length clipped [output unit / m].
    """

    names: tuple[str, ...]
    values: tuple[float, ...]
    levers: tuple[Lever, ...]
    moves: tuple[float, ...]
    moved: Mapping[Blade, tuple[tuple[float, ...], ...]]
    clip: tuple[float, ...]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """One output and what a cut adds to it, to first order."""

    before: float
    change: float


def foresee(levers: Leverage, cut: Cut) -> dict[str, Foreseen]:
    """Foresee a cut: effects times change, without solving anything.

    Parameters
    ----------
    levers : Leverage
        Of the reed.
    cut : Cut
        The cut.

    Returns
    -------
    dict of str to Foreseen
        By output. A few per cent of the change off for usual cuts, more for deep ones.

    Raises
    ------
    InputError
        If the reed has no such zone, or no transition to move.
    """
    total = cut.clip * np.array(levers.clip)
    if cut.depth and cut.zone not in {lever.zone for lever in levers.levers}:
        raise InputError(_no_zone(cut.zone, [lever.zone for lever in levers.levers]))
    for lever in levers.levers:
        if lever.zone == cut.zone and lever.blade in cut.blades and lever.side in cut.sides:
            total = total + cut.depth * np.array(lever.slopes)
    if cut.back:
        if not levers.moves:
            raise InputError(_NO_TRANSITION)
        for blade in cut.blades:
            table = np.array(levers.moved[blade])
            total = total + [np.interp(cut.back, levers.moves, column) for column in table.T]
    return {
        name: Foreseen(before=value, change=float(change))
        for name, value, change in zip(levers.names, levers.values, total, strict=True)
    }


_NO_TRANSITION = "the scrape style of this reed has no transition to move; scrape a zone instead"


def _no_zone(zone: str, known: list[str]) -> str:
    return f"no zone {zone!r} on this reed; there are {', '.join(dict.fromkeys(known))}"


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """A reed, its map and its answer."""

    found: ThicknessMap
    answer: Mechanics


def _solved(inputs: Mapping[str, Any], report: Report) -> _Solved:
    found = thickness_map(inputs, wet_readings(inputs), None)
    blades, _, _ = reed_blades(
        found, opening=inputs.get("opening"), tip_width=inputs.get("tip_width")
    )
    blades = middle_of(blades, inputs.get("learned"))
    return _Solved(found, evaluate(blades.apart(), report=report))


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
    solved = _solved(inputs, report)
    names = [n for n in OUTPUTS if n in solved.answer.values]

    def slopes(part: Grid, blade: Blade) -> tuple[float, ...]:
        return _slopes(solved, blade, _laid(part, blade), names)

    levers = tuple(
        Lever(zone=zone, blade=blade, side=side, slopes=slopes(-part, blade))
        for zone, side, part in _parts(solved.found)
        for blade in Blade
    )
    moves = MOVES if _transition(solved.found) else ()
    answer = solved.answer
    effects = answer.effects
    clips = dict(zip(effects.names, effects.clip_slopes, strict=True)) if effects else {}
    return Leverage(
        names=tuple(names),
        values=tuple(float(answer.values[n]) for n in names),
        levers=levers,
        moves=moves,
        moved={
            blade: tuple(_slopes(solved, blade, _moved(solved, blade, by), names) for by in moves)
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
    solved = _solved(inputs, lambda f: report(0.3 * f))
    grids = {blade: _thickness(solved, blade).copy() for blade in Blade}
    change = {blade: np.zeros(grids[blade].shape) for blade in Blade}
    if cut.depth:
        parts = [(z, s, p) for z, s, p in _parts(solved.found) if z == cut.zone]
        if not parts:
            raise InputError(_no_zone(cut.zone, [z for z, _, _ in _parts(solved.found)]))
        for blade in cut.blades:
            for _, side, part in parts:
                if side in cut.sides:
                    change[blade] -= cut.depth * _laid(part, blade)
    if cut.back:
        if _transition(solved.found) is None:
            raise InputError(_NO_TRANSITION)
        for blade in cut.blades:
            change[blade] += _moved(solved, blade, cut.back)
    thin = False
    for blade in Blade:
        least = np.minimum(THINNEST - grids[blade], 0.0)
        thin = thin or bool((change[blade] < least).any())
        change[blade] = np.maximum(change[blade], least)
    after = evaluate(
        changed(
            solved.answer.blades,
            Change(change[Blade.MARKED], change[Blade.PLAIN], cut.clip),
        ).apart(),
        playing_pressure=solved.answer.playing_pressure,
        report=lambda f: report(0.3 + 0.3 * f),
    )
    found = _outcome(solved, after, inputs, report)
    if not thin:
        return found
    note = "the cut would go through the blade: it was taken to leave a film there"
    return Outcome(outputs=found.outputs, level=found.level, notes=(note, *found.notes))


def _outcome(
    solved: _Solved, after: Mechanics, inputs: Mapping[str, Any], report: Report
) -> Outcome:
    before = solved.answer
    _, marked, plain = reed_blades(
        solved.found, opening=inputs.get("opening"), tip_width=inputs.get("tip_width")
    )
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


def _parts(found: ThicknessMap) -> Iterator[tuple[str, Side, Grid]]:
    """Yield zones by side: 1 where the side of the zone is, a half on the centreline, else 0."""
    rows, columns = np.meshgrid(found.along, found.fraction, indexing="ij")
    for zone in found.zones.zones:
        inside = zone.contains(rows, columns)
        if not inside.any():
            continue
        for side, sign in ((Side.LEFT, -1.0), (Side.RIGHT, 1.0)):
            share = np.where(np.abs(columns) < 1e-9, 0.5, np.where(columns * sign > 0, 1.0, 0.0))
            yield zone.name, side, np.where(inside, share, 0.0)


def _laid(part: Grid, blade: Blade) -> Grid:
    """Turn a grid as seen facing a blade, tip first, into the blade model's; see `reed_blades`."""
    return part[::-1] if blade is Blade.MARKED else part[::-1, ::-1]


def _thickness(solved: _Solved, blade: Blade) -> Grid:
    blades = solved.answer.blades
    grid = blades.marked if blade is Blade.MARKED or blades.plain is None else blades.plain
    return np.asarray(grid.values, dtype=float)


def _transition(found: ThicknessMap) -> tuple[float, float] | None:
    """Where the transition begins and ends on the centreline, from the tip [m]."""
    zone = next((z for z in found.zones.zones if z.name == "transition"), None)
    if zone is None:
        return None
    length = found.style.length
    start, end = length - zone.stop[0], length - zone.start[0]
    return (start, end) if end > start > 0 else None


def _moved(solved: _Solved, blade: Blade, by: float) -> Grid:
    """Change of thickness where the transition of one blade moves back."""
    ends = _transition(solved.found)
    blades = solved.answer.blades
    grid = blades.marked if blade is Blade.MARKED or blades.plain is None else blades.plain
    if ends is None:
        return np.zeros(grid.values.shape)
    return move_transition(
        grid, start=ends[0], end=ends[1], by=by, length=float(blades.shape.length)
    )


def _slopes(solved: _Solved, blade: Blade, change: Grid, names: list[str]) -> tuple[float, ...]:
    effects = solved.answer.effects
    if effects is None:
        return tuple(float("nan") for _ in names)
    marked = blade is Blade.MARKED
    told = effects.predict(marked=change) if marked else effects.predict(plain=change)
    return tuple(float(f"{told.get(n, np.nan):.6g}") for n in names)
