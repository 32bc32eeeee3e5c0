"""What to listen for, when to stop and how to check, as codes with numbers and English sources."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from crowlight.plan.cut.options import Act
from crowlight.reed.styles import Style

__all__ = [
    "Said",
    "after_checks",
    "listen_for",
    "sentences",
    "source_sentences",
    "stop_when",
    "stop_without_knife",
]

#: What does nothing to this reed: no check afterwards.
_NOTHING_DONE = frozenset({"record", "sharpen", "next-batch", "copy", "retire", "mend-oboe"})
#: Passes over one place to make two alike (common practice, no source).
_PASSES = 2


@dataclass(frozen=True, slots=True)
class Said:
    """A code of ``sentences.toml`` with its numbers.

    Parameters
    ----------
    code : str
        Key within its table.
    numbers : mapping of str to float
        By name; SI, counts as they are.
    """

    code: str
    numbers: Mapping[str, float] = field(default_factory=dict)


@cache
def sentences() -> Mapping[str, Mapping[str, str]]:
    """Return the English source sentences by table and code."""
    text = (files("crowlight.plan.cut") / "sentences.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def source_sentences() -> Iterator[str]:
    """Yield every English sentence of the plan, for the message catalogue."""
    for table in sentences().values():
        yield from table.values()


def listen_for(act: Act) -> tuple[Said, ...]:
    """Return what to listen for while or after doing it."""
    return (Said(act.code),) if act.code in sentences()["listen"] else ()


#: Stop rules by remedy, before those that hold for every cut.
_STOPS: Mapping[str, tuple[str, ...]] = {
    "dust-tip": ("first-chirp",),
    "dust-corners": ("corners-alike", "first-chirp"),
    "dust-corner": ("corners-alike", "first-chirp"),
    "equalise-tip": ("gap",),
    "equalise-side": ("gap",),
    "equalise-heart": ("crow-steady", "gap", "crow-at-c"),
    "blend": ("slurs-speak",),
    "draw-back-edges": ("pitch-drops",),
    "recut-shallow-side": ("lines-alike",),
    "back": ("low-octave", "pitch-drops"),
    "shorten-heart": ("low-octave", "pitch-drops"),
    "heart": ("one-stroke-early", "crow-at-c"),
    "clip": ("every-clip", "shortest"),
}


def stop_when(act: Act, style: Style) -> tuple[Said, ...]:
    """Return when to stop, with numbers."""
    if not act.cuts:
        return stop_without_knife(act)
    if act.kind != "scrape":
        codes = _STOPS.get(act.code, (act.kind,))
        least = style.thread_top + style.lengths["shortest_blade"].value
        return tuple(Said(c, {"length": least} if c == "shortest" else {}) for c in codes)
    of = style.zone(act.zone).tolerance
    gap = of.blades if len(act.blades) == 1 and not act.part.lopsided else of.sides
    passes = _PASSES if act.lopsided else 0
    said = [Said(c, {"gap": gap} if c == "gap" else {}) for c in _STOPS.get(act.code, ())]
    said.append(Said("strokes", {"strokes": float(act.strokes)}))
    said.append(
        Said("passes", {"tries": float(passes)}) if passes else Said("tries", {"tries": 2.0})
    )
    return tuple(said)


def stop_without_knife(act: Act) -> tuple[Said, ...]:
    """Return when to stop something that takes no cane."""
    return () if act.kind == "leave" else (Said(act.kind),)


def after_checks(act: Act, *, gauge_due: bool) -> tuple[str, ...]:
    """Return the checks after an act: one slow swell, the light for an uneven cut, the gauge."""
    if act.kind == "leave" or act.code in _NOTHING_DONE:
        return ()
    if act.kind in ("rest", "act"):
        return ("swell",)
    checks = ["swell"]
    if act.lopsided or act.zone == "tip":
        checks.append("light")
    if act.kind == "clip":
        checks.append("length")
    if gauge_due:
        checks.append("three-points")
    return tuple(checks)
