"""From the numbers of a picture to light.

References
----------
IEC 61966-2-1:1999 (sRGB), 5.2: transfer function and, from the primaries of ITU-R BT.709, the
weights of luminance.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["WEIGHTS", "linear", "luminance"]

#: Share of linear red, green and blue in luminance.
WEIGHTS = (0.2126, 0.7152, 0.0722)


def linear(encoded: ArrayLike) -> NDArray[np.float64]:
    """Return what is proportional to light.

    Parameters
    ----------
    encoded : array_like
        sRGB values, 0 to 1.

    Returns
    -------
    ndarray
        Of the same shape, 0 to 1.

    Examples
    --------
    >>> round(float(linear(0.5)), 4)
    0.214
    """
    v = np.asarray(encoded, float)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def luminance(rgb: NDArray[np.floating[Any]]) -> NDArray[np.float64]:
    """Return the luminance of linear red, green and blue.

    Parameters
    ----------
    rgb : ndarray, shape (..., 3)
        Linear light, 0 to 1.

    Returns
    -------
    ndarray, shape (...)
        0 to 1.
    """
    return np.asarray(rgb, float) @ np.array(WEIGHTS)
