"""Paired differences of thickness at matching points.

*Left against right*: the two sides of one blade, as seen. *Marked against plain*: points that face
each other across the opening, so the left side of one blade meets the right side of the other.

Each reading is taken as

    shown = truth + seating offset + placement error x local slope + repeatability + rounding

and the differences get their uncertainty from these parts by the law of propagation (GUM, equation
13): what two points share, such as the seating offset of one mounting, cancels in their difference.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from crowlight.judge.decision import Decision, Outcome, decide, effective_dof
from crowlight.reed import (
    Blade,
    Instrument,
    Place,
    Reading,
    Repeatability,
    Side,
    instruments,
    pooled_repeatability,
)

__all__ = ["Comparison", "Differences", "Pairing", "paired_differences"]

#: Points closer than this along and across are the same point, read again [m].
SAME_POINT = 0.25e-3
#: Points closer than this to the centreline have no other side [m].
CENTRE = 0.5e-3
#: Where no neighbour tells the slope: thickness per length of a usual transition, halved
#: (common practice, no source).
SLOPE_UNKNOWN = 0.1
#: Between two points the cane may be steeper than their mean slope by this factor: a step as long
#: as two thirds of their distance.
STEEPER = 1.5
#: Neighbours further away than this say nothing about the local slope [m].
NEIGHBOUR = 4e-3
#: Own repeats replace the instrument's common-practice repeatability from this many degrees of
#: freedom on: as many as that value itself is given.
ENOUGH_DOF = 8
#: Less than this is rounding of the arithmetic: such a gauge shows no scatter, and tells none [m].
NO_SCATTER = 1e-9


class Pairing(StrEnum):
    """Which two points are compared."""

    LEFT_RIGHT = "left-right"
    MARKED_PLAIN = "marked-plain"


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One pair of points and what may be said of their difference.

    Parameters
    ----------
    pairing : Pairing
        Left minus right, or marked minus plain.
    blade : Blade or None
        The blade of a left-right pair.
    side : Side or None
        For a marked-plain pair off the centre, the side of the marked blade as seen.
    along : float
        Position from the bottom rim [m].
    across : float
        Distance from the centreline, >= 0 [m].
    decision : Decision
        Value [m], interval and outcome.
    seating : float
        The part of the standard uncertainty that comes from mountings and is shared with the other
        pairs of the same mountings [m].
    """

    pairing: Pairing
    blade: Blade | None
    side: Side | None
    along: float
    across: float
    decision: Decision
    seating: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Differences:
    """All comparisons of a reed.

    Parameters
    ----------
    comparisons : tuple of Comparison
        Tip first; pairs with only one point read are ``not_measured``.
    repeatability : Repeatability or None
        The maker's own for the gauge most used, if that was given; else from this reed's repeats
        where the cane is flat, if any such point was read twice.
    own_repeatability_used : bool
        Whether it replaced the instrument's common-practice value.
    tolerance : float
        The tolerance used [m].
    gauges : mapping of str to Repeatability
        The maker's own by instrument code, where they were used.
    """

    comparisons: tuple[Comparison, ...]
    repeatability: Repeatability | None
    own_repeatability_used: bool
    tolerance: float
    gauges: Mapping[str, Repeatability] = field(default_factory=dict[str, Repeatability])


@dataclass(frozen=True, slots=True)
class Point:
    """Readings of one point pooled."""

    place: Place
    thickness: float
    count: int
    gauge: Instrument
    seatings: Mapping[int, float]  # share of the readings taken in each mounting


