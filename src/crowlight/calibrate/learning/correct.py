"""Later predictions put right by earlier ones: shifted and widened, as far as the record tells."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from crowlight.calibrate.learning.hierarchy import Grouped, SpreadPrior, shrink
from crowlight.calibrate.learning.predicted import Predicted
from crowlight.calibrate.learning.scores import Pair

__all__ = ["FACTORS", "Correction", "learn_correction"]

#: What corrections may differ by.
FACTORS = ("cut", "zone", "maker", "batch")
#: Prior of the mean error, of how it differs from group to group, and of the scatter; in standard
#: deviations as they were told (our choice). The scatter is about 1 if predictions are honest.
_MEAN, _SPREAD, _SCATTER = 0.5, 0.4, 1.5
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
    """

    quantity: str
    learned: Grouped | None
    cuts: int

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
        given = {f: v for f, v in (at or {}).items() if f in self.learned.levels}
        error = self.learned.next_one(given)
        points = [float(ndtr(error.quantile(share))) for share in (0.05, 0.5, 0.95)]
        low, middle, high = (float(v) for v in told.quantile(np.clip(points, 1e-9, 1 - 1e-9)))
        return Predicted(low, middle, high)

    def bias(self, at: Mapping[str, str] | None = None) -> float:
        """Return the mean error learned for given levels, in standard deviations as told."""
        return 0.0 if self.learned is None else self.learned.effect(at).mean

    @property
    def scale(self) -> float:
        """How much wider than told the errors scatter; 1 while nothing is learned."""
        if self.learned is None:
            return 1.0
        return float(self.learned.weights @ self.learned.scatters)


def learn_correction(
    pairs: Iterable[Pair],
    *,
    quantity: str,
    factors: Sequence[str] = FACTORS,
    least: int = 5,
    draws: int = 256,
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

    Returns
    -------
    Correction
        By which later predictions are put right.

    Notes
    -----
    Errors are normal scores of what happened in what was told; what the measurement itself is
    unsure of is part of each score's known error.

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
    scores = np.clip([_score(p) for p in mine], -_FURTHEST, _FURTHEST)
    errors = [p.uncertainty / max(p.predicted.spread, 1e-300) for p in mine]
    named = {f: [p.groups.get(f, "") for p in mine] for f in factors}
    used = {f: levels for f, levels in named.items() if len(set(levels)) > 1}
    learned = shrink(
        scores,
        errors,
        used,
        spreads={f: SpreadPrior(_SPREAD) for f in used},
        scatter=SpreadPrior(_SCATTER),
        mean_sd=_MEAN,
        draws=draws,
    )
    return Correction(quantity, learned, cuts)


def _score(pair: Pair) -> float:
    """Return the normal score of what happened in what was told."""
    z = float(pair.predicted.score(pair.happened))
    if math.isinf(z):  # beyond a half without width
        off = pair.happened - pair.predicted.middle
        return off / max(pair.predicted.spread, 1e-300)
    return z if math.isfinite(z) else float(ndtri(0.5))
