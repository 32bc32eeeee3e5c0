"""Colours of maps: ramps of equal steps to the eye, safe for those who see fewer colours.

A ramp goes through a few colours in CIELAB (ISO/CIE 11664-4) and is cut into steps of equal colour
difference. Thickness runs from pale to dark without turning back, so that lightness alone tells;
differences run to two hues that stay apart for protanopes, deuteranopes and tritanopes. Tests
compute both, with the simulation of Machado, Oliveira and Fernandes (2009).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["PALETTES", "Colour", "Palette", "PaletteName", "lab", "ramp"]

Array = NDArray[np.float64]
Colour = tuple[int, int, int]
PaletteName = Literal["cane", "sea", "grey"]

#: Linear sRGB to XYZ, IEC 61966-2-1, and the white of D65 it gives.
_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], dtype=float
)
_WHITE = _XYZ.sum(axis=1)
_DELTA = 6.0 / 29.0  # below its cube CIELAB is linear


def lab(colours: ArrayLike) -> Array:
    """Return colours in CIELAB.

    Parameters
    ----------
    colours : array_like, shape (..., 3)
        sRGB, 0 to 255.

    Returns
    -------
    ndarray, shape (..., 3)
        Lightness 0 to 100, green to red, blue to yellow.

    References
    ----------
    IEC 61966-2-1:1999 (sRGB); ISO/CIE 11664-4:2019 (CIELAB).

    Examples
    --------
    >>> lab((255, 255, 255)).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    c = np.asarray(colours, dtype=float) / 255.0
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    t = linear @ _XYZ.T / _WHITE
    f = np.where(t > _DELTA**3, np.cbrt(t), t / (3 * _DELTA**2) + 4.0 / 29.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def _srgb(values: Array) -> list[Colour]:
    """Return CIELAB as sRGB, 0 to 255."""
    y = (values[..., 0] + 16.0) / 116.0
    f = np.stack([y + values[..., 1] / 500.0, y, y - values[..., 2] / 200.0], axis=-1)
    t = np.where(f > _DELTA, f**3, 3 * _DELTA**2 * (f - 4.0 / 29.0))
    linear = np.clip((t * _WHITE) @ np.linalg.inv(_XYZ).T, 0.0, 1.0)
    c = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return [(int(r), int(g), int(b)) for r, g, b in np.round(c * 255.0)]


def ramp(stops: Sequence[Colour], count: int) -> tuple[Colour, ...]:
    """Return colours from the first stop to the last, equally far from one another in CIELAB."""
    through = lab(stops)
    lengths = np.linalg.norm(np.diff(through, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(lengths)])
    wanted = np.linspace(0.0, at[-1], count)
    channels = [np.interp(wanted, at, through[:, k]) for k in range(3)]
    return tuple(_srgb(np.stack(channels, axis=-1)))


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of every kind of map.

    Parameters
    ----------
    thick : tuple of Colour
        Thickness, thin first.
    more, less : tuple of Colour
        Differences: the small one first.
    nothing : Colour
        No difference that could be told.
    felt : tuple of Colour
        How far cane gives, least first.
    """

    thick: tuple[Colour, ...]
    more: tuple[Colour, ...]
    less: tuple[Colour, ...]
    nothing: Colour
    felt: tuple[Colour, ...]


_BLUES = ((240, 243, 250), (160, 190, 222), (84, 130, 180), (30, 70, 122), (8, 24, 60))
_CANE = ((255, 248, 214), (240, 200, 110), (196, 125, 52), (120, 66, 38), (52, 28, 30))
_GREYS = ((247, 247, 245), (24, 24, 24))
_ORANGE = ((246, 205, 168), (226, 122, 52), (140, 52, 8))
_BLUE = ((196, 219, 240), (84, 148, 206), (18, 66, 128))
_RUST = ((255, 214, 170), (214, 110, 60), (120, 30, 20))
_INDIGO = ((206, 210, 244), (112, 116, 208), (44, 38, 124))
_BANDS, _STEPS, _TIERS = 13, 5, 9


def _palette(
    thick: Sequence[Colour], more: Sequence[Colour], less: Sequence[Colour], felt: Sequence[Colour]
) -> Palette:
    return Palette(
        ramp(thick, _BANDS),
        ramp(more, _STEPS),
        ramp(less, _STEPS),
        (172, 172, 167),
        ramp(felt, _TIERS),
    )


PALETTES: Mapping[str, Palette] = MappingProxyType(
    {
        "cane": _palette(_CANE, _ORANGE, _BLUE, _BLUES),
        "sea": _palette(_BLUES, _RUST, _INDIGO, _CANE),
        "grey": _palette(_GREYS, _ORANGE, _BLUE, _GREYS),
    }
)
