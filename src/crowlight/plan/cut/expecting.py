"""What an act is expected to do to the outputs of the blade model, as it is told."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import OUTPUTS
from crowlight.plan.cut.chance import Z95
from crowlight.plan.cut.strokes import StrokeSize
from crowlight.plan.cut.weigh import Scales, Tried

__all__ = ["Expected", "expected_of", "night", "points"]

Real = NDArray[np.float64]

#: What is told of an act; "balance" is two numbers, flexibility the compliance.
_TOLD = ("rest_height", "closing_pressure", "stiffness", "compliance", "tilt", "unevenness",
         "separation")  # fmt: skip
#: What a night does to the opening [m]: cane rises (common practice, no source, and weak).
_NIGHT = (-0.02e-3, 0.04e-3, 0.10e-3)


@dataclass(frozen=True, slots=True)
class Expected:
    """Expected change of one output.

    Parameters
    ----------
    name, unit : str
        Output and its unit.
    low, middle, high : float
        5, 50 and 95 % points of the change, in `unit`.
    share_low, share_middle, share_high : float
        The same as a share of the value now; NaN for what may be negative.
    basis : tuple of str
        Of ``"physics"``, ``"your data"``, ``"common practice"``.
    raw : tuple of float or None
        The change as the model alone tells it, where own cuts put it right.
    own_cuts : int
        How many cuts that rests on; 0 where nothing was put right.
    """

    name: str
    unit: str
    low: float
    middle: float
    high: float
    share_low: float
    share_middle: float
    share_high: float
    basis: tuple[str, ...]
    raw: tuple[float, float, float] | None = None
    own_cuts: int = 0


def expected_of(tried: Tried, scales: Scales, strokes: StrokeSize) -> tuple[Expected, ...]:
    """Return the expected change of what is told, where anybody can say."""
    act, reed, nan = tried.act, scales.reed, float("nan")
    if act.kind == "rest":
        return (night(),)
    if act.kind == "act":
        return ()
    size = strokes.basis if act.kind == "scrape" else "common practice"
    basis = ("physics", size) if act.cuts else ("physics",)
    uneven = scales.uneven(act)
    out: list[Expected] = []
    for k, name in enumerate(reed.names):
        if name in _TOLD:
            change, off = tried.change[:, k], float(uneven[k])
            told = _widened(points(change), off)
            share = (nan, nan, nan)
            if not reed.signed[k]:
                share = _widened(points(change / reed.now[:, k]), off / abs(reed.values[k]))
            out.append(Expected(name, OUTPUTS[name][0], *told, *share, basis))
    return tuple(out)


def _widened(points: tuple[float, float, float], sd: float) -> tuple[float, float, float]:
    """Return 5, 50 and 95 % points with an independent standard deviation added."""
    low, middle, high = points
    off = Z95 * sd
    return middle - math.hypot(middle - low, off), middle, middle + math.hypot(high - middle, off)


def night() -> Expected:
    """Return what a night does to the opening."""
    nan = float("nan")
    unit = OUTPUTS["rest_height"][0]
    return Expected("rest_height", unit, *_NIGHT, nan, nan, nan, ("common practice",))


def points(values: Real | Iterable[float]) -> tuple[float, float, float]:
    """Return 5, 50 and 95 % points of drawn values."""
    low, middle, high = np.quantile(np.asarray(values, float), [0.05, 0.5, 0.95])
    return float(low), float(middle), float(high)
