"""What the model tells of a cut, put right by the maker's own cuts.

Everything is worked out from what the model tells, so that nothing is put right twice. Draws stay
common random numbers: each is moved within its own prediction.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from crowlight.calibrate.learning import Correction, Predicted
from crowlight.plan.cut.chance import Z95
from crowlight.plan.cut.options import Act

if TYPE_CHECKING:
    from crowlight.plan.cut.expecting import Expected

__all__ = ["OWN", "Correcting", "Points"]

Real = NDArray[np.float64]
Points = tuple[float, float, float]

#: Basis of what was put right by the maker's own cuts.
OWN = "your data"
#: No cut takes more than this share off what cannot be negative.
_MOST = 0.95


@dataclass(frozen=True)
class Correcting:
    """Corrections of what is told of cuts.

    Parameters
    ----------
    by : mapping of str to Correction
        By output; those that learned nothing change nothing.
    at : mapping of str to str
        Levels that hold for the reed: maker, batch.
    """

    by: Mapping[str, Correction]
    at: Mapping[str, str] = field(default_factory=dict[str, str])

    def cuts(self, name: str) -> int:
        """Return how many cuts a correction rests on; 0 where nothing was learned."""
        found = self.by.get(name)
        return 0 if found is None or found.learned is None else found.cuts

    def told(self, act: Act, name: str, points: Points) -> Points:
        """Return 5, 50 and 95 % points put right.

        Parameters
        ----------
        act : Act
            What they are told of.
        name : str
            Output.
        points : tuple of float
            As the model tells them, any unit.

        Returns
        -------
        tuple of float
            The same points where nothing was learned, nothing is cut, or no width was told.
        """
        low, middle, high = points
        if not (self.cuts(name) and act.cuts and low <= middle <= high and low < high):
            return points
        at = {**self.at, "cut": act.code, "zone": act.zone}
        found = self.by[name].applied(Predicted(low, middle, high), at)
        return found.low, found.middle, found.high

    def expected(self, act: Act, told: Iterable[Expected]) -> tuple[Expected, ...]:
        """Return expected changes put right, each with what the model alone told."""
        return tuple(self._right(act, e) for e in told)

    def _right(self, act: Act, e: Expected) -> Expected:
        raw = (e.low, e.middle, e.high)
        low, middle, high = self.told(act, e.name, raw)
        if (low, middle, high) == raw:
            return e
        shares = (e.share_low, e.share_middle, e.share_high)
        least, most_likely, most = (max(s, -1.0) for s in self.told(act, e.name, shares))
        return replace(
            e, low=low, middle=middle, high=high,
            share_low=least, share_middle=most_likely, share_high=most,
            basis=tuple(dict.fromkeys((*e.basis, OWN))), raw=raw, own_cuts=self.cuts(e.name),
        )  # fmt: skip

    def change(
        self, act: Act, names: Sequence[str], change: Real, *, now: Real, uneven: Real
    ) -> Real:
        """Return drawn changes of all outputs put right, shape (n, n_outputs).

        Parameters
        ----------
        act : Act
            The act.
        names : sequence of str
            Of the outputs.
        change, now : ndarray, shape (n, n_outputs)
            Changes as the model draws them, and the outputs before.
        uneven : ndarray, shape (n_outputs,)
            What an uneven hand adds to what is told, standard deviation.
        """
        out = change
        for k, name in enumerate(names):
            if not (self.cuts(name) and act.cuts):
                continue
            low, middle, high = (float(v) for v in np.quantile(change[:, k], (0.05, 0.5, 0.95)))
            off = Z95 * float(uneven[k])
            ends = math.hypot(middle - low, off), math.hypot(high - middle, off)
            raw = (middle - ends[0], middle, middle + ends[1])
            right = self.told(act, name, raw)
            if right == raw:
                continue
            z = change[:, k] - middle
            below = (right[1] - right[0]) / ends[0] if ends[0] > 0 else 1.0
            above = (right[2] - right[1]) / ends[1] if ends[1] > 0 else 1.0
            moved = right[1] + np.where(z < 0.0, below, above) * z
            if (now[:, k] > 0).all():
                moved = np.maximum(moved, -_MOST * now[:, k])
            if out is change:
                out = change.copy()
            out[:, k] = moved
        return out
