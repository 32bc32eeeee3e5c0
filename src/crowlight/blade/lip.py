"""The lip on a blade: a soft patch that presses and yields."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.errors import InputError

__all__ = ["Lip"]


@dataclass(frozen=True, slots=True)
class Lip:
    """Lip load on each blade.

    Parameters
    ----------
    centre : float
        Middle of the patch, from the tip [m]; >= 0.
    force : float
        Pressing one blade at rest [N]; >= 0.
    width : float
        Length of the patch along the blade [m]; > 0. The load fades as a raised cosine.
    stiffness : float
        Of the lip per area [N/m³]; >= 0. From memory: about 2e7.
    """

    centre: float
    force: float
    width: float = 6e-3
    stiffness: float = 2e7

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            lowest_ok = value > 0 if field.name == "width" else value >= 0
            if not np.isfinite(value) or not lowest_ok:
                msg = f"lip {field.name} = {value} must not be negative (SI units: m, N, N/m³)"
                raise InputError(msg)

    def fading(self, from_tip: ArrayLike) -> Array:
        """Share of the full load at a distance from the tip [m], 0 to 1."""
        t = (np.asarray(from_tip, dtype=float) - self.centre) / self.width
        return np.where(np.abs(t) < 0.5, 0.5 * (1 + np.cos(2 * np.pi * t)), 0.0)
