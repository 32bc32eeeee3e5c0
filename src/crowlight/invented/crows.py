"""What an invented crow is made of, and how one is drawn.

The ranges drawn here are the developers' choice: common practice at best, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "C5",
    "DEFECTS",
    "Floats",
    "InventedCrow",
    "Kind",
    "Room",
    "draw_crow",
    "draw_room",
    "with_defect",
]

Kind = Literal["clean", "mixed", "rattling"]
Floats = NDArray[np.float64]

C5 = 440.0 * 2.0 ** (3 / 12)
"""C5 in equal temperament from A4 = 440 Hz [Hz]."""

DEFECTS = ("stray", "beat", "modulation", "breath", "jitter", "octave")
"""Names :func:`with_defect` knows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedCrow:
    """What an additive crow is made of; levels are power ratios.

    Parameters
    ----------
    pitch : float
        The lower octave, C5 for a long-scrape crow [Hz].
    lower_level : float
        Level of the odd partials (the lower octave alone) against the even ones [dB].
    tilt : float
        Fall of the partials above 1.5 kHz [dB per octave].
    jitter : float
        RMS of the slow random pitch movement (0.5-6 Hz) [cents].
    drift : float
        Slope of the pitch [cents per second].
    modulation, modulation_rate, irregular : float
        Peak depth of the level modulation common to all partials [1], its rate [Hz], and the
        relative width of the rate's wandering [1]; 0 is a pure tone.
    breath : float
        Noise power against the power of all partials, 150-8000 Hz, before the room [dB].
    strays : tuple of (float, float)
        Partials that belong to no octave: (ratio to `pitch`, level against strongest partial [dB]).
    octave_off : float
        How far the even partials are off the octave of the odd ones [cents].
    beat, beat_level : float
        Second copy of all partials, moved so that the strongest beats at `beat` [Hz], and its
        level against the first [dB]; no copy at 0 Hz.
    attack : float
        Time constant of the rise [s].
    """

    pitch: float = C5
    lower_level: float = -6.0
    tilt: float = 9.0
    jitter: float = 2.0
    drift: float = 0.0
    modulation: float = 0.0
    modulation_rate: float = 30.0
    irregular: float = 0.0
    breath: float = -40.0
    strays: tuple[tuple[float, float], ...] = ()
    octave_off: float = 0.0
    beat: float = 0.0
    beat_level: float = -10.0
    attack: float = 0.015


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Everything between the reed and the file.

    Parameters
    ----------
    colour : tuple of float
        Weights of the first three cosines of a smooth response over log frequency [dB].
    reverberation, wet : float
        Time for 60 dB of decay [s] and power of the tail against the direct sound [dB].
    noise : float
        Room noise against the blow [dB].
    hum, mains : float
        Mains hum against the blow [dB] and its frequency [Hz].
    level : float
        RMS of the blow [dB below full scale, so < 0].
    """

    colour: tuple[float, ...] = (0.0, 0.0, 0.0)
    reverberation: float = 0.2
    wet: float = -120.0
    noise: float = -80.0
    hum: float = -120.0
    mains: float = 50.0
    level: float = -20.0


def draw_crow(rng: np.random.Generator, kind: Kind = "clean") -> InventedCrow:
    """Draw a crow of one kind; several things get worse together from clean to rattling."""
    pitch = C5 * 2.0 ** (rng.normal(0.0, 45.0) / 1200.0)
    uniform = rng.uniform
    shape = {
        "pitch": float(pitch),
        "lower_level": float(uniform(-18.0, 4.0)),
        "tilt": float(uniform(6.0, 13.0)),
        "drift": float(rng.normal(0.0, 2.0)),
        "attack": float(uniform(0.005, 0.03)),
        "modulation_rate": float(uniform(15.0, 90.0)),
    }
    if kind == "clean":
        return InventedCrow(
            **shape,
            jitter=float(uniform(1.0, 4.0)),
            modulation=float(uniform(0.0, 0.015)),
            irregular=0.3,
            breath=float(uniform(-45.0, -27.0)),
            strays=_draw_strays(rng, int(rng.integers(0, 3)), (-60.0, -42.0)),
            octave_off=float(rng.normal(0.0, 0.4)),
        )
    if kind == "mixed":
        return InventedCrow(
            **shape,
            jitter=float(uniform(3.0, 10.0)),
            modulation=float(uniform(0.05, 0.2)),
            irregular=0.3,
            breath=float(uniform(-32.0, -18.0)),
            strays=_draw_strays(rng, int(rng.integers(2, 5)), (-30.0, -14.0)),
            octave_off=float(rng.normal(0.0, 3.0)),
        )
    return InventedCrow(
        **shape,
        jitter=float(uniform(8.0, 30.0)),
        modulation=float(uniform(0.4, 0.9)),
        irregular=0.5,
        breath=float(uniform(-20.0, -8.0)),
        strays=_draw_strays(rng, int(rng.integers(4, 9)), (-16.0, -2.0)),
        octave_off=float(rng.normal(0.0, 8.0)),
    )


def _draw_strays(
    rng: np.random.Generator, count: int, levels: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    """Draw partials at least an eighth of the pitch away from every multiple of half of it."""
    out: list[tuple[float, float]] = []
    while len(out) < count:
        ratio = float(rng.uniform(0.4, 7.0))
        if abs(2.0 * ratio - round(2.0 * ratio)) > 0.25:
            out.append((ratio, float(rng.uniform(*levels))))
    return tuple(out)


def with_defect(
    crow: InventedCrow, name: str, level: float, rng: np.random.Generator
) -> InventedCrow:
    """Give a crow exactly one defect at a stated level, in place of what it had of it.

    Parameters
    ----------
    crow : InventedCrow
        Usually a clean one.
    name : str
        One of :data:`DEFECTS`.
    level : float
        ``stray``: level of one stray partial against the strongest [dB]; ``beat``: rate [Hz];
        ``modulation``: peak depth [1]; ``breath``: noise power against partials [dB];
        ``jitter``: RMS [cents]; ``octave``: the even partials' mistuning [cents].
    rng : numpy.random.Generator
        Places the stray partial.

    Examples
    --------
    >>> with_defect(InventedCrow(), "jitter", 8.0, np.random.default_rng(0)).jitter
    8.0
    """
    if name == "stray":
        ((ratio, _),) = _draw_strays(rng, 1, (0.0, 1.0))
        return replace(crow, strays=(*crow.strays, (ratio, level)))
    if name == "modulation":
        return replace(crow, modulation=level, irregular=0.0)
    if name == "octave":
        return replace(crow, octave_off=level)
    return replace(crow, **{name: level})


def draw_room(rng: np.random.Generator) -> Room:
    """Draw a microphone and a small room."""
    return Room(
        colour=tuple(float(v) for v in rng.normal(0.0, [3.0, 2.0, 1.5])),
        reverberation=float(rng.uniform(0.12, 0.4)),
        wet=float(rng.uniform(-20.0, -6.0)),
        noise=float(rng.uniform(-65.0, -45.0)),
        hum=float(rng.uniform(-70.0, -35.0)),
        mains=float(rng.choice([50.0, 60.0])),
        level=float(rng.uniform(-35.0, -15.0)),
    )
