"""Slope of a noisy phase over as long a stretch as the pitch moves simply, and no longer.

Symbols of the kernels:

====  ==========================================================
c     weights of an estimate: slope = sum of c[i] phase[t + i]
x     lag in window lengths
L     length of the analysis window [steps]
m2    second moment of the analysis window about its middle [steps²]
====  ==========================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["steady_slope"]

# (half span [steps], whether the bend of the pitch is allowed for), most to least scattered.
_TRIED = (
    (2, True),
    (4, True),
    (8, True),
    (4, False),
    (16, True),
    (16, False),
    (32, False),
    (64, False),
)
_CONFIDENCE = 1.15  # half-width of the interval, in standard deviations
_LENGTHS = np.linspace(1.5, 24.0, 91)  # window lengths tabulated [steps]
_HANN_MOMENT = 1 / 12 - 1 / (2 * np.pi**2)  # variance of a Hann window of length 1


@dataclass(frozen=True, slots=True, eq=False)
class _Estimate:
    """Weights ``plain + m2 * unbend``, and the scatter they leave per scatter of one turn."""

    plain: NDArray[np.float64]
    unbend: NDArray[np.float64] | None
    scatter: NDArray[np.float64]  # at every one of _LENGTHS


def _hann_overlap(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Correlation of white noise seen through two equal Hann windows `x` lengths apart."""
    x = np.minimum(np.abs(x), 1)
    return (1 - x) * (2 + np.cos(2 * np.pi * x)) / 3 + np.sin(2 * np.pi * x) / (2 * np.pi)


@lru_cache(maxsize=32)
def _estimate(span: int, bends: bool) -> _Estimate:
    """Weights of least norm that return a constant slope, and with `bends` also a bent one.

    Through a window, a phase ``t³/6`` (a pitch that bends) turns by an extra ``m2 t / 2``; with
    `bends` the weights take out both, so a vibrato's crest is not cut off.
    """
    offset = np.arange(-span, span + 1.0)
    unbend = None
    if bends:
        powers = np.array([offset, offset**3 / 6])
        solve = powers.T @ np.linalg.inv(powers @ powers.T)
        plain, unbend = solve[:, 0], -0.5 * solve[:, 1]
    else:
        plain = offset / (offset @ offset)
    scatter = np.empty(_LENGTHS.size)
    for i, length in enumerate(_LENGTHS):
        c = plain if unbend is None else plain + _HANN_MOMENT * length**2 * unbend
        shared = _hann_overlap((offset[:, None] - offset) / length)
        turn = 2 * (1 - _hann_overlap(np.array(1 / length)))
        scatter[i] = np.sqrt(c @ shared @ c / turn)
    return _Estimate(plain, unbend, scatter)


def steady_slope(
    phase: NDArray[np.float64], turn_variance: NDArray[np.float64], length: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Slope per step at every point, each over its own best span.

    Eight estimates, over 5 to 129 points, are tried from the most scattered to the least. Each
    comes with an interval of 1.15 standard deviations to either side; a point goes on to the next
    as long as all intervals so far share a value (intersecting confidence intervals [1]_). Where
    they no longer do, what a longer span averages away is no longer noise but movement.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Unwrapped [rad]; n >= 2.
    turn_variance : ndarray, shape (n,)
        Variance, near each point, of the difference of two neighbours [rad²].
    length : ndarray, shape (n,)
        Length of the Hann window through which each point was seen [steps]; neighbours closer
        than this share noise.

    Returns
    -------
    ndarray, shape (n,)
        [rad per step].

    References
    ----------
    .. [1] A. Goldenshluger, A. Nemirovski (1997), "On spatially adaptive estimation of
       nonparametric regression", Math. Methods Statist. 6, 135-170.

    Examples
    --------
    >>> import numpy as np
    >>> slope = steady_slope(0.3 * np.arange(50.0), np.full(50, 1e-6), np.full(50, 4.0))
    >>> bool(np.allclose(slope, 0.3))
    True
    """
    count = phase.size
    longest = max(span for span, _ in _TRIED)
    steps = np.arange(1, longest + 1)
    padded = np.concatenate(
        [
            phase[0] - (phase[1] - phase[0]) * steps[::-1],
            phase,
            phase[-1] + (phase[-1] - phase[-2]) * steps,
        ]
    )
    m2 = _HANN_MOMENT * length**2
    # Place of each length in the table; its entries are evenly spaced.
    place = np.rint((length - _LENGTHS[0]) / (_LENGTHS[1] - _LENGTHS[0])).astype(np.intp)
    place = np.clip(place, 0, _LENGTHS.size - 1)
    one = _CONFIDENCE * np.sqrt(turn_variance)
    slope = np.zeros(count)
    low = np.full(count, -np.inf)
    high = np.full(count, np.inf)
    agrees = np.ones(count, bool)
    for span, bends in _TRIED:
        estimate = _estimate(span, bends)
        near = padded[longest - span : longest + count + span]
        value = np.correlate(near, estimate.plain, mode="valid")
        if estimate.unbend is not None:
            value += m2 * np.correlate(near, estimate.unbend, mode="valid")
        margin = one * estimate.scatter[place]
        np.maximum(low, value - margin, out=low)
        np.minimum(high, value + margin, out=high)
        agrees &= low <= high
        slope = np.where(agrees, value, slope)
    return slope
