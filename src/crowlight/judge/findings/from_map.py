"""From a thickness map to what is known of a reed's shape: levels of zones, sides, floors.

The first judgement asks what a maker reads off a gauge; findings ask more: how thick tip, windows,
rails and spine are against what is wanted, and which side of a tip or corner is the thicker one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from crowlight.judge.findings.evidence import BladeKnown, Geometry, Measured, SideKnown
from crowlight.judge.findings.from_geometry import as_read, geometry_known
from crowlight.judge.geometry import AT_SIDE, CORNER, TOLD, of_style
from crowlight.judge.geometry import Geometry as Judged
from crowlight.judge.sums import (
    ThicknessSum,
    evaluate,
    fall,
    point,
    strip_mean,
    transition_position,
    transition_steepness,
    zone_mean,
)
from crowlight.reed import Blade, Side
from crowlight.reed.styles import Figure, Zone
from crowlight.reed.thickness import BLADES, ThicknessMap

__all__ = ["against", "geometry_of_map", "mean_of"]

T = TypeVar("T", Geometry, BladeKnown, SideKnown)

#: Levels of a side and of a blade, by zone.
_SIDE_ZONES: Mapping[str, str] = {"tip": "tip", "heart": "heart", "windows": "window",
                                  "rails": "rail"}  # fmt: skip
_BLADE_ZONES: Mapping[str, str] = {"spine": "spine", "bark": "gouge"}
#: Half of the strip along the centreline that a tip's level is taken from, as a fraction.
_STRIP = 0.25
#: A floor is judged by the thinnest tenth of a zone, as in a plan.
_THINNEST = 0.1
#: What is not a deviation: it does not change with what is wanted.
_ABSOLUTE = frozenset({"clipping_room", "opening_lopsided", "tie_beyond", "overlap", "hardness",
                       "at_floor", "blades", "lump", "sides", "corner_excess"})  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Level:
    """One quantity against the style, and where it belongs."""

    name: str
    blade: Blade
    side: Side | None
    total: ThicknessSum
    figure: Figure


def geometry_of_map(found: ThicknessMap, judged: Judged, *, doubt: float = 1.0) -> Geometry:
    """Return what a thickness map tells the findings.

    Parameters
    ----------
    found : ThicknessMap
        The map, with its style laid on the reed's length.
    judged : judge.geometry.Geometry
        The first judgement of it.
    doubt : float
        How much of the style's own spread is added to the uncertainty of a level; 1 where the style
        is all that is known of what is wanted, 0 to compare with another reed by `against`.

    Returns
    -------
    Geometry
        All that `geometry_known` gives; the levels of tip, windows, rails, spine and bark, and of
        the heart at its sides; steepness and place of the transition at the sides; left against
        right of corners and of the tip's fall; each corner against the three others; zones at their
        floor. All as the readings say by themselves (`as_read`). What the readings tell less
        than a third of is missing.
    """
    base = geometry_known(judged, found.style)
    levels = list(_levels(found))
    between, corners = list(_between(found)), list(_corners(found))
    totals = (total for _, _, total in (*between, *corners))
    got = evaluate(found, [*(x.total for x in levels), *totals])
    blades = {Blade.MARKED: base.marked, Blade.PLAIN: base.plain}
    for i, level in enumerate(levels):
        if got.told[i] >= TOLD:
            off = float(got.values[i]) - level.figure.value
            read = as_read(off, float(got.sd[i]), float(got.told[i]))
            value = Measured(read.value, math.hypot(read.uncertainty, doubt * level.figure.spread))
            blades[level.blade] = _with(blades[level.blade], level, value)
    for i, (blade, name, _) in enumerate(between, start=len(levels)):
        if got.told[i] >= TOLD:
            value = as_read(float(got.values[i]), float(got.sd[i]), float(got.told[i]))
            sides = {**blades[blade].sides, name: value}
            blades[blade] = replace(blades[blade], sides=sides)
    for i, (blade, side, _) in enumerate(corners, start=len(levels) + len(between)):
        if got.told[i] >= TOLD:
            excess = as_read(float(got.values[i]), float(got.sd[i]), float(got.told[i]))
            own = replace(blades[blade].side(side), corner_excess=excess)
            blades[blade] = replace(blades[blade], **{side.value: own})
    return replace(
        base,
        marked=blades[Blade.MARKED],
        plain=blades[Blade.PLAIN],
        at_floor=frozenset(_at_floor(found)),
    )


def against(own: Geometry, wanted: Geometry) -> Geometry:
    """Return a reed's shape against another's instead of the style's.

    Parameters
    ----------
    own, wanted : Geometry
        Both against one style, from `geometry_of_map` without doubt.

    Returns
    -------
    Geometry
        Deviations of the first from the second, their uncertainties taken as independent; where
        either was not measured the quantity is missing. What is no deviation stays.
    """
    return replace(
        _minus(own, wanted),
        marked=_blade_less(own.marked, wanted.marked),
        plain=_blade_less(own.plain, wanted.plain),
    )


def mean_of(several: Iterable[Geometry]) -> Geometry:
    """Return the mean shape of several reeds, for `against`.

    Each quantity is the mean over the reeds that have it; its uncertainty is that of one of them
    (root mean square), as gauge and map are shared. What is no deviation is left out.
    """
    return _mean(list(several), Geometry())


# --- what is summed -------------------------------------------------------------------------------


def _levels(found: ThicknessMap) -> Iterable[_Level]:
    style, zones = found.style, {z.name: z for z in found.zones.zones}

    def level(name: str, b: int, side: Side | None, total: ThicknessSum) -> _Level:
        return _Level(name, BLADES[b], side, total, of_style(style, total))

    for b in range(len(BLADES)):
        for zone, name in _SIDE_ZONES.items():
            if zone in zones and _sided(zones[zone]):
                for side in Side:
                    yield level(name, b, side, zone_mean(style, zones[zone], b, side))
        for zone, name in _BLADE_ZONES.items():
            if zone in zones:
                yield level(name, b, None, zone_mean(style, zones[zone], b))
        front = zones["tip"].start[0]
        yield level("tip", b, None, strip_mean(b, front, style.length - 0.2e-3, _STRIP))
        yield from _transitions(found, b)


def _sided(zone: Zone) -> bool:
    return zone.outer > 0.3


def _transitions(found: ThicknessMap, b: int) -> Iterable[_Level]:
    """Yield place and steepness of the transition at both sides."""
    style = found.style
    position, setback = (style.profile[f"transition.{n}"] for n in ("position", "setback"))
    middle = position.value - setback.value * AT_SIDE
    wanted = Figure(middle, position.spread, "derived")
    for side, fraction in ((Side.LEFT, -AT_SIDE), (Side.RIGHT, AT_SIDE)):
        place = transition_position(found, b, fraction)
        yield _Level("transition", BLADES[b], side, place, wanted)
        here = float(evaluate(found, [place]).values[0])
        # as steep as the style is at its own line
        figure = of_style(style, transition_steepness(b, middle, fraction))
        steep = transition_steepness(b, here, fraction)
        yield _Level("steepness", BLADES[b], side, steep, figure)


def _between(found: ThicknessMap) -> Iterable[tuple[Blade, str, ThicknessSum]]:
    """Yield left minus right of what is measured from the centre: the shared centre cancels."""
    style = found.style
    front = found.zones.zone("tip").start[0]
    for b, blade in enumerate(BLADES):
        for name, along in (
            ("corner", style.length - CORNER),
            ("tip_slope", 0.5 * (front + style.length)),
        ):
            left, right = (fall(b, along, f) for f in (-AT_SIDE, AT_SIDE))
            # a corner is thick where its fall is small
            yield blade, name, (right - left if name == "corner" else left - right)


def _corners(found: ThicknessMap) -> Iterable[tuple[Blade, Side, ThicknessSum]]:
    """Yield how much thicker each corner is than the mean of the three others."""
    along = found.style.length - CORNER
    at = {
        (blade, side): point(b, along, AT_SIDE * (1.0 if side is Side.RIGHT else -1.0))
        for b, blade in enumerate(BLADES)
        for side in Side
    }
    for blade, side in at:
        total = at[blade, side]
        for other, there in at.items():
            if other != (blade, side):
                total = total - there * (1.0 / (len(at) - 1))
        yield blade, side, total


def _with(blade: BladeKnown, level: _Level, value: Measured) -> BladeKnown:
    if level.side is None:
        return replace(blade, **{level.name: value})
    side = replace(blade.side(level.side), **{level.name: value})
    return replace(blade, **{level.side.value: side})


def _at_floor(found: ThicknessMap) -> Iterable[str]:
    """Yield zones whose thinnest tenth lies below its floor by more than its uncertainty."""
    rows, columns = np.meshgrid(found.along, found.fraction, indexing="ij")
    taken = np.zeros(rows.shape, bool)
    for zone in found.zones.zones:
        mine = zone.contains(rows, columns) & ~taken
        taken |= mine
        t = zone.tolerance
        floor = t.floor + (t.floor_edge - t.floor) * np.abs(columns)
        if not mine.any() or floor[mine].max() <= 0.0:
            continue
        for b in range(len(BLADES)):
            spare = np.sort((found.mean[b] + found.sd[b] - floor)[mine])
            if spare[: max(1, int(_THINNEST * len(spare)))].mean() <= 0.0:
                yield zone.name
                break


# --- against another reed -------------------------------------------------------------------------


def _blade_less(own: BladeKnown, wanted: BladeKnown) -> BladeKnown:
    return replace(
        _minus(own, wanted),
        left=_minus(own.left, wanted.left),
        right=_minus(own.right, wanted.right),
    )


def _minus(own: T, wanted: T) -> T:
    changed: dict[str, Any] = {}
    for field in fields(own):
        a, b = getattr(own, field.name), getattr(wanted, field.name)
        if field.name in _ABSOLUTE or not isinstance(a, Measured):
            continue
        changed[field.name] = (
            Measured(a.value - b.value, math.hypot(a.uncertainty, b.uncertainty))
            if isinstance(b, Measured)
            else None
        )
    return replace(own, **changed)


def _mean(several: list[T], empty: T) -> T:
    changed: dict[str, Any] = {}
    for field in fields(empty):
        if field.name in _ABSOLUTE:
            continue
        have = [getattr(x, field.name) for x in several]
        start = getattr(empty, field.name)
        if isinstance(start, BladeKnown):
            changed[field.name] = _mean(have, start)
            continue
        if isinstance(start, SideKnown):
            changed[field.name] = _mean(have, start)
            continue
        values = [v for v in have if isinstance(v, Measured) and v.tells]
        if values:
            n = len(values)
            u = math.sqrt(math.fsum(v.uncertainty**2 for v in values) / n)
            changed[field.name] = Measured(math.fsum(v.value for v in values) / n, u)
    return replace(empty, **changed)
