"""The octave lines: how loud, how well in tune with each other, which one speaks first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

__all__ = ["RATIOS", "Octaves", "first_heard", "line_course", "octave_lines"]

Floats = NDArray[np.float64]

RATIOS = (0.5, 1.0, 2.0, 4.0, 8.0)
"""Octaves of the target's octave that are looked at."""
STANDS_OUT_DB = 12.0
"""A line is there when it stands this far above its surroundings [dB]."""


@dataclass(frozen=True, slots=True)
class Octaves:
    """Octave lines of a steady crow.

    Parameters
    ----------
    level : tuple of float or None
        Level of each of :data:`RATIOS` against the strongest of them [dB]; None where the line
        does not stand out or lies outside the band.
    deviation : tuple of float or None
        How far each is from its place [cents].
    spread : float or None
        Largest difference between the deviations of 1/2, 1, 2 and 4 [cents]; None below two lines.
    """

    level: tuple[float | None, ...]
    deviation: tuple[float | None, ...]
    spread: float | None


def octave_lines(y: Floats, rate: float, pitch: float) -> Octaves:
    """Measure the octave lines of a sound of constant pitch in one window over all of it.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Sound after :func:`crowlight.listen.orders.unbend`.
    rate, pitch : float
        Sampling rate and the pitch that counts as 1 [Hz].
    """
    size = y.size
    p = np.abs(np.fft.rfft(y * signal.windows.hann(size, sym=False))) ** 2
    step = rate / size
    power: list[float | None] = []
    cents: list[float | None] = []
    for ratio in RATIOS:
        centre = ratio * pitch
        reach = max(centre * 0.03, 3.0 * step)  # half a semitone
        if centre + 0.3 * pitch > 0.45 * rate:
            power.append(None)
            cents.append(None)
            continue
        near = slice(int((centre - reach) / step), int((centre + reach) / step) + 2)
        around = np.concatenate(
            [
                p[int((centre + s * pitch - 25) / step) : int((centre + s * pitch + 25) / step) + 1]
                for s in (-0.25, 0.25)
            ]
        )
        top = int(np.argmax(p[near])) + near.start
        line = float(p[max(top - 2, 0) : top + 3].sum())
        # the loudest of some hundred noise bins stands about 8 dB above their mean
        if line < 10.0 ** (STANDS_OUT_DB / 10.0) * 5.0 * float(around.mean()) or top in (
            near.start,
            near.stop - 1,
        ):
            power.append(None)
            cents.append(None)
            continue
        a, b, c = (np.log(max(float(p[top + s]), 1e-300)) for s in (-1, 0, 1))
        shift = 0.5 * (a - c) / (a - 2.0 * b + c) if a - 2.0 * b + c < 0 else 0.0
        power.append(float(p[near].sum()))
        cents.append(float(1200.0 * np.log2((top + shift) * step / centre)))
    loudest = max((v for v in power if v is not None), default=1.0)
    level = tuple(None if v is None else float(10.0 * np.log10(v / loudest)) for v in power)
    there = [v for v in cents[:4] if v is not None]
    spread = float(max(there) - min(there)) if len(there) >= 2 else None
    return Octaves(level, tuple(cents), spread)


def line_course(
    x: Floats,
    rate: float,
    pitch: float,
    *,
    ratios: tuple[float, ...] = RATIOS[:4],
    window: float = 0.06,
    hop: float = 0.01,
) -> tuple[Floats, Floats, Floats]:
    """Course of the octave lines over time.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Sound.
    rate, pitch : float
        Sampling rate and the pitch that counts as 1 [Hz].
    ratios : tuple of float
        Lines to follow.
    window, hop : float
        Length and spacing of the Hann windows [s].

    Returns
    -------
    time : ndarray, shape (m,)
        Window centres [s].
    level : ndarray, shape (m, lines)
        Power of each line [dB re full scale].
    above : ndarray, shape (m, lines)
        The same above the mean of both surroundings, a quarter of the pitch away [dB].
    """
    size, step = int(window * rate), int(hop * rate)
    if x.size < size:
        return np.zeros(0), np.zeros((0, len(ratios))), np.zeros((0, len(ratios)))
    hann = signal.windows.hann(size, sym=False)
    cut = np.lib.stride_tricks.sliding_window_view(x, size)[::step]
    at = np.array([r * pitch + s for r in ratios for s in (-0.25 * pitch, 0.0, 0.25 * pitch)])
    probe = hann[:, None] * np.exp(-2j * np.pi * np.outer(np.arange(size), at) / rate)
    power = np.abs(cut @ probe) ** 2 * 2.0 / np.sum(hann) ** 2
    power = np.maximum(power.reshape(len(cut), len(ratios), 3), 1e-16)
    around = 0.5 * (power[:, :, 0] + power[:, :, 2])
    time = (np.arange(len(cut), dtype=np.float64) * step + size / 2.0) / rate
    return time, 10.0 * np.log10(power[:, :, 1]), 10.0 * np.log10(power[:, :, 1] / around)


def first_heard(
    time: Floats, level: Floats, above: Floats, *, hold: float = 0.05
) -> tuple[float | None, ...]:
    """When each line is first there: stands out, is within 35 dB of its loudest, and stays so.

    Parameters
    ----------
    time, level, above : ndarray
        From :func:`line_course`.
    hold : float
        How long it must stay [s].
    """
    if time.size < 2:
        return (None,) * level.shape[1]
    need = max(round(hold / float(time[1] - time[0])), 1)
    out: list[float | None] = []
    for row in range(level.shape[1]):
        there = (above[:, row] >= STANDS_OUT_DB) & (level[:, row] >= level[:, row].max() - 35.0)
        run = np.convolve(there.astype(int), np.ones(need, dtype=int), "valid") == need
        hit = np.flatnonzero(run)
        out.append(float(time[hit[0]]) if hit.size else None)
    return tuple(out)
