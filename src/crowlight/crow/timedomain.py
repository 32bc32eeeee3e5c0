"""The reed in time: from a course of blowing pressure to the pressure in the reed.

=======  ========================================
symbol   meaning
=======  ========================================
x, v     relative deflection and its rate [1/s]
p_k      bore modes [Pa]
U        jet flow [m3/s]
=======  ========================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.crow import marching
from crowlight.crow.reed import ReedArrays, ReedParameters, stacked
from crowlight.crow.resonances import Resonances
from crowlight.crow.stability import equilibrium
from crowlight.errors import InputError, MissingExtra, OutsideModel

__all__ = ["Motion", "rates", "simulate"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Motion:
    """What reeds do in time.

    Parameters
    ----------
    pressure : ndarray, shape (reeds, samples)
        In the reed, above the room's [Pa].
    opening : ndarray, shape (reeds, samples)
        Relative to rest: 1 open, 0 closed, below 0 pressed together.
    flow : ndarray, shape (reeds, samples)
        Into the bore [m3/s].
    sample_rate : float
        [Hz].
    """

    pressure: Real
    opening: Real
    flow: Real
    sample_rate: float


def _weights(bore: Resonances, dt: float) -> Complex:
    """E, w0, w1: modes driven by a flow that is linear within each step."""
    s = bore.poles
    e = np.exp(s * dt)
    whole = (e - 1.0) / s
    after = (e - 1.0 - s * dt) / (s * s * dt)
    return np.stack([e, bore.residues * (whole - after), bore.residues * after])


def simulate(
    reeds: Sequence[ReedParameters] | ReedArrays,
    bore: Resonances,
    blowing: Real,
    *,
    sample_rate: float = 96e3,
    kick: float = 0.0,
    keep_from: int = 0,
    engine: Literal["auto", "numba", "numpy"] = "auto",
) -> Motion:
    """Blow reeds and follow them.

    Parameters
    ----------
    reeds : sequence of ReedParameters or ReedArrays
        Any number; each has its own blowing.
    bore : Resonances
        One bore for all.
    blowing : ndarray, shape (reeds, samples) or (samples,)
        Pressure in the mouth [Pa]; breath noise is part of it.
    sample_rate : float
        [Hz], 20 000 to 768 000. Pitch is within 0.4 % at 48 kHz; borders between regimes still move
        there, 96 kHz is better.
    kick : float
        Relative opening by which the reed is out of balance at the start.
    keep_from : int
        First sample to keep.
    engine : {"auto", "numba", "numpy"}
        Which of the two equal loops.

    Returns
    -------
    Motion
        One row per reed. Starts in the steady state of the first blowing pressure.

    Raises
    ------
    InputError
        If shapes or the sample rate do not fit.
    MissingExtra
        If numba is asked for and not installed.
    OutsideModel
        If the motion ran away; a higher sample rate helps.

    Notes
    -----
    Second order in time for the reed, exact for the bore's modes. The explicit contact limits the
    step: light reeds with hard contact may need 192 kHz.
    """
    arrays = reeds if isinstance(reeds, ReedArrays) else stacked(reeds)
    count = len(arrays.opening_area)
    pressure = np.ascontiguousarray(
        np.broadcast_to(np.atleast_2d(blowing), (count, np.shape(blowing)[-1])), dtype=float
    )
    if not 20e3 <= sample_rate <= 768e3:
        msg = f"sample rate {sample_rate:g} Hz is outside 20000 to 768000 Hz; use 96000"
        raise InputError(msg)
    if not 0 <= keep_from < pressure.shape[1]:
        msg = f"keep_from {keep_from} is outside the {pressure.shape[1]} samples of blowing"
        raise InputError(msg)
    loop = _engine(engine)
    still = equilibrium(arrays, bore, pressure[:, 0])
    x = still.opening - 1.0 + kick
    table = np.stack([getattr(arrays, name) for name in ReedArrays.__slots__])
    table[3] = arrays.angular
    modes = np.ascontiguousarray((-bore.residues / bore.poles)[:, None] * still.flow)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # runaways: see below
        found = loop(
            table,
            np.stack([x, x, still.flow]),
            modes,
            _weights(bore, 1.0 / sample_rate),
            pressure,
            (bore.density, bore.resistance, bore.inertance, 1.0 / sample_rate),
            keep_from,
        )
    if not np.isfinite(found[0]).all():
        msg = (
            f"the motion of the reed ran away at {sample_rate:g} Hz; compute with "
            f"{2 * sample_rate:g} Hz"
        )
        raise OutsideModel(msg)
    return Motion(found[0], found[1], found[2], sample_rate)


def _engine(name: str) -> marching.March:
    if name == "auto":
        return marching.march()
    if name == "numpy":
        return marching.march_numpy
    if name != "numba":
        msg = f"unknown engine {name!r}; choose 'auto', 'numba' or 'numpy'"
        raise InputError(msg)
    loop = marching.compiled()
    if loop is None:
        msg = "numba is not installed; add the extra: pip install 'crowlight[sound]'"
        raise MissingExtra(msg)
    return loop


def rates(state: Real, reed: ReedParameters, bore: Resonances, blowing: float) -> Real:
    """Right-hand side of the model as ordinary differential equations.

    What `simulate` steps through, written for a general solver: the reference it is held against.

    Parameters
    ----------
    state : ndarray, shape (3 + 2 modes,)
        Deflection, its rate [1/s], jet flow [m3/s], real parts and imaginary parts of the bore
        modes [Pa].
    reed : ReedParameters
        One reed.
    bore : Resonances
        One bore.
    blowing : float
        [Pa].

    Returns
    -------
    ndarray
        Time derivative of `state`.
    """
    k = len(bore.poles)
    x, v, flow = state[:3]
    modes = state[3 : 3 + k] + 1j * state[3 + k :]
    p = 2.0 * float(modes.real.sum()) + bore.resistance * (flow - reed.swept_volume * v)
    h = 1.0 + x
    omega = 2.0 * np.pi * reed.frequency
    loss = min(max(reed.contact_damping * v, -0.8), 0.8)
    contact = reed.contact_stiffness * max(-h, 0.0) ** 1.5 * (1.0 - loss)
    push = (blowing - p) / reed.closing_pressure - contact
    full = reed.contraction * reed.opening_area
    share = 0.5 * (h + np.sqrt(h * h + 4.0 * reed.softness**2))
    mass = bore.density * reed.channel_length / (full * max(share, 0.05)) + bore.inertance
    jet = 0.5 * bore.density * flow * abs(flow) / (full * share) ** 2
    moving = bore.poles * modes + bore.residues * (flow - reed.swept_volume * v)
    return np.concatenate(
        [
            [v, omega**2 * (-push - x) - reed.damping * omega * v, (blowing - p - jet) / mass],
            moving.real,
            moving.imag,
        ]
    )
