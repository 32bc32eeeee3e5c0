"""The light behind the reed, from the bright background just outside both edges.

The logarithm of the background is fitted, over strips left and right of the reed, by

    ln B = c0 + c1 y + c2 y^2 + c3 x^2 + x (c4 + c5 y + c6 y^2)                              (1)

with x across and y along. Only the terms odd in x tell left from right. How far the correction
would move if a term x^3 were allowed is taken as its standard uncertainty, beside that of the fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Backlight", "fit_backlight"]

Array = NDArray[np.float64]
#: Neighbouring cells of a background hang together: so many count as one (our choice).
_TOGETHER = 4.0
#: Cells this far off the fit are something else than background: a finger, a holder.
_ODD, _ODD_FLOOR = 4.0, 0.03


@dataclass(frozen=True, slots=True)
class Backlight:
    """The fitted background.

    Parameters
    ----------
    plain, cubic : ndarray
        Coefficients of (1) without and with the cubic term.
    covariance : ndarray
        Of the odd coefficients of `plain`.
    residual : ndarray
        What the fit leaves, for every cell that was given; NaN where there was none.
    """

    plain: Array
    cubic: Array
    covariance: Array
    residual: Array

    def difference(self, x: Array, y: Array) -> Array:
        """Return ln B at -x less ln B at x."""
        return -2 * _odd(x, y) @ self.plain[4:]

    def shift(self, x: Array, y: Array) -> Array:
        """Return how far `difference` would move with the cubic term."""
        cubic = -2 * np.concatenate([_odd(x, y), x[..., None] ** 3], axis=-1) @ self.cubic[4:]
        return cubic - self.difference(x, y)

    def spread(self, x: Array, y: Array) -> float:
        """Return the standard uncertainty of the mean of `difference` from the fit alone."""
        mean = 2 * _odd(x, y).reshape(-1, 3).mean(axis=0)
        return float(np.sqrt(max(mean @ self.covariance @ mean, 0.0)))


def fit_backlight(x: Array, y: Array, light: Array) -> Backlight | None:
    """Fit the background.

    Parameters
    ----------
    x, y : ndarray
        Where the cells lie, of order one; left is below zero.
    light : ndarray, same shape
        Their luminance; NaN where a cell cannot be used.

    Returns
    -------
    Backlight or None
        None if either side has too few cells.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        value = np.log(light)
    use = np.isfinite(value)
    if not use.any():
        return None
    design = _design(x, y)
    plain, residual = np.zeros(design.shape[-1]), value
    for _ in range(3):
        if min(np.sum(use & (x < 0)), np.sum(use & (x > 0))) < 24:
            return None
        plain = _solved(design[use], value[use])
        residual = value - design @ plain
        scale = 1.4826 * float(np.median(np.abs(residual[use])))
        fits = np.isfinite(value) & (np.abs(residual) <= _ODD * scale + _ODD_FLOOR)
        if (fits == use).all():
            break
        use = fits
    if min(np.sum(use & (x < 0)), np.sum(use & (x > 0))) < 24:
        return None
    wide = np.concatenate([design, x[..., None] ** 3], axis=-1)
    cubic = _solved(wide[use], value[use])
    chosen = design[use]
    variance = float((residual[use] ** 2).sum()) / (len(chosen) - chosen.shape[1])
    covariance = _TOGETHER * variance * np.linalg.pinv(chosen.T @ chosen)[4:, 4:]
    return Backlight(plain, cubic, covariance, residual)


def _solved(design: Array, value: Array) -> Array:
    return np.asarray(np.linalg.lstsq(design, value, rcond=None)[0], float)


def _odd(x: Array, y: Array) -> Array:
    return np.stack([x, x * y, x * y * y], axis=-1)


def _design(x: Array, y: Array) -> Array:
    even = np.stack([np.ones_like(x), y, y * y, x * x], axis=-1)
    return np.concatenate([even, _odd(x, y)], axis=-1)
