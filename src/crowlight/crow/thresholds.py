"""When a reed starts to sound, and at which pitch.

`onsets` finds thresholds from scratch, `onsets_from` follows them to other reeds or other air, and
`tracked_mode` follows one mode along rising blowing pressure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow.reed import ReedArrays, ReedParameters, stacked
from crowlight.crow.resonances import Resonances
from crowlight.crow.stability import (
    Equilibrium,
    characteristic,
    equilibrium,
    follow,
    growth_modes,
)
from crowlight.errors import InputError, OutsideModel

__all__ = ["Onsets", "TrackedMode", "onsets", "onsets_from", "tracked_mode"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Onsets:
    """Where reeds begin to sound; NaN where a reed never does below closing.

    Parameters
    ----------
    pressure : ndarray, shape (reeds,)
        Threshold of blowing [Pa].
    frequency : ndarray, shape (reeds,)
        Of the note it begins with [Hz].
    """

    pressure: Real
    frequency: Real


_SCAN = np.linspace(0.08, 0.97, 13)


def _band(near: tuple[float, float]) -> tuple[float, float]:
    if not near[0] < near[1]:
        msg = f"the note's range {near[0]:g} to {near[1]:g} Hz must rise; swap the two"
        raise InputError(msg)
    return max(2.0 * np.pi * near[0], 1.0), 2.0 * np.pi * near[1]


def _growing(
    reeds: ReedArrays, bore: Resonances, blowing: Real, band: tuple[float, float]
) -> tuple[Real, Real]:
    """Growth and angular frequency of the two fastest modes in the band, shape (reeds, 2)."""
    modes = growth_modes(reeds, bore, blowing)
    inside = (modes.imag > band[0]) & (modes.imag < band[1])
    growth = np.where(inside, modes.real, -np.inf)
    fastest = np.argsort(-growth, axis=1)[:, :2]
    return (
        np.take_along_axis(growth, fastest, axis=1),
        np.take_along_axis(modes.imag, fastest, axis=1),
    )


def onsets(
    reeds: Sequence[ReedParameters] | ReedArrays,
    bore: Resonances,
    *,
    near: tuple[float, float] = (0.0, 20e3),
) -> Onsets:
    """Find threshold pressure and pitch of reeds from scratch.

    Parameters
    ----------
    reeds : sequence of ReedParameters or ReedArrays
        Any number.
    bore : Resonances
        One bore.
    near : tuple of float
        Lowest and highest frequency of the note that counts [Hz]: other registers are ignored.

    Returns
    -------
    Onsets
        Shape (reeds,).

    Raises
    ------
    InputError
        If `near` does not rise.

    Notes
    -----
    A scan of 13 pressures from 8 to 97 % of closing finds the first where a mode near the note
    grows. Newton's method takes the two fastest modes there back to where each begins; the earlier
    beginning counts. A threshold Newton loses is bisected on the eigenvalues. A band of instability
    narrower than 7 % of closing can be missed.
    """
    band = _band(near)
    arrays = reeds if isinstance(reeds, ReedArrays) else stacked(reeds)
    count = len(arrays.opening_area)
    pressure = np.full(count, np.nan)
    angular = np.full((count, 2), np.nan)
    todo = np.arange(count)
    for share in _SCAN:
        these = arrays.take(todo)
        blowing = share * these.closing_pressure
        growth, omega = _growing(these, bore, blowing, band)
        grows = growth[:, 0] > 0.0
        pressure[todo[grows]] = blowing[grows]
        angular[todo[grows]] = np.where(growth > 0.0, omega, np.nan)[grows]
        todo = todo[~grows]
        if not len(todo):
            break
    found = Onsets(np.full(count, np.nan), np.full(count, np.nan))
    for mode in range(2):
        index = np.flatnonzero(np.isfinite(angular[:, mode]))
        if not len(index):
            continue
        begins = _crossing(arrays.take(index), bore, pressure[index], angular[index, mode])
        # A beginning above the pressure where it already grew is another mode's.
        earlier = begins.pressure <= pressure[index]
        earlier &= ~(begins.pressure >= found.pressure[index])
        found.pressure[index[earlier]] = begins.pressure[earlier]
        found.frequency[index[earlier]] = begins.frequency[earlier]
    lost = np.flatnonzero(np.isfinite(pressure) & np.isnan(found.pressure))
    if len(lost):
        bisected = _bisected(arrays.take(lost), bore, pressure[lost], band)
        found.pressure[lost], found.frequency[lost] = bisected.pressure, bisected.frequency
    return found


def _bisected(
    reeds: ReedArrays, bore: Resonances, grown: Real, band: tuple[float, float]
) -> Onsets:
    """Halve between the scan's last quiet pressure and `grown`, on eigenvalues."""
    high = np.array(grown)
    low = np.maximum(high - (_SCAN[1] - _SCAN[0]) * reeds.closing_pressure, 0.0)
    omega = np.zeros(len(high))
    for _ in range(45):
        middle = 0.5 * (low + high)
        growth, angular = _growing(reeds, bore, middle, band)
        grows = growth[:, 0] > 0.0
        high, low = np.where(grows, middle, high), np.where(grows, low, middle)
        omega = angular[:, 0]
    return Onsets(0.5 * (low + high), omega / (2.0 * np.pi))


