"""When a change must not be credited to a cut, and the test that would tell.

Two changes at once, a rest between, a fresh soak between the measures, and reeds chosen because
they were at their worst: each can bring about what looks like an effect.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from scipy.stats import t as student

from crowlight.errors import InputError

__all__ = ["Between", "Claim", "Reason", "SplitTest", "effect_claim", "split_test", "untouched"]

Reason = Literal[
    "two-changes", "rested", "re-soaked", "place-changed", "chosen-at-worst", "too-few", "no-effect"
]
#: Fewer pairs than this make no claim (our choice).
LEAST = 4


@dataclass(frozen=True, slots=True)
class Between:
    """What lay between the measure before a cut and the one after it.

    Parameters
    ----------
    before, after : float
        The measured quantity, same unit.
    changes : int
        Things done between them; 1 is the cut alone, 0 a reed left alone.
    nights : int
        Nights between.
    soaked_anew : bool
        Whether it was soaked again between.
    place_changed : bool
        Whether it was taken to another place or climate.
    """

    before: float
    after: float
    changes: int = 1
    nights: int = 0
    soaked_anew: bool = False
    place_changed: bool = False

    @property
    def confounds(self) -> tuple[Reason, ...]:
        """What else may have brought about the change."""
        found: dict[Reason, bool] = {
            "two-changes": self.changes > 1,
            "rested": self.nights > 0,
            "re-soaked": self.soaked_anew,
            "place-changed": self.place_changed,
        }
        return tuple(reason for reason, holds in found.items() if holds)


@dataclass(frozen=True, slots=True)
class SplitTest:
    """The test that would tell: like reeds, some cut and some left alone, all else alike.

    Parameters
    ----------
    reeds_each : int
        How many of each.
    effect : float
        Effect it would find in four of five tries, unit of the quantity.
    """

    reeds_each: int
    effect: float


@dataclass(frozen=True, slots=True)
class Claim:
    """What may be said of an effect.

    Parameters
    ----------
    claimed : bool
        Whether it may be said at all.
    effect, low, high : float
        Estimate and interval, after what regression to the mean explains, unit of the quantity;
        NaN where nothing could be worked out.
    reasons : tuple of str
        Why not, or none.
    left_out : int
        Pairs that were confounded and do not count.
    propose : SplitTest or None
        What would tell, where nothing may be said.
    """

    claimed: bool
    effect: float
    low: float
    high: float
    reasons: tuple[Reason, ...]
    left_out: int
    propose: SplitTest | None


def effect_claim(
    pairs: Sequence[Between],
    *,
    usual_mean: float,
    usual_sd: float,
    repeatability: float,
    chosen_at_worst: bool = True,
    risk: float = 0.05,
) -> Claim:
    r"""Say whether a change may be credited to the cuts.

    Parameters
    ----------
    pairs : sequence of Between
        One for each reed.
    usual_mean, usual_sd : float
        Where such reeds lie usually, true values, and how they scatter, unit of the quantity.
    repeatability : float
        Standard uncertainty of one measure, with the day-to-day wandering of a reed left alone.
    chosen_at_worst : bool
        Whether reeds are cut because they measured badly; then part of any recovery is none.
    risk : float
        Largest chance to claim an effect where there is none.

    Returns
    -------
    Claim
        An effect only from pairs that nothing else explains, and beyond what regression to the mean
        does by itself.

    Notes
    -----
    With reliability :math:`r = s^2 / (s^2 + u^2)` (s usual spread, u repeatability), a reed that
    measured :math:`x` is expected at :math:`m + r (x - m)` when it is measured again untouched. The
    mean of what is left is tested by Student's t.

    References
    ----------
    F. Galton, Regression towards mediocrity in hereditary stature, *J. Anthropol. Inst.* 15 (1886)
    246; A. G. Barnett, J. C. van der Pols and A. J. Dobson, Regression to the mean: what it is and
    how to deal with it, *Int. J. Epidemiol.* 34 (2005) 215, for the correction by reliability.

    Examples
    --------
    >>> cut_after_a_rest = [Between(9.0, 5.0, nights=1), Between(8.0, 4.0, nights=2)]
    >>> claim = effect_claim(cut_after_a_rest, usual_mean=4.0, usual_sd=2.0, repeatability=1.0)
    >>> claim.claimed, claim.reasons, claim.propose.reeds_each
    (False, ('rested', 'too-few'), 4)
    """
    if not (usual_sd > 0 and repeatability > 0):
        msg = (
            f"usual spread {usual_sd} and repeatability {repeatability} must be above 0; measure "
            "some reeds twice without touching them"
        )
        raise InputError(msg)
    sound = [p for p in pairs if not p.confounds]
    reasons: dict[Reason, None] = {r: None for p in pairs for r in p.confounds}
    u2, s2 = repeatability**2, usual_sd**2
    reliability = s2 / (s2 + u2) if chosen_at_worst else 1.0
    before = np.array([p.before for p in sound])
    left = np.array([p.after for p in sound]) - (usual_mean + reliability * (before - usual_mean))
    # a single change is known no better than this, however alike a few happen to be
    one = math.sqrt(u2 + (reliability * u2 if chosen_at_worst else u2))
    proposal = split_test(one, effect=2.0 * one)
    if len(sound) < LEAST:
        reasons["too-few"] = None
        mean = float(left.mean()) if len(sound) else math.nan
        return Claim(
            False, mean, math.nan, math.nan, tuple(reasons), len(pairs) - len(sound), proposal
        )
    effect, low, high = _interval(left, one, risk)
    claimed = low > 0.0 or high < 0.0
    if not claimed:
        reasons[
            "chosen-at-worst" if _would_be(sound, risk) and chosen_at_worst else "no-effect"
        ] = None
    return Claim(
        claimed,
        effect,
        low,
        high,
        () if claimed else tuple(reasons),
        len(pairs) - len(sound),
        None if claimed else proposal,
    )


def untouched(
    before: float, *, usual_mean: float, usual_sd: float, repeatability: float
) -> tuple[float, float]:
    """Return where a reed that measured `before` truly lies, and how surely.

    Parameters
    ----------
    before : float
        As measured; the reed was chosen for it.
    usual_mean, usual_sd : float
        Where such reeds lie usually, true values, and how they scatter, same unit; the spread > 0.
    repeatability : float
        Standard uncertainty of one measure, same unit; > 0.

    Returns
    -------
    float
        Expected value, drawn towards the usual one: see `effect_claim`.
    float
        Its standard uncertainty.

    Examples
    --------
    >>> untouched(9.0, usual_mean=5.0, usual_sd=3.0, repeatability=1.0)[0]
    8.6
    """
    reliability = usual_sd**2 / (usual_sd**2 + repeatability**2)
    back = usual_mean + reliability * (before - usual_mean)
    return back, math.sqrt(reliability) * repeatability


def _interval(left: NDArray[np.float64], one: float, risk: float) -> tuple[float, float, float]:
    n = len(left)
    error = max(float(left.std(ddof=1)), one) / math.sqrt(n)
    half = float(student.ppf(1.0 - risk / 2.0, n - 1)) * error
    effect = float(left.mean())
    return effect, effect - half, effect + half


def _would_be(pairs: Sequence[Between], risk: float) -> bool:
    """Whether the change would be claimed if regression to the mean were forgotten."""
    change = np.array([p.after - p.before for p in pairs])
    _, low, high = _interval(change, 0.0, risk)
    return low > 0.0 or high < 0.0


def split_test(sd: float, *, effect: float, risk: float = 0.05, power: float = 0.8) -> SplitTest:
    r"""Return how many reeds a split test needs.

    Parameters
    ----------
    sd : float
        Standard deviation of the change of one reed.
    effect : float
        Effect worth finding, same unit.
    risk, power : float
        Chance to see one where there is none, and to see it where it is.

    Notes
    -----
    :math:`n = 2 (z_{1-\alpha/2} + z_{power})^2 (s / \delta)^2` in each part, rounded up.

    References
    ----------
    J. Cohen, *Statistical Power Analysis for the Behavioral Sciences*, 2nd ed. (1988), section 2.4,
    in the normal approximation.

    Examples
    --------
    >>> split_test(1.0, effect=0.5).reeds_each
    63
    """
    if not (sd > 0 and effect > 0):
        msg = f"spread {sd} and effect {effect} must be above 0"
        raise InputError(msg)
    z = float(norm.ppf(1.0 - risk / 2.0) + norm.ppf(power))
    return SplitTest(max(math.ceil(2.0 * (z * sd / effect) ** 2), 2), effect)
