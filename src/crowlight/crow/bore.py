"""The bores a reed is blown on: its own staple, and a plain cone standing for an oboe.

The cone is a toy: smooth, with one open lattice of tone holes. It answers how low and high notes
fare with altitude; it does not predict any oboe's tuning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.crow.duct import Duct, Hole, cone, joined
from crowlight.errors import InputError

__all__ = ["NOTES", "Note", "Staple", "played_bore", "staple_bore"]


@dataclass(frozen=True, slots=True)
class Staple:
    """Staple and the cane cavity above it.

    Parameters
    ----------
    length : float
        Of the staple [m].
    top_radius, bottom_radius : float
        Inner radius at the thread end and at the cork end [m].
    cavity_length : float
        Of the cane beyond the staple [m].
    cavity_area : float
        Mean inner cross-section of the cane [m2].
    cavity_loss_radius : float
        Twice that area over its perimeter; small because the cavity is flat [m].

    Notes
    -----
    Defaults: 47 mm and a free cane of 25 mm are common practice, no source; the inner radii and
    the cavity are assumptions (133 mm3), to be replaced by a measurement of the staple in use.

    Raises
    ------
    InputError
        If a size is not positive, or looks typed in millimetres.
    """

    length: float = 47e-3
    top_radius: float = 1.2e-3
    bottom_radius: float = 2.4e-3
    cavity_length: float = 25e-3
    cavity_area: float = 5.3e-6
    cavity_loss_radius: float = 0.8e-3

    def __post_init__(self) -> None:
        for name in ("length", "top_radius", "bottom_radius", "cavity_length"):
            value = getattr(self, name)
            if not 1e-4 <= value <= 0.1:
                msg = f"staple {name} {value:g} m is outside 0.1 to 100 mm; is it in millimetres?"
                raise InputError(msg)
        if not 1e-7 <= self.cavity_area <= 1e-4:
            msg = f"cavity area {self.cavity_area:g} m2 is outside 0.1 to 100 mm2; check its unit"
            raise InputError(msg)


def staple_bore(staple: Staple | None = None, *, slices: int = 24) -> Duct:
    """Bore of a reed off the oboe: cane cavity, staple, open end.

    Parameters
    ----------
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.
    slices : int
        Of the staple's cone.

    Returns
    -------
    Duct
        From the tip on.
    """
    staple = staple or Staple()
    cavity = Duct(
        np.array([staple.cavity_length]),
        np.array([staple.cavity_area]),
        np.array([staple.cavity_loss_radius]),
        None,
    )
    return joined(
        cavity, cone(staple.top_radius, staple.bottom_radius, staple.length, slices=slices)
    )


@dataclass(frozen=True, slots=True)
class Note:
    """A note of the toy oboe.

    Parameters
    ----------
    length : float
        Of the cone to its first open hole [m].
    register : int
        1 for the first resonance, 2 for the second as an octave key would select it.
    """

    length: float
    register: int

    def near(self, resonances: NDArray[np.float64]) -> tuple[float, float]:
        """Where the note of a blown reed is looked for.

        Parameters
        ----------
        resonances : ndarray
            Of the bore without reed [Hz].

        Returns
        -------
        tuple of float
            Lowest and highest frequency [Hz]; a reed pulls a note down, never far up.
        """
        alone = float(resonances[self.register - 1])
        return 0.65 * alone, 1.1 * alone


NOTES: dict[str, Note] = {
    "low": Note(450e-3, 1),
    "middle": Note(180e-3, 1),
    "high": Note(180e-3, 2),
}
"""Notes followed by travel advice: near B3, near A4, and its second register."""

_SLOPE = 0.0097
_HOLE_RADIUS = 2.6e-3
_HOLE_HEIGHT = 8e-3
_HOLE_SPACING = 17e-3
_HOLES = 7


def played_bore(length: float, staple: Staple | None = None) -> Duct:
    """Reed, staple and a cone with seven open tone holes at its end.

    Parameters
    ----------
    length : float
        Of the cone to its first open hole [m], 0.02 to 0.7; see `NOTES`.
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.

    Returns
    -------
    Duct
        From the tip on.

    Raises
    ------
    InputError
        If the length lies outside.

    Notes
    -----
    Slope, hole size and spacing are assumptions of the right order for an oboe. The open lattice
    matters: without it high resonances dominate and the wrong register sounds.
    """
    if not 0.02 <= length <= 0.7:
        msg = f"cone of {length:g} m is outside 0.02 to 0.7 m; is it in millimetres?"
        raise InputError(msg)
    staple = staple or Staple()

    def radius(x: float) -> float:
        return staple.bottom_radius + _SLOPE * x

    main = cone(radius(0.0), radius(length), length, slices=max(8, round(length / 15e-3)))
    pieces, holes = [main], []
    for i in range(_HOLES):
        start = length + i * _HOLE_SPACING
        holes.append(Hole(len(main.length) + i, _HOLE_RADIUS, _HOLE_HEIGHT))
        pieces.append(cone(radius(start), radius(start + _HOLE_SPACING), _HOLE_SPACING, slices=1))
    body = joined(*pieces)
    lattice = Duct(body.length, body.area, body.loss_radius, body.end_radius, tuple(holes))
    return joined(staple_bore(staple, slices=12), lattice)
