"""From the blade model to the reed the air feels.

The blade model knows opening, closing, compliance and modes; it knows no damping of a wet reed and
no air. What one spring and one mass cannot hold (blades soften as their arch flattens) becomes a
range.
"""

from __future__ import annotations

import numpy as np

from crowlight.blade import Lumped
from crowlight.crow.reed import CROW_PRIOR, ReedParameters

__all__ = ["draw_from_blades", "reed_from_blades"]

_CLOSED = 0.9
"""Share of the opening that is gone at the blade model's closing pressure."""

_MODEL_ERROR = 0.1
"""Relative standard deviation of what the blade model hands over; an assumption."""


def _closing_limits(blades: Lumped) -> tuple[float, float]:
    """Find where straight lines close: through 0.9 closed, and along the first slope."""
    through = blades.closing_pressure / _CLOSED
    return min(through, blades.linear_closing_pressure), max(
        through, blades.linear_closing_pressure
    )


def reed_from_blades(
    blades: Lumped, *, damping: float = CROW_PRIOR["damping"].middle
) -> ReedParameters:
    """Take a solved pair of blades as one flap.

    Parameters
    ----------
    blades : Lumped
        From `crowlight.blade.lumped`, without lip for a crow.
    damping : float
        Inverse quality factor, which the blade model does not know.

    Returns
    -------
    ReedParameters
        Opening, closing pressure, swept volume and frequency from the blades, the rest as default.

    Raises
    ------
    InputError
        If the blades are closed at rest or otherwise outside what a reed can be.

    Notes
    -----
    The closing line lies midway (in the logarithm) between the first slope and the line through
    nine tenths closed. The swept volume is the blades' volume compliance times that pressure, so
    that the same number pumps air and is pushed by it. The mode is that of a blade with its edges
    held, without the air's mass (a few cents).

    Examples
    --------
    >>> from crowlight.blade import Lumped
    >>> blades = Lumped(3.2e-6, 7e-4, 8.1e3, 11e3, 2.4e7, 1.27e-12, 2.3e-5, 3470.0)
    >>> round(1e-3 * reed_from_blades(blades).closing_pressure, 2)
    9.95
    """
    low, high = _closing_limits(blades)
    closing = float(np.sqrt(low * high))
    return ReedParameters(
        opening_area=blades.rest_area,
        closing_pressure=closing,
        swept_volume=blades.swept_volume * closing,
        frequency=blades.mode,
        damping=damping,
    )


def draw_from_blades(
    blades: Lumped, *, rng: np.random.Generator, size: int
) -> tuple[ReedParameters, ...]:
    """Draw reeds that a solved pair of blades may be.

    Parameters
    ----------
    blades : Lumped
        From `crowlight.blade.lumped`, without lip for a crow.
    rng : numpy.random.Generator
        Source of chance.
    size : int
        How many.

    Returns
    -------
    tuple of ReedParameters
        Closing pressure anywhere between its two lines, damping from `CROW_PRIOR`, and ten per
        cent of model error on opening, compliance, closing and mode.

    Raises
    ------
    InputError
        If the blades are outside what a reed can be.

    Examples
    --------
    >>> from crowlight.blade import Lumped
    >>> blades = Lumped(3.2e-6, 7e-4, 8.1e3, 11e3, 2.4e7, 1.27e-12, 2.3e-5, 3470.0)
    >>> len(draw_from_blades(blades, rng=np.random.default_rng(1), size=3))
    3
    """
    low, high = np.log(_closing_limits(blades))
    closing = np.exp(rng.uniform(low, high, size))
    error = np.exp(_MODEL_ERROR * rng.standard_normal((4, size)))
    damping = CROW_PRIOR["damping"].draw(rng, size)
    return tuple(
        ReedParameters(
            opening_area=float(blades.rest_area * e[0]),
            closing_pressure=float(c * e[1]),
            swept_volume=float(blades.swept_volume * c * e[1] * e[2]),
            frequency=float(blades.mode * e[3]),
            damping=float(np.clip(q, 0.001, 3.0)),
        )
        for c, e, q in zip(closing, error.T, damping, strict=True)
    )
