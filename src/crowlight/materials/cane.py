"""What cane is and what water does to it, with honest spreads.

Cane is not wood and no two pieces agree. Each number is a `Spread` from ``data/cane.toml`` with its
source; a maker's own measurements replace it. Water acts below a saturation moisture only: above
it more water changes mass and nothing else here.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.materials.spread import Spread

__all__ = ["CaneChange", "cane", "cane_change"]

_PEAK_MOISTURE = 0.07
"""Moisture of the damping maximum of unextracted cane, Obataya and Norimoto 1995 (abstract)."""
_PEAK_WIDTH = 0.04
_REFERENCE_MOISTURE = 0.12


@cache
def _table() -> MappingProxyType[str, Spread]:
    text = resources.files("crowlight.materials").joinpath("data", "cane.toml").read_text("utf-8")
    return MappingProxyType({name: Spread(**row) for name, row in tomllib.loads(text).items()})


def cane(name: str) -> Spread:
    """Look up one property of cane.

    Parameters
    ----------
    name : str
        As in ``data/cane.toml``, such as ``"stiffness_along"``.

    Returns
    -------
    Spread
        5, 50, 95 % points with unit, basis and source.

    Raises
    ------
    InputError
        If there is no such property; the message lists them.

    Examples
    --------
    >>> cane("stiffness_along").middle
    6000000000.0
    """
    try:
        return _table()[name]
    except KeyError:
        msg = f"no cane property {name!r}; there are {', '.join(_table())}"
        raise InputError(msg) from None


@dataclass(frozen=True, slots=True)
class CaneChange:
    """Draws of what a change of moisture does to cane; factors, 1 = unchanged.

    Parameters
    ----------
    stiffness : ndarray, shape (draws,)
        Young's modulus along the fibre, after / before.
    density : ndarray, shape (draws,)
        Mass per volume, after / before.
    damping : ndarray, shape (draws,)
        Loss tangent, after / before.
    width : ndarray, shape (draws,)
        Tangential size, after / before.
    thickness : ndarray, shape (draws,)
        Radial size, after / before.
    """

    stiffness: NDArray[np.float64]
    density: NDArray[np.float64]
    damping: NDArray[np.float64]
    width: NDArray[np.float64]
    thickness: NDArray[np.float64]


def cane_change(
    moisture_before: float,
    moisture_after: float,
    *,
    rng: np.random.Generator,
    draws: int = 200,
) -> CaneChange:
    """Draw what a change of moisture does to cane.

    Parameters
    ----------
    moisture_before, moisture_after : float
        Water per dry mass, 0 to 2.
    rng : numpy.random.Generator
        Source of chance.
    draws : int
        How many, at least 1.

    Returns
    -------
    CaneChange
        One value per draw and property; the same draw shares the same piece of cane.

    Raises
    ------
    InputError
        If a moisture lies outside 0 to 2.

    Notes
    -----
    Stiffness follows the exponential law of wood between 12 % and saturation (Wood Handbook,
    FPL-GTR-282, equation 5-3, from memory), with cane's own range for the wet ratio. Damping of
    unextracted cane peaks near 7 % moisture; the bell used for it is an assumption. Repeated
    wetting and drying changes cane for good (Akahoshi and Obataya, abstract); not modelled.

    Examples
    --------
    >>> dried = cane_change(0.15, 0.10, rng=np.random.default_rng(3))
    >>> bool((dried.stiffness >= 1.0).all()), bool((dried.width <= 1.0).all())
    (True, True)
    """
    for moisture in (moisture_before, moisture_after):
        if not 0.0 <= moisture <= 2.0:
            msg = f"moisture {moisture:g} is outside 0 to 2 (water per dry mass); 0.12 is 12 %"
            raise InputError(msg)
    # The law is anchored at 12 %: a saturation point below that has no meaning.
    saturation = np.maximum(cane("saturation_moisture").draw(rng, draws), 0.125)
    wet = np.minimum(cane("wet_stiffness").draw(rng, draws), 1.0)  # water never stiffens
    peak = cane("damping_peak").draw(rng, draws)
    tangential = cane("swelling_tangential").draw(rng, draws)
    radial = cane("swelling_radial").draw(rng, draws)

    def bound(moisture: float) -> NDArray[np.float64]:
        return np.minimum(moisture, saturation)

    def log_stiffness(moisture: float) -> NDArray[np.float64]:
        span = saturation - _REFERENCE_MOISTURE
        # Short spans would make the law explode towards dry cane: limit the slope.
        slope = np.log(wet) / np.maximum(span, 0.04)
        return slope * bound(moisture)

    def damping(moisture: float) -> NDArray[np.float64]:
        bell = np.exp(-0.5 * ((moisture - _PEAK_MOISTURE) / _PEAK_WIDTH) ** 2)
        return 1.0 + (peak - 1.0) * bell

    step = bound(moisture_after) - bound(moisture_before)
    width, thickness = 1.0 + tangential * step, 1.0 + radial * step
    return CaneChange(
        stiffness=np.exp(log_stiffness(moisture_after) - log_stiffness(moisture_before)),
        density=(1.0 + moisture_after) / (1.0 + moisture_before) / (width * thickness),
        damping=damping(moisture_after) / damping(moisture_before),
        width=width,
        thickness=thickness,
    )
