"""Small motions of a blown reed: which modes grow, and how fast.

Two routes that must agree. `growth_modes` takes eigenvalues of the full Jacobian; `follow` solves
the one characteristic equation for a chosen mode by Newton's method, for many reeds at once.
Thresholds are in `crowlight.crow.thresholds`.

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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow.reed import ReedArrays
from crowlight.crow.resonances import Resonances

__all__ = [
    "Equilibrium",
    "characteristic",
    "equilibrium",
    "follow",
    "growth_modes",
    "loop_gain",
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
    blowing = np.asarray(blowing, dtype=float)
    pressed, drop = np.maximum(blowing, 0.0), blowing
    for _ in range(500):  # rises or falls to the balance; only near closing in many steps
        opening = 1.0 - drop / reeds.closing_pressure
        area, _ = reeds.jet_area(opening)
        # With this opening, drop + R U = blowing is quadratic in the root of the drop. (Putting the
        # flow back instead runs away where the root is steep: soft blowing, wide reeds.)
        resistance = bore.steady * area * np.sqrt(2.0 / bore.density)
        root = 2.0 * pressed / (resistance + np.sqrt(resistance**2 + 4.0 * pressed))
        new = np.where(blowing > 0.0, root**2, blowing)
        settled = bool((np.abs(new - drop) <= 1e-13 * pressed).all())
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


def characteristic(s: Complex, reeds: ReedArrays, bore: Resonances, still: Equilibrium) -> Complex:
    """Evaluate F(s), zero where a small motion can sustain itself.

    Parameters
    ----------
    s : ndarray of complex, shape (reeds,)
        One complex frequency per reed [1/s].
    reeds : ReedArrays
        Shape (reeds,).
    bore : Resonances
        One bore.
    still : Equilibrium
        Of these reeds.

    Returns
    -------
    ndarray of complex, shape (reeds,)
        [m3/(Pa s)].

    References
    ----------
    Silva, Kergomard, Vergez, Gilbert 2008, JASA 124:3284 (arXiv 0705.2803), equations (11) to (13),
    extended by the inertance of the channel.
    """
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
    # Bore pressure p = 2 sum Re p_k + R0 (U - V x') opens the reed.
    push = omega**2 / reeds.closing_pressure
    jac[:, 1, re] = (2.0 * push)[:, None]
    jac[:, 1, 1] -= push * bore.resistance * reeds.swept_volume
    jac[:, 1, u] = push * bore.resistance
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
    jac[:, u, u] = -(rho * still.flow / still.area**2 + bore.resistance) / still.inertance
    jac[:, u, 1] = bore.resistance * reeds.swept_volume / still.inertance
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
        f = characteristic(s, reeds, bore, still)
        ahead = characteristic(s + h, reeds, bore, still)
        behind = characteristic(s - h, reeds, bore, still)
        move = f * 2.0 * h / (ahead - behind)
        s = s - move
        if (np.abs(move) < 1e-9 * np.abs(s)).all():
            break
    return np.where(np.abs(move) < 1e-6 * np.abs(s), s, complex(np.nan, np.nan))
