"""Reeds solved for what-if, kept for a while in the process that solved them, and cuts of them.

Jobs about one reed go to the same worker process, so a reed solved for one question is still there
for the next. A few are kept; what is lost is solved again.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.cuts import NO_TRANSITION, STROKE_RADIUS, Cut, no_zone
from crowlight.bench.from_map import reed_blades, wet_readings
from crowlight.bench.learned import middle_of
from crowlight.bench.mapping import thickness_map
from crowlight.bench.ports import Report
from crowlight.bench.tasks import result_key
from crowlight.blade import (
    Change,
    MapSpread,
    Mechanics,
    Prepared,
    brush,
    evaluate,
    move_transition,
    prepare,
)
from crowlight.errors import InputError
from crowlight.reed import Blade, Side
from crowlight.reed.thickness import ThicknessMap

__all__ = ["FILM", "KEPT", "Solved", "laid", "solved"]

Grid = NDArray[np.floating[Any]]

#: Said of a cut deeper than the blade.
FILM = "the cut would go through the blade: it was taken to leave a film there"
#: Reeds kept, some twenty megabytes each.
KEPT = 3
#: A blade is never taken to be thinner than this [m].
THINNEST = 6e-6


@dataclass(frozen=True, eq=False)
class Solved:
    """A reed, its map and its answer, both blades apart.

    Parameters
    ----------
    found : ThicknessMap
        The map.
    answer : Mechanics
        The blades solved, with maps.
    marked, plain : MapSpread
        How unsure both maps are.
    """

    found: ThicknessMap
    answer: Mechanics
    marked: MapSpread
    plain: MapSpread

    @cached_property
    def ready(self) -> Prepared:
        """What is needed to solve the reed quickly after a cut."""
        return prepare(self.answer)

    def thickness(self, blade: Blade) -> Grid:
        """Thickness of one blade on the blade model's grid [m]."""
        blades = self.answer.blades
        grid = blades.marked if blade is Blade.MARKED or blades.plain is None else blades.plain
        return np.asarray(grid.values, dtype=float)

    def parts(self) -> Iterator[tuple[str, Side, Grid]]:
        """Yield zones by side as seen facing a blade, tip first.

        1 where the side of the zone is, a half on the centreline, else 0.
        """
        found = self.found
        rows, columns = np.meshgrid(found.along, found.fraction, indexing="ij")
        for zone in found.zones.zones:
            inside = zone.contains(rows, columns)
            if not inside.any():
                continue
            for side, sign in ((Side.LEFT, -1.0), (Side.RIGHT, 1.0)):
                share = np.where(
                    np.abs(columns) < 1e-9, 0.5, np.where(columns * sign > 0, 1.0, 0.0)
                )
                yield zone.name, side, np.where(inside, share, 0.0)

    @property
    def transition(self) -> tuple[float, float] | None:
        """Where the transition begins and ends on the centreline, from the tip [m]."""
        zone = next((z for z in self.found.zones.zones if z.name == "transition"), None)
        if zone is None:
            return None
        length = self.found.style.length
        start, end = length - zone.stop[0], length - zone.start[0]
        return (start, end) if end > start > 0 else None

    def moved_back(self, blade: Blade, by: float) -> Grid:
        """Change of thickness where the transition of one blade moves back [m]."""
        ends = self.transition
        blades = self.answer.blades
        grid = blades.marked if blade is Blade.MARKED or blades.plain is None else blades.plain
        if ends is None:
            return np.zeros(grid.values.shape)
        return move_transition(
            grid, start=ends[0], end=ends[1], by=by, length=float(blades.shape.length)
        )

    def stroke(self, blade: Blade, from_tip: float, across: float) -> Grid:
        """Shape of one soft round stroke on a blade, 1 in its middle.

        Parameters
        ----------
        blade : Blade
            The blade.
        from_tip : float
            Its middle [m].
        across : float
            The same across, facing the blade, -1 to 1.
        """
        blades = self.answer.blades
        grid = blades.marked if blade is Blade.MARKED or blades.plain is None else blades.plain
        return brush(
            grid,
            across=across if blade is Blade.MARKED else -across,
            along=float(blades.shape.length) - from_tip,
            radius=STROKE_RADIUS,
        )

    def change(self, cut: Cut) -> tuple[Change, bool]:
        """Return what a cut takes off both blades, and whether it had to stop at a film of cane.

        Raises
        ------
        InputError
            If the reed has no such zone, or no transition to move.
        """
        change = {blade: np.zeros(self.thickness(blade).shape) for blade in Blade}
        if cut.depth and cut.from_tip is not None:
            for blade in cut.blades:
                change[blade] -= cut.depth * self.stroke(blade, cut.from_tip, cut.across)
        elif cut.depth:
            zones = [(z, s, p) for z, s, p in self.parts() if z == cut.zone]
            if not zones:
                raise InputError(no_zone(cut.zone, [z for z, _, _ in self.parts()]))
            for blade in cut.blades:
                for _, side, part in zones:
                    if side in cut.sides:
                        change[blade] -= cut.depth * laid(part, blade)
        if cut.back:
            if self.transition is None:
                raise InputError(NO_TRANSITION)
            for blade in cut.blades:
                change[blade] += self.moved_back(blade, cut.back)
        thin = False
        for blade in Blade:
            least = np.minimum(THINNEST - self.thickness(blade), 0.0)
            thin = thin or bool((change[blade] < least).any())
            change[blade] = np.maximum(change[blade], least)
        return Change(change[Blade.MARKED], change[Blade.PLAIN], cut.clip), thin


def laid(part: Grid, blade: Blade) -> Grid:
    """Turn a grid as seen facing a blade, tip first, into the blade model's; see `reed_blades`."""
    return part[::-1] if blade is Blade.MARKED else part[::-1, ::-1]


_kept: OrderedDict[str, Solved] = OrderedDict()
_lock = threading.Lock()


def solved(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Solved:
    """Solve a reed, or find it solved.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`; a ``cut`` is left aside.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Raises
    ------
    InputError
        If there is no style or too few readings.
    OutsideModel
        If the model has no answer for this reed.
    """
    about = {name: value for name, value in inputs.items() if name != "cut"}
    key = result_key("leverage", about)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    found = thickness_map(about, wet_readings(about), None)
    blades, marked, plain = reed_blades(
        found, opening=about.get("opening"), tip_width=about.get("tip_width")
    )
    blades = middle_of(blades, about.get("learned"))
    one = Solved(found, evaluate(blades.apart(), report=report), marked, plain)
    with _lock:
        _kept[key] = one
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return one
