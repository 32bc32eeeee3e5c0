"""How fast a note comes up."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["attack_time"]

_WINDOW = 0.006  # of the loudness envelope [s]
_STEP = 0.001  # [s]
_BEFORE = 0.30  # looked back from the note's first frame [s]
_NEAR = 0.06  # the quietest point is looked for this near to the first frame [s]
_FROM, _TO = -20.0, -3.0  # [dB re the steady level]


def attack_time(samples: NDArray[np.float32], rate: float, start: float, end: float) -> float:
    """Time from -20 to -3 dB of the steady level.

    The envelope is the root mean square over 6 ms. The steady level is its median over the note
    (all but the first quarter, at most 0.2 s of it). From the quietest point about the note's
    first frame on, the envelope is followed to where it first comes within 3 dB of that level, and
    from there back to the last moment below -20 dB; both crossings are interpolated in decibels.
    An abrupt attack reads as 2 to 3 ms, half the window.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    rate : float
        [1/s].
    start, end : float
        First and last moment of the note [s].

    Returns
    -------
    float
        [s]; NaN where the sound before the note never falls below -20 dB of its level.
    """
    first = max(0, round((start - _BEFORE) * rate))
    piece = samples[first : round(end * rate)].astype(np.float64)
    window, step = max(1, round(_WINDOW * rate)), max(1, round(_STEP * rate))
    total = np.concatenate([[0.0], np.cumsum(np.pad(piece, window // 2) ** 2)])
    power = (total[window::step] - total[:-window:step]) / window
    level = 10 * np.log10(np.maximum(power, 1e-20))
    time = first / rate + np.arange(level.size) * step / rate
    steady_from = start + min(0.2, (end - start) / 4)
    held = level[(time >= steady_from) & (time < end)]
    around = np.searchsorted(time, (start - _NEAR, min(start + _NEAR, end)))
    if held.size == 0 or around[0] >= around[1]:
        return float("nan")
    begins = int(around[0] + level[around[0] : around[1]].argmin())
    level = level - np.median(held)
    up = np.flatnonzero(level[begins:] >= _TO)
    if up.size == 0:
        return float("nan")
    top = begins + int(up[0])
    low = np.flatnonzero(level[:top] < _FROM)
    if low.size == 0 or top == 0:
        return float("nan")
    return _crossing(time, level, top, _TO) - _crossing(time, level, int(low[-1]) + 1, _FROM)


def _crossing(
    time: NDArray[np.float64], level: NDArray[np.float64], after: int, value: float
) -> float:
    """When the level rises through `value` between frames ``after - 1`` and `after`."""
    below, above = level[after - 1], level[after]
    share = (value - below) / (above - below) if above > below else 1.0
    return float(time[after - 1] + np.clip(share, 0, 1) * (time[after] - time[after - 1]))
