"""Slope of a noisy phase over as long a stretch as the pitch stays put, and no longer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["steady_slope"]

_SPANS = (1, 2, 4, 8, 16)
_CONFIDENCE = 1.5  # half-width of the interval, in standard deviations


def steady_slope(phase: NDArray[np.float64], variance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope per step at every point, each over its own best span.

    Least-squares lines over 3, 5, 9, 17 and 33 points are tried from short to long. Each comes
    with an interval; a point stops lengthening when the intervals no longer share a value (the
    rule of intersecting confidence intervals [1]_): from there on what a longer line averages away
    is no longer noise but movement.

    Parameters
    ----------
    phase : ndarray, shape (n,)
        Unwrapped; n >= 2.
    variance : ndarray, shape (n,)
        Variance of each point's phase.

    Returns
    -------
    ndarray, shape (n,)

    References
    ----------
    .. [1] A. Goldenshluger, A. Nemirovski (1997), "On spatially adaptive estimation of
       nonparametric regression", Math. Methods Statist. 6, 135-170.
    """
    reach = _SPANS[-1]
    steps = np.arange(1, reach + 1)
    padded = np.concatenate(
        [
            phase[0] - (phase[1] - phase[0]) * steps[::-1],
            phase,
            phase[-1] + (phase[-1] - phase[-2]) * steps,
        ]
    )
    slope = np.zeros(phase.size)
    low = np.full(phase.size, -np.inf)
    high = np.full(phase.size, np.inf)
    agrees = np.ones(phase.size, bool)
    for span in _SPANS:
        offset = np.arange(-span, span + 1)
        squares = float(offset @ offset)
        line = np.convolve(padded, -offset / squares, mode="same")[reach:-reach]
        margin = _CONFIDENCE * np.sqrt(variance / squares)
        low = np.maximum(low, line - margin)
        high = np.minimum(high, line + margin)
        agrees &= low <= high
        slope = np.where(agrees, line, slope)
    return slope
