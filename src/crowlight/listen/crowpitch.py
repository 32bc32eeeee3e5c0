"""The pitch of a crow from one long spectrum, with the candidates it was chosen from.

A crow is not a note: its lines are several octaves of one pitch with strays and sidebands between
them, so a short window sees now one line, now another. One spectrum of the whole blow sees which
pitch explains most of the sound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from crowlight.listen.partials import power_spectrum

__all__ = ["Candidate", "candidates"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A pitch that might be the crow's.

    Parameters
    ----------
    pitch : float
        Pitch [Hz].
    explained : float
        Share of the lines' strength on its orders beyond what chance would put there, <= 1.
    """

    pitch: float
    explained: float


def candidates(
    x: Floats, rate: float, *, low: float, high: float, near: float = 0.06
) -> tuple[Candidate, ...]:
    """Find pitches that explain a steady sound, the best first.

    Every strong peak, its half and its quarter are tried: a crow is octaves, and thirds of a strong
    line are the commonest false answer. A trial pitch f explains the strength within
    1.5 % of f (at most 0.12 f) of its orders; if orders cover the share c of the axis, chance would
    explain c, and the score is (share - c) / (1 - c). Of the pitches within `near` of the best
    score the highest is taken, because every whole fraction of a true pitch explains as much.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Steady part of a blow.
    rate : float
        Sampling rate [Hz].
    low, high : float
        Range in which the pitch is looked for [Hz].
    near : float
        See above [1].

    Returns
    -------
    tuple of Candidate
        At most eight, the chosen one first; empty for silence.
    """
    spectrum = power_spectrum(x, rate, window=0.3, overlap=0.5)
    f = spectrum.frequency
    band = (f >= max(0.8 * low, 100.0)) & (f <= min(7_000.0, 0.45 * rate))
    f, p = f[band], spectrum.mean[band]
    # strength: the level above the floor, between power (one line decides) and decibels
    floor = _floor(p)
    strength = np.sqrt(np.maximum(p - 4.0 * floor, 0.0))
    total = float(strength.sum())
    if total <= 0.0:
        return ()
    peaks, _ = signal.find_peaks(p, distance=max(int(15.0 / spectrum.step), 1))
    peaks = peaks[p[peaks] > 4.0 * floor[peaks]]
    peaks = peaks[np.argsort(p[peaks])[::-1][:14]]
    trial = np.unique(np.round(np.concatenate([_fine(p, f, peaks) / m for m in (1, 2, 4)]), 3))
    trial = trial[(trial >= low) & (trial <= high)]
    if trial.size == 0:
        return ()
    score = np.array([_explained(strength, f, t, total) for t in trial])
    best = score.max()
    good = np.flatnonzero(score >= best - near * abs(best))
    first = good[np.argmax(trial[good])]
    kept: list[int] = []
    for i in [int(first), *np.argsort(score)[::-1].tolist()]:
        if all(abs(trial[i] / trial[j] - 1.0) > 0.02 for j in kept):
            kept.append(i)
    lines, power = _fine(p, f, peaks), p[peaks]
    return tuple(
        Candidate(_settled(float(trial[i]), lines, power), float(score[i])) for i in kept[:8]
    )


def _settled(pitch: float, lines: Floats, power: Floats) -> float:
    """Least-squares pitch of the lines within 1.5 % of an order, weighted by their power."""
    order = np.maximum(np.rint(lines / pitch), 1.0)
    near = np.abs(lines - order * pitch) <= np.minimum(0.015 * lines, 0.12 * pitch)
    if not np.any(near):
        return pitch
    k, weight = order[near], power[near]
    return float(np.sum(weight * k * lines[near]) / np.sum(weight * k * k))


def _floor(p: Floats) -> Floats:
    """Find the running 30th percentile over an eighth of the spectrum."""
    width = max(len(p) // 16, 3)
    marks = np.arange(0, len(p), width)
    found = [np.percentile(p[max(m - width, 0) : m + width], 30.0) for m in marks]
    return np.exp(np.interp(np.arange(len(p)), marks, np.log(np.maximum(found, 1e-300))))


def _fine(p: Floats, f: Floats, peaks: NDArray[np.intp]) -> Floats:
    """Peak frequencies from a parabola through the logarithms of three bins."""
    a, b, c = (np.log(np.maximum(p[peaks + s], 1e-300)) for s in (-1, 0, 1))
    bend = a - 2.0 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, -1.0), 0.0)
    return f[peaks] + shift * (f[1] - f[0])


def _explained(strength: Floats, f: Floats, pitch: float, total: float) -> float:
    order = np.maximum(np.rint(f / pitch), 1.0)
    width = np.minimum(np.maximum(0.015 * f, 6.0), 0.12 * pitch)
    on = np.abs(f - order * pitch) <= width
    chance = float(np.mean(on))
    return (float(strength[on].sum()) / total - chance) / (1.0 - chance)
