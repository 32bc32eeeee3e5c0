"""A bore as a few resonances: poles and residues of its input impedance.

=========  ==================================================================
symbol     meaning
=========  ==================================================================
s_k        poles [1/s], upper half plane
C_k        residues [Pa/m3]:  Z(s) = sum C_k / (s - s_k) + complex conjugates + R0
R0         makes the resistance to steady flow right; a small negative number [Pa s/m3]
M0         what is left at low frequency, an inertance [Pa s2/m3]
=========  ==================================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from crowlight.crow.duct import Duct, input_impedance
from crowlight.errors import OutsideModel
from crowlight.materials import Air

__all__ = ["Resonances", "find_resonances"]

Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Resonances:
    """Modal sum of an input impedance.

    Parameters
    ----------
    poles : ndarray of complex, shape (modes,)
        Rising in frequency, decaying [1/s].
    residues : ndarray of complex, shape (modes,)
        [Pa/m3].
    resistance : float
        That the sum has too little (or, negative, too much) of at steady flow [Pa s/m3].
    inertance : float
        Of what the sum leaves out [Pa s2/m3], >= 0.
    density : float
        Of the air they were computed for [kg/m3].
    """

    poles: Complex
    residues: Complex
    resistance: float
    inertance: float
    density: float

    def impedance(self, s: Complex) -> Complex:
        """Modal sum with its resistance at complex frequencies, without the inertance.

        Parameters
        ----------
        s : ndarray of complex
            Laplace variable [1/s].

        Returns
        -------
        ndarray of complex
            Shaped like `s` [Pa s/m3].
        """
        at = np.asarray(s, dtype=complex)[..., None]
        terms = self.residues / (at - self.poles)
        mirrored = np.conj(self.residues) / (at - np.conj(self.poles))
        return (terms + mirrored).sum(axis=-1) + self.resistance

    @property
    def steady(self) -> float:
        """Resistance to steady flow [Pa s/m3]."""
        return float(-2.0 * (self.residues / self.poles).real.sum()) + self.resistance

    @property
    def frequencies(self) -> NDArray[np.float64]:
        """Resonance frequencies [Hz]."""
        return self.poles.imag / (2.0 * np.pi)


def find_resonances(duct: Duct, air: Air, *, modes: int = 6, highest: float = 20e3) -> Resonances:
    """Find the first resonances of a bore.

    Parameters
    ----------
    duct : Duct
        Bore, blown at its first slice.
    air : Air
        One state, inside the bore.
    modes : int
        How many, 1 to 20.
    highest : float
        Where to stop looking [Hz].

    Returns
    -------
    Resonances
        Poles to 1e-9 of their frequency.

    Raises
    ------
    OutsideModel
        If there are fewer resonances below `highest`.

    Notes
    -----
    Peaks of the impedance on the frequency axis start a Newton iteration on the admittance, whose
    zeros are the poles; residues are 1 / Y'. Peaks closer than two steps of that scan (a sixteenth
    of c / L, at most 60 Hz) are not told apart.
    """
    total = float(duct.length.sum())
    step = min(60.0, float(air.speed_of_sound) / total / 16.0)
    found = np.zeros(0)
    top = 0.0
    # Look upwards a stretch at a time: most bores need only the first few kilohertz.
    impedance = np.zeros(0)
    axis = np.zeros(0)
    wanted = modes + 3  # spare starts: two peaks may lead to one pole
    while len(found) < wanted and top < highest:
        stretch = np.arange(top + step, min(top + 60 * step, highest) + step, step)
        z = np.abs(input_impedance(duct, 2j * np.pi * stretch, air))
        axis, impedance = np.concatenate([axis, stretch]), np.concatenate([impedance, z])
        top = float(axis[-1])
        found = axis[find_peaks(impedance)[0]]
    if len(found) < modes:
        msg = (
            f"only {len(found)} of {modes} resonances below {highest:g} Hz; ask for fewer modes or "
            "check the bore's sizes"
        )
        raise OutsideModel(msg)
    starts = np.asarray(2j * np.pi * found[:wanted], dtype=complex)
    poles, residues = _newton(duct, air, starts, modes, 2.0 * np.pi * step)
    sums = Resonances(poles, residues, 0.0, 0.0, float(air.density))
    low = np.array([1e-3j, 0.1j]) * abs(poles[0])  # as good as steady, and below the first note
    left = input_impedance(duct, low, air) - sums.impedance(low)
    return Resonances(
        poles,
        residues,
        resistance=float(left.real[0]),
        inertance=max(float(left.imag[1] / low.imag[1]), 0.0),
        density=sums.density,
    )


def _newton(duct: Duct, air: Air, s: Complex, modes: int, reach: float) -> tuple[Complex, Complex]:
    """First zeros of the admittance near the starts `s`, by steps up to `reach`; and 1 / Y'."""

    def slope(at: Complex) -> tuple[Complex, Complex]:
        # One call for value and central difference; Y is analytic, so any direction will do.
        h = 1e-5 * np.abs(at)
        # A spare start may run off to infinity: it comes back as NaN and is dropped below.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            y = 1.0 / input_impedance(duct, np.concatenate([at, at + h, at - h]), air)
        y = y.reshape(3, -1)
        return y[0], (y[1] - y[2]) / (2.0 * h)

    moving, close = np.ones(len(s), dtype=bool), np.zeros(len(s), dtype=bool)
    for _ in range(25):
        y, dy = slope(s)
        with np.errstate(divide="ignore", invalid="ignore"):
            move = y / dy
            # Where Y' nearly vanishes, between two poles, a whole step would leave both.
            move *= np.minimum(1.0, reach / np.abs(move))
        # One that met its pole to the last digit finds no number there, and has arrived.
        move = np.where(close & ~np.isfinite(move), 0.0, move)
        s = s - move
        moving, close = np.abs(move) > 1e-9 * np.abs(s), np.abs(move) < 1e-4 * np.abs(s)
        if not moving[:modes].any():
            break
    s = s[~moving & (s.imag > 0.0) & (s.real < 0.0)]
    s = s[np.argsort(s.imag)]
    if len(s):
        s = s[np.concatenate([[True], np.diff(s.imag) > 1.0])][:modes]
    if len(s) < modes:
        msg = (
            f"only {len(s)} of {modes} resonances of this bore stand apart; ask for fewer modes or "
            "check its sizes"
        )
        raise OutsideModel(msg)
    return s, 1.0 / slope(s)[1]
