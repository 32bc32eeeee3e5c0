"""How predictions have done: coverage, bias, sharpness and the continuous ranked probability score.

Scores are told by quantity, with how many cuts they rest on. With few pairs coverage says little:
its own interval stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import binomtest

from crowlight.calibrate.learning.predicted import Predicted
from crowlight.errors import InputError

__all__ = ["Coverage", "Pair", "Score", "score"]


@dataclass(frozen=True, slots=True)
class Pair:
    """One prediction and what was measured afterwards.

    Parameters
    ----------
    quantity : str
        What was predicted.
    predicted : Predicted
        Change as it was told.
    happened : float
        Change as it was measured, same unit.
    uncertainty : float
        Standard uncertainty of `happened`, same unit; >= 0.
    cut : str
        Which cut it belongs to; pairs of one cut hang together.
    groups : mapping of str to str
        Level by factor: kind of cut, zone, maker, batch of cane.
    """

    quantity: str
    predicted: Predicted
    happened: float
    uncertainty: float = 0.0
    cut: str = ""
    groups: dict[str, str] = field(default_factory=dict[str, str])

    def __post_init__(self) -> None:
        if not (math.isfinite(self.happened) and self.uncertainty >= 0):
            msg = (
                f"{self.quantity}: measured change {self.happened} with standard uncertainty "
                f"{self.uncertainty} is none; leave out what was not measured"
            )
            raise InputError(msg)

    @property
    def seen(self) -> Predicted:
        """The prediction of what is *measured*: widened by the uncertainty of measuring it."""
        p, u = self.predicted, 1.6448536269514722 * self.uncertainty
        return Predicted(
            p.middle - math.hypot(p.middle - p.low, u),
            p.middle,
            p.middle + math.hypot(p.high - p.middle, u),
        )


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often a central interval held what happened.

    Parameters
    ----------
    level : float
        What it claims.
    share : float
        How often it did.
    low, high : float
        95 % interval of the true share (Clopper and Pearson), pairs taken as independent.
    """

    level: float
    share: float
    low: float
    high: float

    @property
    def tells(self) -> str:
        """``"narrow"`` or ``"wide"`` where the claim lies outside, else ``"agrees"``."""
        if self.high < self.level:
            return "narrow"
        return "wide" if self.low > self.level else "agrees"


@dataclass(frozen=True, slots=True)
class Score:
    """How the predictions of one quantity have done.

    Parameters
    ----------
    quantity : str
        Which.
    pairs, cuts : int
        How many predictions, and cuts they rest on.
    coverage : tuple of Coverage
        Of the 50 and 80 % intervals.
    bias, bias_error : float
        Mean of what happened less what was predicted, and its standard error; unit of the quantity.
        The error is infinite for a single pair.
    sharpness : float
        Mean width of the 80 % intervals, same unit: small is good only where coverage holds.
    crps : float
        Mean continuous ranked probability score, same unit; 0 is best.
    crps_of_nothing : float
        The same of always predicting no change, exactly: the mean absolute change.
    """

    quantity: str
    pairs: int
    cuts: int
    coverage: tuple[Coverage, ...]
    bias: float
    bias_error: float
    sharpness: float
    crps: float
    crps_of_nothing: float


def score(pairs: Iterable[Pair], *, levels: Sequence[float] = (0.5, 0.8)) -> tuple[Score, ...]:
    """Score predictions by quantity.

    Parameters
    ----------
    pairs : iterable of Pair
        Predictions with what happened. Each is scored as a prediction of the measurement, so that a
        blunt gauge is not held against it.
    levels : sequence of float
        Levels of the central intervals.

    Returns
    -------
    tuple of Score
        By quantity, in alphabetical order.

    References
    ----------
    T. Gneiting, F. Balabdaoui and A. E. Raftery, Probabilistic forecasts, calibration and
    sharpness, *J. R. Stat. Soc. B* 69 (2007) 243.

    Examples
    --------
    >>> pairs = [Pair("opening", Predicted(-2, 0, 2), x, cut=str(x)) for x in (-1.0, 0.2, 0.9, 3.0)]
    >>> (found,) = score(pairs)
    >>> found.cuts, [(c.level, c.share) for c in found.coverage], round(found.bias, 3)
    (4, [(0.5, 0.25), (0.8, 0.75)], 0.775)
    """
    by: dict[str, list[Pair]] = {}
    for pair in pairs:
        by.setdefault(pair.quantity, []).append(pair)
    return tuple(_score(name, by[name], levels) for name in sorted(by))


def _score(quantity: str, pairs: Sequence[Pair], levels: Sequence[float]) -> Score:
    seen = [p.seen for p in pairs]
    happened = np.array([p.happened for p in pairs])
    depth = np.array(
        [abs(float(s.cdf(x)) - 0.5) for s, x in zip(seen, happened.tolist(), strict=True)]
    )
    off = happened - np.array([s.mean for s in seen])
    n = len(pairs)
    ends = [s.interval(0.8) for s in seen]
    return Score(
        quantity=quantity,
        pairs=n,
        cuts=len({p.cut for p in pairs}),
        coverage=tuple(_coverage(level, int((depth <= 0.5 * level).sum()), n) for level in levels),
        bias=float(off.mean()),
        bias_error=float(off.std(ddof=1) / math.sqrt(n)) if n > 1 else math.inf,
        sharpness=float(np.mean([high - low for low, high in ends])),
        crps=float(np.mean([s.crps(x) for s, x in zip(seen, happened.tolist(), strict=True)])),
        crps_of_nothing=float(np.abs(happened).mean()),
    )


def _coverage(level: float, inside: int, n: int) -> Coverage:
    found = binomtest(inside, n).proportion_ci(0.95, method="exact")
    return Coverage(level, inside / n, float(found.low), float(found.high))
