"""What can be written down about a reed: one validated, versioned model per kind of entry.

Everything here is in SI units. A model's `version` goes up when its meaning changes; `read` keeps
accepting the old ones. Sentences for people are not here: see the templates.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal
from uuid import UUID

from pydantic import Field, ValidationError, ValidationInfo, field_validator

from crowlight.bench.advice_kinds import ADVICE_KINDS
from crowlight.bench.batch_kinds import BATCH_KINDS
from crowlight.bench.light_kinds import LIGHT_KINDS
from crowlight.bench.payload import Answer, Followed, Line, Part, Payload, Text, clean_text
from crowlight.bench.workshop_kinds import WORKSHOP_KINDS
from crowlight.errors import InputError
from crowlight.reed import Blade, Side

__all__ = [
    "KINDS",
    "Cane",
    "Climate",
    "Clip",
    "Control",
    "CrowStart",
    "Cut",
    "Described",
    "ForceTest",
    "Knife",
    "Label",
    "Lengths",
    "Line",
    "Note",
    "Opening",
    "Payload",
    "PlayingTest",
    "ReadingsTaken",
    "Recording",
    "Rest",
    "Shape",
    "Staple",
    "Text",
    "Travelled",
    "Verdict",
    "Wetting",
    "Withdrawn",
    "clean_text",
    "read",
]


class ReadingsTaken(Payload):
    """Thickness readings; the numbers stand in rows of their own.

    Readings counted from the tip or the thread were converted with `origin_length`, whose standard
    uncertainty shifts all of them together. Version 2 adds `burst`: readings that were sent one by
    one, each as an entry of its own, and belong together as if one entry held them.
    """

    kind: ClassVar[str] = "readings"
    version: ClassVar[int] = 2
    origin: Literal["rim", "tip", "thread"] = "rim"
    origin_length: Annotated[float, Field(gt=0, lt=0.2)] | None = None
    origin_uncertainty: Annotated[float, Field(ge=0, lt=0.02)] = 0.0
    source: Line = ""
    burst: UUID | None = None


class Cane(Payload):
    """The cane, as far as it is known [m]."""

    kind: ClassVar[str] = "cane"
    diameter: Annotated[float, Field(gt=5e-3, lt=30e-3)] | None = None
    gouge_centre: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    gouge_side: Annotated[float, Field(gt=0.2e-3, lt=2e-3)] | None = None
    hardness: float | None = None
    hardness_device: Line = ""
    source: Line = ""


class Shape(Payload):
    """The shape [m]."""

    kind: ClassVar[str] = "shape"
    tip_width: Annotated[float, Field(gt=3e-3, lt=20e-3)] | None = None
    waist_width: Annotated[float, Field(gt=1.5e-3, lt=15e-3)] | None = None


class Staple(Payload):
    """The staple [m]."""

    kind: ClassVar[str] = "staple"
    length: Annotated[float, Field(gt=10e-3, lt=80e-3)] | None = None
    bore_top: Annotated[float, Field(gt=1e-3, lt=8e-3)] | None = None
    bore_bottom: Annotated[float, Field(gt=1e-3, lt=12e-3)] | None = None


class Described(Payload):
    """What the reed is. The latest one counts as a whole."""

    kind: ClassVar[str] = "described"
    thread_colour: Line = ""
    cork_number: Line = ""
    style: Line = ""
    cane: Cane = Cane()
    shape: Shape = Shape()
    staple: Staple = Staple()
    tie_length: Annotated[float, Field(gt=20e-3, lt=120e-3)] | None = None
    overlap: Annotated[float, Field(gt=-2e-3, lt=2e-3)] | None = None


class Lengths(Payload):
    """Overall length, bottom rim to tip, and where the thread ends [m]."""

    kind: ClassVar[str] = "lengths"
    overall: Annotated[float, Field(gt=30e-3, lt=100e-3)]
    overall_uncertainty: Annotated[float, Field(gt=0, lt=5e-3)] = 0.25e-3
    thread_top: Annotated[float, Field(gt=10e-3, lt=90e-3)] | None = None


class Opening(Payload):
    """Gap between the blades at the tip, at rest [m]."""

    kind: ClassVar[str] = "opening"
    height: Annotated[float, Field(ge=0, lt=5e-3)]
    uncertainty: Annotated[float, Field(gt=0, lt=1e-3)] = 0.05e-3
    profile: tuple[tuple[float, float], ...] = ()


class Recording(Payload):
    """A sound kept by its digest; `full_scale` is what the kept file's full scale stands for."""

    kind: ClassVar[str] = "recording"
    sound_of: Literal["crow", "peep", "notes"]
    digest: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    original: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = None
    sample_rate: Annotated[int, Field(gt=0, le=768_000)]
    full_scale: Annotated[float, Field(ge=1)] = 1.0
    device: Line = ""
    settings: dict[str, str | int | float | bool | None] = Field(default_factory=dict)


