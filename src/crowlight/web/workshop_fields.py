"""What is asked about posted reeds, the way through the workshop, and from cane to blank."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from crowlight.report.journey_rows import CLIMATES
from crowlight.report.posted_words import (
    AFTERWARDS,
    ALLOWED,
    CONSENT_ANSWERS,
    CONSENT_TO,
    OUTCOMES,
    REASONS,
    STAGES,
    WHERE,
)
from crowlight.report.words import mark
from crowlight.web.field import REMARK, Field, Form, answer, choice, humidity, line, mm, text

__all__ = ["HYGIENE", "WORKSHOP_FORMS"]

_HOURS = 3600.0  # seconds
_DAYS = 86_400.0
HYGIENE = mark(
    "Wash your hands, and clean a reed that was in another mouth before you put it in yours. "
    "Ask about allergies, do not guess: varnish, glue, beeswax, latex, what the reed is soaked in."
)


_WHERE_PLAYED = mark("Where it will be played")
_THE_REED = mark("The reed")
_ALLOWS = mark("What the player allows")


def _allowed(name: str, label: str, hint: str = "") -> Field:
    return choice(name, label, ALLOWED.items(), hint=hint, section=_ALLOWS)


WORKSHOP_FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "intake": Form(
            title=mark("Intake"),
            about=mark("A reed that was sent in. What was not said stays open: ask, do not guess."),
            caution=HYGIENE,
            fields=(
                text(
                    "complaint",
                    mark("What is wrong, in the player's own words"),
                    hint=mark("As it was written or said; nothing is read into it."),
                ),
                choice(
                    "place",
                    mark("Place"),
                    (("", mark("not stated")),),
                    more=True,
                    section=_WHERE_PLAYED,
                ),
                Field(
                    name="altitude",
                    label=mark("Altitude"),
                    unit="m",
                    hint=mark("Above sea level; empty takes that of the place."),
                    section=_WHERE_PLAYED,
                ),
                Field(
                    name="hall_temperature",
                    label=mark("Hall, temperature"),
                    unit="°C",
                    offset=273.15,
                    section=_WHERE_PLAYED,
                ),
                humidity("hall_humidity", mark("Hall, relative humidity"), section=_WHERE_PLAYED),
                choice(
                    "season",
                    mark("Air of the hall, if nobody measured"),
                    (("", mark("not stated")), *CLIMATES.items()),
                    section=_WHERE_PLAYED,
                ),
                line("instrument", mark("Instrument"), section=_THE_REED),
                line("staple", mark("Staple, as the player says"), section=_THE_REED),
                Field(
                    name="age",
                    label=mark("Age"),
                    unit="d",
                    factor=_DAYS,
                    hint=mark("Days since it was finished."),
                    section=_THE_REED,
                ),
                Field(
                    name="played",
                    label=mark("Played so far"),
                    unit="h",
                    factor=_HOURS,
                    section=_THE_REED,
                ),
                text("earlier_cuts", mark("Earlier cuts"), section=_THE_REED),
                Field(
                    name="deadline",
                    label=mark("Needed back by"),
                    kind="day",
                    section=_THE_REED,
                ),
                _allowed("may_play", mark("To play it here")),
                _allowed("may_clean", mark("To clean it")),
                _allowed("may_cut", mark("To cut it")),
                _allowed(
                    "may_break",
                    mark("To risk breaking it"),
                    mark("Old and thin reeds may split under the knife."),
                ),
                choice(
                    "afterwards",
                    mark("If it cannot be saved"),
                    tuple(AFTERWARDS.items()),
                    section=_ALLOWS,
                ),
                text(
                    "allergies",
                    mark("Allergies, as the player told them"),
                    hint=mark("Ask, do not guess. Empty means that nobody asked yet."),
                    section=mark("Health"),
                ),
                text(
                    "hygiene",
                    mark("Cleaning, and what to keep apart"),
                    section=mark("Health"),
                ),
            ),
        ),
        "consent": Form(
            title=mark("Consent"),
            about=mark("What the player answered when asked, and how they were asked."),
            fields=(
                choice(
                    "to",
                    mark("To do what"),
                    CONSENT_TO.items(),
                    needed=True,
                ),
                choice(
                    "answer",
                    mark("Answer"),
                    CONSENT_ANSWERS.items(),
                    needed=True,
                ),
                line("how", mark("How and when they were asked")),
            ),
        ),
        "stage": Form(
            title=mark("Stage"),
            fields=(
                choice(
                    "stage",
                    mark("Where it has got to"),
                    STAGES.items(),
                    needed=True,
                ),
                Field(
                    name="until",
                    label=mark("Until, or due"),
                    kind="day",
                    hint=mark("End of a rest, day of a follow-up; it goes into the calendar."),
                ),
                REMARK,
            ),
        ),
        "minutes": Form(
            title=mark("Minutes and cost"),
            about=mark("Attention this reed took, and what was paid. Failed reeds count as well."),
            fields=(
                Field(name="duration", label=mark("Minutes of attention"), unit="min", factor=60.0),
                line("what", mark("For what")),
                Field(name="cost", label=mark("Cost")),
                line(
                    "currency",
                    mark("Currency"),
                    hint=mark("Three letters (ISO 4217), such as EUR."),
                ),
            ),
        ),
        "outcome": Form(
            title=mark("Outcome"),
            about=mark("How it ended, as it was. A reed that broke counts like any other."),
            fields=(
                choice(
                    "outcome",
                    mark("How it ended"),
                    OUTCOMES.items(),
                    needed=True,
                ),
                Field(
                    name="reason",
                    label=mark("Why, if it was not sellable"),
                    kind="suggest",
                    choices=tuple((said, said) for said in REASONS),
                ),
                choice(
                    "where",
                    mark("Where it broke"),
                    WHERE.items(),
                ),
                REMARK,
            ),
        ),
        "played": Form(
            title=mark("Hours played"),
            fields=(
                Field(
                    name="duration",
                    label=mark("Played since the last such entry"),
                    unit="h",
                    factor=_HOURS,
                    needed=True,
                ),
                REMARK,
            ),
        ),
        "follow-up": Form(
            title=mark("Player's answers"),
            about=mark("What the player sent back after using the reed at home."),
            fields=(
                answer("starts_softly", mark("Low notes start softly at once")),
                choice(
                    "pitch",
                    mark("Its pitch there"),
                    (
                        ("low", mark("too low")),
                        ("right", mark("right")),
                        ("high", mark("too high")),
                        ("unsure", mark("not sure")),
                    ),
                ),
                choice(
                    "resistance",
                    mark("How it blows there"),
                    (
                        ("hard", mark("too hard")),
                        ("right", mark("right")),
                        ("soft", mark("too soft")),
                        ("unsure", mark("not sure")),
                    ),
                ),
                mm("opening", mark("Opening there, if measured")),
                answer("tried_the_change", mark("The one change of the letter was tried")),
                answer("still_played", mark("It is still played")),
                Field(name="played", label=mark("Played so far"), unit="h", factor=_HOURS),
                text("words", mark("In the player's words")),
            ),
        ),
        "cane-tube": Form(
            title=mark("Cane tube"),
            fields=(
                line("lot", mark("Bag or lot")),
                mm("diameter_least", mark("Diameter, least")),
                mm("diameter_most", mark("Diameter, most")),
                mm("rocking", mark("Gap under it on a flat plate")),
                line("colour", mark("Colour")),
                REMARK,
            ),
        ),
        "gouge": Form(
            title=mark("Gouge"),
            about=mark("The gouged piece, as the gauge showed it; wet and dry are kept apart."),
            caution=mark("The blade of the gouge is sharp: fingers behind it. Cane dust: wipe it."),
            fields=(
                choice(
                    "state",
                    mark("Wet or dry"),
                    (
                        ("wet", mark("wet")),
                        ("dry", mark("dry")),
                        ("unknown", mark("not stated")),
                    ),
                ),
                mm("centre", mark("Centre")),
                mm("left", mark("Left side")),
                mm("right", mark("Right side")),
                mm("near_end", mark("Centre, near end")),
                mm("far_end", mark("Centre, far end")),
                mm("length", mark("Length of the piece")),
                REMARK,
            ),
        ),
        "shaped": Form(
            title=mark("Shape"),
            fields=(
                line("tool", mark("Shaper, by your name for it")),
                answer("sides_even", mark("Both sides are cut alike")),
                REMARK,
            ),
        ),
        "tie": Form(
            title=mark("Tying"),
            fields=(
                Field(name="turns", label=mark("Turns of thread"), whole=True),
                mm(
                    "thread_end",
                    mark("Where the thread ends, from the top of the staple"),
                    hint=mark("Below the top is negative: −0.5. Above zero it is past the staple."),
                ),
                answer("sides_close", mark("Sides close just as the thread gets there")),
                choice(
                    "slip",
                    mark("Marked blade shifted sideways, seen facing it"),
                    (
                        ("none", mark("not at all")),
                        ("left", mark("to the left")),
                        ("right", mark("to the right")),
                        ("unsure", mark("not sure")),
                    ),
                ),
                answer("leaks", mark("It leaks")),
                line("sealed_with", mark("Sealed with")),
                REMARK,
            ),
            caution=mark(
                "Varnish and glue: fresh air, and dry before the reed goes into a mouth; keep them "
                "below the part the lips touch. Ask about allergies first."
            ),
        ),
    }
)
