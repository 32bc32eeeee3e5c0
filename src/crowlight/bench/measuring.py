"""Rounds of readings at the bench: which points, in which order, and which repeats to ask about."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from crowlight.reed import Blade, Instrument, Place, Reading, Repeatability, instruments
from crowlight.reed.styles import Point, Style

__all__ = ["ROUNDS", "Doubt", "Round", "doubtful", "measuring_round", "repeat_limit"]

#: Rounds there are: the quick look, every standard point, and where it matters most.
ROUNDS = ("quick", "full", "next")
Rounds = Literal["quick", "full", "next"]

#: Points of a quick look that are read twice.
REPEATED = 2
#: Places closer than this are one place [m].
SAME = 0.05e-3
#: Two results differ by less than this many repeatability standard deviations with 95 %
#: probability: ISO 5725-6:1994, 4.1.
CRITICAL_RANGE = 2.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """Points to read, in order.

    Parameters
    ----------
    kind : str
        Which round; see `ROUNDS`.
    seed : int
        What the repeats were drawn with; kept with the readings.
    places : tuple of Place
        Where, one blade after the other, each like a snake: back and forth across, down along.
    repeats : tuple of int
        Numbers of those that were read before in this round, counted from 0.
    """

    kind: Rounds
    seed: int
    places: tuple[Place, ...]
    repeats: tuple[int, ...] = ()

    @property
    def source(self) -> str:
        """What is kept with each reading of the round."""
        return f"{self.kind} round {self.seed}"


def measuring_round(
    style: Style, kind: Rounds, *, seed: int, matters: Sequence[Place] = ()
) -> Round:
    """Return the points of a round.

    Parameters
    ----------
    style : Style
        The style, laid on the reed: its standard points stand in the order of a snake.
    kind : str
        ``quick``: 8 points per blade, two of all of them again at the end, drawn at random, so
        that nobody knows beforehand which reading will be repeated; ``full``: every standard
        point; ``next``: where a reading tells most.
    seed : int
        Of the draw.
    matters : sequence of Place
        For ``next``, best first; the quick points where nothing is known yet.

    Examples
    --------
    >>> from crowlight.reed.styles import style
    >>> found = measuring_round(style("long"), "quick", seed=3)
    >>> len(found.places), found.repeats
    (18, (16, 17))
    """
    if kind == "next" and matters:
        return Round(kind=kind, seed=seed, places=tuple(matters))
    points: tuple[Point, ...] = style.full if kind == "full" else style.quick
    places = tuple(p.on(blade) for blade in Blade for p in points)
    if kind != "quick":
        return Round(kind=kind, seed=seed, places=places)
    drawn: list[int] = np.random.default_rng(seed).permutation(len(places))[:REPEATED].tolist()
    again = tuple(places[i] for i in sorted(drawn))
    return Round(
        kind=kind,
        seed=seed,
        places=(*places, *again),
        repeats=tuple(range(len(places), len(places) + REPEATED)),
    )


def repeat_limit(place: Place, gauge: Instrument, style: Style | None) -> float:
    """Return how far two readings of one place may lie apart before they are asked about [m].

    Parameters
    ----------
    place : Place
        Where.
    gauge : Instrument
        With what.
    style : Style or None
        Its slope at the place: where cane rises steeply, a foot set down anew reads otherwise.
    """
    slope = 0.0
    if style is not None:
        h = 0.1e-3
        along = [place.along - h, place.along + h, place.along, place.along]
        across = [place.across, place.across, place.across - h, place.across + h]
        t = style.thickness(np.array(along), np.array(across))
        slope = float(math.hypot(t[1] - t[0], t[3] - t[2])) / (2 * h)
        slope = slope if math.isfinite(slope) else 0.0
    spread = math.sqrt(gauge.repeatability**2 + gauge.seating**2 + (gauge.placement * slope) ** 2)
    return CRITICAL_RANGE * spread + gauge.resolution


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Readings of one place that lie further apart than the gauge scatters.

    Parameters
    ----------
    place : Place
        Where.
    values : tuple of float
        As they were taken [m].
    limit : float
        How far apart two of them may lie [m].
    """

    place: Place
    values: tuple[float, ...]
    limit: float


def doubtful(
    readings: Sequence[Reading],
    *,
    style: Style | None = None,
    own: Mapping[str, Repeatability] | None = None,
) -> tuple[Doubt, ...]:
    """Return the places whose readings are to be asked about; none is left out or changed.

    Parameters
    ----------
    readings : sequence of Reading
        Of one reed in one wet state, taken together.
    style : Style, optional
        The style laid on the reed.
    own : mapping of str to Repeatability, optional
        The maker's own gauges.

    Returns
    -------
    tuple of Doubt
        A place with three or more readings is in doubt until its last reading lies near another
        one: a third reading settles what two could not.
    """
    places: dict[tuple[object, ...], list[Reading]] = defaultdict(list)
    for r in readings:
        key = (r.place.blade, round(r.place.along / SAME), round(r.place.across / SAME), r.state)
        places[key].append(r)
    found: list[Doubt] = []
    for group in places.values():
        if len(group) < 2:
            continue
        gauge = instruments().get(group[-1].instrument) or instruments()["dial"]
        if own and gauge.code in own:
            gauge = gauge.with_repeatability(own[gauge.code])
        limit = repeat_limit(group[0].place, gauge, style)
        *before, last = (r.thickness for r in group)
        if min(abs(last - b) for b in before) > limit:
            values = (*before, last)
            found.append(Doubt(place=group[0].place, values=values, limit=limit))
    return tuple(found)
