"""Shape of the inner, gouged face of one blade, from the thread to the tip.

Frame: x across, y from the thread towards the tip, z from the plane between the blades outward
(each blade has its own z). The fibres of the cane are taken as straight lines from the oval at the
thread to the lens at the tip; that shape in between is an assumption, not a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.patch import Patch, surface_patch
from crowlight.blade.splines import basis_on
from crowlight.errors import InputError

__all__ = ["CHECK_MESH", "BladeShape", "MeshSize", "blade_patch"]


@dataclass(frozen=True, slots=True)
class BladeShape:
    """Inner face of one blade at rest.

    Parameters
    ----------
    length : float
        From the thread to the tip before any later clip [m]; 10 to 60 mm.
    tip_width : float
        Across the tip, edge to edge [m]; 4 to 20 mm.
    height : float
        From the plane between the blades to the inner face at the middle of the tip [m], half the
        rest opening when both blades are alike; 0.02 to 2 mm.
    throat_width : float
        Inner width of the oval at the thread [m].
    throat_height : float
        From the plane between the blades to the inner face at the thread [m].
    tilt : float
        How lopsided the lens at the tip is: height times ``1 + tilt · xi``; −0.9 to 0.9.
    clipped : float
        Cane clipped off the tip since [m]; >= 0.

    Raises
    ------
    InputError
        If a value is outside these limits.

    Notes
    -----
    The width and height at the thread follow the staple; the defaults are engineering guesses.

    Examples
    --------
    >>> shape = BladeShape()
    >>> shape.inner(0.0, 1.0).round(5).tolist()
    [0.0, 0.023, 0.00035]
    """

    length: float = 23e-3
    tip_width: float = 7.0e-3
    height: float = 0.35e-3
    throat_width: float = 4.0e-3
    throat_height: float = 1.6e-3
    tilt: float = 0.0
    clipped: float = 0.0

    def __post_init__(self) -> None:
        limits = {
            "length": (10e-3, 60e-3),
            "tip_width": (4e-3, 20e-3),
            "height": (0.02e-3, 2e-3),
            "throat_width": (1.5e-3, 15e-3),
            "throat_height": (0.4e-3, 8e-3),
            "tilt": (-0.9, 0.9),
            "clipped": (-1e-5, 0.5 * self.length),  # a hair below 0, for differences
        }
        for field in fields(self):
            value, (low, high) = getattr(self, field.name), limits[field.name]
            if not low <= value <= high:
                unit, factor = ("", 1.0) if field.name == "tilt" else (" mm", 1e3)
                what = field.name.replace("_", " ")
                msg = (
                    f"{what} = {value * factor:.4g}{unit} is outside "
                    f"{low * factor:.4g} to {high * factor:.4g}{unit}; measure it again"
                )
                raise InputError(msg)

    @property
    def free_length(self) -> float:
        """From the thread to the tip as it is now [m]."""
        return self.length - self.clipped

    def clip(self, amount: float) -> BladeShape:
        """Return the blade with `amount` more clipped off [m]; the rest keeps its shape."""
        return replace(self, clipped=self.clipped + amount)

    def inner(self, xi: ArrayLike, eta: ArrayLike) -> Array:
        """Compute points of the inner face [m], shape (..., 3).

        Parameters
        ----------
        xi : array_like
            Across, −1 at one edge to 1 at the other.
        eta : array_like
            Along, 0 at the thread to 1 at the tip as it is now.
        """
        xi, eta = np.broadcast_arrays(np.asarray(xi, float), np.asarray(eta, float))
        s = eta * (self.free_length / self.length)
        angle = np.pi / 2 * xi
        lean = 1 + self.tilt * xi
        oval = (self.throat_width / 2 * np.sin(angle), self.throat_height * np.cos(angle))
        lens = (self.tip_width / 2 * xi, self.height * (1 - xi**2) * lean)
        x = (1 - s) * oval[0] + s * lens[0]
        z = (1 - s) * oval[1] + s * lens[1]
        return np.stack([x, s * self.length, z], axis=-1)


@dataclass(frozen=True, slots=True)
class MeshSize:
    """How many elements a blade is cut into.

    Parameters
    ----------
    across : int
        Elements across.
    front : int
        Elements along the front part (tip and transition, the last 37 %).
    behind : int
        Elements along the rest.
    """

    across: int = 8
    front: int = 9
    behind: int = 6


FRONT_SHARE = 8.5 / 23.0
CHECK_MESH = MeshSize(12, 14, 9)


def blade_patch(shape: BladeShape, size: MeshSize | None = None) -> Patch:
    """Spline patch of the inner face; its normal points outward, where the knife works.

    Points, normals and thickness at any parameters come from `Patch.frames` and a thickness map:
    the outer face is ``position + thickness · a3``.

    Examples
    --------
    >>> patch = blade_patch(BladeShape())
    >>> frames = patch.frames(0.0, 1.0)
    >>> frames.position[1:].round(6).tolist(), bool(frames.a3[2] > 0.99)
    ([0.023, 0.00035], True)
    """
    size = size or MeshSize()
    along = np.concatenate(
        [
            np.linspace(0, 1 - FRONT_SHARE, size.behind + 1)[:-1],
            np.linspace(1 - FRONT_SHARE, 1, size.front + 1),
        ]
    )
    across = np.linspace(-1, 1, size.across + 1)
    return surface_patch(basis_on(across), basis_on(along), shape.inner)