def paired_differences(
    readings: Sequence[Reading],
    *,
    tolerance: float = 0.01e-3,
    risk: float = 0.05,
    gauges: Mapping[str, Repeatability] | None = None,
) -> Differences:
    """Compare left with right and marked with plain wherever both were read.

    Parameters
    ----------
    readings : sequence of Reading
        Readings of both blades in one wet state.
    tolerance : float
        Differences up to this size do not count as a fault [m]; the default is common practice,
        no source.
    risk : float
        Largest chance of naming any difference on a reed that has none.
    gauges : mapping of str to Repeatability, optional
        The maker's own repeatability by instrument code, from repeats on several reeds; where it is
        given, it counts instead of the instrument's own and of this reed's repeats.

    Returns
    -------
    Differences
        Every comparison, tip first. The result does not depend on the order of the readings.

    Examples
    --------
    >>> def at(blade, across, mm):
    ...     return Reading(Place(blade, 0.068, across), mm * 1e-3)
    >>> found = paired_differences([at(Blade.MARKED, -2e-3, 0.14), at(Blade.MARKED, 2e-3, 0.06)])
    >>> [(c.pairing.value, c.decision.outcome.value) for c in found.comparisons]
    ... # doctest: +NORMALIZE_WHITESPACE
    [('left-right', 'differs'), ('marked-plain', 'not_measured'),
     ('marked-plain', 'not_measured')]
    """
    own_gauges = dict(gauges or {})
    points = points_of(readings, own_gauges)
    slopes = slopes_of(points)
    flat = {cell(p.place) for p in points if is_flat(p, slopes)}
    repeats = pooled_repeatability(list(_repeats(readings, flat).values()))
    used = _most_used(readings, own_gauges)
    own = used is not None or is_enough(repeats)
    codes = {r.instrument for r in readings}
    pairs = _pairs(points)
    measured = sum(b is not None for _, _, b in pairs)
    comparisons: list[Comparison] = []
    for pairing, a, b in pairs:
        shared = 0.0
        if b is None:
            decision = Decision(outcome=Outcome.NOT_MEASURED, tolerance=tolerance, risk=risk)
        else:
            instead = repeats if own and used is None else None
            u, dof, shared = _uncertainty(a, b, slopes, instead)
            decision = decide(
                a.thickness - b.thickness,
                u,
                tolerance=tolerance,
                dof=dof,
                comparisons=measured,
                risk=risk,
            )
        comparisons.append(_comparison(pairing, a, b, decision, shared))
    return Differences(
        comparisons=tuple(sorted(comparisons, key=_tip_first)),
        repeatability=repeats if used is None else used,
        own_repeatability_used=own,
        tolerance=tolerance,
        gauges={code: own_gauges[code] for code in codes if code in own_gauges},
    )


def is_enough(found: Repeatability | None) -> bool:
    """Return whether own repeats may replace the common-practice value."""
    return found is not None and found.dof >= ENOUGH_DOF and found.standard_deviation > NO_SCATTER


def _most_used(
    readings: Sequence[Reading], gauges: Mapping[str, Repeatability]
) -> Repeatability | None:
    """Return the maker's own repeatability of the gauge most readings were taken with."""
    counted = Counter(r.instrument for r in readings if r.instrument in gauges)
    return gauges[counted.most_common(1)[0][0]] if counted else None


def _comparison(
    pairing: Pairing, a: Point, b: Point | None, decision: Decision, seating: float
) -> Comparison:
    if decision.outcome is Outcome.NOT_MEASURED and pairing is Pairing.MARKED_PLAIN:
        place = a.place if a.place.blade is Blade.MARKED else a.place.facing()
    else:
        place = a.place
    side = None
    if pairing is Pairing.MARKED_PLAIN and abs(place.across) >= CENTRE:
        side = Side.LEFT if place.across < 0 else Side.RIGHT
    along = place.along if b is None else (a.place.along + b.place.along) / 2
    return Comparison(
        pairing=pairing,
        blade=place.blade if pairing is Pairing.LEFT_RIGHT else None,
        side=side,
        along=along,
        across=abs(place.across),
        decision=decision,
        seating=seating,
    )


def _tip_first(c: Comparison) -> tuple[float, str, str, float, str]:
    return (-round(c.along, 6), c.pairing, c.blade or "", c.across, c.side or "")


def cell(place: Place) -> tuple[Blade, int, int]:
    """Cell of the point raster a place falls into; cells are `SAME_POINT` wide."""
    return (place.blade, round(place.along / SAME_POINT), round(place.across / SAME_POINT))


def is_flat(point: Point, slopes: Mapping[Place, float]) -> bool:
    """Whether misplacing the foot here matters about as little as the gauge's own scatter."""
    likely = point.gauge.placement * slopes[point.place] / STEEPER
    return likely <= 1.5 * point.gauge.repeatability


def _repeats(
    readings: Sequence[Reading], flat: set[tuple[Blade, int, int]]
) -> dict[object, list[float]]:
    """Group thicknesses of one place by one instrument, for the pooled repeatability.

    Only where the cane is flat: on a slope repeats scatter because the foot stands elsewhere each
    time, which is counted on its own.
    """
    groups: dict[object, list[float]] = defaultdict(list)
    for r in readings:
        if (key := cell(r.place)) in flat:
            groups[(key, r.instrument)].append(r.thickness)
    return groups


