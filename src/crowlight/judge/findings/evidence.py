"""Everything that may be known of a reed when it is judged; every part may be missing.

Thicknesses and lengths are **deviations from what is wanted**: the measured value minus the
player's loved reed, the maker's good reeds or the scrape style, whichever the caller has. So one
catalogue of findings serves every instrument and school. Sides are as seen when facing a blade, tip
up. SI units; a value without a measurement is None, and one with infinite uncertainty says exactly
as much as None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from crowlight.errors import InputError
from crowlight.reed import Blade, Side

__all__ = [
    "Agreement",
    "Answer",
    "BladeKnown",
    "Climate",
    "Crow",
    "Geometry",
    "History",
    "Known",
    "Measured",
    "Model",
    "Playing",
    "SideKnown",
    "Trials",
]

Answer = Literal["yes", "no", "unsure"]


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and how well it is known.

    Parameters
    ----------
    value : float
        Best estimate; finite.
    uncertainty : float
        Standard uncertainty, same unit; >= 0, may be infinite.

    Raises
    ------
    InputError
        If either is not a number, or the uncertainty negative.
    """

    value: float
    uncertainty: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not self.uncertainty >= 0:
            msg = (
                f"value {self.value} with standard uncertainty {self.uncertainty} is not usable; "
                "leave out what was not measured"
            )
            raise InputError(msg)

    @property
    def tells(self) -> bool:
        """Whether it says anything at all."""
        return math.isfinite(self.uncertainty)


