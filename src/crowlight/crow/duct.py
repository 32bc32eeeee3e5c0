"""Sound in narrow ducts: slices with viscous and thermal losses, for complex frequencies.

=========  =====================================================
symbol     meaning
=========  =====================================================
s          Laplace variable [1/s]; s = j omega on the axis
Zv, Yt     series impedance and shunt admittance per length
X          loss function of a round duct, 2 J1(z) / (z J0(z))
Gamma, Zc  propagation constant [1/m], characteristic impedance
=========  =====================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import jve

from crowlight.crow.radiation import radiation_impedance
from crowlight.errors import InputError
from crowlight.materials import Air

__all__ = ["Duct", "Hole", "cone", "cylinder", "input_impedance", "joined"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hole:
    """An open tone hole.

    Parameters
    ----------
    after : int
        Slices before the hole, counted from the blown end.
    radius : float
        [m].
    height : float
        Of the chimney with its inner end correction; the outer one comes from radiation [m].
    """

    after: int
    radius: float
    height: float


@dataclass(frozen=True, slots=True)
class Duct:
    """Slices of duct from the blown end to the open one.

    Parameters
    ----------
    length, area, loss_radius : ndarray, shape (slices,)
        Of each slice [m], [m2], [m]; all > 0. The loss radius is twice the area over the
        perimeter.
    end_radius : float or None
        Of the open end [m]; None for an end held at zero pressure.
    holes : tuple of Hole
        Open tone holes, in order.
    lossless : bool
        Whether to leave out viscosity and heat conduction, for comparison with closed forms.
    """

    length: Real
    area: Real
    loss_radius: Real
    end_radius: float | None
    holes: tuple[Hole, ...] = ()
    lossless: bool = False

    def __post_init__(self) -> None:
        for name in ("length", "area", "loss_radius"):
            values = getattr(self, name)
            if not (np.isfinite(values) & (values > 0.0)).all():
                msg = f"every {name} of a duct must be positive, in metres; check its dimensions"
                raise InputError(msg)


def cylinder(length: float, area: float, *, loss_radius: float | None = None) -> Duct:
    """One straight slice.

    Parameters
    ----------
    length : float
        [m].
    area : float
        [m2].
    loss_radius : float or None
        [m]; of a round duct if None.

    Returns
    -------
    Duct
        Ending at zero pressure.
    """
    radius = float(np.sqrt(area / np.pi)) if loss_radius is None else loss_radius
    return Duct(np.array([length]), np.array([area]), np.array([radius]), None)


def cone(start_radius: float, end_radius: float, length: float, *, slices: int = 24) -> Duct:
    """Cut a cone into straight slices that keep its volume.

    Parameters
    ----------
    start_radius, end_radius : float
        [m].
    length : float
        [m].
    slices : int
        At least 1; the error of resonances falls with its square.

    Returns
    -------
    Duct
        Radiating from its end.
    """
    radii = np.linspace(start_radius, end_radius, slices + 1)
    a, b = radii[:-1], radii[1:]
    area = np.pi * (a * a + a * b + b * b) / 3.0
    return Duct(np.full(slices, length / slices), area, 0.5 * (a + b), end_radius)


def joined(*ducts: Duct) -> Duct:
    """Ducts one after the other.

    Parameters
    ----------
    *ducts : Duct
        From the blown end on.

    Returns
    -------
    Duct
        With the last one's end.
    """
    holes, before = [], 0
    for duct in ducts:
        holes += [Hole(h.after + before, h.radius, h.height) for h in duct.holes]
        before += len(duct.length)
    return Duct(
        np.concatenate([d.length for d in ducts]),
        np.concatenate([d.area for d in ducts]),
        np.concatenate([d.loss_radius for d in ducts]),
        ducts[-1].end_radius,
        tuple(holes),
        lossless=any(d.lossless for d in ducts),
    )


def _loss(z: NDArray[Any]) -> Complex:
    """2 J1(z) / (z J0(z)); the scaled functions share their scale, so nothing overflows."""
    return np.asarray(2.0 * jve(1, z) / (z * jve(0, z)), dtype=complex)


def _slice_matrices(duct: Duct, s: Complex, air: Air) -> tuple[Complex, Complex]:
    """Characteristic impedance and tanh(Gamma L) per slice, shape (slices, len(s))."""
    rho, c = float(air.density), float(air.speed_of_sound)
    area = duct.area[:, None]
    series = s * rho / area
    shunt = s * area / (rho * c * c)
    if not duct.lossless:
        radius = duct.loss_radius[:, None]
        gamma = float(air.heat_ratio)
        viscous = np.asarray(np.sqrt(-s * rho / float(air.viscosity)), dtype=complex)
        thermal = viscous * np.sqrt(
            float(air.heat_capacity) * float(air.viscosity) / float(air.conductivity)
        )
        series = series / (1.0 - _loss(radius * viscous))
        shunt = shunt * (1.0 + (gamma - 1.0) * _loss(radius * thermal))
    propagation = np.sqrt(series * shunt)
    # Zv / Gamma, not sqrt(Zv / Yt): two independent roots pick wrong signs off the axis.
    return series / propagation, np.tanh(propagation * duct.length[:, None])


def _end_impedance(duct: Duct, s: Complex, air: Air) -> Complex:
    if duct.end_radius is None:
        return np.zeros_like(s)
    return radiation_impedance(s, duct.end_radius, air)


def input_impedance(duct: Duct, s: NDArray[np.complex128], air: Air) -> Complex:
    """Acoustic impedance at the blown end.

    Parameters
    ----------
    duct : Duct
        Bore.
    s : ndarray of complex, shape (n,)
        Laplace variable [1/s], not 0; ``2j pi f`` for frequencies.
    air : Air
        One state.

    Returns
    -------
    ndarray of complex, shape (n,)
        [Pa s/m3].

    Notes
    -----
    Plane waves in slices: valid while the radius stays small against the wavelength. Losses are
    those of a smooth rigid round wall of the slice's loss radius.

    References
    ----------
    Zwikker and Kosten 1949; Keefe 1984, JASA 75:58, equations (5) to (8).
    """
    s = np.asarray(s, dtype=complex)
    characteristic, tanh = _slice_matrices(duct, s, air)
    z = _end_impedance(duct, s, air)
    at = {hole.after: hole for hole in duct.holes}
    for i in range(len(duct.length) - 1, -1, -1):
        hole = at.get(i + 1)
        if hole is not None:
            chimney = float(air.density) * hole.height / (np.pi * hole.radius**2)
            shunt = s * chimney + radiation_impedance(s, hole.radius, air)
            z = 1.0 / (1.0 / z + 1.0 / shunt)
        zc, t = characteristic[i], tanh[i]
        z = (z + zc * t) / (1.0 + z * t / zc)
    return z
