"""The standard blow: one slow swell from nothing to full, and what happens on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.listen.blows import find_blows
from crowlight.listen.crowpitch import candidates
from crowlight.listen.octaves import first_heard, line_course
from crowlight.listen.orders import envelopes
from crowlight.listen.waveform import finite, one_channel, working

__all__ = ["Moment", "Swell", "measure_swell"]

Floats = NDArray[np.float64]

RATTLE_LIMIT = 0.15
"""Relative movement of level at 12-150 Hz from which it rattles [1]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Moment:
    """Something that happens during a swell.

    Parameters
    ----------
    time : float
        From the start of the recording [s].
    level : float
        Sound level against the loudest moment of the swell [dB].
    breath : float or None
        Blowing pressure at that time [Pa], where a pressure record was given.
    """

    time: float
    level: float
    breath: float | None


@dataclass(frozen=True, slots=True)
class Swell:
    """One slow swell.

    Parameters
    ----------
    start : Moment or None
        First pitch speaks; None if none ever stands out.
    first : {"upper", "lower", "both"} or None
        Which octave speaks first; "both" if they come within 60 ms of each other.
    octave : Moment or None
        The other octave joins.
    rattle : Moment or None
        The rattle sets in for good (at least 0.2 s).
    pitch : float or None
        Lower octave [Hz].
    time, level, lower, upper, rattling : ndarray, shape (m,)
        Courses: times [s], level re the loudest [dB], the octave lines re the loudest line [dB],
        relative movement of level at 12-150 Hz [1].
    """

    start: Moment | None
    first: str | None
    octave: Moment | None
    rattle: Moment | None
    pitch: float | None
    time: Floats
    level: Floats
    lower: Floats
    upper: Floats
    rattling: Floats

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON, without the courses; None where it did not happen."""
        moments = {"start": self.start, "octave_joins": self.octave, "rattles": self.rattle}
        return {
            "first_octave": self.first,
            "pitch_hz": self.pitch,
            **{
                name: None
                if m is None
                else {"time_s": m.time, "level_db": m.level, "breath_pa": m.breath}
                for name, m in moments.items()
            },
        }


def measure_swell(
    sound: ArrayLike,
    rate: float,
    *,
    target: float = 440.0 * 2.0 ** (3 / 12),
    breath: ArrayLike | None = None,
    breath_rate: float | None = None,
) -> Swell:
    """Read a slow swell.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Recording of one swell; with several blows the longest is read.
    rate : float
        Sampling rate [Hz].
    target : float
        The lower octave aimed at [Hz]; the octave of the answer is the one nearest to it.
    breath : array_like, shape (m,), optional
        Blowing pressure recorded at the same time [Pa].
    breath_rate : float, optional
        Its sampling rate [Hz]; needed with `breath`.

    Raises
    ------
    InputError
        If `breath` comes without its rate.
    """
    if breath is not None and not breath_rate:
        msg = "breath was given without breath_rate; say how many pressure readings a second it has"
        raise InputError(msg)
    x, rate = working(finite(one_channel(sound, rate)), rate)
    blows = find_blows(x, rate)
    if not blows:
        return _nothing()
    blow = max(blows, key=lambda b: b.seconds)
    # a swell begins below any threshold set from its loudest part
    previous = max((b.end for b in blows if b.end <= blow.start), default=0.0)
    begin = max(previous, blow.start - 1.5)
    part = x[int(begin * rate) : int(blow.end * rate)]
    found = candidates(part[int((blow.start - begin) * rate) :], rate, low=180.0, high=1_300.0)
    if not found:
        return _nothing()
    octaves = np.rint(np.log2(found[0].pitch / target))
    pitch = found[0].pitch / 2.0**octaves
    time, line, above = line_course(part, rate, pitch, ratios=(1.0, 2.0))
    moving = _rattling(part, rate, pitch, time)
    level = np.max(line, axis=1)
    level = level - level.max()
    pressure = None
    if breath is not None and breath_rate:
        record = np.asarray(breath, dtype=np.float64)
        pressure = np.interp(time + begin, np.arange(record.size) / breath_rate, record)

    def moment(at: float | None) -> Moment | None:
        if at is None:
            return None
        i = int(np.argmin(np.abs(time - at)))
        return Moment(at + begin, float(level[i]), None if pressure is None else float(pressure[i]))

    low, high = first_heard(time, line, above)
    both = sorted(t for t in (low, high) if t is not None)
    first = None
    if low is not None and high is not None and abs(low - high) <= 0.06:
        first = "both"
    elif both:
        first = "lower" if both[0] == low else "upper"
    top = line.max()
    return Swell(
        start=moment(both[0] if both else None),
        first=first,
        octave=moment(both[1] if len(both) == 2 else None),
        rattle=moment(_sets_in(time, moving, level)),
        pitch=float(pitch),
        time=time + begin,
        level=level,
        lower=line[:, 0] - top,
        upper=line[:, 1] - top,
        rattling=moving,
    )


def _nothing() -> Swell:
    empty = np.zeros(0)
    return Swell(None, None, None, None, None, empty, empty, empty, empty, empty)


def _rattling(x: Floats, rate: float, pitch: float, time: Floats) -> Floats:
    """Relative movement of level at 12-150 Hz over 0.2 s, the strongest orders together."""
    half = 150.0
    orders = np.arange(1, max(int(min(5_000.0, 0.45 * rate - half) / pitch), 1) + 1)
    a, a_rate = envelopes(x, rate, pitch, orders, half)
    size = max(int(0.2 * a_rate) | 1, 3)
    kernel = np.hanning(size + 2)[1:-1]
    kernel /= kernel.sum()
    level = np.abs(a)
    short = max(int(a_rate / 12.0) | 1, 3)
    box = np.ones(short) / short
    top, bottom = np.zeros(level.shape[1]), np.zeros(level.shape[1])
    for row in level:
        # a moving mean over 1/12 s leaves what is faster
        slow = np.convolve(np.convolve(row, box, "same"), box, "same")
        top += np.convolve((row - slow) ** 2, kernel, "same")
        bottom += np.convolve(row**2, kernel, "same")
    course = np.sqrt(top / np.maximum(bottom, 1e-30))
    return np.interp(time, np.arange(course.size) / a_rate, course)


def _sets_in(time: Floats, moving: Floats, level: Floats) -> float | None:
    """First time of 0.2 s on end above the limit while the sound is within 20 dB of its loudest."""
    if time.size < 2:
        return None
    need = max(round(0.2 / float(time[1] - time[0])), 1)
    on = (moving >= RATTLE_LIMIT) & (level >= -20.0)
    run = np.convolve(on.astype(int), np.ones(need, dtype=int), "valid") == need
    hit = np.flatnonzero(run)
    return float(time[hit[0]]) if hit.size else None
