"""What a look at a reed against the light says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["RISK", "TOLERANCE", "Answer", "Look", "Part", "Reason"]

#: Largest chance of naming any difference on a reed whose sides let the same light through.
RISK = 0.05
#: Differences of light up to this (natural logarithm: 5 %) do not count: no lamp, lens and piece
#: of cane are more even than that (our choice).
TOLERANCE = 0.05


class Answer(StrEnum):
    """What may be said of a difference of light."""

    DIFFERS = "differs"
    NO_DIFFERENCE_SEEN = "no_difference_seen"
    CANNOT_TELL = "cannot_tell"


class Reason(StrEnum):
    """Why a photograph cannot tell."""

    MARKS_OUTSIDE = "marks-outside"
    MARKS_CROSSED = "marks-crossed"
    TOO_SMALL = "too-small"
    NOT_ON_EDGES = "not-on-edges"
    BLURRED = "blurred"
    BACKGROUND_CLIPPED = "background-clipped"
    BACKGROUND_NOT_BRIGHT = "background-not-bright"
    BACKGROUND_UNEVEN = "background-uneven"
    CLIPPED = "clipped"
    DARK = "dark"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Left against right in one part of the reed.

    Parameters
    ----------
    name : str
        Zone of the style; empty for a band.
    start, stop : float
        From where to where it reaches along, from the bottom rim [m].
    answer : Answer
        What may be said.
    reason : Reason or None
        Why nothing may be said.
    value : float
        Natural logarithm of the light of the left side over that of the right, as seen in the
        picture with the tip up; NaN where nothing may be said.
    standard_uncertainty : float
        Of `value`, all parts combined.
    low, high : float
        Interval that holds for all parts together with probability 1 - `RISK`.
    from_scatter, from_marks, from_backlight : float
        Parts of the standard uncertainty.
    scatter : tuple of (float, float)
        Of columns and rows, the standard uncertainty and its degrees of freedom.
    left, right : tuple of (float, float)
        Outline of what was compared on each side, in pixels of the picture.
    """

    name: str = ""
    start: float
    stop: float
    answer: Answer
    reason: Reason | None = None
    value: float = math.nan
    standard_uncertainty: float = math.nan
    low: float = math.nan
    high: float = math.nan
    from_scatter: float = math.nan
    from_marks: float = math.nan
    from_backlight: float = math.nan
    scatter: tuple[tuple[float, float], ...] = ()
    left: tuple[tuple[float, float], ...] = ()
    right: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A photograph against the light, measured.

    Parameters
    ----------
    reason : Reason or None
        Why the photograph as a whole cannot tell; then there are no parts.
    bands : tuple of Part
        Along the reed, tip first.
    zones : tuple of Part
        By zone of the style, tip first; empty without a style.
    comparisons : int
        How many parts share the risk.
    pixels_across : float
        Width of the tip [pixels].
    """

    reason: Reason | None = None
    bands: tuple[Part, ...] = ()
    zones: tuple[Part, ...] = ()
    comparisons: int = 0
    pixels_across: float = 0.0