def points_of(
    readings: Sequence[Reading], own: Mapping[str, Repeatability] | None = None
) -> list[Point]:
    """Pool the readings of each point; `own` is the maker's own repeatability by instrument."""
    known = {
        code: gauge.with_repeatability(own[code]) if own and code in own else gauge
        for code, gauge in instruments().items()
    }
    cells: dict[tuple[Blade, int, int], list[Reading]] = defaultdict(list)
    for r in readings:
        cells[cell(r.place)].append(r)
    points: list[Point] = []
    for key in sorted(cells):
        group = cells[key]
        n = len(group)
        share: dict[int, float] = defaultdict(float)
        for r in group:
            share[r.seating] += 1 / n
        # the coarsest gauge used at this point speaks for all of its readings
        gauge = max((known[r.instrument] for r in group), key=lambda g: g.repeatability)
        place = Place(
            key[0],
            math.fsum(r.place.along for r in group) / n,
            math.fsum(r.place.across for r in group) / n,
        )
        points.append(Point(place, math.fsum(r.thickness for r in group) / n, n, gauge, share))
    return points


def slopes_of(points: Sequence[Point]) -> dict[Place, float]:
    """Thickness per length around each point: the steepest step to a near neighbour.

    Neighbours of both blades and sides count, folded on the centreline, because the steps of a
    scrape are common to all four; the root of the squares along and across.
    """
    x = np.array([p.place.along for p in points])
    y = np.abs([p.place.across for p in points])
    h = np.array([p.thickness for p in points])
    found: dict[Place, float] = {}
    for p, xi, yi, hi in zip(points, x, y, h, strict=True):
        dx, dy, step = np.abs(x - xi), np.abs(y - yi), np.abs(h - hi)
        found[p.place] = math.hypot(_steepest(dx, dy, step), _steepest(dy, dx, step))
    return found


def _steepest(
    distance: NDArray[np.float64], aside: NDArray[np.float64], step: NDArray[np.float64]
) -> float:
    """Steepest step to the nearest points at some `distance` and hardly `aside`."""
    near = (distance > SAME_POINT) & (distance <= NEIGHBOUR) & (aside <= 3 * SAME_POINT)
    if not near.any():
        return SLOPE_UNKNOWN
    near &= distance <= distance[near].min() + 2 * SAME_POINT
    return STEEPER * float((step[near] / distance[near]).max())


def _pairs(points: Sequence[Point]) -> list[tuple[Pairing, Point, Point | None]]:
    """List (pairing, left or marked point, other point or None)."""
    near: dict[tuple[Blade, int, int], list[Point]] = defaultdict(list)
    for p in points:
        near[cell(p.place)].append(p)

    def find(place: Place) -> Point | None:
        blade, i, j = cell(place)
        found = [
            p
            for di in (-1, 0, 1)
            for dj in (-1, 0, 1)
            for p in near.get((blade, i + di, j + dj), ())
            if abs(p.place.along - place.along) <= SAME_POINT
            and abs(p.place.across - place.across) <= SAME_POINT
        ]
        return min(
            found,
            key=lambda p: math.hypot(p.place.along - place.along, p.place.across - place.across),
            default=None,
        )

    pairs: list[tuple[Pairing, Point, Point | None]] = []
    for p in points:
        if abs(p.place.across) >= CENTRE:
            partner = find(p.place.mirrored())
            if p.place.across < 0:
                pairs.append((Pairing.LEFT_RIGHT, p, partner))
            elif partner is None:
                pairs.append((Pairing.LEFT_RIGHT, p, None))
        partner = find(p.place.facing())
        if p.place.blade is Blade.MARKED:
            pairs.append((Pairing.MARKED_PLAIN, p, partner))
        elif partner is None:
            pairs.append((Pairing.MARKED_PLAIN, p, None))
    return pairs


def _uncertainty(
    a: Point, b: Point, slopes: Mapping[Place, float], own: Repeatability | None
) -> tuple[float, float, float]:
    """Combine the parts of a difference: standard uncertainty [m], its dof, the seating's part."""
    parts: list[tuple[float, float]] = []
    for p in (a, b):
        gauge = p.gauge.with_repeatability(own) if own else p.gauge
        parts.append((gauge.repeatability / math.sqrt(p.count), gauge.dof))
        # repeats of one point round alike: they do not average the rounding away (GUM F.2.2.1)
        parts.append((gauge.resolution / math.sqrt(12), math.inf))
        parts.append((gauge.placement * slopes[p.place] / math.sqrt(p.count), math.inf))
    shared = a.place.blade is b.place.blade
    mountings = set(a.seatings) | set(b.seatings)
    weights = [
        (a.seatings.get(s, 0.0) - b.seatings.get(s, 0.0)) ** 2
        if shared
        else a.seatings.get(s, 0.0) ** 2 + b.seatings.get(s, 0.0) ** 2
        for s in mountings
    ]
    seating = max(a.gauge.seating, b.gauge.seating) * math.sqrt(math.fsum(weights))
    parts.append((seating, math.inf))
    return math.sqrt(math.fsum(u * u for u, _ in parts)), effective_dof(parts), seating
