"""A journey as lines people read: effects with ranges, targets, advice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from crowlight.report.words import Words, mark

__all__ = [
    "CLIMATES",
    "EFFECTS",
    "MADE",
    "EffectRow",
    "Part",
    "effect_rows",
    "learned_rows",
    "limits_told",
]

#: Usual indoor climates.
CLIMATES: Mapping[str, str] = {
    "mild-season": mark("mild season"),
    "heated-winter": mark("heated, in winter"),
    "damp-summer": mark("damp summer"),
    "dry-summer": mark("dry summer"),
    "air-conditioned": mark("air-conditioned"),
}
#: How far a reed is made.
MADE: Mapping[str, str] = {
    "finished": mark("finished"),
    "blank": mark("blank"),
    "cane": mark("cane"),
}
EFFECTS: Mapping[str, str] = {
    "threshold": mark("pressure at which a middle note starts"),
    "range": mark("room between starting and closing"),
    "flow": mark("flow of air"),
    "pitch": mark("pitch of a middle note"),
    "low-threshold": mark("pressure at which a low note starts"),
    "low-pitch": mark("pitch of a low note"),
    "high-threshold": mark("pressure at which a high note starts"),
    "high-pitch": mark("pitch of a high note"),
    "crow-threshold": mark("pressure at which the crow starts"),
    "crow-pitch": mark("pitch of the crow (modelled, untested)"),
}
_VERDICTS: Mapping[str, str] = {
    "too few": mark("too few to tell"),
    "agrees": mark("your reeds agree with physics"),
    "disagrees": mark("your reeds disagree with physics"),
}
PARTS = ("altitude", "temperature", "moisture", "together")
#: Smaller than this, a change is none: what is left of arithmetic.
_NONE = 1e-6


@dataclass(frozen=True, slots=True)
class Part:
    """A change through one cause: its range with the unit, and whether the direction is open."""

    told: str
    open_sign: bool


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One thing that changes on a journey, by altitude, temperature, moisture and all at once."""

    name: str
    label: str
    parts: tuple[Part, ...]


def effect_rows(effects: list[Mapping[str, Any]], *, words: Words) -> list[EffectRow]:
    """Return the effects of a journey as lines.

    Parameters
    ----------
    effects : list of mapping
        ``effects`` of `crowlight.bench.air.travel`.
    words : Words
        The language.
    """
    return [
        EffectRow(
            name=e["name"],
            label=words(EFFECTS.get(e["name"], e["name"])),
            parts=tuple(_part(e[part], e["unit"], words) for part in PARTS),
        )
        for e in effects
    ]


def learned_rows(
    learned: list[Mapping[str, Any]], *, words: Words
) -> list[tuple[str, int, str, str, str, str]]:
    """Return what the maker's own travelled reeds have shown, beside physics.

    Parameters
    ----------
    learned : list of mapping
        ``learned`` of `crowlight.bench.air.travel`.
    words : Words
        The language.

    Returns
    -------
    list of tuple
        What changes, reeds behind it, physics, own reeds, both joined, and what comes of it.
    """
    return [
        (
            words(EFFECTS.get(k["effect"], k["effect"])),
            k["reeds"],
            _told(k["physics"], k["unit"], words),
            _told(k["own"], k["unit"], words),
            _told(k["joined"], k["unit"], words),
            words(_VERDICTS.get(k["verdict"], k["verdict"])),
        )
        for k in learned
    ]


def _part(part: Mapping[str, Any], unit: str, words: Words) -> Part:
    if max(abs(part["low"]), abs(part["high"])) < _NONE:
        return Part(words(mark("none")), open_sign=False)
    return Part(_told(part, unit, words), open_sign=bool(part["straddles_zero"]))


def _told(part: Mapping[str, Any], unit: str, words: Words) -> str:
    share = unit == "1"
    factor = 100.0 if share else 1.0
    # a range that only just holds zero must show it
    digits = 1 if share or min(abs(part["low"]), abs(part["high"])) < 1.0 else 0
    low, high = (words.number(factor * part[end], digits, signed=True) for end in ("low", "high"))
    text = mark("%(low)s to %(high)s %%") if share else mark("%(low)s to %(high)s cents")
    return words.say(text, low=low, high=high)


def limits_told(limits: Mapping[str, Any] | None, *, words: Words) -> str:
    """Return by how much, of an advice that has a number; else nothing."""
    if limits is None:
        return ""
    low, high, unit = limits["low"], limits["high"], limits["unit"]
    if unit == "1":
        text = mark("Between × %(low)s and × %(high)s of what it is at home")
        return words.say(text, low=words.number(low, 2), high=words.number(high, 2))
    if unit == "m":
        return words.mm(high, 1)
    return words.say(mark("%(days)s days"), days=words.number(high, 0))
