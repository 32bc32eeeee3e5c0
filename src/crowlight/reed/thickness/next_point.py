"""Where to measure next: the point that takes away most uncertainty where it matters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.reed.frame import Blade, Place
from crowlight.reed.instruments import Instrument, instrument
from crowlight.reed.thickness.map import ThicknessMap, joint
from crowlight.reed.thickness.observation import BLADES, sites

__all__ = ["NextPoint", "next_points"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NextPoint:
    """A point worth measuring.

    Parameters
    ----------
    place : Place
        Where.
    code : str or None
        Its code among the style's standard points, if it is one.
    before, after : float
        Uncertainty over both blades before and after it is read: root mean square of standard
        deviation over what is called even in its zone.
    """

    place: Place
    code: str | None
    before: float
    after: float


def next_points(
    found: ThicknessMap,
    *,
    count: int = 1,
    gauge: Instrument | str = "dial",
    candidates: Sequence[Place] | None = None,
) -> tuple[NextPoint, ...]:
    r"""Choose the next points, one after the other.

    Parameters
    ----------
    found : ThicknessMap
        What is known.
    count : int
        How many points; >= 1.
    gauge : Instrument or str
        What will be used.
    candidates : sequence of Place, optional
        Points to choose from; by default the style's standard points of both blades. A point that
        was read already may be chosen again.

    Returns
    -------
    tuple of NextPoint
        Best first; each takes the ones before it as read.

    Raises
    ------
    InputError
        If there is nothing to choose from.

    Notes
    -----
    Greedy choice of the largest fall of a weighted sum of posterior variances (A-optimality);
    reading a point with noise :math:`n` lowers the covariance by
    :math:`c c^\mathsf{T} / (c_{kk} + n)`.

    Examples
    --------
    >>> from crowlight.reed import Reading
    >>> from crowlight.reed.styles import style
    >>> from crowlight.reed.thickness import map_thickness
    >>> long = style("long")
    >>> marked_only = [Reading(p.on(Blade.MARKED), float(long.thickness(p.along, p.across)))
    ...                for p in long.quick]
    >>> next_points(map_thickness(marked_only, long))[0].place.blade.value
    'plain'
    """
    style = found.style
    codes = {p.on(b): p.code for b in Blade for p in style.full}
    places = list(codes) if candidates is None else list(candidates)
    if not places or count < 1:
        msg = "there is no point to choose from; give at least one candidate and count 1"
        raise InputError(msg)
    tool = instrument(gauge) if isinstance(gauge, str) else gauge

    targets, weight = _targets(found)
    where = sites(
        style, [*places, *targets], np.r_[[tool.foot / 4] * len(places), [0.0] * len(targets)]
    )
    covariance, slope2 = joint(found.fit, where)
    noise = (
        tool.repeatability**2
        + tool.resolution**2 / 12
        + tool.seating**2
        + tool.placement**2 * slope2[: len(places)]
    )
    chosen: list[NextPoint] = []
    n = len(places)
    for _ in range(min(count, 10 * n)):
        gain = (covariance[:n, n:] ** 2 * weight).sum(axis=1)
        gain /= np.diagonal(covariance)[:n] + noise
        best = int(np.argmax(gain))
        before = float((np.diagonal(covariance)[n:] * weight).sum())
        after = math.sqrt(max(before - float(gain[best]), 0.0))
        place = places[best]
        chosen.append(NextPoint(place, codes.get(place), math.sqrt(before), after))
        column = covariance[:, best].copy()
        covariance = covariance - np.outer(column, column) / (column[best] + noise[best])
    return tuple(chosen)


def _targets(found: ThicknessMap) -> tuple[list[Place], Array]:
    """Return a coarse raster of both blades and the weight of each place."""
    style = found.zones
    places: list[Place] = []
    weights: list[float] = []
    for along in np.linspace(style.length - 0.3e-3, style.thread_top + 0.3e-3, 22):
        half = float(style.outline.half_width(along))
        for fraction in np.linspace(-0.9, 0.9, 7):
            across = fraction * half
            tolerance = style.zone_of(float(along), float(across)).tolerance
            for blade in BLADES:
                places.append(Place(blade, float(along), float(across)))
                weights.append(half / tolerance.blades**2)
    weight = np.array(weights)
    halves = np.array([float(style.outline.half_width(p.along)) for p in places])
    return places, weight / halves.sum()
