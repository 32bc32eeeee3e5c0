"""The most consistent difference across a maker's reeds, and where it comes from.

Both sides of both blades give, for every quantity, two differences left less right *as seen*: that
of the marked blade and that of the plain one. Their half sum is what both blades have in common as
the maker sees them, and lies diagonally on the reed: the hand did it. Their half difference follows
the physical edge (the left edge of the marked blade is the right edge of the plain one): shape,
slip or gouge did it, before any scraping. Blade against blade, and reed against what the style
asks, are further contrasts.

Every contrast is taken once per reed, and its mean over the reeds is tested against the larger of
its spread from reed to reed and its repeatability. All contrasts share the risk.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.batch.candidates import shared_risk
from crowlight.errors import InputError

__all__ = [
    "LEAST",
    "Contrast",
    "Pattern",
    "Series",
    "Steady",
    "SteadyTest",
    "of_sides",
    "steady_differences",
]

Array = NDArray[np.float64]

#: Reeds needed before a difference may be called steady.
LEAST = 6
_PERMUTATIONS = 1999


class Contrast(StrEnum):
    """What a difference is taken between."""

    SEEN = "seen"  # left less right as seen, what both blades share
    EDGE = "edge"  # left edge of the marked blade less its right edge, both blades
    BLADES = "blades"  # marked less plain
    STYLE = "style"  # this reed less what the style asks
    EARLIER = "earlier"  # this reed less the maker's earlier reeds


class Pattern(StrEnum):
    """Where a difference comes from, as far as its place on the reed tells."""

    HAND = "hand"  # same side as seen on both blades
    ONE_BLADE = "one-blade"  # a side of one blade only
    EDGE = "edge"  # same physical edge on both blades
    BLADES = "blades"  # one blade against the other
    LEVEL = "level"  # the reed as a whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One contrast over the reeds.

    Parameters
    ----------
    quantity : str
        Code of what is compared.
    contrast : Contrast
        Between what.
    values, uncertainties : tuple of float, length n
        Per reed, signed, and their standard uncertainties; NaN where not measured.
    tolerance : float
        Differences up to this size do not matter; > 0, same unit.
    sides : tuple of tuple of float
        For the contrasts of sides: left less right of the marked and of the plain blade, per reed,
        and their standard uncertainties; else empty.
    reference_uncertainty : float
        Of what is shared by all reeds, such as the mean of the earlier ones.
    """

    quantity: str
    contrast: Contrast
    values: tuple[float, ...]
    uncertainties: tuple[float, ...]
    tolerance: float
    sides: tuple[tuple[float, ...], ...] = ()
    reference_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyTest:
    """One contrast, tested.

    Parameters
    ----------
    quantity, contrast
        As in `Series`.
    count : int
        Reeds that have it.
    mean : float
        Mean over them, signed.
    spread : float
        Standard deviation from reed to reed, as observed.
    repeatability : float
        Root mean square of the single uncertainties.
    low, high : float
        Interval of the mean, on its own.
    same_sign : int
        Reeds whose difference has the sign of the mean.
    tolerance : float
        As in `Series`.
    p, q : float
        p-value, and as adjusted for all contrasts.
    rank_correlation : float
        Of the difference, counted in the direction of its mean, with the grade; negative where
        reeds that have more of it are worse. NaN if there are too few grades.
    link_p, link_q : float
        Its one-sided p-value, and as adjusted among the consistent ones.
    pattern : Pattern or None
        Where it comes from; None if it is not consistent.
    blade : int or None
        0 marked, 1 plain, for a difference of one blade only: its numbers are then those of left
        less right on that blade.
    """

    quantity: str
    contrast: Contrast
    count: int
    mean: float
    spread: float
    repeatability: float
    low: float
    high: float
    same_sign: int
    tolerance: float
    p: float
    q: float = 1.0
    rank_correlation: float = math.nan
    link_p: float = math.nan
    link_q: float = math.nan
    pattern: Pattern | None = None
    blade: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """The steady differences of some reeds.

    Parameters
    ----------
    reeds : int
        How many were given.
    missing : int
        How many more are needed before anything is tested.
    tested : tuple of SteadyTest
        All contrasts, the surest first.
    consistent : tuple of SteadyTest
        Those that are consistent and larger than their tolerance allows to be nothing, the one to
        deal with first.
    linked : bool
        Whether the first of them is linked to the grades.
    risk : float
        Shared by the contrasts.
    """

    reeds: int
    missing: int
    tested: tuple[SteadyTest, ...]
    consistent: tuple[SteadyTest, ...]
    linked: bool
    risk: float

    @property
    def first(self) -> SteadyTest | None:
        """The largest consistent difference that is linked to outcome, else the largest."""
        return self.consistent[0] if self.consistent else None


