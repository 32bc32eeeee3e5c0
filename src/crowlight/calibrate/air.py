"""From blades to the reed the air feels, and to the note and pressure it begins with.

The same hand-over as `crowlight.crow.draw_from_blades`, written with standard normal numbers so
that data can move them: where between its two lines the reed closes, ten per cent of model error
on opening, closing, swept volume and frequency, and damping.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from crowlight.calibrate.line import BladeLine
from crowlight.crow import CROW_PRIOR, Onsets, ReedArrays, ReedParameters, Resonances, onsets
from crowlight.crow import onsets_from as follow_onsets
from crowlight.materials import Spread

__all__ = ["AIR_UNKNOWNS", "first_notes", "reed_at", "reeds_at"]

Real = NDArray[np.float64]

AIR_UNKNOWNS = (
    "how the reed closes",
    "opening as felt by the air",
    "closing as felt by the air",
    "swept volume",
    "frequency as felt by the air",
    "damping",
)
_CLOSED = 0.9  # share of the opening gone at the blade model's closing pressure
_HANDOVER = 0.1  # relative model error, as in `draw_from_blades`


HEARD = (300.0, 2500.0)
"""Where a crow's beginning is looked for [Hz]; other modes of the model are not what is heard."""


def from_normal(spread: Spread, z: Real) -> Real:
    """Values of a positive two-piece spread at standard normal numbers."""
    low, middle, high = np.log([spread.low, spread.middle, spread.high])
    side = np.where(z < 0, middle - low, high - middle)
    return np.exp(middle + z * side / norm.ppf(0.95))


def reeds_at(line: BladeLine, t: Real, a: Real) -> ReedArrays:
    """Reeds for the air.

    Parameters
    ----------
    line : BladeLine
        Of the blades.
    t : ndarray, shape (reeds, line.reed.size)
        Unknowns of the blades.
    a : ndarray, shape (reeds, 6)
        `AIR_UNKNOWNS`, standard normal before data.
    """
    logs = line(t)

    def out(name: str) -> Real:
        return logs[:, line.column(name)]

    through = out("closing_pressure") - np.log(_CLOSED)
    straight = out("rest_area") - out("compliance")
    low, high = np.minimum(through, straight), np.maximum(through, straight)
    error = _HANDOVER * a[:, 1:5]
    closing = low + (high - low) * norm.cdf(a[:, 0]) + error[:, 1]
    felt = {
        "opening_area": np.exp(out("rest_area") + error[:, 0]),
        "closing_pressure": np.exp(closing),
        "swept_volume": np.exp(out("effective_area") - out("stiffness") + closing + error[:, 2]),
        "frequency": np.exp(out("mode_held") + error[:, 3]),
        "damping": np.clip(from_normal(CROW_PRIOR["damping"], a[:, 5]), 0.001, 3.0),
    }
    usual = ReedParameters()
    rest = {
        f.name: np.full(len(t), getattr(usual, f.name)) for f in fields(usual) if f.name not in felt
    }
    return ReedArrays(**felt, **rest)


def reed_at(arrays: ReedArrays, index: int) -> ReedParameters:
    """One of the reeds by itself.

    Raises
    ------
    InputError
        If it is outside what a reed can be.
    """
    return ReedParameters(
        **{f.name: float(getattr(arrays, f.name)[index]) for f in fields(ReedParameters)}
    )


def first_notes(reeds: ReedArrays, bore: Resonances, near: tuple[float, float] | None) -> Onsets:
    """Onset of every reed; NaN where none.

    Parameters
    ----------
    reeds : ReedArrays
        Any number.
    bore : Resonances
        Of staple and cavity.
    near : tuple of float or None
        Pressure [Pa] and frequency [Hz] of a similar reed's onset, to start from; those lost on the
        way are looked for from scratch.
    """
    if near is None:
        return onsets(reeds, bore, near=HEARD)
    count = len(reeds.damping)
    found = follow_onsets(Onsets(np.full(count, near[0]), np.full(count, near[1])), reeds, bore)
    heard = (found.frequency > HEARD[0]) & (found.frequency < HEARD[1])
    lost = np.flatnonzero(~heard)
    if not len(lost):
        return found
    fresh = onsets(reeds.take(lost), bore, near=HEARD)
    pressure, frequency = found.pressure.copy(), found.frequency.copy()
    pressure[lost], frequency[lost] = fresh.pressure, fresh.frequency
    return Onsets(pressure, frequency)
