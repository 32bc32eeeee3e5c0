"""What is asked for each kind of entry, in the units people use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal

from crowlight.report.words import STYLES, mark

__all__ = ["FORMS", "Field", "Form"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form.

    Parameters
    ----------
    name : str
        Name in the payload; ``cane.diameter`` for a nested one.
    label : str
        What it is called.
    kind : str
        ``number``, ``line``, ``text``, ``choice`` (one), ``ticks`` (any number) or ``suggest``
        (a line, with words offered).
    unit : str
        Unit shown and typed.
    factor, offset : float
        SI value = typed value times `factor` plus `offset`.
    choices : tuple of (str, str)
        Value and label.
    hint : str
        One sentence of help.
    needed : bool
        Whether the form cannot be sent without it.
    section : str
        Heading it stands under; fields without one come first.
    whole : bool
        Whether a number has no decimals.
    units : tuple of (str, float)
        Units it may be typed in, each with its factor to SI; empty where there is but one.
    unit_from : str
        Name of the field that says which of them.
    mistaken : tuple of (str, float)
        Other units in which such a number is often read, to ask about one outside its limits.
    more : bool
        Whether a page may offer more choices than these.
    """

    name: str
    label: str
    kind: Literal["number", "line", "text", "choice", "ticks", "suggest"] = "number"
    unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    needed: bool = False
    section: str = ""
    whole: bool = False
    more: bool = False
    units: tuple[tuple[str, float], ...] = ()
    unit_from: str = ""
    mistaken: tuple[tuple[str, float], ...] = ()

    def typed_in(self, unit: str) -> Field:
        """Return the field in one of its units; as it is if that is none of them."""
        factor = dict(self.units).get(unit)
        return self if factor is None else replace(self, unit=unit, factor=factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """The form for one kind of entry.

    Parameters
    ----------
    title : str
        Its heading.
    fields : tuple of Field
        What it asks.
    about : str
        One sentence below the heading.
    caution : str
        What to mind where work can hurt; empty if it cannot.
    says_something : bool
        Whether a form with nothing filled in says nothing and is refused.
    """

    title: str
    fields: tuple[Field, ...]
    about: str = ""
    caution: str = ""
    says_something: bool = True


def _mm(name: str, label: str, **rest: str | bool) -> Field:
    return Field(name=name, label=label, unit="mm", factor=1e-3, mistaken=_INCHES, **rest)  # pyright: ignore[reportArgumentType]  # passed through


_INCHES = (("inches", 25.4e-3),)
_FORCES = (("newtons", 1.0), ("ounces", 0.2780138509537812))
#: Pressures as manometers show them, in pascals; centimetres of water at 4 °C.
_PRESSURES = (("hPa", 100.0), ("mbar", 100.0), ("cmH2O", 98.0665), ("kPa", 1000.0))
_GRAMS = 9.80665e-3  # newtons
_YES = (("yes", mark("yes")), ("no", mark("no")), ("unsure", mark("not sure")))
_ZONES = tuple(
    (z, z)
    for z in (
        mark("tip"),
        mark("corners"),
        mark("transition"),
        mark("heart"),
        mark("spine"),
        mark("windows"),
        mark("rails"),
        mark("back"),
    )
)
_KNIFE = mark(
    "Sharp knife, plaque seated, cut away from you with the thumb behind the edge. "
    "Scrape wet and wipe, do not blow: cane dust is bad for the lungs."
)
_BLOWING = mark(
    "Do not share a reed unwashed. Stop at dizziness, headache or pressure in the head; "
    "never force a reed that will not speak."
)


def _answer(name: str, label: str) -> Field:
    return Field(name=name, label=label, kind="choice", choices=_YES)


FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "lengths": Form(
            title=mark("Lengths"),
            fields=(
                _mm(
                    "overall",
                    mark("Overall length"),
                    hint=mark("From the bottom rim of the staple tube to the tip."),
                    needed=True,
                ),
                _mm(
                    "overall_uncertainty",
                    mark("How well it is known, ±"),
                    hint=mark("One standard deviation; a ruler gives about 0.25 mm."),
                ),
                _mm(
                    "thread_top",
                    mark("Top of the thread"),
                    hint=mark("From the bottom rim; leave empty if not measured."),
                ),
            ),
        ),
        "opening": Form(
            title=mark("Opening"),
            about=mark("The gap between the blades at the tip, wet and at rest."),
            fields=(
                _mm("height", mark("Height"), needed=True),
                _mm(
                    "uncertainty",
                    mark("How well it is known, ±"),
                    hint=mark("One standard deviation; a photograph with a scale gives 0.05 mm."),
                ),
            ),
        ),
        "note": Form(
            title=mark("Note"),
            fields=(Field(name="text", label=mark("In your words"), kind="text", needed=True),),
        ),
        "cut": Form(
            title=mark("Cut"),
            about=mark("Cane that was taken off with the knife."),
            caution=_KNIFE,
            fields=(
                Field(
                    name="zone",
                    label=mark("Where"),
                    kind="suggest",
                    choices=_ZONES,
                    needed=True,
                ),
                Field(
                    name="blades",
                    label=mark("Which blade"),
                    kind="ticks",
                    choices=(("marked", mark("marked blade")), ("plain", mark("plain blade"))),
                    needed=True,
                ),
                Field(
                    name="sides",
                    label=mark("Which side, seen facing the blade, tip up"),
                    kind="ticks",
                    choices=(("left", mark("left")), ("right", mark("right"))),
                    hint=mark("Leave both empty if it was cut all across."),
                ),
                Field(name="strokes", label=mark("Strokes"), whole=True),
                _mm("depth", mark("Depth, if measured")),
                Field(name="remark", label=mark("Remark"), kind="text"),
            ),
        ),
        "clip": Form(
            title=mark("Clip"),
            about=mark("Length taken off the tip."),
            caution=mark("Clip on the block; keep fingers clear of the edge."),
            fields=(
                _mm(
                    "amount",
                    mark("Amount"),
                    hint=mark("Leave empty if it was not measured; the length is then not known."),
                ),
                Field(
                    name="against",
                    label=mark("Measured against"),
                    kind="choice",
                    choices=(
                        ("stop", mark("a stop")),
                        ("ruler", mark("a ruler")),
                        ("eye", mark("judged by eye")),
                    ),
                ),
            ),
        ),
        "wetting": Form(
            title=mark("Soaking or wiping"),
            fields=(
                Field(
                    name="how",
                    label=mark("What was done"),
                    kind="choice",
                    choices=(("soaked", mark("soaked")), ("wiped", mark("wiped dry"))),
                    needed=True,
                ),
                Field(name="duration", label=mark("For how long"), unit="min", factor=60.0),
            ),
        ),
        "rest": Form(
            title=mark("Rest"),
            about=mark("The reed was laid aside."),
            says_something=False,
            fields=(Field(name="duration", label=mark("For how long"), unit="h", factor=3600.0),),
        ),
        "knife": Form(
            title=mark("Knife"),
            caution=mark("Stone wet and steady; wipe the slurry, and mind the burr."),
            fields=(
                Field(
                    name="what",
                    label=mark("What was done"),
                    kind="choice",
                    choices=(("sharpened", mark("sharpened")), ("changed", mark("changed"))),
                    needed=True,
                ),
            ),
        ),
        "playing-test": Form(
            title=mark("Playing test"),
            about=mark("Soaked, warm, on the usual oboe. “Not sure” is an answer."),
            caution=_BLOWING,
            fields=(
                _answer("low_soft_attack", mark("Low notes start softly at once")),
                _answer("slurred_octaves", mark("Slurred octaves speak both ways")),
                _answer("high_notes_hold", mark("High notes hold their pitch")),
                _answer("sags_when_lip_loosens", mark("Pitch sags when the lip loosens")),
                _answer("tongues_cleanly", mark("Fast tonguing is clean")),
                _answer("soft_to_loud", mark("Soft to loud without a break")),
            ),
        ),
        "travelled": Form(
            title=mark("Follow-up from a journey"),
            about=mark(
                "What was found there, against home: the same reed, soaked alike, the same oboe. "
                "It teaches the journey page what your own reeds do."
            ),
            caution=_BLOWING,
            fields=(
                Field(
                    name="effect",
                    label=mark("What was compared"),
                    kind="choice",
                    choices=(
                        ("crow-pitch", mark("pitch of the crow, cents")),
                        ("pitch", mark("pitch of a middle note, cents")),
                        ("threshold", mark("pressure where it starts, share: 0.05 is 5 %")),
                    ),
                    needed=True,
                ),
                Field(
                    name="found",
                    label=mark("There less at home"),
                    hint=mark("Positive: higher or harder there."),
                    needed=True,
                ),
                Field(
                    name="accuracy",
                    label=mark("How well it is known, ±"),
                    hint=mark("One standard deviation, in the same unit."),
                    needed=True,
                ),
                Field(name="home_altitude", label=mark("Altitude at home"), unit="m", needed=True),
                Field(name="altitude", label=mark("Altitude there"), unit="m", needed=True),
                Field(name="remark", label=mark("Remark"), kind="text"),
            ),
        ),
        "verdict": Form(
            title=mark("Verdict"),
            about=mark("What the player says."),
            fields=(
                Field(name="words", label=mark("In the player's words"), kind="text"),
                Field(
                    name="grade",
                    label=mark("Grade"),
                    kind="choice",
                    choices=(
                        ("", mark("none")),
                        ("1", mark("1, poor")),
                        ("2", "2"),
                        ("3", "3"),
                        ("4", "4"),
                        ("5", mark("5, very good")),
                    ),
                ),
            ),
        ),
        "climate": Form(
            title=mark("Climate"),
            about=mark("The air in the room."),
            fields=(
                Field(name="temperature", label=mark("Temperature"), unit="°C", offset=273.15),
                Field(name="humidity", label=mark("Relative humidity"), unit="%", factor=0.01),
                Field(name="pressure", label=mark("Air pressure"), unit="hPa", factor=100.0),
            ),
        ),
        "force-test": Form(
            title=mark("Force test"),
            about=mark(
                "The force that presses each wet blade in by about a tenth of a millimetre between "
                "two flat pads. The how-to stands on the page “What was learned of this reed”."
            ),
            caution=mark(
                "Cane splits: stop if it creaks, stay below 300 g and 0.25 mm. Never press the "
                "tip's edge. Take the plaque out."
            ),
            fields=(
                Field(
                    name="force",
                    label=mark("Force"),
                    unit="g",
                    factor=_GRAMS,
                    hint=mark("Middle of the readings of the scale, zeroed at first touch."),
                    needed=True,
                    mistaken=_FORCES,
                ),
                Field(
                    name="uncertainty",
                    label=mark("How well it is known, ±"),
                    unit="g",
                    factor=_GRAMS,
                    hint=mark("One standard deviation over repeats."),
                ),
                _mm(
                    "depth",
                    mark("How far each blade was pressed in"),
                    hint=mark("Half the way of the pads, with the sinking of the scale taken off."),
                ),
                _mm("depth_uncertainty", mark("How well that is known, ±")),
                _mm(
                    "pad_from_tip",
                    mark("Middle of the pad from the tip"),
                    hint=mark("Not nearer than 6 mm."),
                ),
                _mm("pad_length", mark("Length of the pad along the reed")),
            ),
        ),
        "crow-start": Form(
            title=mark("Where the crow starts"),
            about=mark(
                "The pressure at which a slowly rising crow, without lip, begins; by a manometer."
            ),
            caution=_BLOWING,
            fields=(
                Field(
                    name="pressure",
                    label=mark("Pressure"),
                    units=_PRESSURES,
                    unit_from="read_in",
                    needed=True,
                ),
                Field(
                    name="read_in",
                    label=mark("The manometer shows"),
                    kind="choice",
                    choices=tuple((name, name) for name, _ in _PRESSURES),
                    needed=True,
                ),
                Field(
                    name="uncertainty",
                    label=mark("How well it is known, ±"),
                    units=_PRESSURES,
                    unit_from="read_in",
                    hint=mark("One standard deviation over several blows, in the same unit."),
                ),
            ),
        ),
        "described": Form(
            title=mark("Description"),
            about=mark("What the reed is. The latest description counts as a whole."),
            fields=(
                Field(name="thread_colour", label=mark("Thread colour"), kind="line"),
                Field(name="cork_number", label=mark("Number on the cork"), kind="line"),
                Field(
                    name="style",
                    label=mark("Scrape style"),
                    kind="choice",
                    choices=(("", mark("not stated")), *STYLES.items()),
                    more=True,
                    hint=mark("The thickness map is drawn around its figures."),
                ),
                _mm("tie_length", mark("Tied at"), section=mark("Tying")),
                _mm("overlap", mark("Overlap"), section=mark("Tying")),
                _mm("staple.length", mark("Staple length"), section=mark("Staple")),
                _mm("staple.bore_top", mark("Staple bore, top"), section=mark("Staple")),
                _mm("staple.bore_bottom", mark("Staple bore, bottom"), section=mark("Staple")),
                _mm("shape.tip_width", mark("Shape, width at the tip"), section=mark("Shape")),
                _mm("shape.waist_width", mark("Shape, width at the waist"), section=mark("Shape")),
                _mm("cane.diameter", mark("Cane diameter"), section=mark("Cane")),
                _mm("cane.gouge_centre", mark("Gouge, centre"), section=mark("Cane")),
                _mm("cane.gouge_side", mark("Gouge, sides"), section=mark("Cane")),
                Field(name="cane.hardness", label=mark("Cane hardness"), section=mark("Cane")),
                Field(
                    name="cane.hardness_device",
                    label=mark("Measured with"),
                    kind="line",
                    section=mark("Cane"),
                ),
                Field(
                    name="cane.source", label=mark("Cane from"), kind="line", section=mark("Cane")
                ),
            ),
        ),
    }
)
