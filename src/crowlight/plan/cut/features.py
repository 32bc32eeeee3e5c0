"""Evenness and thickness of zones as weighted sums of the map, so that a cut moves them simply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.plan.cut.now import ReedNow
from crowlight.reed import Blade

__all__ = ["Features", "features"]

Real = NDArray[np.float64]

#: Zones that are looked at, and the fraction across that parts a tip's centre from its sides.
_ZONES = ("tip", "transition", "heart", "windows", "back")
_MIDDLE, _SIDE = 0.25, 0.6


@dataclass(frozen=True)
class Features:
    """Weighted sums of the thickness of both blades.

    Parameters
    ----------
    names : tuple of str
        ``"heart/marked"`` the mean of a zone of a blade; ``"heart/marked/sides"`` left minus right
        as seen; ``"heart/blades"`` marked minus plain; ``"tip/marked/slope"`` how much thicker the
        tip is at its centre than at its sides.
    weights : ndarray, shape (n_features, 2, n_along, n_across)
        Of the thickness.
    """

    names: tuple[str, ...]
    weights: Real

    def of(self, maps: Real) -> Real:
        """Return the sums of one map or many, shape (..., n_features) [m]."""
        flat = np.asarray(maps, float)
        flat = flat.reshape(*flat.shape[:-3], -1)
        return flat @ self.weights.reshape(len(self.names), -1).T


def features(reed: ReedNow) -> Features:
    """Return what a plan looks at on the map of a reed."""
    names: list[str] = []
    weights: list[Real] = []
    u = np.broadcast_to(reed.fraction[None, :], reed.area.shape)

    def mean(keep: NDArray[np.bool_]) -> Real:
        cells = reed.area * keep
        return cells / cells.sum()

    def add(name: str, *parts: tuple[int, Real]) -> None:
        total = np.zeros((2, *reed.area.shape))
        for blade, part in parts:
            total[blade] += part
        names.append(name)
        weights.append(total)

    for zone in _ZONES:
        inside = reed.where.get(zone)
        if inside is None or (zone == "back" and "windows" in reed.where):
            continue
        whole = mean(inside)
        sides = mean(inside & (u < 0)) - mean(inside & (u > 0))
        for b, blade in enumerate(Blade):
            add(f"{zone}/{blade.value}", (b, whole))
            add(f"{zone}/{blade.value}/sides", (b, sides))
            if zone == "tip":
                slope = mean(inside & (abs(u) <= _MIDDLE)) - mean(inside & (abs(u) >= _SIDE))
                add(f"{zone}/{blade.value}/slope", (b, slope))
        add(f"{zone}/blades", (0, whole), (1, -whole))
    grid = (len(names), 2, *reed.area.shape)
    return Features(tuple(names), np.array(weights).reshape(grid))
