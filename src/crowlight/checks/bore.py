"""Bore, reed and their threshold against closed forms and published numbers."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from crowlight.checks.case import Check
from crowlight.crow import ReedParameters, Resonances, find_resonances, onsets, stacked, staple_bore
from crowlight.crow.duct import Duct, cone, cylinder, input_impedance
from crowlight.crow.radiation import levine_schwinger, reflection
from crowlight.crow.stability import equilibrium, follow
from crowlight.crow.timedomain import simulate
from crowlight.materials import Air, breath

__all__ = ["cases", "growth_in_time", "lossless_resonances", "one_mode_bore"]

_LEVINE = "Levine and Schwinger 1948, Phys. Rev. 73:383"


def lossless_resonances(duct: Duct, air: Air, starts: tuple[float, ...]) -> list[float]:
    """Find where a lossless duct, closed at its blown end, resonates.

    Parameters
    ----------
    duct : Duct
        Without losses and ending at zero pressure, so that its admittance is imaginary.
    air : Air
        One state.
    starts : tuple of float
        Expected resonances [Hz]; searched within 10 %.

    Returns
    -------
    list of float
        Zeros of the admittance [Hz].
    """

    def susceptance(frequency: float) -> float:
        z = input_impedance(duct, np.array([2j * np.pi * frequency]), air)
        return float((1.0 / z).imag[0])

    return [float(brentq(susceptance, 0.9 * f, 1.1 * f, xtol=1e-9)) for f in starts]  # type: ignore[arg-type] -- stubs miss full_output=False


def _without_losses(duct: Duct) -> Duct:
    return Duct(duct.length, duct.area, duct.loss_radius, None, lossless=True)


def _ducts() -> Iterator[Check]:
    air = breath(101325.0)
    c = float(air.speed_of_sound)
    straight = _without_losses(cylinder(0.1, 5e-6))
    for n in (1, 3, 5):
        expected = n * c / 0.4
        found = lossless_resonances(straight, air, (expected,))[0]
        yield Check(
            f"closed cylinder, {n} quarter waves",
            found,
            expected,
            1e-6,
            "Hz",
            "closed form: odd multiples of c / 4 L",
        )
    small, large, length = 1.2e-3, 2.4e-3, 47e-3
    apex = small * length / (large - small)
    for n in (1, 2, 3):
        # tan(k L) = -k x0: the narrow end is closed, the wide one open.
        expected = brentq(
            lambda k, n=n: k * length - n * np.pi + np.arctan(k * apex), 1e-3, 1e4
        ) * (c / (2.0 * np.pi))  # type: ignore[operator] -- stubs miss full_output=False
        duct = _without_losses(cone(small, large, length, slices=48))
        found = lossless_resonances(duct, air, (float(expected),))[0]
        yield Check(
            f"cone closed at its narrow end, resonance {n}",
            found,
            float(expected),
            2e-4 * float(expected),
            "Hz",
            "closed form tan(k L) = -k x0; tolerance is the mesh error of 48 slices",
        )


def _keefe() -> Iterator[Check]:
    # Air at 300 K as Keefe and Benade take it.
    one = np.asarray
    viscosity, ratio, root_prandtl, heat = 1.846e-5, 1.4017, 0.8410, 1005.0
    air = Air(
        temperature=one(300.0),
        pressure=one(101325.0),
        humidity=one(0.0),
        density=one(1.1769),
        speed_of_sound=one(347.23),
        viscosity=one(viscosity),
        conductivity=one(viscosity * heat / root_prandtl**2),
        heat_capacity=one(heat),
        heat_ratio=one(ratio),
        density_by="Keefe 1984",
        speed_by="Keefe 1984",
    )
    radius, shear = 1e-3, 20.0
    omega = shear**2 * viscosity / (1.1769 * radius**2)
    # A long pipe shorted at its end, at tanh far from 1: Gamma follows from two impedances.
    length = 0.05
    area = np.pi * radius**2
    s = np.array([1j * omega])
    shorted = input_impedance(cylinder(length, area), s, air)[0]
    twice = input_impedance(cylinder(2.0 * length, area), s, air)[0]
    # tanh(2x) = 2 t / (1 + t^2) gives t, hence Gamma L.
    t = np.sqrt(2.0 * shorted / twice - 1.0)
    gamma = np.arctanh(t) / length
    inverse = 1.0 / shear
    source = "Keefe 1984, JASA 75:58, equations (11, 12), from memory; three printed decimals"
    tolerance = 0.0005 * (inverse + inverse**2 + inverse**3) + inverse**4
    yield Check(
        "wall losses at 20 boundary layers, attenuation over k",
        abs(float(gamma.real)) * 347.23 / omega,
        1.045 * inverse + 1.080 * inverse**2 + 0.750 * inverse**3,
        tolerance,
        "1",
        source,
    )
    yield Check(
        "wall losses at 20 boundary layers, slowness",
        abs(float(gamma.imag)) * 347.23 / omega,
        1.0 + 1.045 * inverse - 0.750 * inverse**3,
        tolerance,
        "1",
        source,
    )


def _radiation() -> Iterator[Check]:
    air = breath(101325.0)
    c, radius = float(air.speed_of_sound), 2.4e-3
    for ka, printed in ((0.1, 0.9951), (0.5, 0.896), (1.0, 0.695)):
        exact = levine_schwinger(ka)
        digits = 4 if ka < 0.2 else 3
        yield Check(
            f"reflection of an open end at ka {ka:g}, exact integral",
            exact.modulus,
            printed,
            0.5 * 10.0**-digits + 1e-9,
            "1",
            f"{_LEVINE}, figure 2 values, from memory",
        )
        fit = abs(reflection(np.array([1j * ka * c / radius]), radius, air)[0])
        yield Check(
            f"reflection of an open end at ka {ka:g}, causal fit",
            float(fit),
            exact.modulus,
            0.01 if ka <= 0.5 else 0.03,
            "1",
            f"{_LEVINE}; accuracy stated by the fit's authors (Silva et al. 2009), from memory",
        )
    s = np.array([1e-3j * c / radius])
    length = -float(np.angle(-reflection(s, radius, air))[0]) / 2e-3
    yield Check(
        "end correction of the causal fit at low frequency",
        length,
        0.6133,
        0.0005,
        "radius",
        f"{_LEVINE}; tolerance is half a digit of the fit's three-decimal coefficients",
    )
    yield Check(
        "end correction at low frequency, exact integral",
        levine_schwinger(1e-3).end_correction,
        0.613,
        0.0005,
        "radius",
        f"{_LEVINE} print 0.6133; compared to three digits, since adaptive quadrature of their "
        "integral, done twice in different variables, gives 0.6127",
    )


def one_mode_bore(
    frequency: float, *, gain: float, coupling: float, reed: ReedParameters
) -> Resonances:
    """Make a bore of one sharp resonance with a chosen loop gain.

    Parameters
    ----------
    frequency : float
        [Hz].
    gain : float
        Loop gain with `reed`.
    coupling : float
        Residue times the reed's jet conductance [1/s]; small against the angular frequency.
    reed : ReedParameters
        One reed.

    Returns
    -------
    Resonances
        Without left-out inertance.
    """
    density = 1.2
    conductance = (
        reed.contraction * reed.opening_area * np.sqrt(2.0 / (density * reed.closing_pressure))
    )
    pole = complex(-coupling / gain, 2.0 * np.pi * frequency)
    return Resonances(np.array([pole]), np.array([coupling / conductance + 0j]), 0.0, 0.0, density)


def _thresholds() -> Iterator[Check]:
    quick = ReedParameters(
        swept_volume=0.0, frequency=20e3, damping=0.4, channel_length=1e-6, softness=1e-4
    )
    for gain in (3.1, 9.7, 31.0, 95.0):
        bore = one_mode_bore(100.0, gain=gain, coupling=1.0, reed=quick)
        found = onsets([quick], bore, near=(50.0, 200.0)).pressure[0] / quick.closing_pressure
        y = 1.0 / gain
        expected = ((y + np.sqrt(y * y + 3.0)) / 3.0) ** 2
        yield Check(
            f"threshold of a reed without inertia at loop gain {gain:g}",
            float(found),
            float(expected),
            5e-4,
            "closing pressures",
            "closed form zeta (3 g - 1) / (2 sqrt g) = y (Wilson and Beavers 1974, JASA 56:653)",
        )
    bore = one_mode_bore(100.0, gain=1e5, coupling=1.0, reed=quick)
    found = onsets([quick], bore, near=(50.0, 200.0)).pressure[0] / quick.closing_pressure
    yield Check(
        "threshold of a reed without inertia on a lossless bore",
        float(found),
        1.0 / 3.0,
        5e-4,
        "closing pressures",
        "closed form one third (Wilson and Beavers 1974, JASA 56:653)",
    )
    for damping in (0.1, 0.2, 0.4):
        yield Check(
            f"lowest threshold of a reed with damping {damping:g}, lossless bore",
            _lowest_threshold(damping),
            damping * (2.0 - damping) / (2.0 + damping * (2.0 - damping)),
            1e-3,
            "closing pressures",
            "closed form q(2-q) / (2 + q(2-q)) (Silva et al. 2008, JASA 124; arXiv 0705.2803)",
        )


def _lowest_threshold(damping: float) -> float:
    """Lowest blowing ratio over all bore lengths, which one tunes as a player tunes a clarinet."""
    reed = ReedParameters(
        swept_volume=0.0, frequency=1000.0, damping=damping, channel_length=1e-6, softness=1e-4
    )

    def threshold(ratio: float) -> float:
        frequency = ratio * reed.frequency
        bore = one_mode_bore(frequency, gain=1e5, coupling=5.0, reed=reed)
        found = onsets([reed], bore, near=(0.97 * frequency, 1.03 * frequency)).pressure[0]
        return float(found / reed.closing_pressure)

    best = np.sqrt(1.0 - damping)
    found = minimize_scalar(
        threshold, bounds=(0.9 * best, min(1.06 * best, 0.995)), method="bounded"
    )
    return float(found.fun)


def growth_in_time(share: float, *, sample_rate: float = 96e3) -> tuple[float, float]:
    """Grow a tiny oscillation in time and beside it by linear stability.

    Parameters
    ----------
    share : float
        Blowing over threshold, above 1.
    sample_rate : float
        [Hz].

    Returns
    -------
    in_time, linear : float
        Growth rates [1/s].
    """
    reed, bore = ReedParameters(), find_resonances(staple_bore(), breath(101325.0))
    arrays = stacked([reed])
    start = onsets([reed], bore)
    blowing = share * start.pressure
    linear = follow(arrays, bore, blowing, np.asarray(2j * np.pi * start.frequency, dtype=complex))
    samples = round(0.04 * sample_rate)
    motion = simulate(
        [reed], bore, np.full(samples, blowing[0]), sample_rate=sample_rate, kick=1e-8
    )
    still = equilibrium(arrays, bore, blowing)
    moved = motion.opening[0] - still.opening[0]
    # Peaks of a growing sine lie on its exponential: fit where other modes have died.
    half = max(2, round(0.5 * sample_rate / float(start.frequency[0])))
    first = round(0.015 * sample_rate)
    blocks = (len(moved) - first) // half
    parts = np.abs(moved[first : first + blocks * half]).reshape(blocks, half)
    at = first + parts.argmax(axis=1) + half * np.arange(blocks)
    slope = np.polyfit(at / sample_rate, np.log(parts.max(axis=1)), 1)[0]
    return float(slope), float(linear.real[0])


def _growth() -> Iterator[Check]:
    for share in (1.03, 1.1):
        in_time, linear = growth_in_time(share)
        yield Check(
            f"growth of the crow at {share:g} thresholds, time domain against linear stability",
            in_time,
            linear,
            0.05 * linear,
            "1/s",
            "eigenvalues of the same equations; 5 % at 96 kHz",
        )


def cases() -> Iterator[Check]:
    """Compare bore, radiation, thresholds and time stepping with what is known exactly.

    Yields
    ------
    Check
        One per comparison.
    """
    yield from _ducts()
    yield from _keefe()
    yield from _radiation()
    yield from _thresholds()
    yield from _growth()
