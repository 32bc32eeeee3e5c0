"""Readings that do not go with the others: a slip of the pen or of the foot, to be asked about."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from crowlight.reed.thickness.fit import Fit

__all__ = ["Doubt", "doubtful_readings", "left_out"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading the others do not expect.

    Parameters
    ----------
    index : int
        Its place among the readings the map was fitted to.
    read, expected : float
        What was read, and what the other readings lead to expect [m].
    sd : float
        Standard deviation of that expectation, the gauge's error included [m].
    """

    index: int
    read: float
    expected: float
    sd: float


def left_out(fit: Fit) -> tuple[Array, Array]:
    r"""Return what the other readings lead to expect of each, and its standard deviation.

    Parameters
    ----------
    fit : Fit
        The fit to all of them.

    Returns
    -------
    expected, sd : ndarray, shape (n,)
        [m]. Profile lines and hyper-parameters stay those of all readings.

    References
    ----------
    Rasmussen & Williams (2006), equation 5.12:
    :math:`\mu_i = y_i - [K^{-1} y]_i / [K^{-1}]_{ii}`, :math:`\sigma_i^2 = 1 / [K^{-1}]_{ii}`.
    """
    n = len(fit.observed)
    half = fit.factor.half(np.eye(n))
    precision = (half**2).sum(axis=0)  # the diagonal of the inverse
    return fit.observed.thickness - fit.white / precision, 1.0 / np.sqrt(precision)


def doubtful_readings(fit: Fit, *, risk: float = 0.01) -> tuple[Doubt, ...]:
    """Return the readings to ask about, the least expected first.

    Parameters
    ----------
    fit : Fit
        The fit (``ThicknessMap.fit``).
    risk : float
        Chance that any reading of a set without slips is asked about (Bonferroni); 0 < risk < 1.

    Returns
    -------
    tuple of Doubt
        Empty if nothing stands out. Nothing is left out of the map for it: a surprising reading
        may be a surprising reed.

    Examples
    --------
    >>> from crowlight.reed import Blade, Reading
    >>> from crowlight.reed.styles import style
    >>> from crowlight.reed.thickness import fit_profile
    >>> long = style("long")
    >>> readings = [Reading(p.on(b), float(long.thickness(p.along, p.across)))
    ...             for b in Blade for p in long.full]
    >>> doubtful_readings(fit_profile(readings, long))
    ()
    >>> slip = Reading(readings[16].place, readings[16].thickness - 0.2e-3)
    >>> [d.index for d in doubtful_readings(fit_profile([*readings[:16], slip], long))]
    [16]
    """
    expected, sd = left_out(fit)
    y = fit.observed.thickness
    score = np.abs(y - expected) / sd
    limit = float(ndtri(1.0 - risk / (2.0 * len(y))))
    order = np.argsort(-score)
    return tuple(
        Doubt(int(i), float(y[i]), float(expected[i]), float(sd[i]))
        for i in order
        if score[i] > limit
    )
