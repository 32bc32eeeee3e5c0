"""Before and after a cut: the interval of the difference, and whether it says anything.

Symbols: n attempts on a side, s spread of single attempts, nu its degrees of freedom,
c_n standard deviation of the median of n normal values of spread 1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import integrate, special, stats

from crowlight.errors import InputError

__all__ = [
    "CHANGED",
    "NO_CHANGE",
    "TOO_FEW",
    "Change",
    "Spread",
    "Summary",
    "compare_attempts",
    "compare_measures",
    "estimate_spread",
    "median_factor",
    "summarise",
]

Attempts = ArrayLike | Sequence[float | None]
"""One value per attempt; None or NaN where an attempt had none."""

CHANGED = "changed"
NO_CHANGE = "no change these recordings show"
TOO_FEW = "too few attempts to tell"
FEWEST = 3
"""Attempts needed on each side."""


@dataclass(frozen=True, slots=True)
class Summary:
    """Several attempts at the same thing.

    Parameters
    ----------
    median, low, high : float
        Middle, lowest and highest value.
    attempts : int
        How many attempts had a value.
    enough : bool
        At least three.
    """

    median: float
    low: float
    high: float
    attempts: int
    enough: bool


@dataclass(frozen=True, slots=True)
class Spread:
    """How far single attempts of one maker scatter with an unchanged reed.

    Parameters
    ----------
    deviation : float
        Standard deviation of single attempts, in the unit of the measure.
    freedom : float
        Degrees of freedom behind it.
    """

    deviation: float
    freedom: float


@dataclass(frozen=True, slots=True)
class Change:
    """A difference after minus before.

    Parameters
    ----------
    difference, low, high : float
        Difference of the medians and its interval.
    verdict : str
        :data:`CHANGED`, :data:`NO_CHANGE` or :data:`TOO_FEW`.
    before, after : Summary
        Both sides.
    spread : Spread
        Spread of single attempts the interval rests on.
    control : float or None
        Change of the untouched control reed that was taken away.
    """

    difference: float
    low: float
    high: float
    verdict: str
    before: Summary
    after: Summary
    spread: Spread
    control: float | None


def summarise(values: Attempts) -> Summary:
    """Median and range of the attempts that have a value (None and NaN are left out).

    Examples
    --------
    >>> summarise([3.0, 1.0, None, 2.0])
    Summary(median=2.0, low=1.0, high=3.0, attempts=3, enough=True)
    """
    good = _values(values)
    if good.size == 0:
        return Summary(np.nan, np.nan, np.nan, 0, False)
    return Summary(
        float(np.median(good)), float(good.min()), float(good.max()), good.size, good.size >= FEWEST
    )


def _values(values: Attempts) -> np.ndarray:
    found = np.asarray(values, dtype=np.float64).ravel()
    return found[np.isfinite(found)]


def estimate_spread(groups: Sequence[Attempts]) -> Spread:
    """Pool the spread of single attempts over many takes, each of one unchanged reed.

    Parameters
    ----------
    groups : sequence of array_like
        Attempts of one reed in one sitting each; groups of one say nothing and are skipped.

    Returns
    -------
    Spread
        deviation NaN and freedom 0 if no group has two attempts.
    """
    squares, freedom = 0.0, 0
    for group in groups:
        good = _values(group)
        if good.size >= 2:
            squares += float(np.sum((good - good.mean()) ** 2))
            freedom += good.size - 1
    return Spread(float(np.sqrt(squares / freedom)) if freedom else np.nan, float(freedom))


@lru_cache(maxsize=64)
def median_factor(n: int) -> float:
    """Return the standard deviation of the median of `n` normal values of standard deviation 1.

    For odd n = 2m + 1 the exact integral over the density of the middle value (David & Nagaraja,
    Order Statistics, 3rd ed., eq. 2.1.6, from memory); for even n above 2 the value
    of n - 1, which is a little too large.

    Examples
    --------
    >>> round(median_factor(3), 4), round(median_factor(5), 4)
    (0.6698, 0.5356)
    """
    if n < 1:
        msg = f"a median needs at least 1 attempt, got {n}"
        raise InputError(msg)
    if n == 2:
        return float(np.sqrt(0.5))  # the median of two is their mean
    m = (n - 1) // 2 if n % 2 else (n - 2) // 2
    odd = 2 * m + 1
    log_count = special.gammaln(odd + 1) - 2.0 * special.gammaln(m + 1)

    def density(x: float) -> float:
        tails = special.log_ndtr(x) + special.log_ndtr(-x)
        return x * x * np.exp(log_count + m * tails - 0.5 * x * x) / np.sqrt(2.0 * np.pi)

    return float(np.sqrt(integrate.quad(density, -12.0, 12.0, limit=200)[0]))


def compare_attempts(
    before: Attempts,
    after: Attempts,
    *,
    known: Spread | None = None,
    control: tuple[Attempts, Attempts] | None = None,
    confidence: float = 0.95,
) -> Change:
    """Compare attempts before and after a cut.

    The spread of single attempts is pooled from both sides and from what is known of the maker.
    The interval is the difference of the medians ± t(nu) s sqrt(c_na^2 + c_nb^2), with the control
    reed's two medians added under the root when it is used.

    Parameters
    ----------
    before, after : array_like
        One value per attempt; None or NaN where an attempt had none.
    known : Spread, optional
        The maker's spread from earlier takes (:func:`estimate_spread`).
    control : tuple of two array_like, optional
        The untouched control reed's values at the start and the end of the sitting: its change is
        weather, ear, instrument and microphone, and is taken away.
    confidence : float
        0-1.

    Examples
    --------
    >>> compare_attempts([10, 12, 11], [30, 32, 31]).verdict
    'changed'
    >>> compare_attempts([10, 30, 11], [12, 35, 9]).verdict
    'no change these recordings show'
    """
    one, two = summarise(before), summarise(after)
    sides = [before, after]
    factor = 0.0
    taken = None
    if control is not None:
        first, last = (summarise(c) for c in control)
        if first.attempts and last.attempts:
            taken = last.median - first.median
            factor += median_factor(first.attempts) ** 2 + median_factor(last.attempts) ** 2
            sides += list(control)
    own = estimate_spread(sides)
    spread = _pool(own, known)
    difference = two.median - one.median - (taken or 0.0)
    # Attempts that are all the same to the last digit say nothing about their spread.
    if not (one.enough and two.enough) or not spread.deviation > 0.0:
        return Change(difference, -np.inf, np.inf, TOO_FEW, one, two, spread, taken)
    factor += median_factor(one.attempts) ** 2 + median_factor(two.attempts) ** 2
    reach = stats.t.ppf(0.5 + confidence / 2.0, spread.freedom) * spread.deviation * np.sqrt(factor)
    low, high = float(difference - reach), float(difference + reach)
    verdict = NO_CHANGE if low <= 0.0 <= high else CHANGED
    return Change(difference, low, high, verdict, one, two, spread, taken)


def _pool(own: Spread, known: Spread | None) -> Spread:
    if known is None or not known.freedom > 0:
        return own
    if not own.freedom > 0:
        return known
    freedom = own.freedom + known.freedom
    square = own.freedom * own.deviation**2 + known.freedom * known.deviation**2
    return Spread(float(np.sqrt(square / freedom)), freedom)


def compare_measures(
    before: Mapping[str, Attempts],
    after: Mapping[str, Attempts],
    *,
    known: Mapping[str, Spread] | None = None,
    control: tuple[Mapping[str, Attempts], Mapping[str, Attempts]] | None = None,
    confidence: float = 0.95,
) -> dict[str, Change]:
    """Compare several measures at once; false alarms are held to 1 - `confidence` for all together.

    Each interval is widened to confidence 1 - (1 - `confidence`) / m for m measures (Bonferroni).
    """
    names = [name for name in before if name in after]
    each = 1.0 - (1.0 - confidence) / max(len(names), 1)
    out = {}
    for name in names:
        reed = None
        if control is not None and name in control[0] and name in control[1]:
            reed = (control[0][name], control[1][name])
        out[name] = compare_attempts(
            before[name], after[name], known=(known or {}).get(name), control=reed, confidence=each
        )
    return out
