"""A reed at one moment, and two moments compared."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.assess import Assessment
from crowlight.bench.mapping import MapShown, Rows
from crowlight.bench.ports import Entry, Reed
from crowlight.bench.state import ReedState, StateDifference
from crowlight.errors import InputError
from crowlight.reed import Blade, CaneState

__all__ = ["Compared", "MapChange", "Sheet", "check_moments", "map_changes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapChange:
    """What one thickness map has more than an earlier one of the same reed.

    Parameters
    ----------
    state : CaneState
        State of the cane in both.
    style : str
        The style both were drawn around.
    along : tuple of float
        Rows that both maps have, tip first [m from the bottom rim].
    fraction : tuple of float
        Columns, -1 at the left edge as seen, 1 at the right.
    change, sd : mapping of Blade to Rows
        After less before, and its standard deviation [m].
    """

    state: CaneState
    style: str
    along: tuple[float, ...]
    fraction: tuple[float, ...]
    change: Mapping[Blade, Rows]
    sd: Mapping[Blade, Rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two moments of one reed.

    Parameters
    ----------
    name : str
        The reed.
    before, after : ReedState
        What was known of it.
    difference : StateDifference
        After less before.
    maps : tuple of MapChange
        One for each state of the cane that was mapped before, and anew afterwards.
    """

    name: str
    before: ReedState
    after: ReedState
    difference: StateDifference
    maps: tuple[MapChange, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Everything one page about a reed shows.

    Parameters
    ----------
    reed : Reed
        The reed.
    state : ReedState
        Its state at `up_to`, or now.
    entries : tuple of Entry
        Every entry up to there, replaced ones included.
    assessment : Assessment or None
        None when there are no readings.
    """

    reed: Reed
    state: ReedState
    entries: tuple[Entry, ...]
    assessment: Assessment | None


def check_moments(name: str, before: int, after: int, latest: int) -> None:
    """Refuse moments that are not two of a reed in their order.

    Raises
    ------
    InputError
        If they are not.
    """
    if not 0 <= before < after <= latest:
        msg = (
            f"reed {name!r} has entries 0 (nothing yet) to {latest}: compare an earlier one with a "
            f"later one, not {before} with {after}"
        )
        raise InputError(msg)


def map_changes(before: Assessment | None, after: Assessment | None) -> Iterator[MapChange]:
    """Compare the maps of one reed, for each wet state that both have.

    Parameters
    ----------
    before, after : Assessment or None
        Judgements from different readings; None for no readings.

    Yields
    ------
    MapChange
        Only where both maps were drawn around the same style: unlike wet states are never compared.

    Notes
    -----
    The maps come from different readings, and their variances are added. Both lean on one style, so
    that where few points were read their errors are alike in part: the standard deviation is then
    too large rather than too small.
    """
    if before is None or after is None:
        return
    for old in before.groups:
        for new in after.groups:
            a, b = old.mapped, new.mapped
            if old.state is not new.state or a is None or b is None or a.style != b.style:
                continue
            along = [s for s in a.shown.along if b.shown.along[-1] <= s <= b.shown.along[0]]
            change: dict[Blade, Rows] = {}
            sd: dict[Blade, Rows] = {}
            for blade in Blade:
                (low, low_sd), (high, high_sd) = (_at(m.shown, blade, along) for m in (a, b))
                change[blade], sd[blade] = _rows(high - low), _rows(np.hypot(low_sd, high_sd))
            yield MapChange(
                state=old.state,
                style=a.style,
                along=tuple(along),
                fraction=a.shown.fraction,
                change=change,
                sd=sd,
            )


def _at(
    shown: MapShown, blade: Blade, along: list[float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mean and standard deviation of a map at these rows."""
    rows = np.array(shown.along)[::-1]  # np.interp wants them rising

    def read(values: Rows) -> NDArray[np.float64]:
        columns = np.asarray(values, dtype=np.float64)[::-1].T
        found = np.empty((len(along), len(columns)))
        for number, column in enumerate(columns):
            found[:, number] = np.interp(along, rows, column)
        return found

    return read(shown.mean[blade]), read(shown.sd[blade])


def _rows(values: NDArray[np.float64]) -> Rows:
    return tuple(tuple(float(v) for v in row) for row in np.round(values, 8))
