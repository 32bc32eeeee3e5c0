"""A gauge study from readings that are kept: the same points in several mountings, repeatedly."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from crowlight.batch.gauge_study import GaugeStudy, crossed_study
from crowlight.bench.state import ReedState, TimedReading
from crowlight.errors import InputError
from crowlight.judge.differences import cell
from crowlight.reed import Blade, CaneState

__all__ = ["LEAST_PLACES", "GaugeTrial", "gauge_trials"]

#: Points that must have been read in every mounting.
LEAST_PLACES = 5


@dataclass(frozen=True, slots=True)
class GaugeTrial:
    """What the readings of one blade tell of one gauge.

    Parameters
    ----------
    instrument : str
        Its code.
    blade : Blade
        The blade.
    state : CaneState
        Wet or dry. A wet reed dries while it is measured: that counts as a difference between the
        mountings.
    study : GaugeStudy
        What they tell [m].
    """

    instrument: str
    blade: Blade
    state: CaneState
    study: GaugeStudy


def gauge_trials(name: str, state: ReedState) -> tuple[GaugeTrial, ...]:
    """Return a study for each gauge, blade and state that was measured crosswise.

    Parameters
    ----------
    name : str
        The reed.
    state : ReedState
        What is known of it.

    Returns
    -------
    tuple of GaugeTrial
        Points that were read twice or more in every mounting; readings beyond the fewest repeats
        are left out, the last ones first.

    Raises
    ------
    InputError
        If nothing was measured so; the message says how it is done.
    """
    groups: dict[tuple[str, Blade, CaneState], list[TimedReading]] = {}
    for t in state.readings:
        r = t.reading
        groups.setdefault((r.instrument, r.place.blade, r.state), []).append(t)
    found = [
        GaugeTrial(*key, study)
        for key, timed in groups.items()
        if (study := _study(timed)) is not None
    ]
    if not found:
        msg = (
            f"reed {name!r} has no readings taken crosswise: measure {LEAST_PLACES} points or more "
            "of one blade twice each, take the reed off the gauge, put it on again, and measure "
            "the same points twice again"
        )
        raise InputError(msg)
    return tuple(found)


def _study(timed: Iterable[TimedReading]) -> GaugeStudy | None:
    cells: dict[object, dict[object, list[float]]] = {}
    mountings: dict[object, None] = {}
    for t in timed:
        mounting = (t.entry, t.reading.seating)
        mountings[mounting] = None
        place = cell(t.reading.place)
        cells.setdefault(place, {}).setdefault(mounting, []).append(t.reading.thickness)
    whole = [[of[m] for m in mountings] for of in cells.values() if all(m in of for m in mountings)]
    twice = [row for row in whole if min(map(len, row)) > 1]
    if len(mountings) < 2 or len(twice) < LEAST_PLACES:
        return None
    repeats = min(len(values) for row in twice for values in row)
    return crossed_study([[values[:repeats] for values in row] for row in twice])
