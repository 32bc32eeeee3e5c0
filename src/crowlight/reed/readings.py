"""Thickness readings as the gauge gave them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from crowlight.errors import InputError
from crowlight.reed.frame import Place

__all__ = ["CaneState", "Reading", "check_reading"]

#: Limits of what can be a reading on an oboe-family reed [m]. Wider than any style.
#: The lower one also catches every reed thickness given in inches (0.635 mm is 0.025 in).
THICKNESS_RANGE = (0.025e-3, 1.5e-3)
ALONG_RANGE = (20e-3, 90e-3)
ACROSS_LIMIT = 5e-3


class CaneState(StrEnum):
    """Whether the cane was wet when it was measured."""

    WET = "wet"
    DRY = "dry"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Reading:
    """One thickness reading.

    Parameters
    ----------
    place : Place
        Where the foot was meant to stand.
    thickness : float
        What the gauge showed [m]; 0.025 to 1.5 mm.
    instrument : str
        Code of the gauge.
    seating : int
        Number of the mounting: readings with the same number on one blade were taken without
        taking the reed off the gauge, and share one unknown offset.
    repeat : int
        0 for the first reading of this place, 1 for the next, ...
    state : CaneState
        Wet or dry.
    minutes_wet : float or None
        Minutes since the reed was last wetted; None if not known.
    """

    place: Place
    thickness: float
    instrument: str = "dial"
    seating: int = 0
    repeat: int = 0
    state: CaneState = CaneState.UNKNOWN
    minutes_wet: float | None = None


def check_reading(reading: Reading) -> None:
    """Refuse a reading that cannot be right.

    Parameters
    ----------
    reading : Reading
        The reading.

    Raises
    ------
    InputError
        Not a number, negative, inches typed for millimetres, off the blade: the message names the
        value, its unit, the limit and the remedy.
    """
    mm = reading.thickness * 1e3
    low, high = (t * 1e3 for t in THICKNESS_RANGE)
    if not math.isfinite(mm):
        msg = f"thickness {mm} is not a number; read the gauge again"
        raise InputError(msg)
    if mm <= 0:
        msg = f"thickness = {mm:g} mm must be above 0 mm; check the zero of the gauge"
        raise InputError(msg)
    if mm < low:
        msg = (
            f"thickness = {mm:g} mm is below {low:g} mm, thinner than cane can be scraped; "
            f"if it was read in inches it is {mm * 25.4:.3g} mm: state the unit"
        )
        raise InputError(msg)
    if mm > high:
        hint = "was the point left out?" if mm >= 3 else "is this bark, or a folded blank?"
        msg = f"thickness = {mm:g} mm is above {high:g} mm, the most a reed blade has; {hint}"
        raise InputError(msg)
    along, across = reading.place.along * 1e3, reading.place.across * 1e3
    if not (math.isfinite(along) and math.isfinite(across)):
        msg = f"position ({along} mm along, {across} mm across) is not a number; type it again"
        raise InputError(msg)
    if not ALONG_RANGE[0] <= reading.place.along <= ALONG_RANGE[1]:
        inches = ALONG_RANGE[0] <= reading.place.along * 25.4 <= ALONG_RANGE[1]
        hint = f"were these inches ({along * 25.4:.3g} mm)? " if inches else ""
        msg = (
            f"position along = {along:g} mm from the bottom rim is outside "
            f"{ALONG_RANGE[0] * 1e3:g} to {ALONG_RANGE[1] * 1e3:g} mm; "
            f"{hint}check which end it was counted from"
        )
        raise InputError(msg)
    if abs(reading.place.across) > ACROSS_LIMIT:
        msg = (
            f"position across = {across:g} mm is off the blade (limit {ACROSS_LIMIT * 1e3:g} mm "
            f"either side of the centreline); count from the centreline, left negative"
        )
        raise InputError(msg)
    if reading.minutes_wet is not None and not 0 <= reading.minutes_wet < 10_000:
        msg = (
            f"minutes since wetted = {reading.minutes_wet:g} must be from 0 to 10 000; "
            f"leave it empty if not known"
        )
        raise InputError(msg)