class Label(Payload):
    """What the maker's ear says of a recorded crow: a clean, a mixed or a rattling one."""

    kind: ClassVar[str] = "label"
    recording: UUID
    says: Literal["clean", "mixed", "rattling"]


class Control(Payload):
    """The reed is left untouched today: what changes in its crow is not the knife's doing."""

    kind: ClassVar[str] = "control"
    remark: Text = ""


class Cut(Followed):
    """Cane taken off with the knife.

    Version 2 adds the part of the zone, the direction of the strokes, and what it followed; `sides`
    says the same as a `part` that is one side.
    """

    kind: ClassVar[str] = "cut"
    version: ClassVar[int] = 2
    zone: Line
    blades: tuple[Blade, ...]
    sides: tuple[Side, ...] = ()
    part: Part | None = None
    direction: Literal["along", "oblique"] | None = None
    strokes: Annotated[int, Field(ge=0, le=1000)] | None = None
    depth: Annotated[float, Field(gt=0, lt=1e-3)] | None = None
    remark: Text = ""


class Clip(Followed):
    """Length clipped off the tip [m]; None when it was not measured against a stop."""

    kind: ClassVar[str] = "clip"
    version: ClassVar[int] = 2
    amount: Annotated[float, Field(gt=0, lt=5e-3)] | None = None
    against: Literal["stop", "ruler", "eye"] = "eye"


class Rest(Followed):
    """The reed was laid aside [s]."""

    kind: ClassVar[str] = "rest"
    version: ClassVar[int] = 2
    duration: Annotated[float, Field(ge=0)] | None = None


class Wetting(Payload):
    """The reed was soaked or wiped dry [s]. It happened when it ended."""

    kind: ClassVar[str] = "wetting"
    how: Literal["soaked", "wiped"]
    duration: Annotated[float, Field(ge=0)] | None = None


class Knife(Payload):
    """The knife was sharpened or changed."""

    kind: ClassVar[str] = "knife"
    what: Literal["sharpened", "changed"]


class Note(Payload):
    """Anything in words."""

    kind: ClassVar[str] = "note"
    text: Text


class PlayingTest(Payload):
    """Six taps of the playing test."""

    kind: ClassVar[str] = "playing-test"
    low_soft_attack: Answer = "unsure"
    slurred_octaves: Answer = "unsure"
    high_notes_hold: Answer = "unsure"
    sags_when_lip_loosens: Answer = "unsure"
    tongues_cleanly: Answer = "unsure"
    soft_to_loud: Answer = "unsure"


class Verdict(Payload):
    """What the player says, in the player's own words, and a grade from 1 (poor) to 5."""

    kind: ClassVar[str] = "verdict"
    words: Text = ""
    grade: Annotated[int, Field(ge=1, le=5)] | None = None


class Climate(Payload):
    """The air in the room [K, 0-1, Pa]."""

    kind: ClassVar[str] = "climate"
    temperature: Annotated[float, Field(gt=243, lt=328)] | None = None
    humidity: Annotated[float, Field(ge=0, le=1)] | None = None
    pressure: Annotated[float, Field(gt=45e3, lt=115e3)] | None = None


def _half_at_most(spread: float, info: ValidationInfo, of: str) -> float:
    """Ask about a spread above half the value it belongs to."""
    value = info.data.get(of)
    if value is not None and spread > 0.5 * value:
        msg = "must be at most half the value; how far do repeated readings lie apart?"
        raise InputError(msg)
    return spread


