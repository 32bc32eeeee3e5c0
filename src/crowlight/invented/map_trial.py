"""Trial of the thickness map: invented blades whose truth is known, measured as a maker would.

Shared by the tests (few blades) and the benchmarks (many).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

from crowlight.invented.reeds import InventedReed, draw_reed, measure, planned_places
from crowlight.reed import Reading
from crowlight.reed.thickness import BLADES, ThicknessMap, map_thickness

__all__ = ["BladeScore", "Summary", "map_trial", "summarise"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BladeScore:
    """How well one zone of one blade was mapped.

    Parameters
    ----------
    zone : str
        Zone, laid around the true transition of that blade; ``"all"`` for the whole blade.
    inside : float
        Share of the zone whose true thickness lies in the 95 % interval.
    map, residual, raw : float
        Mean square error of the map, of the map's mean profile plus linearly interpolated
        residuals, and of linearly interpolated readings (nearest outside their hull) [m²].
    variance : float
        Mean variance the map gives [m²].
    """

    zone: str
    inside: float
    map: float
    residual: float
    raw: float
    variance: float


@dataclass(frozen=True, slots=True)
class Summary:
    """Scores of one zone over many blades.

    Parameters
    ----------
    blades : int
        How many.
    coverage, error : float
        Mean share inside, and its standard error with blades as clusters.
    map, residual, raw, claimed : float
        Root mean square errors, and the root mean variance the map gives [m].
    """

    blades: int
    coverage: float
    error: float
    map: float
    residual: float
    raw: float
    claimed: float


def map_trial(
    seed: int, reeds: int, *, code: str = "long", quick: bool = False
) -> Iterator[list[BladeScore]]:
    """Draw, measure and map reeds; yield the scores of each blade.

    Parameters
    ----------
    seed : int
        Of the whole trial; reed number i has its own stream.
    reeds : int
        How many; each gives two blades.
    code : str
        Scrape style.
    quick : bool
        Eight points for each blade instead of 24.
    """
    for i in range(reeds):
        rng = np.random.default_rng([seed, i])
        reed = draw_reed(rng, code=code)
        readings = measure(reed, planned_places(reed.style, quick=quick), rng, seconds=5.0)
        found = map_thickness(readings, reed.style)
        for b in range(2):
            yield _scores(reed, readings, found, b)


def _scores(
    reed: InventedReed, readings: Sequence[Reading], found: ThicknessMap, b: int
) -> list[BladeScore]:
    blade = BLADES[b]
    along, across = np.broadcast_arrays(found.along[:, None], found.across)
    fraction = np.broadcast_to(found.fraction, along.shape)
    truth = reed.thickness(blade, along, across)
    low, high = found.interval()
    inside = (truth >= low[b]) & (truth <= high[b])

    mine = [r for r in readings if r.place.blade is blade]
    x = np.array([(r.place.along, r.place.across) for r in mine])
    y = np.array([r.thickness for r in mine])
    wanted = np.column_stack([along.ravel(), across.ravel()])
    values, profile = found.fit.values[b], found.fit.solved.mean
    mean = profile(values, along, fraction)
    at_points = profile(values, x[:, 0], found.style.outline.fraction(x[:, 0], x[:, 1]))
    residual = mean + _linear(x, y - at_points, wanted).reshape(mean.shape)
    raw = _linear(x, y, wanted).reshape(mean.shape)

    shift = reed.transition[blade] - reed.style.profile["transition.position"].value
    areas = {"all": np.ones(truth.shape, dtype=bool)}
    free = areas["all"].copy()
    for zone in reed.style.moved(shift).zones:
        area = zone.contains(along, fraction) & free
        free &= ~area
        if area.any():
            areas[zone.name] = area

    def square(estimate: Array, area: NDArray[np.bool_]) -> float:
        return float(((estimate - truth)[area] ** 2).mean())

    return [
        BladeScore(
            name,
            inside=float(inside[area].mean()),
            map=square(found.mean[b], area),
            residual=square(residual, area),
            raw=square(raw, area),
            variance=float((found.sd[b][area] ** 2).mean()),
        )
        for name, area in areas.items()
    ]


def _linear(x: Array, y: Array, wanted: Array) -> Array:
    """Interpolate linearly between points, take the nearest outside their hull."""
    values = np.asarray(LinearNDInterpolator(x, y)(wanted))
    outside = np.isnan(values)
    values[outside] = NearestNDInterpolator(x, y)(wanted[outside])
    return values


def summarise(blades: Sequence[Sequence[BladeScore]]) -> dict[str, Summary]:
    """Return the summary of each zone."""
    zones = {score.zone: None for scores in blades for score in scores}
    found: dict[str, Summary] = {}
    for zone in zones:
        rows = np.array(
            [
                (s.inside, s.map, s.residual, s.raw, s.variance)
                for scores in blades
                for s in scores
                if s.zone == zone
            ]
        )
        n = len(rows)
        root = np.sqrt(rows[:, 1:].mean(axis=0))
        found[zone] = Summary(
            n,
            coverage=float(rows[:, 0].mean()),
            error=float(rows[:, 0].std(ddof=1) / np.sqrt(n)),
            map=float(root[0]),
            residual=float(root[1]),
            raw=float(root[2]),
            claimed=float(root[3]),
        )
    return found
