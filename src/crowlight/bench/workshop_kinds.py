"""Kinds of entry about the workshop: posted reeds, their way through it, and their end."""

from __future__ import annotations

from datetime import date
from typing import Annotated, ClassVar, Literal, get_args
from uuid import UUID

from pydantic import Field, ValidationInfo, field_validator

from crowlight.bench.payload import Answer, Line, Payload, Text
from crowlight.errors import InputError

__all__ = [
    "LETTER_PARTS",
    "MAKING",
    "POSTED",
    "WORKSHOP_KINDS",
    "CaneTube",
    "Consent",
    "FollowUp",
    "Gouge",
    "Intake",
    "Letter",
    "Minutes",
    "Outcome",
    "Photo",
    "Played",
    "ShapedWith",
    "Stage",
    "StageName",
    "Tie",
]

#: Stages of a reed of one's own making, in order, and of a posted one.
MAKING = ("gouged", "shaped", "tied", "scraped", "finished", "sold")
POSTED = (
    "waiting",
    "acclimatising",
    "on-the-bench",
    "resting",
    "ready",
    "posted",
    "follow-up",
    "done",
)
StageName = Literal[
    "gouged",
    "shaped",
    "tied",
    "scraped",
    "finished",
    "sold",
    "waiting",
    "acclimatising",
    "on-the-bench",
    "resting",
    "ready",
    "posted",
    "follow-up",
    "done",
]
#: What a player allows: ``unknown`` was never said, and is asked about, not guessed.
Allowed = Literal["yes", "no", "ask", "unknown"]
#: Usual indoor climates; see `crowlight.plan.seasons`. Empty where nobody said.
Season = Literal["", "mild-season", "heated-winter", "damp-summer", "dry-summer", "air-conditioned"]


class Intake(Payload):
    """A posted reed came in. Who plays it stands with the reed, where names can be erased.

    Altitude [m] and air of the hall [K, 0-1] are those the reed is wanted for; `season` is the
    usual indoor climate where nobody measured. `age` is the time since it was made, `played` the
    time it was played [s].
    """

    kind: ClassVar[str] = "intake"
    place: UUID | None = None
    altitude: Annotated[float, Field(ge=-500, le=5500)] | None = None
    hall_temperature: Annotated[float, Field(gt=243, lt=328)] | None = None
    hall_humidity: Annotated[float, Field(ge=0, le=1)] | None = None
    season: Season = ""
    instrument: Line = ""
    staple: Line = ""
    complaint: Text = ""
    age: Annotated[float, Field(ge=0, lt=1e9)] | None = None
    played: Annotated[float, Field(ge=0, lt=1e7)] | None = None
    earlier_cuts: Text = ""
    deadline: date | None = None
    may_play: Allowed = "unknown"
    may_clean: Allowed = "unknown"
    may_cut: Allowed = "unknown"
    may_break: Allowed = "unknown"
    afterwards: Literal["return", "discard", "ask"] = "ask"
    allergies: Text = ""
    hygiene: Text = ""


class Consent(Payload):
    """The player was asked, or something was done without asking and that is said here."""

    kind: ClassVar[str] = "consent"
    to: Literal["play", "clean", "cut", "break"]
    answer: Literal["yes", "no", "not-asked"]
    how: Line = ""


class Stage(Payload):
    """Where a reed has got to; `until` is the day something is due, such as the end of a rest."""

    kind: ClassVar[str] = "stage"
    stage: StageName
    until: date | None = None
    remark: Text = ""


class Minutes(Payload):
    """Attention a reed took [s], and what was paid for it."""

    kind: ClassVar[str] = "minutes"
    duration: Annotated[float, Field(ge=0, lt=1e6)] | None = None
    what: Line = ""
    cost: Annotated[float, Field(ge=0, lt=1e7)] | None = None
    currency: Annotated[Line, Field(pattern=r"^([A-Z]{3})?$", validate_default=True)] = ""

    @field_validator("currency")
    @classmethod
    def _of_a_cost(cls, currency: str, info: ValidationInfo) -> str:
        if info.data.get("cost") and not currency:
            msg = "is needed with a cost; give its three letters (ISO 4217), such as EUR"
            raise InputError(msg)
        return currency


