"""Control charts of single reeds in the order of their making, and capability.

Individuals and moving range, as ISO 7870-2 has them for samples of one. The signals looked for are
those its figure of assignable causes shows: a point beyond a limit, a run of seven on one side of
the centre line, a trend of seven rising or falling (ISO 7870-2:2013, clause 8; the number seven
from memory). Other patterns it leaves to the eye, and so do we.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.errors import InputError

__all__ = [
    "CAPABILITY_FROM",
    "D2",
    "D4",
    "FIRM_FROM",
    "LEAST",
    "RUN",
    "Capability",
    "ControlChart",
    "Signal",
    "capability",
    "control_chart",
]

#: Mean range of two values of a normal distribution, in standard deviations: 2 / sqrt(pi).
D2 = 2.0 / math.sqrt(math.pi)
#: Its standard deviation.
D3 = math.sqrt(2.0 - 4.0 / math.pi)
#: Upper limit of a range of two over the mean range.
D4 = 1.0 + 3.0 * D3 / D2
#: Points in a row that make a run or a trend.
RUN = 7
#: Fewer reeds than this make no chart: their own limits would say nothing.
LEAST = 6
#: With fewer reeds than this the limits are preliminary (ISO 7870-2 asks for 20 to 25 samples;
#: from memory).
FIRM_FROM = 25
#: Reeds from which a capability is stated: its 95 % interval is then within about 20 % of it.
CAPABILITY_FROM = 50


@dataclass(frozen=True, slots=True)
class Signal:
    """A reason to look for a cause.

    Parameters
    ----------
    rule : str
        ``beyond``, ``run``, ``trend``, or ``range`` for a step between neighbours.
    at : int
        Index of the point that completes it.
    """

    rule: str
    at: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Individuals and moving range.

    Parameters
    ----------
    values : tuple of float
        In order of making.
    centre, low, high : float
        Centre line and control limits of the individuals.
    ranges : tuple of float
        Steps between neighbours, one fewer than `values`.
    mean_range, range_high : float
        Centre line and upper limit of the ranges; the lower limit is 0.
    signals : tuple of Signal
        What stands out, in order.
    preliminary : bool
        Whether there are fewer reeds than make firm limits.
    """

    values: tuple[float, ...]
    centre: float
    low: float
    high: float
    ranges: tuple[float, ...]
    mean_range: float
    range_high: float
    signals: tuple[Signal, ...]
    preliminary: bool

    @property
    def sigma(self) -> float:
        """Standard deviation as the steps between neighbours tell it."""
        return self.mean_range / D2


def control_chart(values: ArrayLike) -> ControlChart:
    r"""Chart single values in the order in which the reeds were made.

    Parameters
    ----------
    values : array_like, shape (n,)
        Any unit; n >= 6.

    Returns
    -------
    ControlChart
        Limits :math:`\bar x \pm 3 \bar R / d_2` and :math:`D_4 \bar R`, with
        :math:`d_2 = 1.128` and :math:`D_4 = 3.267`.

    Raises
    ------
    InputError
        Fewer than six values, or one that is not a number.

    References
    ----------
    ISO 7870-2, *Control charts - Part 2: Shewhart control charts*, individuals and moving range.

    Examples
    --------
    >>> chart = control_chart([5.0, 5.6, 4.8, 5.5, 5.0, 5.4, 4.9, 5.5, 5.0, 8.5])
    >>> [(s.rule, s.at) for s in chart.signals]
    [('run', 8), ('beyond', 9), ('range', 9)]
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or len(x) < LEAST or not np.isfinite(x).all():
        msg = f"a control chart needs {LEAST} values or more, all of them numbers; got {x.size}"
        raise InputError(msg)
    ranges = np.abs(np.diff(x))
    # the mean of values that are all the same may be off by its rounding
    centre, mean_range = float(np.clip(x.mean(), x.min(), x.max())), float(ranges.mean())
    reach, top = 3.0 * mean_range / D2, D4 * mean_range
    signals = [Signal("beyond", int(i)) for i in np.flatnonzero(np.abs(x - centre) > reach)]
    signals += [Signal("range", int(i) + 1) for i in np.flatnonzero(ranges > top)]
    signals += [Signal("run", i) for i in _in_a_row(np.sign(x - centre), RUN)]
    # seven points that rise are six steps up
    signals += [Signal("trend", i + 1) for i in _in_a_row(np.sign(np.diff(x)), RUN - 1)]
    return ControlChart(
        values=tuple(map(float, x)),
        centre=centre,
        low=centre - reach,
        high=centre + reach,
        ranges=tuple(map(float, ranges)),
        mean_range=mean_range,
        range_high=top,
        signals=tuple(sorted(signals, key=lambda s: (s.at, s.rule))),
        preliminary=len(x) < FIRM_FROM,
    )


def _in_a_row(signs: np.ndarray, needed: int) -> list[int]:
    """Return where a row of the same sign becomes `needed` long; it is named once."""
    found: list[int] = []
    last, count = 0.0, 0
    for i, sign in enumerate(signs):
        count = count + 1 if sign == last and sign else int(bool(sign))
        last = sign
        if count == needed:
            found.append(i)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How well reeds fit between two limits.

    Parameters
    ----------
    missing : int
        How many more reeds are needed before it is stated; 0 where it is.
    steady : bool
        Whether the control chart has no signal; without that nothing is stated.
    spread : tuple of float or None
        Pp, low and high: the width between the limits over six standard deviations.
    nearest : tuple of float or None
        Ppk, low and high: the distance of the mean from the nearer limit over three.
    level : float
        Of the intervals.
    """

    missing: int
    steady: bool
    spread: tuple[float, float, float] | None
    nearest: tuple[float, float, float] | None
    level: float


