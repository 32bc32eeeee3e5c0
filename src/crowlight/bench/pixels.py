"""Photographs as light, and the port that reads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["Pictures", "Pixels"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pixels:
    """A photograph as light, upright, perhaps made smaller.

    Parameters
    ----------
    light : ndarray of float, shape (n_rows, n_columns)
        Linear luminance, full scale 1.
    clipped : ndarray of bool, same shape
        Where a colour is at its end anywhere in what the pixel stands for.
    width, height : int
        Of the upright photograph as it was sent [pixels].
    notes : tuple of str
        Codes of what was in doubt: ``profile`` if the colour profile could not be used.
    """

    light: NDArray[np.floating[Any]]
    clipped: NDArray[np.bool_]
    width: int
    height: int
    notes: tuple[str, ...] = ()


class Pictures(Protocol):
    """Reads photographs as light."""

    def read(self, data: bytes) -> Pixels:
        """Read a photograph.

        Raises
        ------
        InputError
            If it is no picture that can be measured, is damaged, or is too large.
        """
        ...
