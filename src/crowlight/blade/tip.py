"""The opening as the maker sees it from the front: profile, tilt, unevenness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.body import rows_at
from crowlight.blade.pair import Pair, State

__all__ = ["TipProfile", "closed_by", "right_area", "tilt_of", "tip_profile", "unevenness_of"]


@dataclass(frozen=True)
class TipProfile:
    """Opening across the tip at one pressure.

    Parameters
    ----------
    across : ndarray, shape (n,)
        Position across [m], 0 in the middle.
    marked, plain : ndarray, shape (n,)
        Height of each blade's inner face over the plane between the blades at rest [m].
    tilt : float
        Right half minus left half of the opening area, as a share of the whole; −1 to 1.
    unevenness : float
        How much more the marked blade has closed than the plain one, as a share of what both
        closed together; 0 for equal blades, and 0 at rest.
    """

    across: Array
    marked: Array
    plain: Array
    tilt: float
    unevenness: float

    @property
    def opening(self) -> Array:
        """Opening across the tip [m], shape (n,)."""
        return self.marked + self.plain


def right_area(pair: Pair, u: Sequence[Array]) -> float:
    """Compute the opening area right of the middle [m²]."""
    return pair.copies * sum(
        b.right_area + float(b.right_row @ (v - r))
        for b, v, r in zip(pair.bodies, u, pair.rest, strict=True)
    )


def closed_by(pair: Pair, u: Sequence[Array], *, which: int) -> float:
    """Compute the opening area that one blade has closed since rest [m²]."""
    return -float(pair.bodies[which].tip_row @ (u[which] - pair.rest[which]))


def tilt_of(area: float, right: float) -> float:
    """Right minus left, as a share of the whole opening; 0 when closed."""
    return (2 * right - area) / area if area > 0 else 0.0


def unevenness_of(marked: float, plain: float) -> float:
    """How unevenly both blades closed; 0 when nothing moved."""
    total = marked + plain
    return (marked - plain) / total if abs(total) > 1e-15 else 0.0


def tip_profile(pair: Pair, state: State, *, points: int = 41) -> TipProfile:
    """Read the opening across the tip at a state."""
    xi, one = np.linspace(-1, 1, points), np.ones(points)
    heights, across = [], np.zeros(points)
    for body, u, r in zip(pair.bodies, state.u, pair.rest, strict=True):
        position = body.patch.frames(xi, one).position
        across = position[:, 0]
        heights.append(position[:, 2] + rows_at(body.patch, xi, one) @ (u - r))
    tilt = tilt_of(state.area, right_area(pair, state.u))
    last = len(pair.bodies) - 1
    uneven = unevenness_of(closed_by(pair, state.u, which=0), closed_by(pair, state.u, which=last))
    return TipProfile(across, heights[0], heights[-1], tilt, uneven)
