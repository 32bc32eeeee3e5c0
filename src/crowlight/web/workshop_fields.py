"""What is asked about posted reeds, the way through the workshop, and from cane to blank."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from crowlight.report.journey_rows import CLIMATES
from crowlight.report.posted_words import (
    ALLOWED,
    CONSENT_ANSWERS,
    CONSENT_TO,
    OUTCOMES,
    REASONS,
    STAGES,
    WHERE,
)
from crowlight.report.words import mark
from crowlight.web.field import Field, Form, answer, mm

__all__ = ["HYGIENE", "WORKSHOP_FORMS"]

_HOURS = 3600.0  # seconds
_DAYS = 86_400.0
HYGIENE = mark(
    "Wash your hands, and clean a reed that was in another mouth before you put it in yours. "
    "Ask about allergies, do not guess: varnish, glue, beeswax, latex, what the reed is soaked in."
)


def _allowed(name: str, label: str, hint: str = "") -> Field:
    return Field(
        name=name,
        label=label,
        kind="choice",
        choices=tuple(ALLOWED.items()),
        hint=hint,
        section=mark("What the player allows"),
    )


def _text(name: str, label: str, **rest: str | bool) -> Field:
    return Field(name=name, label=label, kind="text", **rest)  # pyright: ignore[reportArgumentType]  # passed through


def _line(name: str, label: str, **rest: str | bool) -> Field:
    return Field(name=name, label=label, kind="line", **rest)  # pyright: ignore[reportArgumentType]  # passed through


_WHERE_PLAYED = mark("Where it will be played")

WORKSHOP_FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "intake": Form(
            title=mark("Intake"),
            about=mark("A reed that was sent in. What was not said stays open: ask, do not guess."),
            caution=HYGIENE,
            fields=(
                _text(
                    "complaint",
                    mark("What is wrong, in the player's own words"),
                    hint=mark("As it was written or said; nothing is read into it."),
                ),
                Field(
                    name="place",
                    label=mark("Place"),
                    kind="choice",
                    choices=(("", mark("not stated")),),
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
                Field(
                    name="hall_humidity",
                    label=mark("Hall, relative humidity"),
                    unit="%",
                    factor=0.01,
                    section=_WHERE_PLAYED,
                ),
                Field(
                    name="season",
                    label=mark("Air of the hall, if nobody measured"),
                    kind="choice",
                    choices=(("", mark("not stated")), *CLIMATES.items()),
                    section=_WHERE_PLAYED,
                ),
                _line("instrument", mark("Instrument"), section=mark("The reed")),
                _line("staple", mark("Staple, as the player says"), section=mark("The reed")),
                Field(
                    name="age",
                    label=mark("Age"),
                    unit="d",
                    factor=_DAYS,
                    hint=mark("Days since it was finished."),
                    section=mark("The reed"),
                ),
                Field(
                    name="played",
                    label=mark("Played so far"),
                    unit="h",
                    factor=_HOURS,
                    section=mark("The reed"),
                ),
                _text("earlier_cuts", mark("Earlier cuts"), section=mark("The reed")),
                Field(
                    name="deadline",
                    label=mark("Needed back by"),
                    kind="day",
                    section=mark("The reed"),
                ),
                _allowed("may_play", mark("To play it here")),
                _allowed("may_clean", mark("To clean it")),
                _allowed("may_cut", mark("To cut it")),
                _allowed(
                    "may_break",
                    mark("To risk breaking it"),
                    mark("Old and thin reeds may split under the knife."),
                ),
                Field(
                    name="afterwards",
                    label=mark("If it cannot be saved"),
                    kind="choice",
                    choices=(
                        ("ask", mark("ask me")),
                        ("return", mark("send it back")),
                        ("discard", mark("throw it away")),
                    ),
                    section=mark("What the player allows"),
                ),
                _text(
                    "allergies",
                    mark("Allergies, as the player told them"),
                    hint=mark("Ask, do not guess. Empty means that nobody asked yet."),
                    section=mark("Health"),
                ),
                _text(
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
                Field(
                    name="to",
                    label=mark("To do what"),
                    kind="choice",
                    choices=tuple(CONSENT_TO.items()),
                    needed=True,
                ),
                Field(
                    name="answer",
                    label=mark("Answer"),
                    kind="choice",
                    choices=tuple(CONSENT_ANSWERS.items()),
                    needed=True,
                ),
                _line("how", mark("How and when they were asked")),
            ),
        ),
        "stage": Form(
            title=mark("Stage"),
            fields=(
                Field(
                    name="stage",
                    label=mark("Where it has got to"),
                    kind="choice",
                    choices=tuple(STAGES.items()),
                    needed=True,
                ),
                Field(
                    name="until",
                    label=mark("Until, or due"),
                    kind="day",
                    hint=mark("End of a rest, day of a follow-up; it goes into the calendar."),
                ),
                _text("remark", mark("Remark")),
            ),
        ),
        "minutes": Form(
            title=mark("Minutes and cost"),
            about=mark("Attention this reed took, and what was paid. Failed reeds count as well."),
            fields=(
                Field(name="duration", label=mark("Minutes of attention"), unit="min", factor=60.0),
                _line("what", mark("For what")),
                Field(name="cost", label=mark("Cost")),
                _line(
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
                Field(
                    name="outcome",
                    label=mark("How it ended"),
                    kind="choice",
                    choices=tuple(OUTCOMES.items()),
                    needed=True,
                ),
                Field(
                    name="reason",
                    label=mark("Why, if it was not sellable"),
                    kind="suggest",
                    choices=tuple((said, said) for said in REASONS),
                ),
                Field(
                    name="where",
                    label=mark("Where it broke"),
                    kind="choice",
                    choices=tuple(WHERE.items()),
                ),
                _text("remark", mark("Remark")),
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
                _text("remark", mark("Remark")),
            ),
        ),
        "follow-up": Form(
            title=mark("Player's answers"),
            about=mark("What the player sent back after using the reed at home."),
            fields=(
                answer("starts_softly", mark("Low notes start softly at once")),
                Field(
                    name="pitch",
                    label=mark("Its pitch there"),
                    kind="choice",
                    choices=(
                        ("low", mark("too low")),
                        ("right", mark("right")),
                        ("high", mark("too high")),
                        ("unsure", mark("not sure")),
                    ),
                ),
                Field(
                    name="resistance",
                    label=mark("How it blows there"),
                    kind="choice",
                    choices=(
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
                _text("words", mark("In the player's words")),
            ),
        ),
        "cane-tube": Form(
            title=mark("Cane tube"),
            fields=(
                _line("lot", mark("Bag or lot")),
                mm("diameter_least", mark("Diameter, least")),
                mm("diameter_most", mark("Diameter, most")),
                mm("rocking", mark("Gap under it on a flat plate")),
                _line("colour", mark("Colour")),
                _text("remark", mark("Remark")),
            ),
        ),
        "gouge": Form(
            title=mark("Gouge"),
            about=mark("The gouged piece, as the gauge showed it; wet and dry are kept apart."),
            caution=mark("The blade of the gouge is sharp: fingers behind it. Cane dust: wipe it."),
            fields=(
                Field(
                    name="state",
                    label=mark("Wet or dry"),
                    kind="choice",
                    choices=(
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
                _text("remark", mark("Remark")),
            ),
        ),
        "shaped": Form(
            title=mark("Shape"),
            fields=(
                _line("tool", mark("Shaper, by your name for it")),
                answer("sides_even", mark("Both sides are cut alike")),
                _text("remark", mark("Remark")),
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
                Field(
                    name="slip",
                    label=mark("Marked blade shifted sideways, seen facing it"),
                    kind="choice",
                    choices=(
                        ("none", mark("not at all")),
                        ("left", mark("to the left")),
                        ("right", mark("to the right")),
                        ("unsure", mark("not sure")),
                    ),
                ),
                answer("leaks", mark("It leaks")),
                _line("sealed_with", mark("Sealed with")),
                _text("remark", mark("Remark")),
            ),
            caution=mark(
                "Varnish and glue: fresh air, and dry before the reed goes into a mouth; keep them "
                "below the part the lips touch. Ask about allergies first."
            ),
        ),
    }
)
