"""Pitch while it sounds: one value per block of samples, nothing older than it must be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.listen.decimate import as_mono, decimate
from crowlight.listen.path import JUMP_COST
from crowlight.listen.periodicity import Candidates, candidates
from crowlight.listen.phases import partials_at, turn_between, window_length
from crowlight.listen.pitch import (
    FINE_HOP,
    HIGHEST,
    LOWEST,
    SHORTEST,
    SLOW_RATE,
    TRUSTED,
    WINDOW,
)

__all__ = ["LiveMoment", "listen_live", "live_delay"]

_MOMENTS = 3  # of the fine step, at most, to either side of the middle
_LEAST_HOP = 0.008  # shorter blocks are gathered up to this [s]
_SILENT = -75.0  # softer is silence [dB re full scale]
_EDGE = 10  # decimated samples at an end that the filter has not seen in full


@dataclass(frozen=True, slots=True)
class LiveMoment:
    """What was heard around one moment.

    Parameters
    ----------
    time : float
        Middle of the 30 ms looked at, from the first sample of the stream [s].
    pitch : float
        [Hz]; NaN where there is none to trust.
    clarity : float
        Share of the power below 6 kHz that repeats; 0 to 1.
    level : float
        Root mean square over the 30 ms [dB re full scale].
    """

    time: float
    pitch: float
    clarity: float
    level: float


def live_delay(rate: float, block: int) -> float:
    """Longest time from a sound to the value that shows it, without the computing [s].

    A sound that just misses a block waits for the whole next one, and half the window has to follow
    its middle: ``block / rate + 0.015 + filter``. Sound card and browser come on top.

    Parameters
    ----------
    rate : float
        [1/s].
    block : int
        Samples per block.

    Examples
    --------
    >>> round(live_delay(48_000, 1024), 4)
    0.037
    """
    step = max(1, int(rate // SLOW_RATE))
    gathered = block * int(np.ceil(_LEAST_HOP * rate / block))
    return gathered / rate + WINDOW / 2 + (_EDGE * step / rate if step > 1 else 0.0)


def listen_live(
    blocks: Iterable[ArrayLike],
    rate: float,
    *,
    lowest: float = LOWEST,
    highest: float = HIGHEST,
) -> Iterator[LiveMoment]:
    """Follow the pitch of a stream.

    Parameters
    ----------
    blocks : iterable of array_like, shape (n,) or (n, channels)
        Samples, full scale = 1, in order and without gaps; 1,024 a block suit 48 kHz.
    rate : float
        The device's true rate [1/s]; at least 8,000.
    lowest, highest : float
        Range looked for [Hz].

    Yields
    ------
    LiveMoment
        One per block once 35 ms have been heard; blocks shorter than 8 ms are gathered first.

    Raises
    ------
    InputError
        Where a block cannot be right.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(24 * 1024) / 48_000
    >>> stream = np.sin(2 * np.pi * 443 * t).reshape(24, 1024)
    >>> [round(moment.pitch, 1) for moment in listen_live(stream, 48_000)][-1]
    443.0
    """
    if not 100 <= lowest < highest <= 4000:
        msg = f"lowest = {lowest} Hz and highest = {highest} Hz must lie between 100 and 4,000"
        raise InputError(msg + " in this order")
    step = max(1, int(rate // SLOW_RATE))
    slow = rate / step
    length = 2 * round(WINDOW * slow / 2)
    keep = (2 * length + 2 * _EDGE) * step
    heard = np.empty(0, np.float32)
    count = waiting = 0
    memory: _Memory | None = None
    for block in blocks:
        # the mean of channels: the loudest of one block need not be that of the next
        wave = np.asarray(block)
        samples = as_mono(wave.mean(axis=1) if wave.ndim == 2 else wave, rate)
        count += samples.size
        waiting += samples.size
        heard = np.concatenate([heard, samples])[-keep:]
        if waiting < _LEAST_HOP * rate or heard.size < (length + 2 * _EDGE + 1) * step:
            continue
        waiting = 0
        # Outputs near the ends lack samples that the filter needs.
        thin = decimate(heard, step)
        end = thin.size - _EDGE if step > 1 else thin.size
        window = thin[end - length : end]
        middle = end - length // 2
        time = (count - heard.size + middle * step) / rate
        found = candidates(window[None, :], slow, lowest=lowest, highest=highest)
        memory = _follow(found, memory)
        level = 10 * float(np.log10(np.mean(window.astype(np.float64) ** 2) + 1e-20))
        clarity = float(found.height[0, memory.chosen])
        pitch = float("nan")
        if clarity >= TRUSTED and level > _SILENT:
            noise = (1 - clarity) * float(found.power[0]) * slow / 9000
            pitch = _refine(thin, middle, end, slow, float(memory.pitch[memory.chosen]), noise)
        yield LiveMoment(time, pitch, clarity, level)


@dataclass(frozen=True, slots=True, eq=False)
class _Memory:
    """Candidates of the last moment with the sum of scores that leads to each."""

    pitch: NDArray[np.float64]
    total: NDArray[np.float64]
    chosen: int


def _follow(found: Candidates, before: _Memory | None) -> _Memory:
    """Carry the likeliest path on by one moment."""
    total = found.score[0]
    if before is not None:
        octaves = np.abs(np.log2(found.pitch[0][:, None] / before.pitch[None, :]))
        reach = before.total - before.total.max() - JUMP_COST * np.minimum(octaves, 1)
        total = total + reach.max(axis=1)
    return _Memory(found.pitch[0], total, int(total.argmax()))


def _refine(
    thin: NDArray[np.float32], middle: int, end: int, rate: float, pitch: float, noise: float
) -> float:
    """Pitch at `middle` from the phases of the partials at moments that fit before `end`."""
    half = int(np.ceil(float(window_length(np.array(pitch), SHORTEST)) * rate / 2))
    hop = max(1, round(FINE_HOP * rate))
    moments = min(_MOMENTS, (end - middle - half) // hop, (middle - half) // hop)
    if moments < 1:
        return pitch
    offset = np.arange(-moments, moments + 1)
    frames = np.stack([thin[middle + k * hop - half : middle + k * hop + half] for k in offset])
    near = np.full(offset.size, pitch)
    partials, gain = partials_at(frames, rate, near, shortest=SHORTEST)
    turn, _ = turn_between(partials, noise * gain, near[1:], hop / rate)
    phase = np.concatenate([[0.0], np.cumsum(turn)])
    slope = float(offset @ phase / (offset @ offset))
    return slope * rate / hop / (2 * np.pi)
