"""What a maker can measure without a laboratory, each with how sure it is.

Values are in SI units; a number that looks like another unit is asked about, never converted.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import ClassVar, Literal, Self

import numpy as np

from crowlight.errors import InputError

__all__ = ["CrowPitch", "CrowStart", "ForceTest", "Measurement", "Opening", "Pad", "PeepPitch"]

GRAVITY = 9.80665
OUNCE = 28.349523125  # grams
LEAST_FORCE, MOST_FORCE = 0.15, 8.0  # newtons
_SHOWN = {"m": ("mm", 1e3), "Pa": ("kPa", 1e-3)}
"""Units in which messages speak."""


def _spread(what: str, value: float, spread: float, unit: str) -> None:
    """Ask about a spread that cannot be one standard deviation of the value."""
    shown, factor = _SHOWN.get(unit, (unit, 1.0))
    if not (np.isfinite(spread) and 0.0 < spread <= 0.5 * value):
        msg = (
            f"the spread {spread * factor:g} {shown} of {what} {value * factor:g} {shown} must be "
            "above 0 and at most half the value; how far do repeated readings lie apart?"
        )
        raise InputError(msg)


def _within(what: str, value: float, low: float, high: float, unit: str, ask: str) -> None:
    """Ask about a value outside its range."""
    shown, factor = _SHOWN.get(unit, (unit, 1.0))
    if not low <= value <= high:
        msg = (
            f"{what} {value * factor:g} {shown} is outside {low * factor:g} to {high * factor:g} "
            f"{shown}; {ask}"
        )
        raise InputError(msg)


@dataclass(frozen=True, slots=True)
class Opening:
    """Height of the opening at the middle of the tip at rest, by ruler or loupe.

    Parameters
    ----------
    height : float
        From inner face to inner face [m]; 0.1 to 2 mm.
    spread : float
        Standard deviation of the reading [m]; common practice: 0.25 mm by ruler, 0.05 by a scaled
        photo or loupe.

    Raises
    ------
    InputError
        If a value cannot be right.
    """

    height: float
    spread: float
    name: ClassVar[Literal["opening"]] = "opening"
    model_error: ClassVar[float] = 0.03
    """Where exactly across a soft wet lens the loupe reads."""

    def __post_init__(self) -> None:
        _within("opening", self.height, 1e-4, 2e-3, "m", "was it typed in millimetres?")
        _spread("opening", self.height, self.spread, "m")

    @property
    def value(self) -> float:
        """What was read [m]."""
        return self.height

    @property
    def relative(self) -> float:
        """Standard deviation over value."""
        return self.spread / self.height


@dataclass(frozen=True, slots=True)
class Pad:
    """The flat pad of the force test; one below the reed and one above.

    Parameters
    ----------
    from_tip : float
        Its middle from the tip [m]; 6 to 12 mm, never on the tip.
    length : float
        Along the reed [m]; 1 to 6 mm.
    touching : float
        Width on which a pad wider than the blade meets the crest of the arch [m]; 0.5 to 4 mm. A
        pad pressed in by 0.1 mm flattens about 2 mm.

    Raises
    ------
    InputError
        If the pad would reach the tip or is otherwise outside these limits.
    """

    from_tip: float = 8e-3
    length: float = 4e-3
    touching: float = 2e-3

    def __post_init__(self) -> None:
        ask = "never press the tip's edge; is it in millimetres?"
        _within("distance of the pad from the tip", self.from_tip, 6e-3, 12e-3, "m", ask)
        _within("length of the pad", self.length, 1e-3, 6e-3, "m", "is it in millimetres?")
        _within("touching width", self.touching, 0.5e-3, 4e-3, "m", "is it in millimetres?")


@dataclass(frozen=True, slots=True)
class ForceTest:
    """Force that squeezes the reed between two flat pads.

    Parameters
    ----------
    force : float
        Rise of the scale's reading from first touch [N]; grams times 9.80665e-3.
    spread : float
        Standard deviation of the force over repeats [N].
    depth : float
        How far each blade is pressed in; the pads come nearer by twice this [m]; 0.03 to 0.25 mm.
    depth_spread : float
        Standard deviation of the depth [m], with the sinking of the scale taken off.
    pad : Pad
        Where and how large.

    Raises
    ------
    InputError
        If a value cannot be right; a force that fits another unit is asked about.

    Examples
    --------
    >>> ForceTest(0.85, 0.03).depth
    0.0001
    """

    force: float
    spread: float
    depth: float = 0.1e-3
    depth_spread: float = 0.01e-3
    pad: Pad = Pad()
    name: ClassVar[Literal["force"]] = "force"
    model_error: ClassVar[float] = 0.15
    """Flat pad on an arch, shell against solid, mesh."""

    def __post_init__(self) -> None:
        if not np.isfinite(self.force) or self.force <= 0.0:
            msg = f"force {self.force:g} N must be positive; read the scale again"
            raise InputError(msg)
        if not LEAST_FORCE <= self.force <= MOST_FORCE:
            raise InputError(self._asked())
        ask = "press each blade by about 0.1 mm; is it in millimetres, or both blades together?"
        _within("depth", self.depth, 0.03e-3, 0.25e-3, "m", ask)
        _spread("force", self.force, self.spread, "N")
        _spread("depth", self.depth, self.depth_spread, "m")

    def _asked(self) -> str:
        grams = self.force / GRAVITY * 1e3
        said = (
            f"force {self.force:.3g} N ({grams:.3g} g) is outside {LEAST_FORCE:g} to {MOST_FORCE:g}"
            f" N ({LEAST_FORCE / GRAVITY * 1e3:.0f} to {MOST_FORCE / GRAVITY * 1e3:.0f} g)"
        )
        if LEAST_FORCE <= grams <= MOST_FORCE:
            return f"{said}; was {grams:.3g} a reading in newtons (or ounces) typed as grams?"
        typed = self.force * GRAVITY * 1e-3
        if LEAST_FORCE <= typed <= MOST_FORCE:
            return f"{said}; was {self.force:.3g} a reading in grams typed as newtons?"
        if LEAST_FORCE <= self.force * OUNCE <= MOST_FORCE:
            return f"{said}; was {grams:.3g} a reading in ounces typed as grams?"
        return f"{said}; which unit does the scale show, and was it zeroed at first touch?"

    @property
    def value(self) -> float:
        """What was read [N]."""
        return self.force

    @property
    def relative(self) -> float:
        """Standard deviation over value; force grows about in proportion to depth."""
        return float(np.hypot(self.spread / self.force, self.depth_spread / self.depth))


@dataclass(frozen=True, slots=True)
class _Pitch:
    """A pitch with its interval from listening.

    Parameters
    ----------
    frequency : float
        [Hz]; 300 to 2500.
    spread : float
        Standard deviation between blows [Hz]; common practice: 10 to 20 cents.

    Raises
    ------
    InputError
        If a value cannot be right.
    """

    frequency: float
    spread: float

    def __post_init__(self) -> None:
        ask = "type hertz, not cents or a note's number"
        _within("pitch", self.frequency, 300.0, 2500.0, "Hz", ask)
        _spread("pitch", self.frequency, self.spread, "Hz")

    @classmethod
    def heard(cls, value: float, low: float, high: float, *, level: float = 0.95) -> Self:
        """Take a pitch with its interval from listening.

        Parameters
        ----------
        value, low, high : float
            Rising in the order low, value, high [Hz].
        level : float
            Probability of the interval, 0 to 1.

        Raises
        ------
        InputError
            If the three do not rise, or the interval has no end.

        Examples
        --------
        >>> round(CrowPitch.heard(1000.0, 980.4, 1019.6).spread, 2)
        10.0
        """
        if not -np.inf < low < value < high < np.inf:
            msg = (
                f"the interval {low:g} to {high:g} Hz must hold the pitch {value:g} Hz and end; "
                "was the blow long enough?"
            )
            raise InputError(msg)
        return cls(value, (high - low) / (2.0 * NormalDist().inv_cdf(0.5 + level / 2.0)))

    @property
    def value(self) -> float:
        """What was heard [Hz]."""
        return self.frequency

    @property
    def relative(self) -> float:
        """Standard deviation over value."""
        return self.spread / self.frequency


@dataclass(frozen=True, slots=True)
class CrowPitch(_Pitch):
    """Pitch with which a soft crow begins, without lip: the *upper* note of an octave crow."""

    __doc__ = f"{__doc__}\n{_Pitch.__doc__}"
    name: ClassVar[Literal["crow"]] = "crow"
    model_error: ClassVar[float] = 150 * np.log(2.0) / 1200
    """150 cents: reed lumped to one spring, no mouth, staple as default unless given."""


@dataclass(frozen=True, slots=True)
class PeepPitch(_Pitch):
    """Pitch of the peep; taken as the crow's with a wide error, as no lip is modelled here."""

    __doc__ = f"{__doc__}\n{_Pitch.__doc__}"
    name: ClassVar[Literal["peep"]] = "peep"
    model_error: ClassVar[float] = 200 * np.log(2.0) / 1200
    """200 cents for the lip, beyond the error of the crow."""


@dataclass(frozen=True, slots=True)
class CrowStart:
    """Pressure at which a slowly rising crow, without lip, begins; needs a manometer.

    Parameters
    ----------
    pressure : float
        [Pa]; 0.5 to 15 kPa.
    spread : float
        Standard deviation between blows [Pa].

    Raises
    ------
    InputError
        If a value cannot be right.
    """

    pressure: float
    spread: float
    name: ClassVar[Literal["start"]] = "start"
    model_error: ClassVar[float] = 0.3
    """Absolute pressures of the reed model are not to be trusted."""

    def __post_init__(self) -> None:
        ask = "was it read in kilopascals, millibars, or centimetres of water?"
        _within("pressure", self.pressure, 500.0, 15e3, "Pa", ask)
        _spread("pressure", self.pressure, self.spread, "Pa")

    @property
    def value(self) -> float:
        """What was read [Pa]."""
        return self.pressure

    @property
    def relative(self) -> float:
        """Standard deviation over value."""
        return self.spread / self.pressure


Measurement = Opening | ForceTest | CrowPitch | PeepPitch | CrowStart