def onsets_from(
    known: Onsets, reeds: Sequence[ReedParameters] | ReedArrays, bore: Resonances
) -> Onsets:
    """Find thresholds starting from those of neighbouring reeds or air.

    Parameters
    ----------
    known : Onsets
        Of the same number of reeds, close by.
    reeds : sequence of ReedParameters or ReedArrays
        Reeds whose thresholds are wanted.
    bore : Resonances
        One bore, possibly in other air.

    Returns
    -------
    Onsets
        Shape (reeds,); NaN where `known` is, or where the crossing was lost.

    Raises
    ------
    OutsideModel
        If the numbers of reeds differ.
    """
    arrays = reeds if isinstance(reeds, ReedArrays) else stacked(reeds)
    if len(known.pressure) != len(arrays.opening_area):
        msg = f"{len(known.pressure)} thresholds cannot start {len(arrays.opening_area)} reeds"
        raise OutsideModel(msg)
    result = Onsets(np.full_like(known.pressure, np.nan), np.full_like(known.pressure, np.nan))
    index = np.flatnonzero(np.isfinite(known.pressure))
    if len(index):
        angular = 2.0 * np.pi * known.frequency[index]
        crossing = _crossing(arrays.take(index), bore, known.pressure[index], angular)
        result.pressure[index] = crossing.pressure
        result.frequency[index] = crossing.frequency
    return result


def _crossing(reeds: ReedArrays, bore: Resonances, pressure: Real, angular: Real) -> Onsets:
    """Newton's method for F(j omega; pressure) = 0 in pressure and omega, many reeds at once."""
    p, w = np.array(pressure), np.array(angular)
    closing = reeds.closing_pressure
    settled = np.zeros(len(p), dtype=bool)

    def function(still: Equilibrium, omega: Real) -> Complex:
        return characteristic(np.asarray(1j * omega, dtype=complex), reeds, bore, still)

    for _ in range(40):
        hp, hw = 1e-6 * p, 1e-6 * w
        still = equilibrium(reeds, bore, p)
        f = function(still, w)
        more, less = (equilibrium(reeds, bore, q) for q in (p + hp, p - hp))
        fp = (function(more, w) - function(less, w)) / (2.0 * hp)
        fw = (function(still, w + hw) - function(still, w - hw)) / (2.0 * hw)
        det = fp.real * fw.imag - fp.imag * fw.real
        dp = (f.real * fw.imag - f.imag * fw.real) / det
        dw = (f.imag * fp.real - f.real * fp.imag) / det
        # Short steps keep to the branch: a note never moves by more than a few per cent at once.
        p = np.clip(p - np.clip(dp, -0.1 * p, 0.1 * p), 1e-3 * closing, 0.999 * closing)
        w = w - np.clip(dw, -0.03 * w, 0.03 * w)
        settled = (np.abs(dp) < 1e-8 * p) & (np.abs(dw) < 1e-8 * w)
        if (settled | ~np.isfinite(dp)).all():
            break
    return Onsets(
        pressure=np.where(settled, p, np.nan), frequency=np.where(settled, w / (2 * np.pi), np.nan)
    )


@dataclass(frozen=True, slots=True)
class TrackedMode:
    """One mode of one reed along blowing pressure.

    Parameters
    ----------
    blowing : ndarray, shape (steps,)
        [Pa].
    growth : ndarray, shape (steps,)
        [1/s]; sounds where positive. NaN after the mode was lost.
    frequency : ndarray, shape (steps,)
        [Hz].
    """

    blowing: Real
    growth: Real
    frequency: Real


def tracked_mode(reed: ReedParameters, bore: Resonances, blowing: Real) -> TrackedMode:
    """Follow the mode that starts first along other blowing pressures.

    Parameters
    ----------
    reed : ReedParameters
        One reed.
    bore : Resonances
        One bore.
    blowing : ndarray, shape (steps,)
        Rising, below closing [Pa].

    Returns
    -------
    TrackedMode
        Its growth crosses zero at the threshold of `onsets`.

    Raises
    ------
    InputError
        If the pressures do not rise.
    OutsideModel
        If the reed does not start to sound below closing.

    Notes
    -----
    Steps outwards from the threshold, each started where the last two steps point.
    """
    pressures = np.asarray(blowing, dtype=float)
    if pressures.ndim != 1 or not len(pressures) or (np.diff(pressures) <= 0.0).any():
        msg = "the blowing pressures must rise; sort them"
        raise InputError(msg)
    start = onsets([reed], bore)
    if not np.isfinite(start.pressure[0]):
        msg = "this reed does not start to sound below its closing pressure; no mode to follow"
        raise OutsideModel(msg)
    arrays = stacked([reed])
    growth, angular = np.full(len(pressures), np.nan), np.full(len(pressures), np.nan)
    split = int(np.searchsorted(pressures, start.pressure[0]))
    for way in (range(split, len(pressures)), range(split - 1, -1, -1)):
        at, s = float(start.pressure[0]), 2j * np.pi * start.frequency[0]
        slope = 0.0j
        for i in way:
            guess = s + slope * (pressures[i] - at)
            new = complex(follow(arrays, bore, pressures[i : i + 1], np.array([guess]))[0])
            if not np.isfinite(new.real):
                break
            if pressures[i] != at:
                slope = (new - s) / (pressures[i] - at)
            at, s = float(pressures[i]), new
            growth[i], angular[i] = new.real, new.imag
    return TrackedMode(pressures, growth, angular / (2.0 * np.pi))
