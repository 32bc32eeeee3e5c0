"""What is asked for each kind of entry, in the units people use."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from crowlight.report.words import STYLES, mark
from crowlight.web.advice_forms import ADVICE_FORMS
from crowlight.web.batch_forms import BATCH_FORMS
from crowlight.web.field import (
    BLADES,
    BLOWING,
    KNIFE,
    PARTS,
    PRESSURES,
    REMARK,
    ZONES,
    Field,
    Form,
    answer,
    followed,
    humidity,
    mm,
)
from crowlight.web.workshop_fields import WORKSHOP_FORMS

__all__ = ["FORMS"]

_FORCES = (("newtons", 1.0), ("ounces", 0.2780138509537812))
_GRAMS = 9.80665e-3  # newtons

FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "lengths": Form(
            title=mark("Lengths"),
            fields=(
                mm(
                    "overall",
                    mark("Overall length"),
                    hint=mark("From the bottom rim of the staple tube to the tip."),
                    needed=True,
                ),
                mm(
                    "overall_uncertainty",
                    mark("How well it is known, ±"),
                    hint=mark("One standard deviation; a ruler gives about 0.25 mm."),
                ),
                mm(
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
                mm("height", mark("Height"), least=0.02, needed=True),
                mm(
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
            caution=KNIFE,
            fields=(
                Field(
                    name="zone",
                    label=mark("Where"),
                    kind="suggest",
                    choices=ZONES,
                    needed=True,
                ),
                Field(
                    name="blades",
                    label=mark("Which blade"),
                    kind="ticks",
                    choices=BLADES,
                    needed=True,
                ),
                Field(
                    name="sides",
                    label=mark("Which side, seen facing the blade, tip up"),
                    kind="ticks",
                    choices=(("left", mark("left")), ("right", mark("right"))),
                    hint=mark("Leave both empty if it was cut all across."),
                ),
                Field(
                    name="part",
                    label=mark("Which part of it"),
                    kind="choice",
                    choices=PARTS,
                ),
                Field(name="strokes", label=mark("Strokes"), whole=True),
                Field(
                    name="direction",
                    label=mark("Strokes ran"),
                    kind="choice",
                    choices=(
                        ("along", mark("along the grain")),
                        ("oblique", mark("outward to the corners")),
                    ),
                ),
                mm("depth", mark("Depth, if measured")),
                REMARK,
                *followed(),
            ),
        ),
        "clip": Form(
            title=mark("Clip"),
            about=mark("Length taken off the tip."),
            caution=mark("Clip on the block; keep fingers clear of the edge."),
            fields=(
                mm(
                    "amount",
                    mark("Amount"),
                    least=0.01,
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
                *followed(),
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
            fields=(
                Field(name="duration", label=mark("For how long"), unit="h", factor=3600.0),
                *followed(),
            ),
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
            caution=BLOWING,
            fields=(
                answer("low_soft_attack", mark("Low notes start softly at once")),
                answer("slurred_octaves", mark("Slurred octaves speak both ways")),
                answer("high_notes_hold", mark("High notes hold their pitch")),
                answer("sags_when_lip_loosens", mark("Pitch sags when the lip loosens")),
                answer("tongues_cleanly", mark("Fast tonguing is clean")),
                answer("soft_to_loud", mark("Soft to loud without a break")),
            ),
        ),
        "travelled": Form(
            title=mark("Follow-up from a journey"),
            about=mark(
                "What was found there, against home: the same reed, soaked alike, the same oboe. "
                "It teaches the journey page what your own reeds do."
            ),
            caution=BLOWING,
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
                REMARK,
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
                humidity("humidity", mark("Relative humidity")),
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
                mm(
                    "depth",
                    mark("How far each blade was pressed in"),
                    hint=mark("Half the way of the pads, with the sinking of the scale taken off."),
                ),
                mm("depth_uncertainty", mark("How well that is known, ±")),
                mm(
                    "pad_from_tip",
                    mark("Middle of the pad from the tip"),
                    hint=mark("Not nearer than 6 mm."),
                ),
                mm("pad_length", mark("Length of the pad along the reed")),
            ),
        ),
        "crow-start": Form(
            title=mark("Where the crow starts"),
            about=mark(
                "The pressure at which a slowly rising crow, without lip, begins; by a manometer."
            ),
            caution=BLOWING,
            fields=(
                Field(
                    name="pressure",
                    label=mark("Pressure"),
                    units=PRESSURES,
                    unit_from="read_in",
                    needed=True,
                ),
                Field(
                    name="read_in",
                    label=mark("The manometer shows"),
                    kind="choice",
                    choices=tuple((name, name) for name, _ in PRESSURES),
                    needed=True,
                ),
                Field(
                    name="uncertainty",
                    label=mark("How well it is known, ±"),
                    units=PRESSURES,
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
                mm("tie_length", mark("Tied at"), section=mark("Tying")),
                mm("overlap", mark("Overlap"), section=mark("Tying")),
                mm("staple.length", mark("Staple length"), section=mark("Staple")),
                mm("staple.bore_top", mark("Staple bore, top"), section=mark("Staple")),
                mm("staple.bore_bottom", mark("Staple bore, bottom"), section=mark("Staple")),
                mm("shape.tip_width", mark("Shape, width at the tip"), section=mark("Shape")),
                mm("shape.waist_width", mark("Shape, width at the waist"), section=mark("Shape")),
                mm("cane.diameter", mark("Cane diameter"), section=mark("Cane")),
                mm("cane.gouge_centre", mark("Gouge, centre"), section=mark("Cane")),
                mm("cane.gouge_side", mark("Gouge, sides"), section=mark("Cane")),
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
        **ADVICE_FORMS,
        **WORKSHOP_FORMS,
        **BATCH_FORMS,
    }
)
