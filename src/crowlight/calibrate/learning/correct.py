"""Later predictions put right by earlier ones: shifted and widened, as far as the record tells.

Corrections are learned from what the model told, never from what was told after a correction.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import ndtr

from crowlight.calibrate.learning.hierarchy import Estimate, Grouped, SpreadPrior, shrink
from crowlight.calibrate.learning.predicted import Predicted
from crowlight.calibrate.learning.scores import Pair

__all__ = ["FACTORS", "LEAST", "Correction", "learn_correction"]

#: What corrections may differ by.
FACTORS = ("cut", "zone", "maker", "batch")
#: From how many cuts on anything is learned (our choice).
LEAST = 5
#: Prior of the mean error and of how it differs from group to group, in standard deviations as
#: they were told (our choice). What is left of one such deviation is the prior scatter, so that
#: data that tell nothing change next to nothing; `_DOUBT` is its doubt, of the logarithm.
_MEAN, _SPREAD, _DOUBT = 0.35, 0.1, 0.25
#: Least share of the variance that is taken to scatter from one cut to the next.
_SCATTERS = 0.4
#: A score further out counts as this: one blunder does not move a workshop.
_FURTHEST = 4.0


@dataclass(frozen=True)
class Correction:
    """What earlier pairs tell of the errors of one quantity.

    Parameters
    ----------
    quantity : str
        Which.
    learned : Grouped or None
        Of errors in standard deviations as told; None: nothing to learn from yet.
    cuts : int
        How many cuts it rests on.
    along : bool
        Whether mean errors count along the predicted change: more, or less, of what was told.
    """

    quantity: str
    learned: Grouped | None
    cuts: int
    along: bool = False
    _known: dict[tuple[object, ...], tuple[float, float, float]] = field(
        default_factory=dict[tuple[object, ...], tuple[float, float, float]],
        init=False, compare=False, repr=False,
    )  # fmt: skip

    def applied(self, told: Predicted, at: Mapping[str, str] | None = None) -> Predicted:
        """Return a prediction put right.

        Parameters
        ----------
        told : Predicted
            As the model has it.
        at : mapping of str to str
            Levels of the factors.

        Returns
        -------
        Predicted
            Quantiles of the next error laid on it; the same prediction while nothing is learned.
        """
        if self.learned is None:
            return told
        points = self._points(_direction(told) if self.along else 1.0, at or {})
        low, middle, high = (float(v) for v in told.quantile(points))
        return Predicted(low, middle, high)

    def _points(self, direction: float, at: Mapping[str, str]) -> tuple[float, float, float]:
        """Return which shares of what is told are the 5, 50 and 95 % points put right."""
        key = (direction, *sorted(at.items()))
        if key not in self._known:
            error = self.error(direction, at)
            low, middle, high = (
                min(max(float(ndtr(error.quantile(share))), 1e-9), 1.0 - 1e-9)
                for share in (0.05, 0.5, 0.95)
            )
            self._known[key] = low, middle, high
        return self._known[key]

    def error(self, direction: float = 1.0, at: Mapping[str, str] | None = None) -> Estimate:
        """Return what the next error may be, in standard deviations as told.

        Parameters
        ----------
        direction : float
            How far mean errors count, -1 to 1.
        at : mapping of str to str
            Levels of the factors; what was not learned of is left out.
        """
        if self.learned is None:
            return Estimate(np.ones(1), np.zeros(1), np.ones(1))
        given = {f: v for f, v in (at or {}).items() if f in self.learned.levels}
        found = self.learned.effect(given)
        sds = np.hypot(direction * found.sds, self.learned.scatters)
        return Estimate(found.weights, direction * found.means, sds)

    def bias(self, at: Mapping[str, str] | None = None) -> float:
        """Return the mean error learned for given levels, in standard deviations as told."""
        return 0.0 if self.learned is None else self.learned.effect(at).mean

    @property
    def scale(self) -> float:
        """How much wider than told the next error scatters; 1 while nothing is learned."""
        return self.error().sd


def learn_correction(
    pairs: Iterable[Pair],
    *,
    quantity: str,
    factors: Sequence[str] = FACTORS,
    least: int = LEAST,
    draws: int = 256,
    along: bool = False,
) -> Correction:
    """Learn how predictions of a quantity err.

    Parameters
    ----------
    pairs : iterable of Pair
        Earlier predictions with what happened; those of other quantities are left out.
    quantity : str
        Which quantity.
    factors : sequence of str
        Factors of the pairs' groups that errors may differ by; used where they have two levels or
        more.
    least : int
        From how many cuts on anything is learned.
    draws : int
        As in `shrink`.
    along : bool
        Whether mean errors are learned along the predicted change: as more, or less, of what was
        told. Then what is told to go neither way is moved neither way, and left and right are
        alike. It counts in full where the change is predicted at least one standard deviation off
        nothing, and by so much less where it is nearer.

    Returns
    -------
    Correction
        By which later predictions are put right.

    Notes
    -----
    Errors are normal scores of what was measured in what was told of a measurement, in standard
    deviations of what was told of the reed; what the measurement itself is unsure of is part of
    each score's known error. The order of the pairs does not matter.

    Examples
    --------
    >>> told = Predicted(-1.0, 0.0, 1.0)
    >>> pairs = [Pair("opening", told, 0.8, cut=str(k)) for k in range(12)]
    >>> right = learn_correction(pairs, quantity="opening")
    >>> 0.3 < right.applied(told).middle < 0.8  # moved, but not all the way
    True
    """
    mine = [p for p in pairs if p.quantity == quantity]
    cuts = len({p.cut for p in mine})
    if cuts < least:
        return Correction(quantity, None, cuts)
    errors = [p.uncertainty / max(p.predicted.spread, 1e-300) for p in mine]
    scores = [_score(p) * math.hypot(1.0, e) for p, e in zip(mine, errors, strict=True)]
    named = {f: [p.groups.get(f, "") for p in mine] for f in factors}
    used = {f: levels for f, levels in named.items() if len(set(levels)) > 1}
    left = max(1.0 - _MEAN**2 - len(used) * _SPREAD**2, _SCATTERS)
    learned = shrink(
        scores,
        errors,
        used,
        spreads={f: SpreadPrior(_SPREAD) for f in used},
        scatter=SpreadPrior(math.sqrt(left) * math.exp(-(_DOUBT**2)), "log-normal", _DOUBT),
        mean_sd=_MEAN,
        draws=draws,
        along=[_direction(p.predicted) for p in mine] if along else None,
    )
    return Correction(quantity, learned, cuts, along)


def _direction(told: Predicted) -> float:
    """Return which way a change is told to go, -1 to 1: nothing where it may go either way."""
    return float(np.clip(told.middle / max(told.spread, 1e-300), -1.0, 1.0))


def _score(pair: Pair) -> float:
    """Return the normal score of what was measured in what was told of measuring it."""
    z = float(pair.seen.score(pair.happened))
    if math.isinf(z):  # beyond a half without width
        z = (pair.happened - pair.predicted.middle) / max(pair.predicted.spread, 1e-300)
    return min(max(z, -_FURTHEST), _FURTHEST)