@dataclass(frozen=True, slots=True, kw_only=True)
class SideKnown:
    """One side of one blade as seen; deviations from what is wanted.

    Parameters
    ----------
    tip, corner, heart, window, rail : Measured, optional
        Thickness at the side of the zone [m].
    tip_slope : Measured, optional
        How much thicker the tip is at its centre than at this side [m].
    transition : Measured, optional
        Position of the transition; positive: nearer the tip [m].
    steepness : Measured, optional
        Slope of the transition [1].
    corner_excess : Measured, optional
        How much thicker this corner is than the mean of the three others, where the caller knows it
        better than from the four values (shared offsets cancel); no deviation [m].
    """

    tip: Measured | None = None
    corner: Measured | None = None
    heart: Measured | None = None
    window: Measured | None = None
    rail: Measured | None = None
    tip_slope: Measured | None = None
    transition: Measured | None = None
    steepness: Measured | None = None
    corner_excess: Measured | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BladeKnown:
    """One blade; deviations from what is wanted.

    Parameters
    ----------
    left, right : SideKnown
        Its sides as seen.
    tip, heart, spine, gouge : Measured, optional
        Thickness on the centreline; `gouge` in the bark [m].
    transition : Measured, optional
        Position of the transition on the centreline; positive: nearer the tip [m].
    heart_length : Measured, optional
        Length of the heart [m].
    lump : Measured, optional
        Height of the largest local bump in the tip above its surroundings, not a deviation [m].
    sides : mapping of str to Measured
        Left minus right by the names of `SideKnown`, where the caller knows the difference better
        than from the two values (shared offsets cancel) [m] or [1].
    """

    left: SideKnown = SideKnown()
    right: SideKnown = SideKnown()
    tip: Measured | None = None
    heart: Measured | None = None
    spine: Measured | None = None
    gouge: Measured | None = None
    transition: Measured | None = None
    heart_length: Measured | None = None
    lump: Measured | None = None
    sides: Mapping[str, Measured] = field(default_factory=dict[str, Measured])

    def side(self, side: Side) -> SideKnown:
        """Return one side."""
        return self.left if side is Side.LEFT else self.right


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """Shape of the reed; deviations from what is wanted unless stated.

    Parameters
    ----------
    marked, plain : BladeKnown
        The two blades.
    blades : mapping of str to Measured
        Marked minus plain by the names of `BladeKnown`, where known better than from the two [m].
    length, tip_length, tip_width, opening, diameter : Measured, optional
        Overall length, tip length, width at the tip, height of the opening at rest and diameter of
        the cane [m].
    clipping_room : Measured, optional
        Length that may still be clipped before the stop; not a deviation [m].
    opening_lopsided : Measured, optional
        Height left of the centre minus right of it, facing the marked blade; no deviation [m].
    tie_beyond : Measured, optional
        Thread past the top of the staple; no deviation, negative where it ends before [m].
    overlap : Measured, optional
        Sideways slip of the blades beyond what the maker intends [m].
    hardness : Measured, optional
        Of the cane, in standard deviations of the maker's own tubes [1].
    at_floor : frozenset of str
        Zones with a place at or below the floor of the style: nothing comes off there.
    """

    marked: BladeKnown = BladeKnown()
    plain: BladeKnown = BladeKnown()
    blades: Mapping[str, Measured] = field(default_factory=dict[str, Measured])
    length: Measured | None = None
    tip_length: Measured | None = None
    tip_width: Measured | None = None
    opening: Measured | None = None
    opening_lopsided: Measured | None = None
    clipping_room: Measured | None = None
    diameter: Measured | None = None
    hardness: Measured | None = None
    tie_beyond: Measured | None = None
    overlap: Measured | None = None
    at_floor: frozenset[str] = frozenset()

    def blade(self, blade: Blade) -> BladeKnown:
        """Return one blade."""
        return self.marked if blade is Blade.MARKED else self.plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """What the blade model makes of the thickness map; natural logarithms of ratios.

    Parameters
    ----------
    closing_pressure : Measured, optional
        Pressure that closes the reed, against what is wanted [1].
    separation : Measured, optional
        How separately tip and heart move, against what is wanted [1].
    unevenness : Measured, optional
        Stiffness of the marked blade against the plain one [1].
    """

    closing_pressure: Measured | None = None
    separation: Measured | None = None
    unevenness: Measured | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Crow:
    """What was recorded of crow, peep and notes.

    Parameters
    ----------
    clean, mixed, rattling : float, optional
        Probabilities of the three classes of crow; all or none, summing to 1.
    speaks : Answer, optional
        Whether it crows at all.
    first : str, optional
        What a slow swell begins with: ``"high"``, ``"low"``, ``"both"``, ``"rattle"``.
    cents, peep_cents, played_cents : Measured, optional
        Pitch of crow, peep and played notes above what is wanted [cent].
    pitched_share : Measured, optional
        Share of the energy in one pitch and its octaves, above what is wanted [1].
    low_octave : Measured, optional
        Level of the low octave against the high one, above what is wanted [dB].
    unsteadiness : Measured, optional
        Wobble of the pitch, above what is wanted [cent].
    threshold : Measured, optional
        Logarithm of the pressure at which it starts, over what is wanted [1].
    """

    clean: float | None = None
    mixed: float | None = None
    rattling: float | None = None
    speaks: Answer | None = None
    first: Literal["high", "low", "both", "rattle"] | None = None
    cents: Measured | None = None
    peep_cents: Measured | None = None
    played_cents: Measured | None = None
    pitched_share: Measured | None = None
    low_octave: Measured | None = None
    unsteadiness: Measured | None = None
    threshold: Measured | None = None

    def __post_init__(self) -> None:
        classes = [p for p in (self.clean, self.mixed, self.rattling) if p is not None]
        if not classes:
            return
        if len(classes) < 3 or min(classes) < 0 or abs(math.fsum(classes) - 1) > 1e-6:
            msg = (
                f"crow class probabilities {self.clean}, {self.mixed}, {self.rattling} must be "
                "three numbers from 0 to 1 that sum to 1"
            )
            raise InputError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Playing:
    """Six taps of the playing test and the player's words as codes of the lexicon."""

    low_soft_attack: Answer | None = None
    slurred_octaves: Answer | None = None
    high_notes_hold: Answer | None = None
    sags_when_lip_loosens: Answer | None = None
    tongues_cleanly: Answer | None = None
    soft_to_loud: Answer | None = None
    words: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trials:
    """Looks and small trials.

    Parameters
    ----------
    leaks : Answer, optional
        Bottom stopped, it does not hold suction.
    bubbles : str, optional
        Where air comes out: ``"side"``, ``"thread"``, ``"cork"``, ``"none"``.
    look : frozenset of str
        Seen against the light or under the loupe: ``"crack-thread"``, ``"crack-tip"``,
        ``"crack-scrape"``, ``"splinter"``, ``"nick"``, ``"lump"``, ``"film"``, ``"mould"``,
        ``"twist"``, ``"staple-dent"``, ``"ridge"``, ``"green"``.
    looked : bool
        Whether it was looked at; then what is not in `look` was not there.
    control_reed : str, optional
        ``"fine"`` or ``"fails"``: the control reed in the same oboe and room.
    other_instrument : str, optional
        ``"fine"`` or ``"fails"``: this reed in another oboe.
    other_player : str, optional
        ``"fine"`` or ``"fails"``: this reed with another player.
    re_soaked, dried : str, optional
        ``"better"`` or ``"same"`` after a fresh soak, or after a day of drying.
    pinched_sides : str, optional
        ``"better"`` or ``"same"`` while corners or sides are pinched lightly.
    batch_alike : tuple of int, optional
        So many of so many reeds of the batch show the same.
    """

    leaks: Answer | None = None
    bubbles: Literal["side", "thread", "cork", "none"] | None = None
    look: frozenset[str] = frozenset()
    looked: bool = False
    control_reed: Literal["fine", "fails"] | None = None
    other_instrument: Literal["fine", "fails"] | None = None
    other_player: Literal["fine", "fails"] | None = None
    re_soaked: Literal["better", "same"] | None = None
    dried: Literal["better", "same"] | None = None
    pinched_sides: Literal["better", "same"] | None = None
    batch_alike: tuple[int, int] | None = None

    def __post_init__(self) -> None:
        if self.batch_alike is not None and not 0 <= self.batch_alike[0] <= self.batch_alike[1]:
            msg = f"batch_alike = {self.batch_alike} must be a count and the count it is out of"
            raise InputError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Climate:
    """The air at home, where the reed was last liked, and now.

    Parameters
    ----------
    altitude_home, altitude_now : float, optional
        [m].
    humidity_home, humidity_now : float, optional
        [1], 0 to 1.
    temperature_now : float, optional
        [K].
    here_for : float, optional
        Time since the reed came to this place [s].
    """

    altitude_home: float | None = None
    altitude_now: float | None = None
    humidity_home: float | None = None
    humidity_now: float | None = None
    temperature_now: float | None = None
    here_for: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What was done to the reed; times in seconds.

    Parameters
    ----------
    played : float, optional
        Playing time in all [s].
    since_tied, since_cut, rested, soaked : float, optional
        Time since the blank was tied, since the last cut; length of the last rest and soak [s].
    crowing : float, optional
        How long this sitting has gone on without a pause [s].
    clips : int, optional
        Clips since the tip was first opened.
    cuts_since_measured, tests_without_gain, strokes_since_sharpened : int, optional
        Counts.
    last_cut : str, optional
        Result of the last cut.
    crow_lost : Answer, optional
        The crow went with the last cut.
    changed_together : Answer, optional
        More than one thing was changed between the two states compared (cut and rest, place).
    wet_states_alike : Answer, optional
        Whether the readings compared were taken in like wet states.
    """

    played: float | None = None
    since_tied: float | None = None
    since_cut: float | None = None
    rested: float | None = None
    soaked: float | None = None
    crowing: float | None = None
    clips: int | None = None
    cuts_since_measured: int | None = None
    tests_without_gain: int | None = None
    strokes_since_sharpened: int | None = None
    last_cut: Literal["better", "same", "worse"] | None = None
    crow_lost: Answer | None = None
    changed_together: Answer | None = None
    wet_states_alike: Answer | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """What the owner allows, and until when.

    Parameters
    ----------
    others_reed : bool
        The reed belongs to, or was played by, somebody else.
    may_cut : Answer, optional
        The owner agreed to cutting.
    concert_in : float, optional
        Time to the next performance with this reed [s].
    """

    others_reed: bool = False
    may_cut: Answer | None = None
    concert_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All that is known of a reed.

    Examples
    --------
    >>> heavy = BladeKnown(heart=Measured(0.05e-3, 0.01e-3))
    >>> Known(geometry=Geometry(marked=heavy)).geometry.marked.heart.value
    5e-05
    """

    geometry: Geometry = Geometry()
    model: Model = Model()
    crow: Crow = Crow()
    playing: Playing = Playing()
    trials: Trials = Trials()
    climate: Climate = Climate()
    history: History = History()
    agreement: Agreement = Agreement()