def of_sides(
    quantity: str,
    marked: ArrayLike,
    plain: ArrayLike,
    marked_uncertainty: ArrayLike,
    plain_uncertainty: ArrayLike,
    *,
    tolerance: float,
) -> tuple[Series, Series]:
    """Turn the side differences of both blades into what the hand and what the edge has.

    Parameters
    ----------
    quantity : str
        Its code.
    marked, plain : array_like, shape (n,)
        Left less right as seen, per reed; NaN where not measured.
    marked_uncertainty, plain_uncertainty : array_like, shape (n,)
        Standard uncertainties.
    tolerance : float
        Of a side difference.

    Returns
    -------
    tuple of Series
        The half sum (``seen``) and the half difference (``edge``).

    Examples
    --------
    >>> seen, edge = of_sides("tip", [0.02], [0.02], [0.005], [0.005], tolerance=0.01)
    >>> seen.values, edge.values
    ((0.02,), (0.0,))
    """
    a, b = np.asarray(marked, dtype=float), np.asarray(plain, dtype=float)
    ua, ub = np.asarray(marked_uncertainty, float), np.asarray(plain_uncertainty, float)
    u = _line(np.hypot(ua, ub) / 2.0)
    sides = (_line(a), _line(b), _line(ua), _line(ub))

    def one(contrast: Contrast, values: Array) -> Series:
        return Series(
            quantity=quantity,
            contrast=contrast,
            values=_line(values),
            uncertainties=u,
            tolerance=tolerance,
            sides=sides,
        )

    return one(Contrast.SEEN, (a + b) / 2.0), one(Contrast.EDGE, (a - b) / 2.0)


def _line(values: Array) -> tuple[float, ...]:
    return tuple(map(float, values))


def steady_differences(
    series: Sequence[Series],
    *,
    rng: np.random.Generator,
    grades: Sequence[int | None] = (),
    risk: float = 0.05,
    link_risk: float = 0.1,
    level: float = 0.95,
    least: int = LEAST,
) -> Steady:
    r"""Find what is the same on all reeds and should not be.

    Parameters
    ----------
    series : sequence of Series
        The contrasts, all over the same reeds.
    rng : Generator
        Source of the permutations that link a difference with the grades.
    grades : sequence of int or None
        Per reed, if any are known.
    risk : float
        Largest expected share of wrong ones among those called consistent; 0 < risk < 1.
    link_risk : float
        The same for the links with the grades; larger, because a link only says which difference
        to test first.
    level : float
        Of the intervals.
    least : int
        Reeds needed.

    Returns
    -------
    Steady
        All contrasts tested, the consistent ones picked.

    Raises
    ------
    InputError
        If a series is not as long as the others or as the grades.

    Notes
    -----
    :math:`t = \bar d / \sqrt{\max(s^2, \overline{u^2}) / n + u_r^2}` on :math:`n - 1` degrees of
    freedom: where by luck the reeds scatter less than the gauge, the gauge counts, and the test
    errs on the side of saying nothing. p-values are adjusted after Benjamini and Hochberg. A
    difference is picked if its mean also lies beyond half its tolerance. The link is Spearman's
    correlation with the grades; its p-value, from random permutations, is one-sided: a difference
    is a fault only if reeds that have more of it are worse.

    A gauge whose foot always stands off to one side shows the same pattern as a hand: only the same
    reed measured with the gauge turned round tells them apart.

    Examples
    --------
    >>> rng = np.random.default_rng(5)
    >>> draw = lambda: rng.normal(-0.02, 0.006, 8)
    >>> made = of_sides("tip", draw(), draw(), [0.004] * 8, [0.004] * 8, tolerance=0.01)
    >>> found = steady_differences(made, rng=rng)
    >>> found.first.pattern.value, round(found.first.mean, 2)
    ('hand', -0.02)
    """
    counts = {len(s.values) for s in series} | ({len(grades)} if grades else set())
    if len(counts) > 1:
        msg = f"contrasts and grades are of {sorted(counts)} reeds; give one value per reed in each"
        raise InputError(msg)
    reeds = counts.pop() if counts else 0
    tested = [t for s in series if (t := _tested(s, level, least)) is not None]
    adjusted = shared_risk([t.p for t in tested])
    by_key = {(s.quantity, s.contrast): s for s in series}
    marks = np.array([math.nan if g is None else float(g) for g in grades])
    tested = [
        _placed(_linked(replace(t, q=q), by_key, marks, rng), by_key, risk, level)
        for t, q in zip(tested, adjusted, strict=True)
    ]
    tested.sort(key=lambda t: (t.p, t.quantity, t.contrast))
    picked = [t for t in tested if t.pattern is not None and abs(t.mean) > 0.5 * t.tolerance]
    having = [t for t in picked if math.isfinite(t.link_p)]
    shared = dict(zip(having, shared_risk([t.link_p for t in having]), strict=True))
    picked = [replace(t, link_q=shared.get(t, math.nan)) for t in picked]
    picked.sort(key=lambda t: (not _is_linked(t, link_risk), -abs(t.mean) / t.tolerance))
    # half sum and half difference both show a difference of one blade: it is told once
    told = {(t.quantity, t.blade): t for t in reversed(picked) if t.blade is not None}
    picked = [t for t in picked if t.blade is None or told[t.quantity, t.blade] is t]
    return Steady(
        reeds=reeds,
        missing=max(least - max((_known(s) for s in series), default=0), 0),
        tested=tuple(tested),
        consistent=tuple(picked),
        linked=bool(picked) and _is_linked(picked[0], link_risk),
        risk=risk,
    )


