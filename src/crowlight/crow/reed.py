"""The reed as the air feels it: one springy flap over a slit.

=========  ==========================================================
symbol     meaning
=========  ==========================================================
x, h       deflection and opening relative to the opening at rest
dp         blowing pressure minus pressure in the reed [Pa]
U          flow through the slit [m3/s]
S          jet area [m2]
M          inertance of the channel [Pa s2/m3]
=========  ==========================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.materials import Spread

__all__ = [
    "CROW_PRIOR",
    "LIP_PRIOR",
    "ReedArrays",
    "ReedParameters",
    "draw_reeds",
    "scaled",
    "stacked",
    "with_lip",
]

Real = NDArray[np.float64]

_LIMITS = {
    "opening_area": (0.05e-6, 20e-6, "m2", "0.05 to 20 mm2; is it in mm2?"),
    "closing_pressure": (500.0, 100e3, "Pa", "0.5 to 100 kPa; is it in kPa?"),
    "swept_volume": (0.0, 200e-9, "m3", "0 to 200 mm3; is it in mm3?"),
    "frequency": (200.0, 20e3, "Hz", "200 to 20000 Hz"),
    "damping": (0.001, 3.0, "1", "0.001 to 3"),
    "contraction": (0.3, 1.0, "1", "0.3 to 1"),
    "channel_length": (1e-6, 20e-3, "m", "0.001 to 20 mm; is it in mm?"),
    "contact_stiffness": (0.0, 1000.0, "1", "0 to 1000"),
    "contact_damping": (0.0, 1e-2, "s", "0 to 0.01 s"),
    "softness": (1e-4, 0.2, "1", "0.0001 to 0.2"),
}


AnyReed = TypeVar("AnyReed", "ReedParameters", "ReedArrays")


@dataclass(frozen=True, slots=True)
class ReedParameters:
    """Both blades lumped into one moving flap.

    Parameters
    ----------
    opening_area : float
        Between the tips at rest [m2].
    closing_pressure : float
        Steady pressure difference that closes the reed [Pa].
    swept_volume : float
        Volume the blades displace as the tip goes from rest to closed [m3]; the same number says
        how bore pressure pushes the blades (reciprocity).
    frequency : float
        Resonance of the blades [Hz].
    damping : float
        Inverse quality factor of that resonance.
    contraction : float
        Jet area over slit area, 0.3 to 1.
    channel_length : float
        Of the narrow channel behind the tip, for the mass of air in it [m].
    contact_stiffness : float
        Pressure of blade on blade, in closing pressures, at one rest opening of overlap.
    contact_damping : float
        Share of the contact force lost per relative speed [s].
    softness : float
        Rounding of the opening near closure: tips never close all at once.

    Raises
    ------
    InputError
        If a value lies outside its range.

    Notes
    -----
    The flow follows the opening: Bernoulli with a contraction, no friction in the channel and no
    recovery. Contact is a power law with exponent 3/2. No value here has been measured on oboe
    reeds as far as known.

    Examples
    --------
    >>> ReedParameters().closing_pressure
    12000.0
    """

    opening_area: float = 3.0e-6
    closing_pressure: float = 12e3
    swept_volume: float = 7e-9
    frequency: float = 2100.0
    damping: float = 0.15
    contraction: float = 0.8
    channel_length: float = 2e-3
    contact_stiffness: float = 30.0
    contact_damping: float = 1e-4
    softness: float = 0.02

    def __post_init__(self) -> None:
        for name, (low, high, unit, said) in _LIMITS.items():
            value = getattr(self, name)
            if not low <= value <= high:
                msg = f"reed {name} {value:g} {unit} is outside {said}"
                raise InputError(msg)


_ASSUMED = "lumped fit, no measurement of oboe reeds known"

CROW_PRIOR: dict[str, Spread] = {
    "opening_area": Spread(2e-6, 3e-6, 5e-6, "m2", "assumed", _ASSUMED),
    "closing_pressure": Spread(8e3, 12e3, 18e3, "Pa", "assumed", _ASSUMED),
    "swept_volume": Spread(3e-9, 7e-9, 18e-9, "m3", "assumed", _ASSUMED),
    "frequency": Spread(1500.0, 2100.0, 3000.0, "Hz", "assumed", _ASSUMED),
    "damping": Spread(0.08, 0.15, 0.3, "1", "assumed", _ASSUMED),
}
"""Reeds as they crow, no lip."""

LIP_PRIOR: dict[str, Spread] = {
    "opening_area": Spread(1.0e-6, 1.6e-6, 2.6e-6, "m2", "assumed", _ASSUMED),
    "closing_pressure": Spread(9e3, 14e3, 22e3, "Pa", "assumed", _ASSUMED),
    "swept_volume": Spread(10e-9, 20e-9, 40e-9, "m3", "assumed", _ASSUMED),
    "frequency": Spread(1800.0, 2500.0, 3500.0, "Hz", "assumed", _ASSUMED),
    "damping": Spread(0.2, 0.4, 0.7, "1", "assumed", _ASSUMED),
}
"""Reeds as they are played, lips on the blades."""


def draw_reeds(
    rng: np.random.Generator, size: int, *, prior: dict[str, Spread] | None = None
) -> tuple[ReedParameters, ...]:
    """Draw reeds from a prior.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    size : int
        How many.
    prior : dict of str to Spread or None
        Spreads by field name; `CROW_PRIOR` if None. Fields not named keep their default.

    Returns
    -------
    tuple of ReedParameters
        Independent draws.

    Examples
    --------
    >>> len(draw_reeds(np.random.default_rng(1), 5))
    5
    """
    spreads = CROW_PRIOR if prior is None else prior
    columns = {
        name: np.clip(spread.draw(rng, size), _LIMITS[name][0], _LIMITS[name][1])
        for name, spread in spreads.items()
    }
    rows = zip(*columns.values(), strict=True)
    return tuple(ReedParameters(**dict(zip(columns, map(float, r), strict=True))) for r in rows)


_LIP = {
    "opening_area": Spread(0.40, 0.53, 0.70, "1", "assumed", _ASSUMED),
    "closing_pressure": Spread(0.90, 1.17, 1.50, "1", "assumed", _ASSUMED),
    "swept_volume": Spread(1.8, 2.9, 4.5, "1", "assumed", _ASSUMED),
    "frequency": Spread(1.05, 1.19, 1.40, "1", "assumed", _ASSUMED),
    "damping": Spread(1.8, 2.7, 4.0, "1", "assumed", _ASSUMED),
}


def with_lip(
    reeds: Sequence[ReedParameters], *, rng: np.random.Generator
) -> tuple[ReedParameters, ...]:
    """Put lips on crowing reeds.

    Parameters
    ----------
    reeds : sequence of ReedParameters
        As they crow.
    rng : numpy.random.Generator
        Source of chance: every reed gets its own player.

    Returns
    -------
    tuple of ReedParameters
        As they are played, in the same order.

    Notes
    -----
    Lips close the tip by about half, damp it, and make the blades stiffer and slower to move air
    past; the factors join `CROW_PRIOR` to `LIP_PRIOR` and are assumptions.

    Examples
    --------
    >>> with_lip([ReedParameters()], rng=np.random.default_rng(0))[0].opening_area < 3e-6
    True
    """
    factors = {name: spread.draw(rng, len(reeds)) for name, spread in _LIP.items()}
    played = []
    for i, reed in enumerate(reeds):
        changes = {
            name: float(np.clip(getattr(reed, name) * f[i], *_LIMITS[name][:2]))
            for name, f in factors.items()
        }
        played.append(replace(reed, **changes))
    return tuple(played)


def scaled(
    reed: AnyReed,
    *,
    opening: float | Real = 1.0,
    stiffness: float | Real = 1.0,
    mass: float | Real = 1.0,
) -> AnyReed:
    """Return the reed with another opening or stiffness.

    Parameters
    ----------
    reed : ReedParameters or ReedArrays
        Unchanged.
    opening : float or ndarray
        Factor on the opening height, > 0; the closing pressure and swept volume follow.
    stiffness : float or ndarray
        Factor on the stiffness, > 0; the resonance follows with its square root.
    mass : float or ndarray
        Factor on the moving mass, > 0.

    Returns
    -------
    ReedParameters or ReedArrays
        New reed, of the same kind.

    Notes
    -----
    With opening height H and stiffness k per area: S0 ~ H, V ~ H, pM = k H, f ~ sqrt(k / m).

    Examples
    --------
    >>> scaled(ReedParameters(), opening=1.25, stiffness=0.8).closing_pressure
    12000.0
    """
    return replace(
        reed,
        opening_area=reed.opening_area * opening,
        swept_volume=reed.swept_volume * opening,
        closing_pressure=reed.closing_pressure * opening * stiffness,
        frequency=reed.frequency * (stiffness / mass) ** 0.5,
    )


@dataclass(frozen=True, slots=True)
class ReedArrays:
    """Many reeds as arrays, for computing; fields as in `ReedParameters`, shape (reeds,)."""

    opening_area: Real
    closing_pressure: Real
    swept_volume: Real
    frequency: Real
    damping: Real
    contraction: Real
    channel_length: Real
    contact_stiffness: Real
    contact_damping: Real
    softness: Real

    def take(self, index: NDArray[np.intp] | slice) -> ReedArrays:
        """Choose some of the reeds.

        Parameters
        ----------
        index : ndarray of int or slice
            Which.

        Returns
        -------
        ReedArrays
            In that order.
        """
        return ReedArrays(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    @property
    def angular(self) -> Real:
        """Resonance as angular frequency [rad/s]."""
        return 2.0 * np.pi * self.frequency

    def jet_area(self, opening: Real) -> tuple[Real, Real]:
        """Jet area and its slope against relative opening [m2].

        Parameters
        ----------
        opening : ndarray
            Relative to rest, 1 = open, 0 = closed.

        Returns
        -------
        area, slope : ndarray
            Both [m2].
        """
        full = self.contraction * self.opening_area
        root = np.sqrt(opening**2 + 4.0 * self.softness**2)
        return full * 0.5 * (opening + root), full * 0.5 * (1.0 + opening / root)

    def channel_inertance(self, opening: Real, density: float) -> Real:
        """Inertance of the air in the channel.

        Parameters
        ----------
        opening : ndarray
            Relative to rest.
        density : float
            Of the air [kg/m3].

        Returns
        -------
        ndarray
            [Pa s2/m3]; bounded near closure, where the channel is not narrow any more but shut.
        """
        full = self.contraction * self.opening_area
        share = np.maximum(self.jet_area(opening)[0] / full, 0.05)
        return density * self.channel_length / (full * share)


def stacked(reeds: Sequence[ReedParameters]) -> ReedArrays:
    """Put reeds side by side as arrays.

    Parameters
    ----------
    reeds : sequence of ReedParameters
        At least one.

    Returns
    -------
    ReedArrays
        In the same order.
    """
    if not reeds:
        msg = "no reeds given; at least one is needed"
        raise InputError(msg)
    return ReedArrays(
        **{f.name: np.array([getattr(r, f.name) for r in reeds]) for f in fields(ReedParameters)}
    )
