"""Crow and notes in the air of one place, for many draws of a reed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from crowlight.crow import (
    NOTES,
    Onsets,
    ReedArrays,
    Resonances,
    Staple,
    find_resonances,
    onsets,
    onsets_from,
    played_bore,
    staple_bore,
    steady_flow,
)
from crowlight.materials import breath

__all__ = [
    "BORE_FOLLOWS",
    "BORE_TEMPERATURE",
    "Bores",
    "Measures",
    "bores_at",
    "exact_error",
    "measure",
    "measure_afresh",
]

Real = NDArray[np.float64]

BORE_TEMPERATURE = 301.15
"""Air in a played bore in a room of 20 °C [K]; an assumption."""
BORE_FOLLOWS = 0.5
"""Change of that air per change of the room; an assumption."""
_ROOM = 293.15


@dataclass(frozen=True, slots=True)
class Bores:
    """Resonances in the air of one place.

    Parameters
    ----------
    crow : Resonances
        Of the reed on its staple, filled with breath.
    notes : dict of str to Resonances
        Of the toy oboe, by the names of `crowlight.crow.NOTES`.
    """

    crow: Resonances
    notes: dict[str, Resonances]

    def of(self, name: str) -> Resonances:
        """Choose one bore.

        Parameters
        ----------
        name : str
            ``"crow"`` or a note.

        Returns
        -------
        Resonances
            Of that bore.
        """
        return self.crow if name == "crow" else self.notes[name]

    def near(self, name: str) -> tuple[float, float]:
        """Where the blown note is looked for.

        Parameters
        ----------
        name : str
            ``"crow"`` or a note.

        Returns
        -------
        tuple of float
            Lowest and highest frequency [Hz].
        """
        if name == "crow":
            return 0.0, 20e3
        return NOTES[name].near(self.notes[name].frequencies)


@lru_cache(maxsize=64)
def bores_at(pressure: float, room: float, staple: Staple | None = None) -> Bores:
    """Find the resonances of crow and notes at one place.

    Parameters
    ----------
    pressure : float
        Of the air [Pa].
    room : float
        Temperature of the room [K].
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.

    Returns
    -------
    Bores
        For that air; kept, because poles cost more than all draws together. Not to be changed.
    """
    played = breath(pressure, temperature=BORE_TEMPERATURE + BORE_FOLLOWS * (room - _ROOM))
    by_length = {
        length: find_resonances(played_bore(length, staple), played)
        for length in {note.length for note in NOTES.values()}
    }
    return Bores(
        crow=find_resonances(staple_bore(staple), breath(pressure)),
        notes={name: by_length[note.length] for name, note in NOTES.items()},
    )


@dataclass(frozen=True, slots=True)
class Measures:
    """What is found for every draw.

    Parameters
    ----------
    onset : dict of str to Onsets
        Threshold and pitch of ``"crow"`` and of each note.
    flow : ndarray, shape (draws,)
        Through the silent reed at a fixed blowing pressure [m3/s].
    closing : ndarray, shape (draws,)
        Closing pressure as played [Pa].
    """

    onset: dict[str, Onsets]
    flow: Real
    closing: Real


_NAMES = ("crow", *NOTES)


def measure_afresh(
    crowing: ReedArrays, played: ReedArrays, bores: Bores, blowing: Real
) -> Measures:
    """Find thresholds and pitches of all draws from scratch.

    Parameters
    ----------
    crowing, played : ReedArrays
        The same draws without and with lips.
    bores : Bores
        Air of the place.
    blowing : ndarray, shape (draws,)
        Pressure at which the flow is taken [Pa].

    Returns
    -------
    Measures
        NaN where a draw does not sound.
    """
    onset = {
        name: onsets(crowing if name == "crow" else played, bores.of(name), near=bores.near(name))
        for name in _NAMES
    }
    flow = steady_flow(played, bores.notes["middle"], blowing)
    return Measures(onset, flow, played.closing_pressure)


def measure(
    crowing: ReedArrays, played: ReedArrays, bores: Bores, blowing: Real, base: Measures
) -> Measures:
    """Follow thresholds and pitches from a known state.

    Parameters
    ----------
    crowing, played : ReedArrays
        The same draws without and with lips.
    bores : Bores
        Air of the place.
    blowing : ndarray, shape (draws,)
        Pressure at which the flow is taken [Pa].
    base : Measures
        Of the same draws, in other air or slightly otherwise.

    Returns
    -------
    Measures
        Draws lost on the way are found afresh; NaN where a draw does not sound.
    """
    onset = {}
    for name in _NAMES:
        reeds = crowing if name == "crow" else played
        found = onsets_from(base.onset[name], reeds, bores.of(name))
        lost = np.flatnonzero(np.isnan(found.pressure) & np.isfinite(base.onset[name].pressure))
        if len(lost):
            fresh = onsets(reeds.take(lost), bores.of(name), near=bores.near(name))
            pressure, frequency = found.pressure.copy(), found.frequency.copy()
            pressure[lost], frequency[lost] = fresh.pressure, fresh.frequency
            found = Onsets(pressure, frequency)
        onset[name] = found
    flow = steady_flow(played, bores.notes["middle"], blowing)
    return Measures(onset, flow, played.closing_pressure)


def exact_error(
    crowing: ReedArrays,
    played: ReedArrays,
    bores: Bores,
    blowing: Real,
    followed: Measures,
    count: int,
) -> float:
    """Compare followed with fresh thresholds.

    Parameters
    ----------
    crowing, played : ReedArrays
        All draws.
    bores : Bores
        Air of the place.
    blowing : ndarray, shape (draws,)
        Pressure at which the flow is taken [Pa].
    followed : Measures
        Of all draws.
    count : int
        How many of the first draws are computed afresh.

    Returns
    -------
    float
        Largest relative difference; NaN if nothing could be compared.
    """
    few = slice(0, count)
    if count <= 0:
        return float("nan")
    fresh = measure_afresh(crowing.take(few), played.take(few), bores, blowing[few])
    differences = np.concatenate(
        [
            np.abs(found.pressure / followed.onset[name].pressure[few] - 1.0)
            for name, found in fresh.onset.items()
        ]
    )
    known = differences[np.isfinite(differences)]
    return float(known.max()) if len(known) else float("nan")
