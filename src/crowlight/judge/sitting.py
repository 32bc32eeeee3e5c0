"""What one sitting tells of the gauge and of the reed drying while it is measured.

A sitting is a run of readings of one reed in one wet state, in the order in which they were taken.
Its first point, read once more at the end, shows how far the cane has drifted meanwhile; repeats of
other points where the cane is flat show how well gauge and hand repeat themselves.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from crowlight.judge.decision import Decision, Outcome, decide, effective_dof
from crowlight.judge.differences import (
    SAME_POINT,
    STEEPER,
    cell,
    is_enough,
    is_flat,
    points_of,
    slopes_of,
)
from crowlight.reed import Place, Reading, Repeatability, instruments, pooled_repeatability

__all__ = ["REWET", "Drift", "drift_of", "flat_repeats", "own_gauges"]

#: What to do when the reed has drifted: wet it again, wait, and measure anew.
REWET = "rewet-and-wait"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How the first point of a sitting had changed when it was read again at the end.

    Parameters
    ----------
    place : Place
        The point.
    minutes : float or None
        Between the two, if the readings say how long the reed had been wet.
    decision : Decision
        Last less first [m], negative for a drying reed, with its interval; ``differs`` when it is
        more than repeatability and placing the foot anew explain.
    """

    place: Place
    minutes: float | None
    decision: Decision

    @property
    def advice(self) -> str:
        """`REWET`, or empty."""
        return REWET if self.decision.outcome is Outcome.DIFFERS else ""


def _same(a: Reading, b: Reading) -> bool:
    """Whether two readings are of one point, with one gauge."""
    return (
        a.place.blade is b.place.blade
        and a.instrument == b.instrument
        and abs(a.place.along - b.place.along) <= SAME_POINT
        and abs(a.place.across - b.place.across) <= SAME_POINT
    )


def _return(readings: Sequence[Reading]) -> tuple[int, int]:
    """Return how many readings at the start are of the first point, and how many at the end.

    The second number is 0 unless other points lie between.
    """
    n = len(readings)
    first = next((i for i in range(1, n) if not _same(readings[0], readings[i])), n)
    last = next((i for i in range(n - first) if not _same(readings[0], readings[n - 1 - i])), 0)
    return first, last


def drift_of(
    readings: Sequence[Reading],
    *,
    gauges: Mapping[str, Repeatability] | None = None,
    risk: float = 0.05,
) -> Drift | None:
    """Compare the first point of a sitting with itself at the end.

    Parameters
    ----------
    readings : sequence of Reading
        Of one sitting in one wet state, in the order in which they were taken.
    gauges : mapping of str to Repeatability, optional
        The maker's own repeatability by instrument code.
    risk : float
        Chance of naming a drift where there is none.

    Returns
    -------
    Drift or None
        None if the first point was not read again after others.

    Examples
    --------
    >>> from crowlight.reed import Blade
    >>> def at(along, mm):
    ...     return Reading(Place(Blade.MARKED, along, 0.0), mm * 1e-3)
    >>> found = drift_of([at(0.062, 0.46), at(0.061, 0.46), at(0.06, 0.46), at(0.062, 0.42)])
    >>> round(found.decision.value * 1e3, 3), found.advice
    (-0.04, 'rewet-and-wait')
    """
    if not readings:
        return None
    first, last = _return(readings)
    if not last:
        return None
    start, end = readings[:first], readings[-last:]
    points = points_of(readings, gauges)
    point = next(p for p in points if cell(p.place) == cell(readings[0].place))
    gauge = instruments()[readings[0].instrument]
    if gauges and gauge.code in gauges:
        gauge = gauge.with_repeatability(gauges[gauge.code])
    slope = slopes_of(points)[point.place] / STEEPER
    parts: list[tuple[float, float]] = []
    for run in (start, end):
        n = len(run)
        parts.append((gauge.repeatability / math.sqrt(n), gauge.dof))
        # repeats of one point round alike: they do not average the rounding away (GUM F.2.2.1)
        parts.append((gauge.resolution / math.sqrt(12), math.inf))
        parts.append((gauge.placement * slope / math.sqrt(n), math.inf))
    if {r.seating for r in start} != {r.seating for r in end}:
        parts.append((gauge.seating * math.sqrt(2), math.inf))
    change = _mean(end) - _mean(start)
    u = math.sqrt(math.fsum(x * x for x, _ in parts))
    return Drift(
        place=readings[0].place,
        minutes=_minutes(start, end),
        decision=decide(change, u, tolerance=0.0, dof=effective_dof(parts), risk=risk),
    )


def _mean(run: Sequence[Reading]) -> float:
    return math.fsum(r.thickness for r in run) / len(run)


def _minutes(start: Sequence[Reading], end: Sequence[Reading]) -> float | None:
    """Return the minutes between two runs, if every reading tells and they are not all the same."""
    times = [[r.minutes_wet for r in run if r.minutes_wet is not None] for run in (start, end)]
    if [len(t) for t in times] != [len(start), len(end)]:
        return None
    between = math.fsum(times[1]) / len(end) - math.fsum(times[0]) / len(start)
    return between if between > 0 else None


def flat_repeats(readings: Sequence[Reading]) -> dict[str, list[list[float]]]:
    """Group the repeats of one sitting by instrument.

    Parameters
    ----------
    readings : sequence of Reading
        Of one sitting in one wet state, in the order in which they were taken.

    Returns
    -------
    dict
        By instrument code, the thicknesses [m] of each point that was read more than once in one
        mounting where the cane is flat. The return to the first point is left out: it shows how
        the reed dries, not how the gauge repeats.
    """
    if not readings:
        return {}
    points = points_of(readings)
    slopes = slopes_of(points)
    flat = {cell(p.place) for p in points if is_flat(p, slopes)}
    last = _return(readings)[1]
    groups: dict[tuple[str, object, int], list[float]] = defaultdict(list)
    for r in readings[: len(readings) - last]:
        if (where := cell(r.place)) in flat:
            groups[r.instrument, where, r.seating].append(r.thickness)
    found: dict[str, list[list[float]]] = defaultdict(list)
    for (code, _, _), group in groups.items():
        if len(group) > 1:
            found[code].append(group)
    return dict(found)


def own_gauges(sittings: Sequence[Sequence[Reading]]) -> dict[str, Repeatability]:
    """Pool the maker's own repeatability of each gauge over sittings.

    Parameters
    ----------
    sittings : sequence of sequences of Reading
        Each of one reed in one wet state, in the order in which its readings were taken.

    Returns
    -------
    dict
        By instrument code; only where there are enough degrees of freedom to replace the
        common-practice value, see `crowlight.judge.differences.ENOUGH_DOF`.
    """
    groups: dict[str, list[list[float]]] = defaultdict(list)
    for readings in sittings:
        for code, more in flat_repeats(readings).items():
            groups[code] += more
    pooled = {code: pooled_repeatability(found) for code, found in groups.items()}
    return {code: p for code, p in pooled.items() if p is not None and is_enough(p)}
