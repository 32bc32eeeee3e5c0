"""What a plan may risk, and what is left to chance: drawn once, the same for every act."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from crowlight.plan.cut.now import ReedNow

__all__ = ["USUAL_LIMITS", "Z95", "Chance", "Limits", "draw_chance"]

Real = NDArray[np.float64]

#: Below so many standard deviations lies 95 % of a normal distribution; 90 % between both ways.
Z95 = float(ndtri(0.95))


@dataclass(frozen=True, slots=True)
class Limits:
    """What a plan may risk.

    Parameters
    ----------
    harm : float
        Largest probability of crossing a floor, or the shortest length, that is allowed; 0 to 0.5.
    unasked : float
        The same for a cut that no finding asks for.
    gauge : float
        Error of the gauge that no reading shows, its zero for one; floors are kept this much
        further away [m].
    sure : float
        How sure it must be that a side or blade is the thicker one before it is cut to make them
        alike.
    """

    harm: float = 0.05
    unasked: float = 0.01
    gauge: float = 0.005e-3
    sure: float = 0.9


USUAL_LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Chance:
    """Standard normal scores shared by all acts.

    Parameters
    ----------
    strokes, clips : ndarray, shape (n,)
        Of cane per stroke, and of what a clip takes.
    slopes : ndarray, shape (n, n_outputs)
        Of how far the slopes of the outputs are off.
    lines : ndarray, shape (n,)
        Of where zones begin.
    """

    strokes: Real
    clips: Real
    slopes: Real
    lines: Real

    def inflated(self, factor: float) -> Chance:
        """Return the same draws, spread further."""
        each = (self.strokes, self.clips, self.slopes, self.lines)
        return Chance(*(factor * z for z in each))


def draw_chance(reed: ReedNow, rng: np.random.Generator) -> Chance:
    """Draw what is left to chance, once for all acts."""
    n, k = reed.now.shape
    return Chance(
        strokes=rng.standard_normal(n),
        clips=rng.standard_normal(n),
        slopes=rng.standard_normal((n, k)),
        lines=rng.standard_normal(n),
    )
