"""What the tool says of a reed: findings and the next cut, as it can be kept and shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

from pydantic import TypeAdapter

from crowlight.bench.codec import PLAIN
from crowlight.bench.mapping import placed_style
from crowlight.judge.findings import Findings, Known, rank
from crowlight.judge.findings.stops import Stop
from crowlight.plan.cut import (
    Act,
    Barred,
    CaneLeft,
    Expected,
    Harm,
    Option,
    Part,
    Plan,
    Said,
    StrokeSize,
)
from crowlight.reed import Blade
from crowlight.reed.styles import Style

__all__ = ["COUNSEL", "Counsel", "CounselCodec", "Now"]


@dataclass(frozen=True, slots=True)
class Now:
    """An output of the blade model as the reed is: 5, 50 and 95 % points."""

    unit: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Counsel:
    """Findings and the next cut of one reed.

    Parameters
    ----------
    name : str
        The reed.
    known : Known
        All the findings were ranked from.
    plan : Plan
        What may be done next; shapes of cuts are not kept, see `crowlight.plan.cut.patch`.
    strokes : StrokeSize
        Cane per light stroke of this maker.
    blades : {"solved", "near", "outside", "none"}
        Whether the blades were solved on this map, on one a few cuts away, could not be solved, or
        were not tried.
    style, style_text : str
        Code of the style, and its text if it is a maker's own; empty for none.
    length : float or None
        Overall length the style is laid on [m].
    moved : float
        How far this reed's transition lies from the style's [m].
    liked : str
        Name of the reed it is to be like, if there is one.
    now : mapping of str to Now
        Outputs as they are.
    notes : tuple of str
        Codes: ``no-style``, ``no-readings``, ``few-readings``, ``refused`` (the readings cannot be
        mapped), ``carried`` (cuts were made since it was measured and are taken off by their
        strokes), ``unplaced-cut`` (one of them does not say how much or where), ``ask-again``
        (words and taps are older than what helped), ``gauge-could-change``, ``outside`` (the blade
        model has no answer).
    refused : str
        Why the readings cannot be mapped, in words.
    digest : str
        Of everything it was worked out from; also the key it is kept under.
    """

    name: str
    known: Known
    plan: Plan
    strokes: StrokeSize
    blades: Literal["solved", "near", "outside", "none"] = "none"
    style: str = ""
    style_text: str = ""
    length: float | None = None
    moved: float = 0.0
    liked: str = ""
    now: Mapping[str, Now] = field(default_factory=dict[str, Now])
    notes: tuple[str, ...] = ()
    refused: str = ""
    digest: str = ""

    @cached_property
    def findings(self) -> Findings:
        """The ranking; the same each time for what is known."""
        return rank(self.known)

    @property
    def advised(self) -> Option:
        """The option that is advised."""
        return self.plan.options[self.plan.advised]

    @property
    def cane_left(self) -> tuple[CaneLeft, ...]:
        """Cane left per zone and blade as the reed is, in this maker's strokes."""
        leave = next(o for o in self.plan.options if o.act.kind == "leave")
        return leave.cane_left

    @property
    def laid(self) -> Style | None:
        """The style laid on the reed, its zones divided where its transition is."""
        if not self.style:
            return None
        return placed_style(self.style, self.length, self.style_text).moved(self.moved)


# --- as bytes -------------------------------------------------------------------------------------

_SIMPLE = ("name", "blades", "style", "style_text", "length", "moved", "liked", "refused", "digest")
_KNOWN = TypeAdapter(Known)
_STOPS = TypeAdapter(tuple[Stop, ...])
_PARTS: Mapping[str, TypeAdapter[Any]] = {
    "expected": TypeAdapter(tuple[Expected, ...]),
    "harm": TypeAdapter(Harm),
    "listen_for": TypeAdapter(tuple[Said, ...]),
    "stop_when": TypeAdapter(tuple[Said, ...]),
    "cane_left": TypeAdapter(tuple[CaneLeft, ...]),
}
_BARRED = TypeAdapter(tuple[Barred, ...])
_NOW = TypeAdapter(dict[str, Now])


class CounselCodec:
    """Turns a `Counsel` into JSON and back; what depends on the rest is worked out anew."""

    def to_bytes(self, value: Counsel) -> bytes:
        """Return it as JSON."""
        data: dict[str, Any] = {name: getattr(value, name) for name in _SIMPLE}
        data["notes"] = list(value.notes)
        data["known"] = _KNOWN.dump_python(value.known, mode="json")
        data["strokes"] = asdict(value.strokes)
        data["now"] = _NOW.dump_python(dict(value.now), mode="json")
        data["plan"] = _plan_out(value.plan)
        return PLAIN.to_bytes(data)

    def from_bytes(self, data: bytes) -> Counsel:
        """Read what `to_bytes` wrote."""
        read: dict[str, Any] = PLAIN.from_bytes(data)
        read["notes"] = tuple(read["notes"])
        read["known"] = _KNOWN.validate_python(read["known"])
        read["strokes"] = StrokeSize(**read["strokes"])
        read["now"] = _NOW.validate_python(read["now"])
        read["plan"] = _plan_in(read["plan"])
        return Counsel(**read)


COUNSEL = CounselCodec()


def _plan_out(plan: Plan) -> dict[str, Any]:
    return {
        "options": [_option_out(o) for o in plan.options],
        "advised": plan.advised,
        "source": plan.source,
        "distance": list(plan.distance),
        "named": list(plan.named),
        "barred": _BARRED.dump_python(plan.barred, mode="json"),
        "stops": _STOPS.dump_python(plan.stops, mode="json"),
        "notes": list(plan.notes),
    }


def _plan_in(data: dict[str, Any]) -> Plan:
    low, middle, high = data["distance"]
    return Plan(
        options=tuple(_option_in(o) for o in data["options"]),
        advised=data["advised"],
        source=data["source"],
        distance=(low, middle, high),
        named=tuple(data["named"]),
        barred=_BARRED.validate_python(data["barred"]),
        stops=_STOPS.validate_python(data["stops"]),
        notes=tuple(data["notes"]),
    )


_ACT = ("kind", "code", "zone", "oblique", "strokes", "clip", "belief")
_PLAIN = ("gain", "better", "worth")
_TEXTS = ("harm_basis", "after_check", "cautions")


def _option_out(option: Option) -> dict[str, Any]:
    act = option.act
    out: dict[str, Any] = {name: getattr(act, name) for name in _ACT}
    out |= {
        "part": act.part.value,
        "blades": [b.value for b in act.blades],
        "answers": list(act.answers),
        "cane": list(option.cane),
    }
    out |= {name: getattr(option, name) for name in _PLAIN}
    out |= {name: list(getattr(option, name)) for name in _TEXTS}
    out |= {n: a.dump_python(getattr(option, n), mode="json") for n, a in _PARTS.items()}
    return out


def _option_in(data: dict[str, Any]) -> Option:
    act = Act(
        **{name: data[name] for name in _ACT},
        part=Part(data["part"]),
        blades=tuple(Blade(b) for b in data["blades"]),
        answers=tuple(data["answers"]),
    )
    low, middle, high = data["cane"]
    return Option(
        act=act,
        cane=(low, middle, high),
        **{name: data[name] for name in _PLAIN},
        **{name: tuple(data[name]) for name in _TEXTS},
        **{name: adapter.validate_python(data[name]) for name, adapter in _PARTS.items()},
    )


def without_shapes(plan: Plan) -> Plan:
    """Return a plan without the shapes of its cuts, as it is kept."""
    return replace(
        plan, options=tuple(replace(o, act=replace(o.act, shape=None)) for o in plan.options)
    )
