r"""How a scraped blade departs from its mean profile: the covariance of the unevenness.

Five independent parts, each a squared exponential in its own coordinates:

* *broad*: over millimetres. A share is common to all four quarters of the reed (a style of the
  hand), a share common to both blades as seen (a habit of the hand), the rest is each blade's own;
* *fine*: over the width of a knife stroke, each blade's own;
* *lines*: each line between bands (transition, start of back, start of bark) wanders along the
  reed from place to place across it, so thickness departs by the wander times its slope there;
* *flanks*: the inner and the outer flank of each window wander a little across;
* *steps*: the shape of the way from band to band is not the profile's.

A contact foot averages over its area. It is taken as a normal footprint with the second moments of
a disc, for which averages of a squared exponential are exact: with footprint standard deviations
:math:`f_i, f_j` in units of the length scale, :math:`k = (1+f_i^2+f_j^2)^{-1/2}
\exp\{-d^2/2(1+f_i^2+f_j^2)\}` for each axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.reed.styles import Style

__all__ = ["Local", "Scales", "Sites", "local", "unevenness", "variance"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Sites:
    """Places on both blades as arrays.

    Parameters
    ----------
    blade : ndarray of int, shape (n,)
        0 marked, 1 plain.
    along, across : ndarray, shape (n,)
        Place [m].
    fraction : ndarray, shape (n,)
        Across as a fraction of the half width.
    foot : ndarray, shape (n,)
        Standard deviation of the footprint per axis [m]; 0 for the thickness at a point.
    """

    blade: NDArray[np.intp]
    along: Array
    across: Array
    fraction: Array
    foot: Array

    def __len__(self) -> int:
        return len(self.blade)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """Hyper-parameters of the unevenness.

    Parameters
    ----------
    amount : float
        Factor on the style's broad and fine unevenness.
    along : float
        Broad length scale along the grain [m].
    across : float
        Broad length scale across the grain [m].
    fine_along, fine_across : float
        Length scales of strokes [m].
    common, habit : float
        Shares of the broad variance common to all quarters, and to both blades as seen.
    wander : tuple of float
        Standard deviation of the wander along the reed of the lines where transition, back and
        bark begin [m].
    wander_across : float
        Its length scale, as a fraction of the half width.
    flank : float
        Standard deviation of where across a flank of a window lies, as a fraction of the half
        width.
    flank_along : float
        Its length scale along the reed [m].
    step : tuple of float
        Departure from the shape of each of these steps, as a fraction of its rise.
    step_along, step_across : float
        Its length scales [m].
    """

    amount: float = 1.0
    along: float = 4.0e-3
    across: float = 1.6e-3
    fine_along: float = 1.5e-3
    fine_across: float = 0.7e-3
    common: float = 0.35
    habit: float = 0.15
    wander: tuple[float, float, float] = (0.10e-3, 0.45e-3, 0.30e-3)
    wander_across: float = 0.6
    flank: float = 0.05
    flank_along: float = 6e-3
    step: tuple[float, float, float] = (0.155, 0.20, 0.40)
    step_along: float = 0.35e-3
    step_across: float = 1.8e-3


@dataclass(frozen=True, slots=True)
class Local:
    """What the mean profile says at places: how strong each part of the unevenness is there.

    Parameters
    ----------
    broad, fine : ndarray, shape (n,)
        Unevenness of the style [m].
    lines : ndarray, shape (n, n_lines)
        Derivative of thickness by the position of each line [1].
    flank : ndarray, shape (n,)
        Derivative of thickness by the fraction at which the window of that side lies [m].
    beyond : ndarray of bool, shape (n,)
        Whether the place is on the rail's side of the window.
    rises : ndarray, shape (n, n_lines)
        4 S (1 - S) times the rise of each step [m].
    """

    broad: Array
    fine: Array
    lines: Array
    flank: Array
    beyond: NDArray[np.bool_]
    rises: Array


def local(style: Style, values: Array, sites: Sites) -> tuple[Array, Array, Local]:
    """Evaluate the mean profile of both blades at places.

    Parameters
    ----------
    style : Style
        Style laid on the reed.
    values : ndarray, shape (2, n_names)
        Profile parameters of each blade.
    sites : Sites
        The places.

    Returns
    -------
    mean : ndarray, shape (n,)
        [m].
    jacobian : ndarray, shape (n, n_names)
        By the parameters of the blade the place is on.
    parts : Local
        Strength of the unevenness.
    """
    profile = style.mean
    n = len(sites)
    mean, jacobian = np.empty(n), np.empty((n, len(profile.names)))
    broad, fine, flank = np.empty(n), np.empty(n), np.zeros(n)
    lines, rises = np.zeros((n, len(LINES))), np.zeros((n, len(LINES)))
    blends = (0.0, style.shape.back_blend, style.shape.bark_blend)
    for blade in (0, 1):
        on = np.flatnonzero(sites.blade == blade)
        s, u = sites.along[on], sites.fraction[on]
        mean[on], jacobian[on] = profile.with_jacobian(values[blade], s, u)
        broad[on], fine[on] = style.unevenness_at(values[blade], s, u)
        if "back.middle" in profile.names:
            depth = values[blade, profile.index("back.middle")]
            flank[on] = depth * profile.window_derivative(values[blade], s, u)
        for j, name in enumerate(LINES):
            if name in profile.names:
                lines[on, j] = jacobian[on, profile.index(name)]
                # S (1 - S) times the rise is the derivative by the position times the blend
                width = blends[j] or math.hypot(
                    math.exp(values[blade, profile.index("transition.blend")]),
                    style.shape.transition_blur,
                )
                rises[on, j] = 4.0 * width * lines[on, j]
    beyond = np.abs(sites.fraction) > style.shape.window
    return mean, jacobian, Local(broad, fine, lines, flank, beyond, rises)


LINES = ("transition.position", "back.start", "bark.start")


def unevenness(
    a: Sites, b: Sites, at_a: Local, at_b: Local, scales: Scales, *, paired: bool = False
) -> Array:
    """Return the covariance between the unevenness at places `a` and `b`.

    Parameters
    ----------
    a, b : Sites
        n and m places.
    at_a, at_b : Local
        The parts there.
    scales : Scales
        Hyper-parameters.
    paired : bool
        Only between the first of `a` and the first of `b`, the second and the second...

    Returns
    -------
    ndarray, shape (n, m), or (n,) if paired
        [m²].
    """

    def col(x: NDArray[Any]) -> NDArray[Any]:
        return x if paired else x[:, None]

    def product(x: Array, y: Array) -> Array:
        return (x * y).sum(axis=-1) if paired else x @ y.T

    foot = col(a.foot**2) + b.foot**2
    along = (col(a.along) - b.along) ** 2
    across = (col(a.across) - b.across) ** 2
    folded = (col(np.abs(a.across)) - np.abs(b.across)) ** 2
    own = (col(a.blade) == b.blade).astype(float)

    sides = scales.common * _squared_exponential(folded, foot, scales.across)
    share = scales.habit + (1.0 - scales.common - scales.habit) * own
    sides += share * _squared_exponential(across, foot, scales.across)
    total = sides * _squared_exponential(along, foot, scales.along)
    total *= scales.amount**2 * col(at_a.broad) * at_b.broad

    part = own * _squared_exponential(along, foot, scales.fine_along)
    part *= _squared_exponential(across, foot, scales.fine_across)
    total += scales.amount**2 * col(at_a.fine) * at_b.fine * part

    apart = (col(a.fraction) - b.fraction) ** 2
    part = product(at_a.lines * np.square(scales.wander), at_b.lines) * own
    total += part * np.exp(-0.5 * apart / scales.wander_across**2)

    part = own * (col(np.sign(a.fraction)) == np.sign(b.fraction))
    part *= col(at_a.beyond) == at_b.beyond
    part *= _squared_exponential(along, foot, scales.flank_along)
    total += scales.flank**2 * col(at_a.flank) * at_b.flank * part

    part = product(at_a.rises * np.square(scales.step), at_b.rises) * (0.5 + 0.5 * own)
    part *= _squared_exponential(along, foot, scales.step_along)
    return total + part * _squared_exponential(across, foot, scales.step_across)


def variance(at: Local, scales: Scales) -> Array:
    """Return the variance of the unevenness at points (no foot), shape (n,) [m²]."""
    strokes = scales.amount**2 * (at.broad**2 + at.fine**2)
    lines = np.square(at.lines) @ np.square(scales.wander)
    steps = np.square(at.rises) @ np.square(scales.step)
    return strokes + lines + steps + (scales.flank * at.flank) ** 2


def _squared_exponential(distance2: Array, foot2: Array, length: float) -> Array:
    widened = length**2 + foot2
    return length / np.sqrt(widened) * np.exp(-0.5 * distance2 / widened)