def capability(
    values: ArrayLike,
    *,
    low: float,
    high: float,
    level: float = 0.95,
    least: int = CAPABILITY_FROM,
) -> Capability:
    r"""State how reeds fit between limits, if there are enough and they are steady.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of making.
    low, high : float
        Limits; low < high.
    level : float
        Of the intervals.
    least : int
        Reeds needed.

    Returns
    -------
    Capability
        The indices with intervals, or how many reeds are missing.

    Raises
    ------
    InputError
        If the limits are the wrong way round or the values do not vary.

    Notes
    -----
    :math:`P_p = (U - L) / 6 s` has the exact chi-square interval; :math:`P_{pk}` that of Bissell,
    :math:`\hat P_{pk} (1 \pm z \sqrt{1 / 9 n \hat P_{pk}^2 + 1 / 2 (n - 1)})`. Both take the values
    as normally distributed.

    References
    ----------
    A. F. Bissell, "How reliable is your capability index?", *Applied Statistics* 39 (1990) 331-340;
    *NIST/SEMATECH e-Handbook of Statistical Methods*, section 6.1.6.

    Examples
    --------
    >>> capability([1.0, 1.1, 0.9, 1.0, 1.05, 0.95, 1.0], low=0.5, high=1.5).missing
    43
    """
    from scipy.special import chdtri, ndtri

    x = np.asarray(values, dtype=float)
    if not low < high:
        msg = f"limits {low} to {high} are not a range; give the lower one first"
        raise InputError(msg)
    n = len(x)
    if n < least:
        return Capability(missing=least - n, steady=True, spread=None, nearest=None, level=level)
    if control_chart(x).signals:
        return Capability(missing=0, steady=False, spread=None, nearest=None, level=level)
    mean, s = float(x.mean()), float(x.std(ddof=1))
    if not np.ptp(x) > 0.0:
        msg = "all values are the same; a capability needs some spread"
        raise InputError(msg)
    tail = (1.0 - level) / 2.0
    spread = (high - low) / (6.0 * s)
    nearest = min(high - mean, mean - low) / (3.0 * s)
    half = float(ndtri(1.0 - tail)) * math.sqrt(1.0 / (9.0 * n) + nearest**2 / (2.0 * (n - 1)))
    lower, upper = (math.sqrt(float(chdtri(n - 1, t)) / (n - 1)) for t in (1.0 - tail, tail))
    return Capability(
        missing=0,
        steady=True,
        spread=(spread, spread * lower, spread * upper),
        nearest=(nearest, nearest - half, nearest + half),
        level=level,
    )
