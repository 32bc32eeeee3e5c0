"""Effects against altitude, for the chart with the two places marked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow import ReedParameters, Staple, stacked, with_lip
from crowlight.errors import InputError
from crowlight.materials import standard_atmosphere
from crowlight.plan.travel_bores import bores_at, measure, measure_afresh

__all__ = ["AltitudeChart", "altitude_chart"]

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AltitudeChart:
    """How altitude alone moves a reed, against sea level.

    Parameters
    ----------
    altitude : ndarray, shape (points,)
        [m].
    density_ratio : ndarray, shape (points,)
        Air there over air at sea level.
    threshold, low_threshold : ndarray, shape (points, 3)
        Relative change for a middle and a low note: 5, 50, 95 % points.
    pitch, crow_pitch : ndarray, shape (points, 3)
        [cents]: 5, 50, 95 % points. Modelled and untested.
    """

    altitude: Real
    density_ratio: Real
    threshold: Real
    low_threshold: Real
    pitch: Real
    crow_pitch: Real


def altitude_chart(
    reeds: Sequence[ReedParameters],
    altitudes: Real,
    *,
    room: float,
    rng: np.random.Generator,
    staple: Staple | None = None,
    report: Callable[[float], None] | None = None,
) -> AltitudeChart:
    """Follow draws of a reed up the standard atmosphere, indoors.

    Parameters
    ----------
    reeds : sequence of ReedParameters
        Draws of the reed as it crows; 40 are enough for a chart.
    altitudes : ndarray, shape (points,)
        Rising [m].
    room : float
        Temperature indoors, the same everywhere [K].
    rng : numpy.random.Generator
        Source of chance for lips.
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.
    report : callable or None
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    AltitudeChart
        One row per altitude.

    Raises
    ------
    InputError
        If the altitudes do not rise or lie outside -500 to 5500 m.
    """
    heights = np.asarray(altitudes, dtype=float)
    if heights.ndim != 1 or not len(heights) or (np.diff(heights) <= 0.0).any():
        msg = "the altitudes of a chart must rise from left to right; sort them"
        raise InputError(msg)
    pressures = standard_atmosphere(heights).pressure
    crowing, played = stacked(reeds), stacked(with_lip(reeds, rng=rng))
    blowing = played.closing_pressure / 3.0
    sea = bores_at(101325.0, room, staple)
    base = measure_afresh(crowing, played, sea, blowing)
    last, ratios, rows = base, [], []
    for i, pressure in enumerate(pressures):
        bores = bores_at(float(pressure), room, staple)
        last = measure(crowing, played, bores, blowing, base if i == 0 else last)
        ratios.append(bores.crow.density / sea.crow.density)
        values = [last.onset[n].pressure / base.onset[n].pressure - 1.0 for n in ("middle", "low")]
        values += [
            1200.0 * np.log2(last.onset[n].frequency / base.onset[n].frequency)
            for n in ("middle", "crow")
        ]
        rows.append([np.nanquantile(v, [0.05, 0.5, 0.95]) for v in values])
        if report is not None:
            report((i + 1) / len(pressures))
    table = np.array(rows)
    return AltitudeChart(
        heights, np.array(ratios), table[:, 0], table[:, 1], table[:, 2], table[:, 3]
    )
