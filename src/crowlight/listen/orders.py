"""Order tracking: follow one pitch, then bend time until it stands still.

Symbols: x sound, f0 pitch [Hz], k order (multiple of the pitch), a_k complex envelope of order k.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import interpolate, signal

__all__ = ["Track", "envelopes", "follow", "unbend"]

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


FLAT = 0.8
"""Share of a band that is passed unchanged; the rest falls off smoothly, so that ends ring less."""


@dataclass(frozen=True, slots=True)
class Track:
    """A slow pitch track.

    Parameters
    ----------
    time : ndarray, shape (m,)
        Evenly spaced times [s].
    pitch : ndarray, shape (m,)
        Pitch at those times [Hz].
    weight : ndarray, shape (m,)
        Share of the sound's strength behind each value, mean 1.
    """

    time: Floats
    pitch: Floats
    weight: Floats


def envelopes(
    x: Floats, rate: float, pitch: float, orders: NDArray[np.int_], half_width: float
) -> tuple[Complex, float]:
    """Complex envelopes of orders of a pitch, each band ± `half_width` wide.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Sound.
    rate, pitch, half_width : float
        Sampling rate, pitch and half the band [Hz].
    orders : ndarray of int, shape (k,)
        Multiples of the pitch; k * pitch + half_width must lie below rate / 2.

    Returns
    -------
    a : ndarray of complex, shape (k, m)
        Envelopes; |a|**2 / 2 is the power of a steady partial.
    a_rate : float
        Their sampling rate, about 2 * half_width [Hz].
    """
    n = x.size
    spectrum = np.fft.fft(x)
    half = max(int(np.floor(half_width * n / rate)), 1)
    m = 2 * half + 1
    out = np.empty((len(orders), m), dtype=np.complex128)
    offsets = np.arange(-half, half + 1)
    slope = np.clip((1.0 - np.abs(offsets) / half) / (1.0 - FLAT), 0.0, 1.0)
    passed = np.sin(0.5 * np.pi * slope) ** 2
    for row, k in enumerate(orders):
        exact = k * pitch * n / rate
        centre = round(exact)
        short = np.zeros(m, dtype=np.complex128)
        short[offsets % m] = passed * spectrum[(centre + offsets) % n]
        # the band was shifted by a whole number of bins; turn the rest back
        rest = np.exp(-2j * np.pi * (exact - centre) * np.arange(m) / m)
        out[row] = np.fft.ifft(short) * (2.0 * m / n) * rest
    return out, rate * m / n


def follow(
    x: Floats, rate: float, pitch: float, *, margin: float, slow: float = 8.0, top: float = 6_000.0
) -> Track:
    """Follow a pitch whose mean is known, using all of its orders at once.

    The step of phase between envelope samples is the least-squares one over the orders, each
    weighted by its strength: sum(k |d_k| arg d_k) / sum(k^2 |d_k|), d_k = a_k[n+1] conj(a_k[n]).
    An order counts by the share of its band's power that lies near its centre, so that a stray
    partial in the band of an absent order does not lead.
    Numerator and denominator are smoothed over 1 / `slow` seconds, so that loud moments lead.
    Movement faster than `slow` is left in the sound: it counts as rattle, not as pitch.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Sound, with `margin` seconds at either end that are used and not reported.
    rate, pitch : float
        Sampling rate and mean pitch [Hz].
    margin : float
        See `x` [s].
    slow : float
        Fastest movement followed [Hz].
    top : float
        Highest frequency used [Hz].
    """
    half = min(0.2 * pitch, 80.0)
    limit = min(top, 0.45 * rate - half)
    # an order may move by 1 % within its band
    highest = int(max(min(limit / pitch, 0.6 * half / (0.01 * pitch)), 1))
    orders = np.arange(1, highest + 1)
    a, a_rate = envelopes(x, rate, pitch, orders, half)
    a = a * _own_share(a, a_rate, np.asarray(orders * pitch, dtype=np.float64))[:, None]
    strength = np.mean(np.abs(a) ** 2, axis=1)
    keep = strength >= strength.max() * 10.0**-2.5
    a, orders = a[keep], orders[keep]
    d = a[:, 1:] * np.conj(a[:, :-1])
    size = np.abs(d)
    kernel = signal.windows.hann(max(int(a_rate / slow) | 1, 3))
    numerator = np.convolve(np.sum(orders[:, None] * size * np.angle(d), axis=0), kernel, "same")
    denominator = np.convolve(np.sum(orders[:, None] ** 2 * size, axis=0), kernel, "same")
    denominator = np.maximum(denominator, 1e-30)
    found = pitch + numerator / denominator * a_rate / (2.0 * np.pi)
    time = (np.arange(found.size, dtype=np.float64) + 0.5) / a_rate
    inside = (time >= margin) & (time <= x.size / rate - margin)
    if not np.any(inside):
        inside[:] = True
    weight = denominator[inside] / np.mean(denominator[inside])
    return Track(time[inside], np.clip(found[inside], 0.5 * pitch, 2.0 * pitch), weight)


def _own_share(a: Complex, a_rate: float, centre: Floats) -> Floats:
    """Find the share of each band's power within 10 Hz or 1 % of its centre."""
    power = np.abs(np.fft.fft(a, axis=1)) ** 2
    away = np.abs(np.fft.fftfreq(a.shape[1], 1.0 / a_rate))
    near = away[None, :] <= np.maximum(10.0, 0.01 * centre)[:, None]
    return np.sum(power * near, axis=1) / np.maximum(np.sum(power, axis=1), 1e-30)


def unbend(x: Floats, rate: float, track: Track) -> tuple[Floats, float]:
    """Resample the tracked part so that its pitch is constant.

    Returns
    -------
    y : ndarray
        Sound with evenly spaced phase, about as many samples as the tracked part of `x`.
    pitch : float
        The constant pitch of `y` at the old sampling rate [Hz]: the mean over time.
    """
    begin, end = track.time[0], track.time[-1]
    fine = np.arange(int(begin * rate), int(end * rate) + 1)
    at = np.interp(fine / rate, track.time, track.pitch)
    turns = np.concatenate([[0.0], np.cumsum(0.5 * (at[1:] + at[:-1]))]) / rate
    pitch = float(turns[-1] * rate / (fine.size - 1))
    wanted = np.arange(fine.size - 1) * pitch / rate
    when = np.interp(wanted, turns, fine.astype(float))
    doubled = np.asarray(signal.resample_poly(x, 2, 1))
    spline = interpolate.make_interp_spline(np.arange(doubled.size), doubled, k=3)
    return np.asarray(spline(2.0 * when)), pitch
