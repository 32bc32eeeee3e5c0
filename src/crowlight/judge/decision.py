"""When a difference counts as a difference.

The rule is that of ISO 14253-1:2017: a deviation from the tolerance counts as proven only when it
stays outside after the measurement uncertainty has been taken off it (the guard band). Where one
reed gives many comparisons, the guard band is widened (Bonferroni), so that on a reed without any
difference the chance of naming even one is at most the stated risk, however the comparisons hang
together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from crowlight.errors import InputError

__all__ = ["Decision", "Outcome", "coverage_factor", "decide", "effective_dof"]


class Outcome(StrEnum):
    """What may be said of a difference."""

    DIFFERS = "differs"
    NO_DIFFERENCE_SEEN = "no_difference_seen"
    NOT_MEASURED = "not_measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """A difference, its interval and what may be said of it.

    Parameters
    ----------
    outcome : Outcome
        What may be said.
    value : float
        Best estimate; NaN when not measured.
    standard_uncertainty : float
        Combined standard uncertainty, same unit; NaN when not measured.
    dof : float
        Effective degrees of freedom; may be infinite.
    low, high : float
        Interval that holds for all `comparisons` together with probability 1 - `risk`.
    tolerance : float
        Differences up to this size do not count as a fault.
    comparisons : int
        How many comparisons share the risk.
    risk : float
        Largest chance that any difference is named on a reed that has none.
    within_tolerance : bool
        Whether the whole interval lies inside the tolerance: evenness is then proven, not merely
        undisturbed.
    """

    outcome: Outcome
    value: float = math.nan
    standard_uncertainty: float = math.nan
    dof: float = math.inf
    low: float = math.nan
    high: float = math.nan
    tolerance: float
    comparisons: int = 1
    risk: float = 0.05
    within_tolerance: bool = False


def effective_dof(components: Sequence[tuple[float, float]]) -> float:
    r"""Return the degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    components : sequence of (float, float)
        Standard uncertainty contributions :math:`|c_i| u_i`, all in one unit, and their degrees of
        freedom, which may be infinite.

    Returns
    -------
    float
        :math:`\nu_\mathrm{eff} = u_c^4 / \sum u_i^4 / \nu_i`; infinite when no component has finite
        degrees of freedom.

    References
    ----------
    JCGM 100:2008 (GUM), equation G.2b (Welch-Satterthwaite).

    Examples
    --------
    >>> round(effective_dof([(25.0, 18), (9.7, 25.6), (2.9, 50), (16.6, 2)]), 1)
    16.8
    """
    variance = math.fsum(u * u for u, _ in components)
    spread = math.fsum(u**4 / nu for u, nu in components if u)
    return variance**2 / spread if spread else math.inf


def coverage_factor(dof: float, *, risk: float = 0.05, comparisons: int = 1) -> float:
    """Return the factor that turns a standard uncertainty into half an interval.

    Parameters
    ----------
    dof : float
        Degrees of freedom; >= 1, may be infinite.
    risk : float
        Chance that the interval misses, both sides together; 0 < risk < 1.
    comparisons : int
        Number of intervals that share the risk (Bonferroni); >= 1.

    Returns
    -------
    float
        Two-sided quantile of Student's t distribution.

    References
    ----------
    JCGM 100:2008 (GUM), table G.2; R. G. Miller, *Simultaneous Statistical Inference* (1981),
    chapter 1, for the Bonferroni intervals.

    Examples
    --------
    >>> round(coverage_factor(10), 2)
    2.23
    """
    # special.stdtrit is the quantile itself; scipy.stats would take half a second to import
    from scipy.special import ndtri, stdtrit

    tail = 1 - risk / (2 * comparisons)
    return float(ndtri(tail) if math.isinf(dof) else stdtrit(max(dof, 1.0), tail))


def decide(
    value: float,
    standard_uncertainty: float,
    *,
    tolerance: float,
    dof: float = math.inf,
    comparisons: int = 1,
    risk: float = 0.05,
) -> Decision:
    """Say whether a difference is proven to lie outside its tolerance.

    Parameters
    ----------
    value : float
        The difference.
    standard_uncertainty : float
        Its combined standard uncertainty, same unit; >= 0.
    tolerance : float
        Differences up to this size do not count; >= 0.
    dof : float
        Degrees of freedom of the uncertainty.
    comparisons : int
        How many comparisons are made on this reed; >= 1.
    risk : float
        Largest chance that any of them is wrongly named; 0 < risk < 1.

    Returns
    -------
    Decision
        ``differs`` if the interval lies wholly outside plus or minus `tolerance`, else
        ``no_difference_seen``.

    Raises
    ------
    InputError
        If the tolerance or the uncertainty is negative or not a number.

    Examples
    --------
    >>> decide(0.05, 0.01, tolerance=0.02).outcome
    <Outcome.DIFFERS: 'differs'>
    >>> decide(0.03, 0.01, tolerance=0.02).outcome
    <Outcome.NO_DIFFERENCE_SEEN: 'no_difference_seen'>
    """
    if not tolerance >= 0:
        msg = f"tolerance = {tolerance} must be 0 or more"
        raise InputError(msg)
    if not (standard_uncertainty >= 0 and math.isfinite(value)):
        msg = f"difference {value} with standard uncertainty {standard_uncertainty} is not usable"
        raise InputError(msg)
    guard = coverage_factor(dof, risk=risk, comparisons=comparisons) * standard_uncertainty
    low, high = value - guard, value + guard
    differs = low > tolerance or high < -tolerance
    return Decision(
        outcome=Outcome.DIFFERS if differs else Outcome.NO_DIFFERENCE_SEEN,
        value=value,
        standard_uncertainty=standard_uncertainty,
        dof=dof,
        low=low,
        high=high,
        tolerance=tolerance,
        comparisons=comparisons,
        risk=risk,
        within_tolerance=-tolerance <= low and high <= tolerance,
    )