class Outcome(Payload):
    """How it ended, as it was: sellable or not, given up, or broken, and why."""

    kind: ClassVar[str] = "outcome"
    outcome: Literal["sellable", "given-up", "broke"]
    reason: Line = ""
    where: Literal["", "bench", "post", "player", "not-known"] = ""
    remark: Text = ""


class Photo(Payload):
    """A picture kept by its digest, as it came."""

    kind: ClassVar[str] = "photo"
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    media_type: Literal["image/jpeg", "image/png", "image/webp"]
    shows: Literal[
        "whole", "marked", "plain", "light", "opening", "tip", "staple", "damage", "other"
    ]
    remark: Text = ""


class Played(Payload):
    """The reed was played for so long [s] since the last such entry."""

    kind: ClassVar[str] = "played"
    duration: Annotated[float, Field(gt=0, lt=1e7)]
    remark: Text = ""


class FollowUp(Payload):
    """What a player sent back after using the reed at home; opening [m], played [s]."""

    kind: ClassVar[str] = "follow-up"
    starts_softly: Answer = "unsure"
    pitch: Literal["low", "right", "high", "unsure"] = "unsure"
    resistance: Literal["hard", "right", "soft", "unsure"] = "unsure"
    opening: Annotated[float, Field(ge=0, lt=5e-3)] | None = None
    tried_the_change: Answer = "unsure"
    still_played: Answer = "unsure"
    played: Annotated[float, Field(ge=0, lt=1e7)] | None = None
    words: Text = ""


# --- from cane to blank: what a description does not hold -----------------------------------------


class CaneTube(Payload):
    """The tube a reed came from [m]: round and straight as found, its lot and colour."""

    kind: ClassVar[str] = "cane-tube"
    lot: Line = ""
    diameter_least: Annotated[float, Field(gt=5e-3, lt=30e-3)] | None = None
    diameter_most: Annotated[float, Field(gt=5e-3, lt=30e-3)] | None = None
    rocking: Annotated[float, Field(ge=0, lt=5e-3)] | None = None
    colour: Line = ""
    remark: Text = ""


class Gouge(Payload):
    """Thickness of the gouged piece as measured, and its length [m]."""

    kind: ClassVar[str] = "gouge"
    state: Literal["wet", "dry", "unknown"] = "unknown"
    centre: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    left: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    right: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    near_end: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    far_end: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    length: Annotated[float, Field(gt=30e-3, lt=200e-3)] | None = None
    remark: Text = ""


class ShapedWith(Payload):
    """The shape a piece was cut to, by the maker's own name for the tool."""

    kind: ClassVar[str] = "shaped"
    tool: Line = ""
    sides_even: Answer = "unsure"
    remark: Text = ""


class Tie(Payload):
    """How it was tied.

    `thread_end` is where the thread ends [m], less the top of the staple: above zero is past it.
    `slip` is the way the marked blade was shifted, as seen facing it.
    """

    kind: ClassVar[str] = "tie"
    turns: Annotated[int, Field(ge=0, le=200)] | None = None
    thread_end: Annotated[float, Field(gt=-10e-3, lt=5e-3)] | None = None
    sides_close: Answer = "unsure"
    slip: Literal["none", "left", "right", "unsure"] = "unsure"
    leaks: Answer = "unsure"
    sealed_with: Line = ""
    remark: Text = ""


# --- the letter -----------------------------------------------------------------------------------

LetterPart = Literal[
    "greeting",
    "came",
    "found",
    "done",
    "left-alone",
    "expect",
    "care",
    "try",
    "questions",
    "closing",
]
#: Parts of a letter, in the order in which they are read.
LETTER_PARTS: tuple[LetterPart, ...] = get_args(LetterPart)


class Letter(Payload):
    """A letter to the player as it was edited: its parts in words, empty ones left out."""

    kind: ClassVar[str] = "letter"
    student: bool = False
    parts: dict[LetterPart, Text]

    @field_validator("parts")
    @classmethod
    def _says_something(cls, parts: dict[LetterPart, Text]) -> dict[LetterPart, Text]:
        if not any(parts.values()):
            msg = "holds no words; write some, or leave the letter as it is drafted"
            raise InputError(msg)
        return parts


WORKSHOP_KINDS: tuple[type[Payload], ...] = (
    Intake,
    Consent,
    Stage,
    Minutes,
    Outcome,
    Photo,
    Played,
    FollowUp,
    CaneTube,
    Gouge,
    ShapedWith,
    Tie,
    Letter,
)
