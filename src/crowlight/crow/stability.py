"""When a reed starts to sound, and at which pitch: linear stability of the blown reed.

Two routes that must agree. `growth_modes` takes eigenvalues of the full Jacobian; `follow` solves
the one characteristic equation for a chosen mode by Newton's method, for many reeds at once.

=========  =================================================================
symbol     meaning
=========  =================================================================
s          growth rate + j angular frequency [1/s]
D(s)       reed dynamics, s^2/w^2 + q s/w + 1
Z(s)       bore impedance at the reed [Pa s/m3]
F(s)       characteristic function, 1/Z - (flow per pressure) + V s/(pM D)
=========  =================================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow.reed import ReedArrays, ReedParameters, stacked
from crowlight.crow.resonances import Resonances
from crowlight.errors import InputError, OutsideModel

__all__ = [
    "Equilibrium",
    "Onsets",
    "equilibrium",
    "follow",
    "growth_modes",
    "loop_gain",
    "onsets",
    "onsets_from",
    "steady_flow",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """Steady flow through silent reeds, one value per reed.

    Parameters
    ----------
    drop : ndarray
        Pressure difference across the slit [Pa].
    flow : ndarray
        [m3/s].
    opening : ndarray
        Relative to rest.
    area, slope : ndarray
        Of the jet, and against relative opening [m2].
    inertance : ndarray
        Of channel and left-out bore [Pa s2/m3].
    """

    drop: Real
    flow: Real
    opening: Real
    area: Real
    slope: Real
    inertance: Real


def equilibrium(reeds: ReedArrays, bore: Resonances, blowing: Real) -> Equilibrium:
    """Steady state at a blowing pressure.

    Parameters
    ----------
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.
    blowing : ndarray, shape (reeds,)
        Pressure in the mouth [Pa], > 0.

    Returns
    -------
    Equilibrium
        Without contact: meaningful below the closing pressure.
    """
    drop = np.asarray(blowing, dtype=float)
    for _ in range(40):  # the bore's steady resistance takes a few per cent: contracts fast
        opening = 1.0 - drop / reeds.closing_pressure
        area, slope = reeds.jet_area(opening)
        flow = area * np.sqrt(2.0 * np.maximum(drop, 0.0) / bore.density)
        new = blowing - bore.steady * flow
        settled = bool((np.abs(new - drop) <= 1e-12 * blowing).all())
        drop = new
        if settled:
            break
    opening = 1.0 - drop / reeds.closing_pressure
    area, slope = reeds.jet_area(opening)
    flow = area * np.sqrt(2.0 * np.maximum(drop, 0.0) / bore.density)
    inertance = reeds.channel_inertance(opening, bore.density) + bore.inertance
    return Equilibrium(drop, flow, opening, area, slope, inertance)


def steady_flow(reeds: ReedArrays, bore: Resonances, blowing: Real) -> Real:
    """Air a silent reed lets through.

    Parameters
    ----------
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.
    blowing : ndarray, shape (reeds,)
        [Pa].

    Returns
    -------
    ndarray, shape (reeds,)
        Volume flow [m3/s].
    """
    return equilibrium(reeds, bore, blowing).flow


def loop_gain(reeds: ReedArrays, bore: Resonances) -> Real:
    """How strongly reed and first resonance feed each other.

    Parameters
    ----------
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.

    Returns
    -------
    ndarray, shape (reeds,)
        Jet conductance times the impedance peak: alpha S0 sqrt(2 / (rho pM)) |Z|.

    Notes
    -----
    A reed without inertia starts at the blowing ratio g where gain (3 g - 1) / (2 sqrt(g)) = 1.
    """
    peak = np.abs(bore.impedance(np.asarray(1j * bore.poles.imag[:1], dtype=complex)))[0]
    full = reeds.contraction * reeds.opening_area
    return full * np.sqrt(2.0 / (bore.density * reeds.closing_pressure)) * peak


def _characteristic(s: Complex, reeds: ReedArrays, bore: Resonances, still: Equilibrium) -> Complex:
    """F(s) per reed: zero where a small motion can sustain itself."""
    d = (s / reeds.angular) ** 2 + reeds.damping * s / reeds.angular + 1.0
    moved = 1.0 / (reeds.closing_pressure * d)  # relative opening per bore pressure
    rho = bore.density
    resistance = rho * still.flow / still.area**2
    push = rho * still.flow**2 / still.area**3 * still.slope
    through = (push * moved - 1.0) / (resistance + still.inertance * s)
    return 1.0 / bore.impedance(s) - through + reeds.swept_volume * s * moved


def growth_modes(reeds: ReedArrays, bore: Resonances, blowing: Real) -> Complex:
    """All modes of small motion, as eigenvalues.

    Parameters
    ----------
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.
    blowing : ndarray, shape (reeds,)
        [Pa].

    Returns
    -------
    ndarray of complex, shape (reeds, states)
        Growth rate + j angular frequency [1/s].

    Notes
    -----
    States: opening, its speed, real and imaginary part of each bore mode, flow.
    """
    still = equilibrium(reeds, bore, blowing)
    n, modes = len(blowing), len(bore.poles)
    jac = np.zeros((n, 2 * modes + 3, 2 * modes + 3))
    omega, rho = reeds.angular, bore.density
    re, im, u = slice(2, 2 + modes), slice(2 + modes, 2 + 2 * modes), 2 + 2 * modes
    jac[:, 0, 1] = 1.0
    jac[:, 1, 0] = -(omega**2)
    jac[:, 1, 1] = -reeds.damping * omega
    # Bore pressure p = 2 sum Re p_k opens the reed.
    jac[:, 1, re] = (2.0 * omega**2 / reeds.closing_pressure)[:, None]
    # p_k' = s_k p_k + C_k (U - V x').
    i = np.arange(modes)
    jac[:, 2 + i, 2 + i] = jac[:, 2 + modes + i, 2 + modes + i] = bore.poles.real
    jac[:, 2 + i, 2 + modes + i] = -bore.poles.imag
    jac[:, 2 + modes + i, 2 + i] = bore.poles.imag
    jac[:, re, u], jac[:, im, u] = bore.residues.real, bore.residues.imag
    jac[:, re, 1] = -reeds.swept_volume[:, None] * bore.residues.real
    jac[:, im, 1] = -reeds.swept_volume[:, None] * bore.residues.imag
    # M U' = -p - (rho U0/S^2) U + (rho U0^2 S_h/S^3) x.
    jac[:, u, 0] = rho * still.flow**2 * still.slope / still.area**3 / still.inertance
    jac[:, u, re] = -2.0 / still.inertance[:, None]
    jac[:, u, u] = -rho * still.flow / still.area**2 / still.inertance
    return np.asarray(np.linalg.eigvals(jac), dtype=complex)


def follow(
    reeds: ReedArrays, bore: Resonances, blowing: Real, start: Complex, *, steps: int = 30
) -> Complex:
    """Follow one mode per reed to its exact growth rate and frequency.

    Parameters
    ----------
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.
    blowing : ndarray, shape (reeds,)
        [Pa].
    start : ndarray of complex, shape (reeds,)
        Where to look [1/s].
    steps : int
        Newton steps at most.

    Returns
    -------
    ndarray of complex, shape (reeds,)
        Growth rate + j angular frequency [1/s]; NaN where the iteration was lost.
    """
    still = equilibrium(reeds, bore, blowing)
    s = np.array(start, dtype=complex)
    move = np.full(len(s), np.inf + 0j)
    for _ in range(steps):
        h = np.asarray(1e-6 * np.abs(s), dtype=complex)
        f = _characteristic(s, reeds, bore, still)
        ahead = _characteristic(s + h, reeds, bore, still)
        behind = _characteristic(s - h, reeds, bore, still)
        move = f * 2.0 * h / (ahead - behind)
        s = s - move
        if (np.abs(move) < 1e-9 * np.abs(s)).all():
            break
    return np.where(np.abs(move) < 1e-6 * np.abs(s), s, complex(np.nan, np.nan))


@dataclass(frozen=True, slots=True)
class Onsets:
    """Where reeds begin to sound; NaN where a reed never does below closing.

    Parameters
    ----------
    pressure : ndarray, shape (reeds,)
        Threshold of blowing [Pa].
    frequency : ndarray, shape (reeds,)
        Of the note it begins with [Hz].
    """

    pressure: Real
    frequency: Real


_SCAN = np.linspace(0.08, 0.97, 13)


def onsets(
    reeds: Sequence[ReedParameters] | ReedArrays,
    bore: Resonances,
    *,
    near: tuple[float, float] = (0.0, 20e3),
) -> Onsets:
    """Find threshold pressure and pitch of reeds from scratch.

    Parameters
    ----------
    reeds : sequence of ReedParameters or ReedArrays
        Any number.
    bore : Resonances
        One bore.
    near : tuple of float
        Lowest and highest frequency of the note that counts [Hz]: other registers are ignored.

    Returns
    -------
    Onsets
        Shape (reeds,).

    Raises
    ------
    InputError
        If `near` does not rise.

    Notes
    -----
    A scan of 13 pressures from 8 to 97 % of closing finds the first where a mode near the note
    grows; the modes of the two pressures around are joined by following, then the crossing is
    solved by Newton's method. A band of instability narrower than 7 % of closing can be missed.
    """
    if not near[0] < near[1]:
        msg = f"the note's range {near[0]:g} to {near[1]:g} Hz must rise; swap the two"
        raise InputError(msg)
    arrays = reeds if isinstance(reeds, ReedArrays) else stacked(reeds)
    count = len(arrays.opening_area)
    low, high = 2.0 * np.pi * near[0], 2.0 * np.pi * near[1]
    pressure = np.full(count, np.nan)
    start = np.full(count, np.nan)  # angular frequency
    todo = np.arange(count)
    for share in _SCAN:
        these = arrays.take(todo)
        blowing = share * these.closing_pressure
        modes = growth_modes(these, bore, blowing)
        inside = (modes.imag > max(low, 1.0)) & (modes.imag < high)
        growth = np.where(inside, modes.real, -np.inf)
        best = growth.argmax(axis=1)
        rows = np.arange(len(todo))
        grows = growth[rows, best] > 0.0
        pressure[todo[grows]] = blowing[grows]
        start[todo[grows]] = modes.imag[rows, best][grows]
        todo = todo[~grows]
        if not len(todo):
            break
    found = np.isfinite(pressure)
    result = Onsets(np.full(count, np.nan), np.full(count, np.nan))
    if not found.any():
        return result
    index = np.flatnonzero(found)
    crossing = _crossing(arrays.take(index), bore, pressure[index], start[index])
    result.pressure[index] = crossing.pressure
    result.frequency[index] = crossing.frequency
    return result


def onsets_from(
    known: Onsets, reeds: Sequence[ReedParameters] | ReedArrays, bore: Resonances
) -> Onsets:
    """Find thresholds starting from those of neighbouring reeds or air.

    Parameters
    ----------
    known : Onsets
        Of the same number of reeds, close by.
    reeds : sequence of ReedParameters or ReedArrays
        Reeds whose thresholds are wanted.
    bore : Resonances
        One bore, possibly in other air.

    Returns
    -------
    Onsets
        Shape (reeds,); NaN where `known` is, or where the crossing was lost.

    Raises
    ------
    OutsideModel
        If the numbers of reeds differ.
    """
    arrays = reeds if isinstance(reeds, ReedArrays) else stacked(reeds)
    if len(known.pressure) != len(arrays.opening_area):
        msg = f"{len(known.pressure)} thresholds cannot start {len(arrays.opening_area)} reeds"
        raise OutsideModel(msg)
    result = Onsets(np.full_like(known.pressure, np.nan), np.full_like(known.pressure, np.nan))
    index = np.flatnonzero(np.isfinite(known.pressure))
    if len(index):
        angular = 2.0 * np.pi * known.frequency[index]
        crossing = _crossing(arrays.take(index), bore, known.pressure[index], angular)
        result.pressure[index] = crossing.pressure
        result.frequency[index] = crossing.frequency
    return result


def _crossing(reeds: ReedArrays, bore: Resonances, pressure: Real, angular: Real) -> Onsets:
    """Newton's method for F(j omega; pressure) = 0 in pressure and omega, many reeds at once."""
    p, w = np.array(pressure), np.array(angular)
    closing = reeds.closing_pressure
    settled = np.zeros(len(p), dtype=bool)

    def function(still: Equilibrium, omega: Real) -> Complex:
        return _characteristic(np.asarray(1j * omega, dtype=complex), reeds, bore, still)

    for _ in range(40):
        hp, hw = 1e-6 * p, 1e-6 * w
        still = equilibrium(reeds, bore, p)
        f = function(still, w)
        more, less = (equilibrium(reeds, bore, q) for q in (p + hp, p - hp))
        fp = (function(more, w) - function(less, w)) / (2.0 * hp)
        fw = (function(still, w + hw) - function(still, w - hw)) / (2.0 * hw)
        det = fp.real * fw.imag - fp.imag * fw.real
        dp = (f.real * fw.imag - f.imag * fw.real) / det
        dw = (f.imag * fp.real - f.real * fp.imag) / det
        # Short steps keep to the branch: a note never moves by more than a few per cent at once.
        p = np.clip(p - np.clip(dp, -0.1 * p, 0.1 * p), 1e-3 * closing, 0.999 * closing)
        w = w - np.clip(dw, -0.03 * w, 0.03 * w)
        settled = (np.abs(dp) < 1e-8 * p) & (np.abs(dw) < 1e-8 * w)
        if (settled | ~np.isfinite(dp)).all():
            break
    return Onsets(
        pressure=np.where(settled, p, np.nan), frequency=np.where(settled, w / (2 * np.pi), np.nan)
    )
