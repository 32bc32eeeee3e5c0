"""How much cane one light stroke of this maker takes off: a distribution, learned from logged cuts.

Each logged cut measured over many strokes says something. What a knife takes hangs on its edge, so
every condition of the knife (from one sharpening or change to the next) has a size of its own,
scattered about the maker's; a knife just sharpened is known less well than the one in use.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from crowlight.errors import InputError

__all__ = ["USUAL", "LoggedCut", "SeenFall", "StrokeSize", "learn_strokes", "logged_cut"]

Real = NDArray[np.float64]
Basis = Literal["your data", "common practice"]

#: One light stroke of a sharp knife [m] (common practice, no source) and how far a maker's may be
#: from that, a standard deviation of the natural log (a factor of 1.6 either way, our choice).
_USUAL, _MAKERS = 3e-6, 0.5
#: The same from one condition of the knife to the next, and from stroke to stroke (our choice).
_KNIVES, _STROKES = 0.25, 0.4
#: A place tells of a cut where the gauge sees at least this share of its most.
_TOLD = 0.25
#: Natural logs of the sizes looked at: a tenth of the usual to ten times it.
_GRID: Real = math.log(_USUAL) + np.linspace(-math.log(10.0), math.log(10.0), 461)


@dataclass(frozen=True, slots=True)
class LoggedCut:
    """One zone scraped, with thickness read before and after.

    Parameters
    ----------
    strokes : int
        Light strokes at the place; >= 1.
    cane : float
        Cane taken off there [m]; may come out negative within its uncertainty.
    uncertainty : float
        Standard uncertainty of `cane` [m]; > 0. For one reading before and one after, the square
        root of two times the gauge's.
    knife : int
        Counts up each time the knife is sharpened or changed.

    Raises
    ------
    InputError
        If a number cannot be right.
    """

    strokes: int
    cane: float
    uncertainty: float
    knife: int = 0

    def __post_init__(self) -> None:
        if self.strokes < 1 or not math.isfinite(self.cane) or not self.uncertainty > 0:
            msg = (
                f"{self.strokes} strokes took {self.cane * 1e3:g} mm with standard uncertainty "
                f"{self.uncertainty * 1e3:g} mm: strokes must be 1 or more, the uncertainty above "
                "0 mm; leave out cuts that were not measured"
            )
            raise InputError(msg)


@dataclass(frozen=True, slots=True)
class SeenFall:
    """How much less a gauge read at one place after cuts than before them.

    Parameters
    ----------
    share : float
        What the gauge sees there of the cuts, as a share of where they took most; see `read_share`.
    fall : float
        Reading before less reading after [m].
    variance : float
        Of `fall`, without what the places of a mounting share [m²].
    seating : float
        Standard uncertainty of what they share [m].
    """

    share: float
    fall: float
    variance: float
    seating: float


def logged_cut(strokes: int, seen: Sequence[SeenFall], *, knife: int = 0) -> LoggedCut | None:
    """Pool what a gauge saw of the strokes between two mountings of a blade.

    Parameters
    ----------
    strokes : int
        Light strokes of all cuts between them; >= 1.
    seen : sequence of SeenFall
        By place. Those that saw less than a quarter of the cuts are left out.
    knife : int
        Condition of the knife.

    Returns
    -------
    LoggedCut or None
        None if no place tells anything.

    Notes
    -----
    Least squares through zero: cane is the sum of share times fall over the sum of squared shares.

    Examples
    --------
    >>> found = logged_cut(10, [SeenFall(0.8, 0.04e-3, 0.0, 0.002e-3)] * 4)
    >>> round(found.cane * 1e3, 3), round(found.uncertainty * 1e3, 4)
    (0.05, 0.0025)
    """
    told = [s for s in seen if s.share >= _TOLD]
    if not told:
        return None
    top = math.fsum(s.share**2 for s in told)
    own = math.fsum(s.share**2 * s.variance for s in told)
    shared = math.fsum(s.share * s.seating for s in told)
    cane = math.fsum(s.share * s.fall for s in told) / top
    return LoggedCut(strokes, cane, math.sqrt(own + shared**2) / top, knife)


@dataclass(frozen=True, slots=True)
class StrokeSize:
    """Cane per light stroke: lognormal.

    Parameters
    ----------
    median : float
        [m].
    spread : float
        Standard deviation of the natural log.
    basis : {"your data", "common practice"}
        Whether any logged cut went in.
    cuts : int
        How many did.

    Examples
    --------
    >>> low, high = USUAL.interval(0.9)
    >>> round(low * 1e6, 1), round(high * 1e6, 1)
    (1.2, 7.5)
    """

    median: float
    spread: float
    basis: Basis = "common practice"
    cuts: int = 0

    def cane(self, strokes: int, z: Real) -> Real:
        """Cane `strokes` strokes take off, for standard normal scores [m]."""
        return strokes * self.median * np.exp(self.spread * z)

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """Return the ends of an interval of one stroke [m]."""
        half = float(ndtri(0.5 + level / 2)) * self.spread
        return self.median * math.exp(-half), self.median * math.exp(half)


def learn_strokes(cuts: Iterable[LoggedCut] = (), *, knife: int = 0) -> StrokeSize:
    """Learn cane per stroke from logged cuts.

    Parameters
    ----------
    cuts : iterable of LoggedCut
        Measured ones only, in any order; the more strokes one pools, the more it tells, as three
        light strokes are below what a gauge resolves.
    knife : int
        Condition of the knife now.

    Returns
    -------
    StrokeSize
        For the knife as it is now.

    Notes
    -----
    ln(size) of the maker is normal about 3 µm; each condition of the knife adds a normal of its
    own; each cut adds stroke-to-stroke scatter and the gauge's error. Worked out on a grid of sizes
    (Bayes' rule), then told by mean and standard deviation of the logarithm.

    Examples
    --------
    >>> cuts = [LoggedCut(12, 0.060e-3, 0.007e-3) for _ in range(6)]
    >>> now, sharpened = learn_strokes(cuts), learn_strokes(cuts, knife=1)
    >>> round(now.median * 1e6, 1), now.spread < sharpened.spread < USUAL.spread
    (4.9, True)
    """
    pooled = sorted(cuts, key=lambda c: (c.knife, c.strokes, c.cane, c.uncertainty))
    by_knife: dict[int, Real] = {}
    for cut in pooled:
        told = by_knife.setdefault(cut.knife, np.zeros(len(_GRID)))
        told += _log_likelihood(cut)
    usual = -0.5 * ((_GRID - math.log(_USUAL)) / _MAKERS) ** 2
    between = _between()
    # what all other conditions of the knife tell about the maker
    maker = usual + sum(
        (_log(between @ np.exp(told - told.max())) for k, told in by_knife.items() if k != knife),
        np.zeros(len(_GRID)),
    )
    here = between @ np.exp(maker - maker.max())
    own = by_knife.get(knife)
    if own is not None:
        here = here * np.exp(own - own.max())
    here = here / here.sum()
    mean = float(here @ _GRID)
    spread = math.sqrt(float(here @ (_GRID - mean) ** 2))
    basis: Basis = "your data" if pooled else "common practice"
    return StrokeSize(math.exp(mean), spread, basis, len(pooled))


def _log_likelihood(cut: LoggedCut) -> Real:
    size = np.exp(_GRID)
    variance = cut.uncertainty**2 + cut.strokes * (_STROKES * size) ** 2
    return -0.5 * ((cut.cane - cut.strokes * size) ** 2 / variance + np.log(variance))


def _between() -> Real:
    """Return how one condition of the knife scatters about the maker, rows summing to 1."""
    steps = (_GRID[:, None] - _GRID[None, :]) / _KNIVES
    weights = np.exp(-0.5 * steps**2)
    return weights / weights.sum(axis=1, keepdims=True)


def _log(values: Real) -> Real:
    return np.log(np.maximum(values, 1e-300))


#: A maker nobody has watched yet.
USUAL = learn_strokes()
