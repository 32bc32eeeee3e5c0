"""What a workshop's work yields: shares, minutes and cost, and how long reeds live.

Failures stay in every denominator: minutes and cost of a reed that was given up are paid by those
that were sold.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from crowlight.batch.power import reeds_for_shares
from crowlight.errors import InputError

__all__ = [
    "Figures",
    "Group",
    "Life",
    "Made",
    "Question",
    "Rate",
    "Share",
    "life_of",
    "per_sellable",
    "share",
    "workshop_figures",
]

#: Grades that count as good.
GOOD = 4


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its interval.

    Parameters
    ----------
    count, of : int
        So many of so many.
    low, high : float
        Wilson interval, 0 to 1.
    """

    count: int
    of: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share itself; NaN of none."""
        return self.count / self.of if self.of else math.nan


@dataclass(frozen=True, slots=True)
class Rate:
    """So much per sellable reed.

    Parameters
    ----------
    value : float
        All that was spent over all that were sellable.
    low, high : float
        Interval; not below 0.
    reeds, sellable : int
        How many the numbers are known of.
    """

    value: float
    low: float
    high: float
    reeds: int
    sellable: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """How long reeds live, those still played counted as far as they got.

    Parameters
    ----------
    reeds, ended : int
        How many, and how many have come to their end.
    times : tuple of float
        When reeds ended, rising, in the unit given.
    alive, low, high : tuple of float
        Share still alive after each of them, and its interval; NaN where there is none.
    median, median_low, median_high : float
        When half are gone; infinite or NaN where the data do not reach that far.
    """

    reeds: int
    ended: int
    times: tuple[float, ...]
    alive: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    median: float
    median_low: float
    median_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What is known of one reed's way.

    Parameters
    ----------
    stage : int or None
        Index of the furthest stage of making it reached.
    sellable : bool or None
        Whether it was; None while it is not known.
    reason : str
        Why not.
    grade : int or None
        1 to 5.
    seconds, cost : float or None
        Attention and money it took; None if nobody noted any.
    currency : str
        Of the cost.
    played : float or None
        How long it has been played [s].
    ended : bool
        Whether its life is over.
    cane, shape : str
        Lot and tool; empty if not known.
    """

    stage: int | None = None
    sellable: bool | None = None
    reason: str = ""
    grade: int | None = None
    seconds: float | None = None
    cost: float | None = None
    currency: str = ""
    played: float | None = None
    ended: bool = False
    cane: str = ""
    shape: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Reeds of one cane or shape: how many are good of those with a grade, and sellable."""

    name: str
    good: Share
    sellable: Share


@dataclass(frozen=True, slots=True)
class Question:
    """Whether one group makes more good reeds than another.

    Parameters
    ----------
    first, second : str
        The group with the most and with the fewest good ones.
    each : int or None
        Reeds of each that would settle it, if the shares are as they look now; None if they look
        the same or a workshop's numbers will not do.
    more : tuple of int
        How many more graded reeds of the first and of the second that takes; none where `each` is.
    """

    first: str
    second: str
    each: int | None
    more: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """All figures of a workshop.

    Parameters
    ----------
    reeds : int
        How many.
    stages : tuple of Share
        Of the reeds that reached the stage before, how many reached this one.
    sellable : Share
        Of those whose end is known.
    grades : tuple of int
        How many of each grade, 1 to 5.
    reasons : tuple of (str, Share)
        Of all rejected reeds, the most frequent first.
    seconds : Rate or None
        Attention per sellable reed [s].
    cost : tuple of (str, Rate)
        By currency.
    life : Life or None
        Times in seconds.
    canes, shapes : tuple of Group
        The largest first.
    questions : tuple of Question
        One each for canes and shapes that can be compared.
    """

    reeds: int
    stages: tuple[Share, ...]
    sellable: Share
    grades: tuple[int, ...]
    reasons: tuple[tuple[str, Share], ...]
    seconds: Rate | None
    cost: tuple[tuple[str, Rate], ...]
    life: Life | None
    canes: tuple[Group, ...]
    shapes: tuple[Group, ...]
    questions: tuple[Question, ...]


def share(count: int, of: int, *, level: float = 0.95) -> Share:
    """Return a share with its Wilson interval.

    Parameters
    ----------
    count, of : int
        So many of so many; 0 <= count <= of. Of none, anything may be: 0 to 1.
    level : float
        Of the interval.

    Returns
    -------
    Share
        The share.

    Raises
    ------
    InputError
        If the count is negative or more than there are.

    References
    ----------
    E. B. Wilson, *Journal of the American Statistical Association* 22 (1927) 209-212.

    Examples
    --------
    >>> found = share(7, 10)
    >>> round(found.low, 2), round(found.high, 2)
    (0.4, 0.89)
    """
    from scipy.stats import binomtest

    if not 0 <= count <= of:
        msg = f"{count} of {of} is no share"
        raise InputError(msg)
    if not of:
        return Share(0, 0, 0.0, 1.0)
    found = binomtest(count, of).proportion_ci(confidence_level=level, method="wilson")
    return Share(count, of, float(found.low), float(found.high))


def per_sellable(spent: ArrayLike, sellable: ArrayLike, *, level: float = 0.95) -> Rate | None:
    r"""Return what a sellable reed takes, failures paid by the others.

    Parameters
    ----------
    spent : array_like, shape (n,)
        On each reed; >= 0.
    sellable : array_like of bool, shape (n,)
        Whether it was.
    level : float
        Of the interval.

    Returns
    -------
    Rate or None
        None if none was sellable.

    Notes
    -----
    A ratio of sums, :math:`R = \sum y / \sum x`, with the usual linearised standard error
    :math:`\sqrt{n / (n - 1) \sum (y - R x)^2} / \sum x`: good for some dozens of reeds, rough for
    fewer.

    References
    ----------
    W. G. Cochran, *Sampling Techniques* (1977), chapter 6.

    Examples
    --------
    >>> round(per_sellable([30.0, 40.0, 20.0, 50.0], [1, 1, 0, 1]).value, 1)
    46.7
    """
    from scipy.special import stdtrit

    y, x = np.asarray(spent, dtype=float), np.asarray(sellable, dtype=bool).astype(float)
    n, good = len(y), float(x.sum())
    if not good:
        return None
    ratio = float(y.sum()) / good
    half = math.inf
    if n > 1:
        error = math.sqrt(n / (n - 1) * float(((y - ratio * x) ** 2).sum())) / good
        half = float(stdtrit(n - 1, 0.5 + level / 2.0)) * error
    return Rate(ratio, max(ratio - half, 0.0), ratio + half, n, int(good))


def life_of(times: ArrayLike, ended: ArrayLike, *, level: float = 0.95) -> Life:
    """Return how long reeds live by the product-limit estimate.

    Parameters
    ----------
    times : array_like, shape (n,)
        How long each was played, any unit; > 0.
    ended : array_like of bool, shape (n,)
        Whether its life was over then; else it is still played, and lives longer than that.
    level : float
        Of the intervals (Greenwood's variance, complementary log-log scale).

    Returns
    -------
    Life
        The curve and its median.

    Raises
    ------
    InputError
        If there are no reeds or a time is not above 0.

    References
    ----------
    E. L. Kaplan, P. Meier, *Journal of the American Statistical Association* 53 (1958) 457-481.

    Examples
    --------
    >>> found = life_of([6.0, 9.0, 12.0, 15.0], [True, True, False, True])
    >>> found.times, found.median
    ((6.0, 9.0, 15.0), 9.0)
    """
    import warnings

    from scipy.stats import CensoredData, ecdf

    t, over = np.asarray(times, dtype=float), np.asarray(ended, dtype=bool)
    if not t.size or t.shape != over.shape or not (t > 0.0).all() or not np.isfinite(t).all():
        msg = f"{t.size} lives cannot be used; give times above 0 and whether each had ended"
        raise InputError(msg)
    curve = ecdf(CensoredData.right_censored(t, ~over)).sf
    with np.errstate(all="ignore"), warnings.catch_warnings():
        # where nobody or everybody is left the interval is not defined, and is NaN
        warnings.simplefilter("ignore", RuntimeWarning)
        limits = curve.confidence_interval(level, method="log-log")
    at, alive = np.asarray(curve.quantiles), np.asarray(curve.probabilities)
    low, high = (_shares(end) for end in (limits.low, limits.high))
    step = np.isin(at, t[over])

    def when(values: np.ndarray) -> float:
        # rounding must not hide that exactly half are gone
        reached = np.flatnonzero(values <= 0.5 + 1e-12)
        return float(at[reached[0]]) if reached.size else math.inf

    return Life(
        reeds=len(t),
        ended=int(over.sum()),
        times=tuple(map(float, at[step])),
        alive=tuple(map(float, alive[step])),
        low=tuple(map(float, low[step])),
        high=tuple(map(float, high[step])),
        median=when(alive),
        median_low=when(np.where(np.isnan(low), 1.0, low)),
        median_high=when(np.where(np.isnan(high), 1.0, high)),
    )


def _shares(curve: Any) -> np.ndarray:
    """Return the heights of a curve; the library's types know less of it than it has."""
    return np.asarray(curve.probabilities, dtype=float)


def workshop_figures(made: Sequence[Made], *, stages: int, level: float = 0.95) -> Figures:
    """Work out all figures.

    Parameters
    ----------
    made : sequence of Made
        The reeds.
    stages : int
        How many stages of making there are.
    level : float
        Of all intervals, each on its own.

    Returns
    -------
    Figures
        What is known; a figure nobody noted anything for is None or empty.

    Examples
    --------
    >>> reeds = [Made(stage=5, sellable=True, seconds=2400.0)] * 3
    >>> reeds += [Made(stage=3, sellable=False, reason="crack", seconds=1200.0)]
    >>> found = workshop_figures(reeds, stages=6)
    >>> found.sellable.count, found.seconds.value
    (3, 2800.0)
    """
    known = [m for m in made if m.sellable is not None]
    failed = [m for m in known if not m.sellable]
    reached = [sum(m.stage is not None and m.stage >= k for m in made) for k in range(stages)]
    # once per reed: those of which nobody noted a stage do not count
    spent = [m for m in known if m.seconds is not None]
    paid: dict[str, list[Made]] = {}
    for m in known:
        if m.cost is not None and m.currency:
            paid.setdefault(m.currency, []).append(m)
    rates = {
        currency: per_sellable([m.cost or 0.0 for m in rows], [bool(m.sellable) for m in rows])
        for currency, rows in sorted(paid.items())
    }
    played = [m for m in made if m.played]
    grades = Counter(m.grade for m in made if m.grade is not None)
    canes, shapes = (_groups(made, of, level) for of in (lambda m: m.cane, lambda m: m.shape))
    return Figures(
        reeds=len(made),
        stages=tuple(
            share(now, before, level=level)
            for before, now in zip([reached[0], *reached[:-1]], reached, strict=True)
        )
        if stages
        else (),
        sellable=share(len(known) - len(failed), len(known), level=level),
        grades=tuple(grades[g] for g in range(1, 6)),
        reasons=tuple(
            (reason, share(n, len(failed), level=level))
            for reason, n in Counter(m.reason for m in failed).most_common()
        ),
        seconds=per_sellable([m.seconds or 0.0 for m in spent], [bool(m.sellable) for m in spent]),
        cost=tuple((c, r) for c, r in rates.items() if r is not None),
        life=life_of([m.played or 0.0 for m in played], [m.ended for m in played], level=level)
        if played
        else None,
        canes=canes,
        shapes=shapes,
        questions=tuple(q for g in (canes, shapes) if (q := _question(g)) is not None),
    )


def _groups(made: Iterable[Made], of: Callable[[Made], str], level: float) -> tuple[Group, ...]:
    sorted_out: dict[str, list[Made]] = {}
    for m in made:
        if name := of(m):
            sorted_out.setdefault(name, []).append(m)
    found = [
        Group(
            name,
            share(
                sum((m.grade or 0) >= GOOD for m in rows),
                sum(m.grade is not None for m in rows),
                level=level,
            ),
            share(
                sum(bool(m.sellable) for m in rows),
                sum(m.sellable is not None for m in rows),
                level=level,
            ),
        )
        for name, rows in sorted_out.items()
    ]
    return tuple(sorted(found, key=lambda g: (-g.good.of, -g.sellable.of, g.name)))


def _question(groups: Sequence[Group]) -> Question | None:
    graded = sorted((g for g in groups if g.good.of >= 2), key=lambda g: g.good.value)
    if len(graded) < 2:
        return None
    few, most = graded[0], graded[-1]
    each = reeds_for_shares(few.good.value, most.good.value)
    more = () if each is None else tuple(max(each - g.good.of, 0) for g in (most, few))
    return Question(most.name, few.name, each, more)
