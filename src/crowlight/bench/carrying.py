"""Readings carried past the cuts made since: what the gauge would say now, and how sure that is.

A gauge cannot see three light strokes, so it is not asked after every cut. Between measurements the
reed is followed by its log: each reading less what the logged strokes are expected to have taken at
its place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from crowlight.bench.kinds import Cut
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState, TimedReading
from crowlight.bench.styles import ENOUGH_READINGS
from crowlight.plan.cut import (
    Earlier,
    Part,
    StrokeSize,
    bare_reed,
    patch,
    read_share,
    slope_at,
)
from crowlight.reed import Blade, Place, instrument
from crowlight.reed.styles import Style

__all__ = ["Carried", "CutsLaid", "carried", "cut_part", "earlier_cuts"]

Real = NDArray[np.float64]

#: A blade is never taken to be thinner than this [m].
_LEAST = 0.01e-3
#: Grid a cut is laid out on.
_ROWS, _COLUMNS = 40, 21


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """Readings as they would be now.

    Parameters
    ----------
    readings : tuple of TimedReading
        Less what was taken off since, at the middle of the stroke's size.
    least, most : tuple of TimedReading
        The same with strokes one standard deviation smaller and larger; empty where no strokes were
        made since.
    unplaced : tuple of int
        Numbers of the entries of cuts since that do not say how much or where: not carried.
    """

    readings: tuple[TimedReading, ...]
    least: tuple[TimedReading, ...] = ()
    most: tuple[TimedReading, ...] = ()
    unplaced: tuple[int, ...] = ()


def carried(state: ReedState, style: Style, size: StrokeSize) -> Carried:
    """Carry the readings of a reed past the cuts made since.

    Parameters
    ----------
    state : ReedState
        The reed.
    style : Style
        Its style, laid on its length.
    size : StrokeSize
        Cane per light stroke of this maker, with the knife as it is.

    Returns
    -------
    Carried
        For each blade the latest sitting with enough readings for a map, and what was touched
        since; places that were clipped off are left out.
    """
    order = {e.uuid: i for i, e in enumerate(state.entries)}
    chosen = [t for t in _chosen(state) if t.reading.place.along <= style.length]
    cuts = [(i, e, e.payload) for i, e in enumerate(state.entries) if isinstance(e.payload, Cut)]
    laid = CutsLaid(style)
    first = min((order[t.entry] for t in chosen), default=0)
    unplaced = tuple(
        e.seq
        for i, e, cut in cuts
        if i > first and (_cane(cut, size) is None or not laid.placed(cut))
    )

    def at(factor: float) -> tuple[TimedReading, ...]:
        return tuple(_less(t, order[t.entry], cuts, laid, size, factor) for t in chosen)

    spread = math.exp(size.spread)
    by_strokes = any(i > first and _by_strokes(cut) for i, _, cut in cuts)
    return Carried(
        readings=at(1.0),
        least=at(1.0 / spread) if by_strokes else (),
        most=at(spread) if by_strokes else (),
        unplaced=unplaced,
    )


def earlier_cuts(state: ReedState, style: Style, size: StrokeSize) -> tuple[Earlier, ...]:
    """Return every cut of a reed's log that says how much and where, as a plan counts them.

    Parameters
    ----------
    state, style, size
        As for `carried`.
    """
    laid = CutsLaid(style)
    cuts = [e.payload for e in state.entries if isinstance(e.payload, Cut)]
    found: list[Earlier] = []
    for cut in cuts:
        cane = _cane(cut, size)
        if cane and laid.placed(cut):
            zone, part = cut_part(cut)
            if zone == "back" and any(z.name == "windows" for z in style.zones):
                zone = "windows"
            blades = tuple(Blade(b) for b in cut.blades)
            found.append(Earlier(zone, part, blades, cane, cut.direction == "oblique"))
    return tuple(found)


def _chosen(state: ReedState) -> Iterable[TimedReading]:
    """Yield the readings of each blade from its latest full sitting on."""
    order = {e.uuid: i for i, e in enumerate(state.entries)}
    start: dict[Blade, int] = {}
    for blade in Blade:
        counts: dict[int, int] = {}
        for t in state.readings:
            if t.reading.place.blade is blade:
                counts[order[t.entry]] = counts.get(order[t.entry], 0) + 1
        full = [i for i, n in counts.items() if n >= ENOUGH_READINGS]
        start[blade] = max(full, default=-1)
    return [t for t in state.readings if order[t.entry] >= start[t.reading.place.blade]]


def _by_strokes(cut: Cut) -> bool:
    return cut.depth is None and bool(cut.strokes)


def _cane(cut: Cut, size: StrokeSize, factor: float = 1.0) -> float | None:
    """Return what a cut is expected to have taken where it took most [m]; None if unknown."""
    if cut.depth is not None:
        return cut.depth
    return None if cut.strokes is None else cut.strokes * size.median * factor


def _less(
    timed: TimedReading,
    index: int,
    cuts: Sequence[tuple[int, Entry, Cut]],
    laid: CutsLaid,
    size: StrokeSize,
    factor: float,
) -> TimedReading:
    place, off = timed.reading.place, 0.0
    for i, _, cut in cuts:
        if i > index:
            off += (_cane(cut, size, factor) or 0.0) * laid.share(
                cut, place, timed.reading.instrument
            )
    if not off:
        return replace(timed, cut_since=False)
    thickness = max(timed.reading.thickness - off, min(timed.reading.thickness, _LEAST))
    return replace(timed, reading=replace(timed.reading, thickness=thickness), cut_since=False)


# --- where a cut took cane ------------------------------------------------------------------------


def cut_part(cut: Cut) -> tuple[str, Part]:
    """Return zone and part of a logged cut; corners are a part of the tip.

    Examples
    --------
    >>> cut_part(Cut(zone="corners", blades=("marked",), sides=("left",)))
    ('tip', <Part.LEFT_CORNER: 'left-corner'>)
    """
    zone = cut.zone.strip().lower()
    side = cut.sides[0].value if len(cut.sides) == 1 else ""
    if zone in ("corners", "corner"):
        return "tip", Part(cut.part or (f"{side}-corner" if side else "corners"))
    return zone, Part(cut.part or side or "whole")


class CutsLaid:
    """Where logged cuts took cane on reeds of one style and length; shapes are kept.

    Parameters
    ----------
    style : Style
        Laid on the reed's length.
    """

    def __init__(self, style: Style) -> None:
        self._style = style
        self._shapes: dict[tuple[str, Part, bool], Any] = {}

    def placed(self, cut: Cut) -> bool:
        """Whether the style has the zone of a cut."""
        return self._shape(cut) is not None

    def share(self, cut: Cut, place: Place, code: str) -> float:
        """Return what a gauge reads of a cut, as a share of where it took most; 0 off the cut."""
        shape = self._shape(cut) if place.blade in cut.blades else None
        if shape is None:
            return 0.0
        gauge = instrument(code)
        return read_share(shape, self._style, place, gauge.foot, gauge.placement)

    def slope(self, place: Place) -> float:
        """Return how steep the style is at a place: thickness per length."""
        return slope_at(self._style, place)

    def _shape(self, cut: Cut) -> Any:
        key = (*cut_part(cut), cut.direction == "oblique")
        if key not in self._shapes:
            self._shapes[key] = _shape(self._style, *key)
        return self._shapes[key]


def _shape(style: Style, zone: str, part: Part, oblique: bool) -> Any:
    """Return the shape of a cut between its grid points; None where the style has no such zone."""
    along: Real = np.linspace(style.length, style.thread_top, _ROWS)
    fraction: Real = np.linspace(-1.0, 1.0, _COLUMNS)
    reed = bare_reed(style, along, fraction)
    for name in (zone, "windows") if zone == "back" else (zone,):
        shape = patch(reed, name, part, oblique=oblique)
        if shape.any():
            return RegularGridInterpolator((along[::-1], fraction), shape[::-1])
    return None
