"""Kinds of entry about advice: what was wished, guessed, advised and tried, and how it turned out.

Everything is in SI units. What was *done* is a `cut`, `clip`, `rest` or `treated` entry; each may
name the `advised` entry it follows.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, model_validator

from crowlight.bench.payload import Answer, Followed, Line, Part, Payload, Text
from crowlight.errors import InputError
from crowlight.reed import Blade, Side

__all__ = [
    "ADVICE_KINDS",
    "Advised",
    "AfterCheck",
    "Foretold",
    "Guess",
    "Named",
    "Offered",
    "Treated",
    "Trials",
    "Wish",
]

Share = Annotated[float, Field(ge=0, le=1)]
Scale = Annotated[float, Field(ge=-1, le=1)]
#: Kinds of thing that may be done next, as `crowlight.plan.cut.Act`.
Doing = Literal["scrape", "clip", "act", "leave", "rest"]


class _Row(BaseModel):
    """Part of an entry."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Named(_Row):
    """A finding that was named, at its place, with the probability it was given."""

    name: Line
    blade: Blade | None = None
    side: Side | None = None
    support: Literal["strong", "fair", "weak"]
    probability: Share


class Foretold(_Row):
    """Predicted change of one output: 5, 50 and 95 % points, in its unit.

    Where the maker's own cuts put it right, `raw` holds the points as the model alone told them and
    `own_cuts` how many cuts that rests on. Later corrections are learned from `raw`.
    """

    name: Line
    unit: Line
    low: float
    middle: float
    high: float
    basis: tuple[Line, ...] = ()
    raw: tuple[float, float, float] | None = None
    own_cuts: Annotated[int, Field(ge=0)] = 0


class Offered(_Row):
    """One option of an advice, as it was offered; see `crowlight.plan.cut.Option`.

    `cane` is what comes off where it is most: 5, 50 and 95 % points [m]; `better` the probability
    that the reed comes closer to the target.
    """

    kind: Doing
    name: Line
    zone: Line = ""
    part: Part | None = None
    blades: tuple[Blade, ...] = ()
    oblique: bool = False
    strokes: Annotated[int, Field(ge=0, le=1000)] = 0
    clip: Annotated[float, Field(ge=0, lt=5e-3)] = 0.0
    cane: tuple[float, float, float] = (0.0, 0.0, 0.0)
    closer: float = 0.0
    better: Share = 0.5
    harm: Share = 0.0
    expected: tuple[Foretold, ...] = ()


class Advised(Payload):
    """What was advised, so that it can be compared later with what came of it.

    `seq` is the number of the reed's entry it rests on, `digest` that of everything it was worked
    out from, `code` the version of crowlight that did. Version 2 adds what own cuts put right.
    """

    kind: ClassVar[str] = "advised"
    version: ClassVar[int] = 2
    target: Literal["loved reed", "words", "good reeds", "style", "none"]
    target_reed: UUID | None = None
    answer: Literal["findings", "no_finding", "cannot_tell"]
    findings: Annotated[tuple[Named, ...], Field(max_length=100)] = ()
    options: Annotated[tuple[Offered, ...], Field(min_length=1, max_length=10)]
    advised: Annotated[int, Field(ge=0)]
    notes: tuple[Line, ...] = ()
    seq: Annotated[int, Field(ge=0)]
    code: Line
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]

    @model_validator(mode="after")
    def _one_of_them(self) -> Advised:
        if self.advised >= len(self.options):
            msg = f"advised = {self.advised} must name one of the {len(self.options)} options"
            raise InputError(msg)
        return self


class AfterCheck(Payload):
    """One slow swell after something was done: better, the same or worse."""

    kind: ClassVar[str] = "after-check"
    follows: UUID
    result: Literal["better", "same", "worse"]
    recording: UUID | None = None
    remark: Text = ""


class Guess(Payload):
    """A hunch, committed before the tool speaks."""

    kind: ClassVar[str] = "guess"
    who: Line = ""
    does: Doing | None = None
    zone: Line = ""
    part: Part | None = None
    blades: tuple[Blade, ...] = ()
    finding: Line = ""
    remark: Text = ""


class Wish(Payload):
    """What the player would like instead of this reed as it is, and what may be done to it.

    Scales run from -1 to 1, towards the second word; 0 is as it is, None says nothing.
    """

    kind: ClassVar[str] = "wish"
    easy_resistant: Scale | None = None
    covered_bright: Scale | None = None
    closed_open: Scale | None = None
    loved: UUID | None = None
    uses_knife: Answer | None = None
    others_reed: Literal["yes", "no"] | None = None
    may_cut: Answer | None = None
    concert_in: Annotated[float, Field(ge=0, le=3.2e7)] | None = None


Look = Literal[
    "crack-thread",
    "crack-tip",
    "crack-scrape",
    "splinter",
    "nick",
    "lump",
    "film",
    "mould",
    "twist",
    "staple-dent",
    "ridge",
    "green",
]


class Trials(Payload):
    """Looks and small trials; `looked` says that what is not in `look` was not there."""

    kind: ClassVar[str] = "trials"
    crow_speaks: Answer | None = None
    swell_begins: Literal["high", "low", "both", "rattle"] | None = None
    leaks: Answer | None = None
    bubbles: Literal["side", "thread", "cork", "none"] | None = None
    looked: bool = False
    look: tuple[Look, ...] = ()
    control_reed: Literal["fine", "fails"] | None = None
    other_instrument: Literal["fine", "fails"] | None = None
    other_player: Literal["fine", "fails"] | None = None
    re_soaked: Literal["better", "same"] | None = None
    dried: Literal["better", "same"] | None = None
    pinched_sides: Literal["better", "same"] | None = None


class Treated(Followed):
    """Something done without a knife: cleaned, sealed, squeezed, put on the mandrel."""

    kind: ClassVar[str] = "treated"
    what: Line
    remark: Text = ""


ADVICE_KINDS: tuple[type[Payload], ...] = (Wish, Trials, Guess, Advised, Treated, AfterCheck)
