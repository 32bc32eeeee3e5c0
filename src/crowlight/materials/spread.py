"""A number nobody knows well: a middle, honest ends, and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError

__all__ = ["Spread"]

_Z95 = NormalDist().inv_cdf(0.95)


@dataclass(frozen=True, slots=True)
class Spread:
    """A value known only as a range.

    Parameters
    ----------
    low, middle, high : float
        5 %, 50 % and 95 % points, rising.
    unit : str
        Of the three numbers; ``"1"`` for a pure number.
    basis : {"physics", "measured", "common practice", "assumed"}
        What stands behind it.
    source : str
        Publication; ends in "from memory" where recalled.

    Raises
    ------
    InputError
        If the three numbers do not rise.

    Examples
    --------
    >>> Spread(0.5, 0.6, 0.7, "1", "assumed", "from memory").middle
    0.6
    """

    low: float
    middle: float
    high: float
    unit: str
    basis: Literal["physics", "measured", "common practice", "assumed"]
    source: str

    def __post_init__(self) -> None:
        if not self.low <= self.middle <= self.high:
            msg = (
                f"a spread must rise: {self.low:g}, {self.middle:g}, {self.high:g} {self.unit}; "
                "swap them"
            )
            raise InputError(msg)

    def draw(self, rng: np.random.Generator, size: int) -> NDArray[np.float64]:
        """Draw values whose 5, 50 and 95 % points are the three numbers.

        Parameters
        ----------
        rng : numpy.random.Generator
            Source of chance.
        size : int
            How many.

        Returns
        -------
        ndarray, shape (size,)
            From a two-piece normal distribution (two half bells meeting in the middle), drawn in
            the logarithm when all three numbers are positive, so that draws stay positive.

        Examples
        --------
        >>> Spread(1.0, 2.0, 4.0, "m", "assumed", "").draw(np.random.default_rng(1), 3).shape
        (3,)
        """
        logarithmic = self.low > 0.0
        points = np.array([self.low, self.middle, self.high])
        low, middle, high = np.log(points) if logarithmic else points
        z = rng.standard_normal(size)
        values = middle + z * np.where(z < 0.0, middle - low, high - middle) / _Z95
        return np.exp(values) if logarithmic else values
