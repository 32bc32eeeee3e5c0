"""One loop over time, written twice: batched numpy as reference, numba for speed.

Both functions compute the same numbers but for rounding; numpy carries all reeds along, numba one
after the other. Callers use `march`, which picks numba when it is installed.

==============  =====================================================================
symbol          meaning
==============  =====================================================================
x, h            deflection and opening relative to rest, h = 1 + x
p_k             bore modes [Pa]: exact exponential, flow linear within a step
E, w0, w1       exp(s dt) and the weights of the flow before and after the step
r0              2 Re sum w1 + R0: what the new flow adds to the new pressure [Pa s/m3]
U, Ut           jet flow, and flow into the bore, Ut = U - V x' [m3/s]
a U|U| + b U    drop over jet and inertance, solved in closed form each step
==============  =====================================================================
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["March", "compiled", "march", "march_numpy"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

# Rows of the `reeds` table, shape (10, reeds): the fields of ReedParameters in order, with the
# frequency as angular frequency [rad/s].
_AREA, _CLOSING, _SWEPT, _ANGULAR, _DAMPING = 0, 1, 2, 3, 4
_CONTRACTION, _CHANNEL, _CONTACT, _CONTACT_LOSS, _SOFTNESS = 5, 6, 7, 8, 9


def march_numpy(
    reeds: Real,
    start: Real,
    modes: Complex,
    weights: Complex,
    blowing: Real,
    air: tuple[float, float, float, float],
    first: int,
) -> tuple[Real, Real, Real]:
    """March all reeds through time together.

    Parameters
    ----------
    reeds : ndarray, shape (10, reeds)
        Parameter rows.
    start : ndarray, shape (3, reeds)
        Deflection before and at the first sample, and flow [m3/s].
    modes : ndarray of complex, shape (modes, reeds)
        Bore modes at the first sample [Pa].
    weights : ndarray of complex, shape (3, modes)
        E, w0, w1.
    blowing : ndarray, shape (reeds, samples)
        [Pa].
    air : tuple of float
        Density [kg/m3], left-out resistance [Pa s/m3] and inertance [Pa s2/m3], time step [s].
    first : int
        Samples before this one are computed and not kept.

    Returns
    -------
    pressure, opening, flow : ndarray, shape (reeds, samples - first)
        In the bore [Pa], relative to rest, into the bore [m3/s].
    """
    rho, resistance, left, dt = air
    count, samples = blowing.shape
    kept = [np.empty((count, samples - first)) for _ in range(3)]
    e, w0, w1 = weights[:, :, None]
    r0 = 2.0 * w1.real.sum() + resistance
    full = reeds[_CONTRACTION] * reeds[_AREA]
    a1 = 1.0 / (reeds[_ANGULAR] * dt) ** 2
    a2 = 0.5 * reeds[_DAMPING] / (reeds[_ANGULAR] * dt)
    before, x, flow = start[0].copy(), start[1].copy(), start[2].copy()
    speed = (x - before) / dt
    into = flow - reeds[_SWEPT] * speed
    p_k = modes.copy()
    p = 2.0 * p_k.real.sum(axis=0) + resistance * into
    for n in range(samples):
        if n > 0:
            h = 1.0 + x
            overlap = np.maximum(-h, 0.0)
            loss = np.clip(reeds[_CONTACT_LOSS] * speed, -0.8, 0.8)
            contact = reeds[_CONTACT] * overlap * np.sqrt(overlap) * (1.0 - loss)
            push = (blowing[:, n - 1] - p) / reeds[_CLOSING] - contact
            new = (-push - x + 2.0 * a1 * x - (a1 - a2) * before) / (a1 + a2)
            speed = (3.0 * new - 4.0 * x + before) / (2.0 * dt)
            before, x = x, new
            pumped = reeds[_SWEPT] * speed
            h = 1.0 + x
            share = 0.5 * (h + np.sqrt(h * h + 4.0 * reeds[_SOFTNESS] ** 2))
            area = full * share
            mass = rho * reeds[_CHANNEL] / (full * np.maximum(share, 0.05)) + left
            p_k = e * p_k + w0 * into
            d = blowing[:, n] - 2.0 * p_k.real.sum(axis=0) + r0 * pumped + mass / dt * flow
            a, b = 0.5 * rho / (area * area), r0 + mass / dt
            flow = 2.0 * d / (b + np.sqrt(b * b + 4.0 * a * np.abs(d)))
            into = flow - pumped
            p_k = p_k + w1 * into
            p = 2.0 * p_k.real.sum(axis=0) + resistance * into
        if n >= first:
            kept[0][:, n - first], kept[1][:, n - first], kept[2][:, n - first] = p, 1.0 + x, into
    return kept[0], kept[1], kept[2]


def _march_loop(
    reeds: Real,
    start: Real,
    modes: Complex,
    weights: Complex,
    blowing: Real,
    air: tuple[float, float, float, float],
    first: int,
) -> tuple[Real, Real, Real]:
    """March one reed after the other; see `march_numpy`, whose numbers these are."""
    rho, resistance, left, dt = air
    count, samples = blowing.shape
    k = modes.shape[0]
    pressure = np.empty((count, samples - first))
    opening = np.empty((count, samples - first))
    entering = np.empty((count, samples - first))
    e, w0, w1 = weights[0], weights[1], weights[2]
    r0 = 2.0 * w1.real.sum() + resistance
    for i in range(count):
        closing, swept, loss = reeds[1, i], reeds[2, i], reeds[8, i]
        stiffness, channel = reeds[7, i], reeds[6, i]
        full = reeds[5, i] * reeds[0, i]
        soft = 4.0 * reeds[9, i] ** 2
        a1 = 1.0 / (reeds[3, i] * dt) ** 2
        a2 = 0.5 * reeds[4, i] / (reeds[3, i] * dt)
        before, x, flow = start[0, i], start[1, i], start[2, i]
        speed = (x - before) / dt
        into = flow - swept * speed
        p_k = modes[:, i].copy()
        p = 2.0 * p_k.real.sum() + resistance * into
        for n in range(samples):
            if n > 0:
                overlap = max(-1.0 - x, 0.0)
                lost = min(max(loss * speed, -0.8), 0.8)
                contact = stiffness * overlap * np.sqrt(overlap) * (1.0 - lost)
                push = (blowing[i, n - 1] - p) / closing - contact
                new = (-push - x + 2.0 * a1 * x - (a1 - a2) * before) / (a1 + a2)
                speed = (3.0 * new - 4.0 * x + before) / (2.0 * dt)
                before, x = x, new
                pumped = swept * speed
                h = 1.0 + x
                share = 0.5 * (h + np.sqrt(h * h + soft))
                area = full * share
                mass = rho * channel / (full * max(share, 0.05)) + left
                history = 0.0
                for j in range(k):
                    p_k[j] = e[j] * p_k[j] + w0[j] * into
                    history += p_k[j].real
                d = blowing[i, n] - 2.0 * history + r0 * pumped + mass / dt * flow
                a, b = 0.5 * rho / (area * area), r0 + mass / dt
                flow = 2.0 * d / (b + np.sqrt(b * b + 4.0 * a * abs(d)))
                into = flow - pumped
                p = 0.0
                for j in range(k):
                    p_k[j] = p_k[j] + w1[j] * into
                    p += p_k[j].real
                p = 2.0 * p + resistance * into
            if n >= first:
                pressure[i, n - first] = p
                opening[i, n - first] = 1.0 + x
                entering[i, n - first] = into
    return pressure, opening, entering


March = Callable[..., tuple[Real, Real, Real]]


@cache
def compiled() -> March | None:
    """Compile the loop, or fetch it from disk.

    Returns
    -------
    callable or None
        Same arguments and numbers as `march_numpy`; None without the extra ``[sound]``.

    Notes
    -----
    numba is imported here and not above: it takes longer than most commands that never need it.
    """
    try:
        from numba import njit
    except ImportError:
        return None
    try:
        return njit(cache=True, error_model="numpy")(_march_loop)
    except RuntimeError:  # no folder to keep compiled code in: compile anew each time
        return njit(error_model="numpy")(_march_loop)


def march() -> March:
    """Choose the faster of the two loops that is there.

    Returns
    -------
    callable
        The compiled one, else `march_numpy`.
    """
    return compiled() or march_numpy
