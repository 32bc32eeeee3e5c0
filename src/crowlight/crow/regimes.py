"""What a blown reed does: silent, one note, octave, rattling or closed; and how surely.

The octave regime of this model is a period doubling: the upper note goes on and every second cycle
differs. That the octaves heard in a crow are this is a **hypothesis**; `crowlight.crow.experiment`
holds the recording that tests it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from crowlight.crow.reed import ReedParameters
from crowlight.crow.resonances import Resonances
from crowlight.crow.thresholds import onsets
from crowlight.crow.timedomain import simulate
from crowlight.errors import InputError, OutsideModel

__all__ = ["Heard", "Regime", "Strip", "blow_steadily", "classify", "sound_strip"]

Real = NDArray[np.float64]


class Regime(Enum):
    """What one steady blowing pressure gives."""

    SILENT = "silent"
    SINGLE = "single"
    OCTAVE = "octave"
    RATTLING = "rattling"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Heard:
    """One classified stretch of sound.

    Parameters
    ----------
    regime : Regime
        What it is.
    frequency : float
        Of the upper note [Hz]; NaN when silent or closed.
    repeat_one, repeat_two : float
        Unlikeness of the sound to itself one and two periods later; 0 = the same, 1 = unrelated.
    """

    regime: Regime
    frequency: float
    repeat_one: float
    repeat_two: float


_PERIODIC = 0.02
"""Largest unlikeness that still counts as repeating; breath noise of 2 % gives about 0.002."""


def classify(
    pressure: Real, opening: Real, blowing: float, *, sample_rate: float, near: float
) -> Heard:
    """Classify a steady stretch of the model's sound.

    Parameters
    ----------
    pressure : ndarray, shape (samples,)
        In the reed [Pa]; at least 30 periods.
    opening : ndarray, shape (samples,)
        Relative to rest.
    blowing : float
        [Pa].
    sample_rate : float
        [Hz].
    near : float
        Where the upper note is expected [Hz]; searched from 0.72 to 1.8 times that, so that a loud
        lower octave is not taken for it.

    Returns
    -------
    Heard
        Regime, pitch and the two numbers behind the decision.

    Raises
    ------
    InputError
        If the stretch is too short.

    Examples
    --------
    >>> t = np.arange(9600) / 48e3
    >>> tone = 1000.0 * np.sin(2 * np.pi * 1000.0 * t) + 300.0 * np.sin(2 * np.pi * 500.0 * t)
    >>> heard = classify(tone, np.ones(9600), 5e3, sample_rate=48e3, near=1000.0)
    >>> heard.regime.value, round(heard.frequency)
    ('octave', 1000)
    """
    if len(pressure) < 30.0 * sample_rate / near:
        msg = f"{len(pressure)} samples are fewer than 30 periods of {near:.0f} Hz; keep more"
        raise InputError(msg)
    sound = pressure - pressure.mean()
    power = float(np.mean(sound**2))
    if np.sqrt(power) < 0.05 * blowing:
        still = Regime.CLOSED if float(opening.mean()) < 0.05 else Regime.SILENT
        return Heard(still, float("nan"), float("nan"), float("nan"))
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 4 * len(sound)))
    axis = np.arange(len(spectrum)) * sample_rate / (4 * len(sound))
    band = np.where((axis > 0.72 * near) & (axis < 1.8 * near), spectrum, 0.0)
    rough = float(axis[band.argmax()])
    # Refine on the double period, which both notes share.
    double, two = _best_lag(sound, 2.0 * sample_rate / rough)
    one = _unlikeness(sound, 0.5 * double)
    frequency = 2.0 * sample_rate / double
    if one < _PERIODIC:
        regime = Regime.SINGLE
    elif two < _PERIODIC:
        regime = Regime.OCTAVE
    else:
        regime = Regime.RATTLING
    return Heard(regime, frequency, one, two)


def _unlikeness(sound: Real, lag: float) -> float:
    """Half the mean squared difference to itself `lag` samples later, over the power."""
    whole = int(np.floor(lag))
    share = lag - whole
    later = (1.0 - share) * sound[whole:-1] + share * sound[whole + 1 :]
    now = sound[: len(later)]
    # Interpolation between samples takes no part of the difference worth the name at 96 kHz.
    return float(0.5 * np.mean((later - now) ** 2) / np.mean(sound**2))


def _best_lag(sound: Real, lag: float) -> tuple[float, float]:
    """Lag near `lag` at which the sound repeats best, and how unlike it still is."""
    lags = np.arange(np.floor(0.97 * lag), np.ceil(1.03 * lag) + 1.0)
    values = np.array([_unlikeness(sound, v) for v in lags])
    i = int(np.clip(values.argmin(), 1, len(lags) - 2))
    low, mid, high = values[i - 1 : i + 2]
    bend = low - 2.0 * mid + high
    shift = 0.5 * (low - high) / bend if bend > 0.0 else 0.0
    best = lags[i] + float(np.clip(shift, -1.0, 1.0)) * (lags[1] - lags[0])
    return float(best), min(_unlikeness(sound, float(best)), float(mid))


def blow_steadily(
    pressures: Real,
    *,
    sample_rate: float,
    duration: float,
    noise: float = 0.0,
    rng: np.random.Generator | None = None,
    rise: float = 0.03,
) -> Real:
    """Blowing that rises smoothly and stays.

    Parameters
    ----------
    pressures : ndarray, shape (runs,)
        Where it stays [Pa].
    sample_rate : float
        [Hz].
    duration : float
        In all [s].
    noise : float
        Standard deviation of breath noise below 2 kHz, as a share of the pressure.
    rng : numpy.random.Generator or None
        Source of chance; needed with noise.
    rise : float
        Time to rise [s].

    Returns
    -------
    ndarray, shape (runs, samples)
        [Pa].

    Raises
    ------
    InputError
        If noise is asked for without `rng`.
    """
    t = np.arange(round(duration * sample_rate)) / sample_rate
    shape = 0.5 - 0.5 * np.cos(np.pi * np.clip(t / rise, 0.0, 1.0))
    course = pressures[:, None] * shape
    if noise == 0.0:
        return course
    if rng is None:
        msg = "breath noise needs a source of chance; pass rng=numpy.random.default_rng(seed)"
        raise InputError(msg)
    sos = butter(2, 2000.0, fs=sample_rate, output="sos")
    white = sosfilt(sos, rng.standard_normal(course.shape), axis=1)
    white /= white.std(axis=1, keepdims=True)
    return course * (1.0 + noise * white)


@dataclass(frozen=True, slots=True)
class Strip:
    """Blowing pressure against regime.

    Parameters
    ----------
    pressure : ndarray, shape (steps,)
        [Pa]; read as multiples of `threshold`, absolute values are not trustworthy.
    threshold : float
        Where the reed starts to sound [Pa].
    regime : tuple of Regime
        Of the reed itself, without noise.
    frequency : ndarray, shape (steps,)
        Of the upper note [Hz]; NaN where there is none.
    shares : ndarray, shape (steps, 5)
        Share of the disturbed runs in each `Regime`, in the order of the enumeration.
    agreement : ndarray, shape (steps,)
        Share of the disturbed runs that agree with `regime`, 0 to 1.
    """

    pressure: Real
    threshold: float
    regime: tuple[Regime, ...]
    frequency: Real
    shares: Real
    agreement: Real


_JITTERED = ("opening_area", "closing_pressure", "swept_volume", "frequency", "damping")


def _disturbed(reed: ReedParameters, size: float, rng: np.random.Generator) -> ReedParameters:
    factors = np.exp(size * rng.standard_normal(len(_JITTERED)))
    changes = {n: getattr(reed, n) * float(f) for n, f in zip(_JITTERED, factors, strict=True)}
    return replace(reed, **changes)


def sound_strip(
    reed: ReedParameters,
    bore: Resonances,
    *,
    rng: np.random.Generator,
    steps: int = 16,
    reach: tuple[float, float] = (0.8, 2.6),
    disturbed: int = 8,
    noise: float = 0.02,
    jitter: float = 0.05,
    sample_rate: float = 96e3,
    duration: float = 0.3,
    report: Callable[[float], None] | None = None,
) -> Strip:
    """Blow a reed at rising pressures and say what it does at each, and how robustly.

    Parameters
    ----------
    reed : ReedParameters
        One reed, as it crows.
    bore : Resonances
        Usually of `staple_bore`.
    rng : numpy.random.Generator
        Source of chance for noise and jitter.
    steps : int
        Pressures, at least 2.
    reach : tuple of float
        Lowest and highest pressure over threshold; the highest is held below 1.5 times closing.
    disturbed : int
        Runs per pressure with breath noise and slightly other parameters.
    noise : float
        Breath noise as a share of the pressure.
    jitter : float
        Relative standard deviation of the parameters.
    sample_rate : float
        [Hz].
    duration : float
        Of each run [s]; the last half is judged.
    report : callable or None
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    Strip
        One entry per pressure.

    Raises
    ------
    OutsideModel
        If the reed does not sound below closing.

    Notes
    -----
    Every run starts from silence, so of two possible regimes the one reached by a quick attack is
    shown. Rattling includes periods longer than two. A lightly damped reed beats on far beyond its
    closing pressure here: where sound ends is not to be trusted.
    """
    start = onsets([reed], bore)
    threshold, near = float(start.pressure[0]), float(start.frequency[0])
    if not np.isfinite(threshold):
        msg = "this reed does not start to sound below its closing pressure; nothing to show"
        raise OutsideModel(msg)
    top = min(reach[1] * threshold, 1.5 * reed.closing_pressure)
    pressures = np.geomspace(reach[0] * threshold, max(top, 1.05 * reach[0] * threshold), steps)
    kinds = list(Regime)
    regime, frequency = [], np.full(steps, np.nan)
    shares = np.zeros((steps, len(kinds)))
    crowd = [reed] + [_disturbed(reed, jitter, rng) for _ in range(disturbed)]
    for i, pressure in enumerate(pressures):
        runs = np.full(len(crowd), pressure)
        blowing = blow_steadily(runs, sample_rate=sample_rate, duration=duration)
        if disturbed:
            blowing[1:] = blow_steadily(
                runs[1:], sample_rate=sample_rate, duration=duration, noise=noise, rng=rng
            )
        half = blowing.shape[1] // 2
        motion = simulate(crowd, bore, blowing, sample_rate=sample_rate, keep_from=half)
        heard = [
            classify(p, h, float(pressure), sample_rate=sample_rate, near=near)
            for p, h in zip(motion.pressure, motion.opening, strict=True)
        ]
        regime.append(heard[0].regime)
        frequency[i] = heard[0].frequency
        for other in heard[1:]:
            shares[i, kinds.index(other.regime)] += 1.0 / disturbed
        if report is not None:
            report((i + 1) / steps)
    agreement = np.array([shares[i, kinds.index(r)] for i, r in enumerate(regime)])
    return Strip(pressures, threshold, tuple(regime), frequency, shares, agreement)