class ForceTest(Payload):
    """Force that presses each blade in by `depth` between two flat pads [N, m].

    The limits lie within those of `crowlight.calibrate.ForceTest` and `crowlight.calibrate.Pad`.
    """

    kind: ClassVar[str] = "force-test"
    force: Annotated[float, Field(ge=0.1569064, le=7.84532)]  # 16 to 800 g
    uncertainty: Annotated[float, Field(gt=0, le=2.0)] = 0.05
    depth: Annotated[float, Field(ge=0.03e-3, le=0.25e-3)] = 0.1e-3
    depth_uncertainty: Annotated[float, Field(gt=0, le=0.1e-3)] = 0.01e-3
    pad_from_tip: Annotated[float, Field(ge=6e-3, le=12e-3)] = 8e-3
    pad_length: Annotated[float, Field(ge=1e-3, le=6e-3)] = 4e-3

    @field_validator("uncertainty")
    @classmethod
    def _force_spread(cls, spread: float, info: ValidationInfo) -> float:
        return _half_at_most(spread, info, "force")

    @field_validator("depth_uncertainty")
    @classmethod
    def _depth_spread(cls, spread: float, info: ValidationInfo) -> float:
        return _half_at_most(spread, info, "depth")


class CrowStart(Payload):
    """Pressure at which a slowly rising crow, without lip, begins [Pa].

    `read_in` is the unit the manometer shows, in which it was typed. The limits are those of
    `crowlight.calibrate.CrowStart`.
    """

    kind: ClassVar[str] = "crow-start"
    pressure: Annotated[float, Field(ge=500.0, le=15e3)]
    read_in: Literal["hPa", "mbar", "cmH2O", "kPa"]
    uncertainty: Annotated[float, Field(gt=0, le=5e3)] = 200.0

    @field_validator("uncertainty")
    @classmethod
    def _spread(cls, spread: float, info: ValidationInfo) -> float:
        return _half_at_most(spread, info, "pressure")


class Travelled(Payload):
    """What a journey did to this reed, as it was found there: a follow-up.

    `found` is there less at home: [cents] for a pitch, a relative change for a threshold.
    `accuracy` is its standard uncertainty in the same unit.
    """

    kind: ClassVar[str] = "travelled"
    effect: Literal["crow-pitch", "pitch", "threshold"]
    found: Annotated[float, Field(ge=-600, le=600)]
    accuracy: Annotated[float, Field(gt=0, le=600)]
    home_altitude: Annotated[float, Field(ge=-500, le=5500)]
    altitude: Annotated[float, Field(ge=-500, le=5500)]
    remark: Text = ""


class Withdrawn(Payload):
    """The entry this one replaces was a mistake and has no successor."""

    kind: ClassVar[str] = "withdrawn"
    reason: Text = ""


KINDS: dict[str, type[Payload]] = {
    model.kind: model
    for model in (
        ReadingsTaken,
        Described,
        Lengths,
        Opening,
        Recording,
        Label,
        Control,
        Cut,
        Clip,
        Rest,
        Wetting,
        Knife,
        Note,
        PlayingTest,
        Verdict,
        Climate,
        Travelled,
        ForceTest,
        CrowStart,
        Withdrawn,
        *ADVICE_KINDS,
        *WORKSHOP_KINDS,
        *BATCH_KINDS,
        *LIGHT_KINDS,
    )
}


def read(kind: str, version: int, data: dict[str, Any]) -> Payload:
    """Read a stored or submitted payload.

    Parameters
    ----------
    kind : str
        A key of `KINDS`.
    version : int
        Version it was written with.
    data : dict
        Its fields.

    Returns
    -------
    Payload
        The validated model.

    Raises
    ------
    InputError
        Unknown kind, later version, or a field that is missing or out of range.
    """
    model = KINDS.get(kind)
    if model is None:
        msg = f"entry kind {kind!r} is not known to this version; use one of: {', '.join(KINDS)}"
        raise InputError(msg)
    if version > model.version:
        msg = f"entry {kind!r} has version {version}; this crowlight reads up to {model.version}"
        raise InputError(msg)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        parts = [
            f"{'.'.join(map(str, e['loc'])) or kind} = {e['input']!r}: {e['msg']}"
            for e in error.errors(include_url=False)
        ]
        raise InputError("; ".join(parts)) from None