def _is_linked(test: SteadyTest, risk: float) -> bool:
    """Whether reeds that have more of it are worse."""
    return test.rank_correlation < 0.0 and test.link_q <= risk


def _mean_test(x: Array, u: Array, shared: float, level: float) -> tuple[float, float, float]:
    """Return the p-value and the interval of the mean of signed differences."""
    from scipy.special import stdtr, stdtrit

    n = len(x)
    variance = max(float(x.var(ddof=1)), float(np.mean(u**2)))
    error = math.sqrt(variance / n + shared**2)
    mean = float(x.mean())
    if error == 0.0:
        return (0.0 if mean else 1.0), mean, mean
    half = float(stdtrit(n - 1, 0.5 + level / 2.0)) * error
    return 2.0 * float(stdtr(n - 1, -abs(mean) / error)), mean - half, mean + half


def _known(s: Series) -> int:
    """Return how many reeds a contrast is known of."""
    return int((np.isfinite(s.values) & np.isfinite(s.uncertainties)).sum())


def _tested(s: Series, level: float, least: int) -> SteadyTest | None:
    x, u = np.array(s.values), np.array(s.uncertainties)
    known = np.isfinite(x) & np.isfinite(u)
    x, u = x[known], u[known]
    if len(x) < least:
        return None
    p, low, high = _mean_test(x, u, s.reference_uncertainty, level)
    mean = float(x.mean())
    return SteadyTest(
        quantity=s.quantity,
        contrast=s.contrast,
        count=len(x),
        mean=mean,
        spread=float(x.std(ddof=1)),
        repeatability=math.sqrt(float(np.mean(u**2))),
        low=low,
        high=high,
        same_sign=int((np.sign(x) == np.sign(mean)).sum()),
        tolerance=s.tolerance,
        p=p,
    )


def _linked(
    test: SteadyTest,
    by_key: dict[tuple[str, Contrast], Series],
    grades: Array,
    rng: np.random.Generator,
) -> SteadyTest:
    """Add the rank correlation with the grades and how often chance alone gives as much."""
    from scipy.stats import rankdata

    x = np.array(by_key[test.quantity, test.contrast].values)
    if not len(grades):
        return test
    both = np.isfinite(x) & np.isfinite(grades)
    if both.sum() < LEAST or np.ptp(grades[both]) == 0.0 or np.ptp(x[both]) == 0.0:
        return test
    a = rankdata(x[both] * math.copysign(1.0, test.mean))
    b = rankdata(grades[both])
    a, b = (a - a.mean()) / a.std(), (b - b.mean()) / b.std()
    found = float(a @ b) / len(a)
    drawn = rng.permuted(np.tile(b, (_PERMUTATIONS, 1)), axis=1) @ a / len(a)
    beyond = int((drawn <= found + 1e-12).sum())
    return replace(test, rank_correlation=found, link_p=(beyond + 1) / (_PERMUTATIONS + 1))


def _placed(
    test: SteadyTest,
    by_key: dict[tuple[str, Contrast], Series],
    risk: float,
    level: float,
) -> SteadyTest:
    """Say where a consistent difference comes from."""
    if not test.q <= risk:
        return test
    if test.contrast is Contrast.BLADES:
        return replace(test, pattern=Pattern.BLADES)
    if test.contrast not in (Contrast.SEEN, Contrast.EDGE):
        return replace(test, pattern=Pattern.LEVEL)
    s = by_key[test.quantity, test.contrast]
    own = [_side(test, s, b, level) for b in (0, 1)]
    shown = [int(t.low > 0.0) - int(t.high < 0.0) for t in own]
    if shown[0] and shown[1]:
        # of one sign as seen on both: the hand; of opposite signs: the same physical edge
        found = Pattern.HAND if shown[0] == shown[1] else Pattern.EDGE
        wanted = Pattern.HAND if test.contrast is Contrast.SEEN else Pattern.EDGE
        return replace(test, pattern=found) if found is wanted else test
    if shown[0] or shown[1]:
        b = 0 if shown[0] else 1
        return replace(own[b], pattern=Pattern.ONE_BLADE, blade=b)
    return replace(test, pattern=Pattern.HAND if test.contrast is Contrast.SEEN else Pattern.EDGE)


def _side(test: SteadyTest, s: Series, blade: int, level: float) -> SteadyTest:
    """Return a contrast of sides with the numbers of one blade in place of both."""
    x, u = np.array(s.sides[blade]), np.array(s.sides[blade + 2])
    known = np.isfinite(x) & np.isfinite(u)
    x, u = x[known], u[known]
    _, low, high = _mean_test(x, u, 0.0, level)
    mean = float(x.mean())
    return replace(
        test,
        mean=mean,
        low=low,
        high=high,
        spread=float(x.std(ddof=1)),
        repeatability=math.sqrt(float(np.mean(u**2))),
        same_sign=int((np.sign(x) == np.sign(mean)).sum()),
    )
