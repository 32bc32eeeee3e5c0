"""One measured value with its interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

__all__ = ["Measure", "jackknife"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A value, and an interval for what a much longer stretch of the same blow would give (95 %).

    Parameters
    ----------
    value, low, high : float
        In the unit of what is measured; ``low`` is -inf where `value` is a detection limit.
    """

    value: float
    low: float
    high: float


def jackknife(
    measure: Callable[[NDArray[np.bool_]], float],
    count: int,
    *,
    blocks: int = 6,
    confidence: float = 0.95,
) -> Measure:
    """Value of a measure over all frames, with an interval from leaving out stretches of time.

    Parameters
    ----------
    measure : callable
        Takes a mask over the frames, returns the value.
    count : int
        Number of frames; with fewer than 3 the interval is infinite.
    blocks : int
        Number of stretches left out in turn.
    confidence : float
        0-1.

    References
    ----------
    Delete-a-group jackknife: Kott, Journal of Official Statistics 17 (2001) 521, from memory.

    Examples
    --------
    >>> x = np.array([1.0, 2.0, 3.0, 4.0])
    >>> m = jackknife(lambda rows: float(x[rows].mean()), 4, blocks=4)
    >>> m.value, round(m.high - m.value, 3)  # 3.182 * 1.291 / 2
    (2.5, 2.054)
    """
    everything = np.ones(count, dtype=bool)
    value = measure(everything)
    groups = min(blocks, count)
    if groups < 3:
        return Measure(value, -np.inf, np.inf)
    left_out = np.empty(groups)
    for i, part in enumerate(np.array_split(np.arange(count), groups)):
        rows = everything.copy()
        rows[part] = False
        left_out[i] = measure(rows)
    spread = np.sqrt((groups - 1) / groups * np.sum((left_out - left_out.mean()) ** 2))
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, groups - 1) * spread)
    return Measure(value, value - reach, value + reach)
