"""A prediction as it was told, read as a distribution, and how well one did.

A prediction is told by three points, 5, 50 and 95 %. Between and beyond them each half is read as
half of a normal distribution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from crowlight.errors import InputError

__all__ = ["Predicted", "ensemble_crps"]

Real = NDArray[np.float64]

_Z95 = float(ndtri(0.95))
#: Integral of the squared normal distribution function from -inf to 0.
_HALF = 1.0 / math.sqrt(2.0 * math.pi) - 0.5 / math.sqrt(math.pi)


@dataclass(frozen=True, slots=True)
class Predicted:
    """A predicted change: 5, 50 and 95 % points, any unit.

    Parameters
    ----------
    low, middle, high : float
        Not descending; `low` below `high`.

    Raises
    ------
    InputError
        If they descend, coincide, or are not numbers.

    Examples
    --------
    >>> told = Predicted(-2.0, 0.0, 4.0)
    >>> [round(float(v), 6) for v in told.cdf([-2.0, 0.0, 4.0])]
    [0.05, 0.5, 0.95]
    >>> low, high = told.interval(0.9)
    >>> round(low, 6), round(high, 6)
    (-2.0, 4.0)
    """

    low: float
    middle: float
    high: float

    def __post_init__(self) -> None:
        finite = all(math.isfinite(v) for v in (self.low, self.middle, self.high))
        if not (finite and self.low <= self.middle <= self.high and self.low < self.high):
            msg = (
                f"a prediction from {self.low} over {self.middle} to {self.high} is none: its 5, "
                "50 and 95 % points must ascend; leave out what was not predicted"
            )
            raise InputError(msg)

    @property
    def below(self) -> float:
        """Standard deviation of the lower half."""
        return (self.middle - self.low) / _Z95

    @property
    def above(self) -> float:
        """Standard deviation of the upper half."""
        return (self.high - self.middle) / _Z95

    @property
    def mean(self) -> float:
        """Mean of the distribution."""
        return self.middle + (self.above - self.below) / math.sqrt(2.0 * math.pi)

    @property
    def spread(self) -> float:
        """Standard deviation of the distribution."""
        second = 0.5 * (self.above**2 + self.below**2)
        return math.sqrt(max(second - (self.mean - self.middle) ** 2, 0.0))

    def score(self, value: ArrayLike) -> Real:
        """Return the normal score of values, infinite beyond a half without width."""
        off = np.asarray(value, float) - self.middle
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(off < 0.0, off / self.below, off / self.above)
        return np.where(off == 0.0, 0.0, z)

    def cdf(self, value: ArrayLike) -> Real:
        """Return the probability of values no larger."""
        return np.asarray(ndtr(self.score(value)), float)

    def quantile(self, share: ArrayLike) -> Real:
        """Return the value below which a share lies, 0 < share < 1."""
        z = ndtri(np.asarray(share, float))
        return self.middle + np.where(z < 0.0, self.below, self.above) * z

    def interval(self, level: float) -> tuple[float, float]:
        """Return the ends of the central interval of a level, 0 < level < 1."""
        low, high = self.quantile([0.5 - level / 2, 0.5 + level / 2])
        return float(low), float(high)

    def moved(self, bias: float, scale: float) -> Predicted:
        """Return the prediction shifted by `bias` and its halves widened `scale` times."""
        middle = self.middle + bias
        return Predicted(
            middle - scale * (self.middle - self.low),
            middle,
            middle + scale * (self.high - self.middle),
        )

    def crps(self, value: float) -> float:
        r"""Return the continuous ranked probability score of what happened, same unit; 0 is best.

        Notes
        -----
        :math:`\int (F(x) - 1\{x \ge y\})^2 dx`. Each half is that of a normal distribution, for
        which the integral is known; the half `value` does not lie in adds a constant.

        References
        ----------
        T. Gneiting and A. E. Raftery, Strictly proper scoring rules, prediction, and estimation,
        *J. Am. Stat. Assoc.* 102 (2007) 359, equations (20) and (21).
        """
        mine, other = (self.below, self.above) if value < self.middle else (self.above, self.below)
        if mine == 0.0:
            return abs(value - self.middle) + _HALF * other
        return mine * (_normal_crps(abs(value - self.middle) / mine) - _HALF) + _HALF * other


def _normal_crps(z: float) -> float:
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    return z * (2.0 * float(ndtr(z)) - 1.0) + 2.0 * density - 1.0 / math.sqrt(math.pi)


def ensemble_crps(values: ArrayLike, happened: float) -> float:
    r"""Return the score of an ensemble: :math:`E|X - y| - \frac12 E|X - X'|`.

    Parameters
    ----------
    values : array_like, shape (n,)
        Equally likely values.
    happened : float
        What happened, same unit.

    References
    ----------
    Gneiting and Raftery (2007), equation (21), with the distribution function of the ensemble.

    Examples
    --------
    >>> ensemble_crps([1.0, 3.0], 2.0)
    0.5
    """
    x = np.sort(np.asarray(values, float).ravel())
    n = len(x)
    if n == 0:
        msg = "an empty ensemble predicts nothing; give at least one value"
        raise InputError(msg)
    # sum over pairs of |x - x'| from the order
    apart = 2.0 * float(((2.0 * np.arange(n) - n + 1.0) * x).sum()) / n**2
    return float(np.abs(x - happened).mean()) - 0.5 * apart
