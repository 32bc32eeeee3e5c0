"""The octave experiment on a recording: whether the crow's lower octave is a doubled period.

The hypothesis says that in a slow crescendo the lower note appears at once, at half the upper one.
Here both notes are followed through the longest blow of a recording and handed to
`crowlight.crow.octave_evidence`, which weighs them.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.crow import octave_evidence
from crowlight.listen import find_blows
from crowlight.listen.waveform import finite, one_channel

__all__ = ["LEAST", "octave_courses", "octave_experiment"]

Floats = NDArray[np.float64]

#: A blow shorter than this hides the order of events [s].
LEAST = 3.0
#: Window and step [s]. The window tells two notes an octave apart from 60 Hz on; the step is
#: short enough to see what comes at once.
WINDOW, HOP = 0.12, 0.03
#: A line counts when it stands this far above the spectrum around it [dB].
STANDS_OUT = 12.0
#: How far from half the upper note the lower one is looked for, as a ratio.
NEAR_HALF = 0.06


def octave_courses(
    sound: ArrayLike, rate: float, *, upper: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Follow the upper note and whatever stands near its half.

    Parameters
    ----------
    sound : array_like, shape (n,)
        One blow, full scale 1.
    rate : float
        Sampling rate [Hz].
    upper : float
        Where the upper note is expected [Hz]; it is looked for within a fourth of it.

    Returns
    -------
    tuple of ndarray, each of shape (frames,)
        Times [s]; upper note [Hz]; lower note [Hz]; level of the lower against the upper [dB]. NaN
        where no line stands out.
    """
    x = np.asarray(sound, dtype=float)
    size, hop = round(WINDOW * rate), round(HOP * rate)
    frames = np.lib.stride_tricks.sliding_window_view(x, size)[::hop] * np.hanning(size)
    padded = 1 << (4 * size - 1).bit_length()
    step = rate / padded
    times: Floats = np.asarray((np.arange(len(frames)) * hop + size / 2) / rate, dtype=np.float64)
    high, low, level = (np.full(len(frames), np.nan) for _ in range(3))
    for i, frame in enumerate(frames):
        decibels = 20.0 * np.log10(np.abs(np.fft.rfft(frame, padded)) + 1e-12)
        found = _line(decibels, step, upper * 0.75, upper * 1.34)
        if found is None:
            continue
        high[i] = found[0]
        half = _line(decibels, step, found[0] / 2 * (1 - NEAR_HALF), found[0] / 2 * (1 + NEAR_HALF))
        if half is not None:
            low[i], level[i] = half[0], half[1] - found[1]
    return times, high, low, level


def _line(decibels: Floats, step: float, low: float, high: float) -> tuple[float, float] | None:
    """Return frequency [Hz] and level [dB] of the strongest line in a range, if one stands out."""
    first, last = int(low / step), int(high / step) + 1
    k = first + int(np.argmax(decibels[first:last]))
    wide = max(int(200.0 / step), 8)
    around = decibels[max(k - wide, 0) : k + wide]
    if k in (first, last - 1) or decibels[k] < np.median(around) + STANDS_OUT:
        return None
    a, b, c = decibels[k - 1 : k + 2]
    shift = 0.5 * (a - c) / (a - 2.0 * b + c)  # the peak of a parabola through three points
    return (k + shift) * step, float(b - 0.25 * (a - c) * shift)


def octave_experiment(sound: ArrayLike, rate: float, *, upper: float) -> dict[str, Any] | None:
    """Weigh the longest blow of a recording.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Recording, full scale 1.
    rate : float
        Sampling rate [Hz].
    upper : float
        Where the upper note is expected [Hz].

    Returns
    -------
    dict or None
        ``verdict`` (supports, against or undecided), ``reason``, and the measures behind it; None
        where no blow lasts `LEAST`.
    """
    mono = finite(one_channel(sound, rate))
    blows = find_blows(mono, rate)
    longest = max(blows, key=lambda b: b.end - b.start, default=None)
    if longest is None or longest.end - longest.start < LEAST:
        return None
    piece = mono[int(longest.start * rate) : int(longest.end * rate)]
    found = octave_evidence(*octave_courses(piece, rate, upper=upper))
    return {
        "basis": "hypothesis",
        "verdict": found.verdict.value,
        "reason": found.reason,
        "appears_at_s": longest.start + found.appears_at,
        "rise_s": found.rise_time,
        "off_half_cents": found.off_half,
        "off_half_spread_cents": found.off_half_spread,
        "upper_jump_cents": found.upper_jump,
    }
