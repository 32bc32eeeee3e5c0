"""Quantities of a blade as weighted sums of its thickness.

A zone's mean, the fall from centre to corner or a slope are such sums exactly. Where a quantity is
none (the middle of the transition), it is replaced by its tangent at the map's estimate: the right
value there and the derivatives by the thickness, which is all that its uncertainty needs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.reed import Side
from crowlight.reed.styles import Style, Zone
from crowlight.reed.thickness import ThicknessMap

__all__ = [
    "Evaluated",
    "ThicknessSum",
    "evaluate",
    "fall",
    "heart_length",
    "point",
    "strip_mean",
    "transition_position",
    "transition_steepness",
    "zone_mean",
]

Array = NDArray[np.float64]

#: Half the stretch over which the steepness of the transition is taken [m].
STRETCH = 0.4e-3
#: Half the stretch within which the transition of a reed is looked for [m].
REACH = 2.2e-3


@dataclass(frozen=True, slots=True)
class ThicknessSum:
    """``offset + sum of weight x thickness`` over places.

    Parameters
    ----------
    blade : ndarray, shape (n,)
        0 marked, 1 plain.
    along : ndarray, shape (n,)
        [m from the bottom rim].
    fraction : ndarray, shape (n,)
        Across, as a fraction of the half width.
    weight : ndarray, shape (n,)
        Weights.
    offset : float
        Added.
    variance : float
        Of parts that are no thickness, such as a line that is a parameter of the fit.
    """

    blade: Array
    along: Array
    fraction: Array
    weight: Array
    offset: float = 0.0
    variance: float = 0.0

    def __add__(self, other: ThicknessSum) -> ThicknessSum:
        return ThicknessSum(
            np.concatenate([self.blade, other.blade]),
            np.concatenate([self.along, other.along]),
            np.concatenate([self.fraction, other.fraction]),
            np.concatenate([self.weight, other.weight]),
            self.offset + other.offset,
            self.variance + other.variance,
        )

    def __mul__(self, factor: float) -> ThicknessSum:
        return replace(
            self,
            weight=factor * self.weight,
            offset=factor * self.offset,
            variance=factor**2 * self.variance,
        )

    def __sub__(self, other: ThicknessSum) -> ThicknessSum:
        return self + other * -1.0

    def plus(self, constant: float, uncertainty: float = 0.0) -> ThicknessSum:
        """Return the sum with a constant added."""
        return replace(self, offset=self.offset + constant, variance=self.variance + uncertainty**2)


@dataclass(frozen=True, slots=True)
class Evaluated:
    """Values of sums.

    Parameters
    ----------
    values, sd : ndarray, shape (k,)
        Estimates and standard uncertainties.
    gauge : ndarray, shape (k,)
        Part of `sd` that comes from the gauge's repeatability.
    told : ndarray, shape (k,)
        Share of the prior variance of the thickness part that the readings took away.
    """

    values: Array
    sd: Array
    gauge: Array
    told: Array


def evaluate(found: ThicknessMap, sums: Sequence[ThicknessSum]) -> Evaluated:
    """Evaluate sums on a map, all at once; places in common are worked out once."""
    places = np.column_stack(
        [
            np.concatenate([s.blade for s in sums]),
            np.concatenate([s.along for s in sums]),
            np.concatenate([s.fraction for s in sums]),
        ]
    )
    unique, where = np.unique(np.round(places, 9), axis=0, return_inverse=True)
    rows = np.repeat(np.arange(len(sums)), [len(s.weight) for s in sums])
    weights = np.zeros((len(sums), len(unique)))
    np.add.at(weights, (rows, where.ravel()), np.concatenate([s.weight for s in sums]))
    got = found.combine(unique[:, 0].astype(int), unique[:, 1], unique[:, 2], weights)
    return Evaluated(
        got.values + np.array([s.offset for s in sums]),
        np.sqrt(got.sd**2 + np.array([s.variance for s in sums])),
        np.minimum(got.gauge, got.sd),
        got.told,
    )


def zone_mean(style: Style, zone: Zone, blade: int, side: Side | None = None) -> ThicknessSum:
    """Return the mean over a zone of one blade, or over its left or right part as seen.

    Raises
    ------
    ValueError
        If the zone has no area.
    """
    fractions = np.linspace(max(zone.inner, 0.04), min(zone.outer, 0.96), 4)
    low = np.interp(fractions, (0.0, 0.5, 1.0), zone.start)
    high = np.interp(fractions, (0.0, 0.5, 1.0), zone.stop)
    depth = np.maximum(high - low, 0.0)
    along = low + (np.arange(3.0) + 0.5)[:, None] / 3.0 * depth
    weight = depth * style.outline.half_width(along)
    if not weight.sum() > 0.0:
        msg = f"zone {zone.name!r} has no area"
        raise ValueError(msg)
    signs = {None: (-1.0, 1.0), Side.LEFT: (-1.0,), Side.RIGHT: (1.0,)}[side]
    fraction = np.broadcast_to(fractions, along.shape).ravel()
    n = along.size * len(signs)
    return ThicknessSum(
        np.full(n, float(blade)),
        np.tile(along.ravel(), len(signs)),
        np.concatenate([sign * fraction for sign in signs]),
        np.tile(weight.ravel() / weight.sum() / len(signs), len(signs)),
    )


def strip_mean(blade: int, low: float, high: float, half: float) -> ThicknessSum:
    """Return the mean of a strip along the centreline, `half` of the half width to either side."""
    along, fraction = np.meshgrid(np.linspace(low, high, 5), (-half, 0.0, half), indexing="ij")
    n = along.size
    return ThicknessSum(
        np.full(n, float(blade)), along.ravel(), fraction.ravel(), np.full(n, 1.0 / n)
    )


def point(blade: int, along: float, fraction: float) -> ThicknessSum:
    """Return the thickness at a place of one blade."""
    return ThicknessSum(
        np.array([float(blade)]), np.array([along]), np.array([fraction]), np.array([1.0])
    )


def fall(blade: int, along: float, fraction: float) -> ThicknessSum:
    """Return how much thinner the cane is at a fraction across than on the centreline."""
    return point(blade, along, 0.0) - point(blade, along, fraction)


def transition_position(found: ThicknessMap, blade: int, fraction: float) -> ThicknessSum:
    r"""Return the middle of the transition in a column [m from the bottom rim], as its tangent.

    The middle divides the area between the levels of tip and heart: with the thickness
    :math:`h_0 \dots h_n` down a stretch that holds the transition, tip last, it is
    :math:`x_0 + \sum_i w_i (h_i - h_n) / (h_0 - h_n)` with the weights of the trapezoidal rule.
    """
    style, names = found.style, found.style.mean
    values = found.fit.values[blade]
    setback = values[names.index("transition.setback")]
    guess = float(values[names.index("transition.position")] - setback * abs(fraction))
    along = np.linspace(guess - REACH, min(guess + REACH, style.length - 0.3e-3), 15)
    n = len(along)
    column = ThicknessSum(np.full(n, float(blade)), along, np.full(n, fraction), np.zeros(n))
    h = found.combine([blade] * n, along, [fraction] * n, np.eye(n)).values
    weight = np.full(n, along[1] - along[0])
    weight[[0, -1]] /= 2.0
    rise = float(h[0] - h[-1])
    beyond = float(weight @ (h - h[-1])) / rise
    tangent = weight / rise
    tangent[0] -= beyond / rise
    tangent[-1] += (beyond - weight.sum()) / rise
    middle = float(along[0]) + beyond
    return replace(column, weight=tangent, offset=middle - float(tangent @ h))


def transition_steepness(blade: int, middle: float, fraction: float) -> ThicknessSum:
    """Return the mean slope around the middle of the transition, thickness per length [1]."""
    behind = point(blade, middle - STRETCH, fraction)
    return (behind - point(blade, middle + STRETCH, fraction)) * (0.5 / STRETCH)


def heart_length(
    found: ThicknessMap, blade: int, position: ThicknessSum
) -> tuple[ThicknessSum, float]:
    """Return the length from the transition to the start of the back, or to the scrape's end.

    Parameters
    ----------
    found : ThicknessMap
        The map.
    blade : int
        0 marked, 1 plain.
    position : ThicknessSum
        Middle of the transition.

    Returns
    -------
    ThicknessSum
        Length [m]; the line where the heart ends is a parameter of the fit and brings its own
        variance.
    float
        Share of the prior variance of that line which the readings took away.
    """
    fit, names = found.fit, found.style.mean
    short = found.style.shape.back is None
    k = names.index("bark.start" if short else "back.start")
    end = float(fit.values[blade, k])  # on the centreline
    row = blade * len(names.names) + k
    variance = float(fit.covariance[row, row])
    told = 1.0 - variance / float(fit.prior_covariance[row, row])
    wander = fit.scales.wander[2 if short else 1]
    return position.plus(-end, math.hypot(math.sqrt(max(variance, 0.0)), wander)), told
