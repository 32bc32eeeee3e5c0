"""Sentences for what the geometry of a thickness map tells."""

from __future__ import annotations

import math
from collections.abc import Mapping

from crowlight.judge.geometry import Against, Finding, Quantity
from crowlight.report.words import Words, mark

__all__ = ["difference_of", "interval_of", "more", "not_mapped", "unit_of", "what", "zone_name"]

_QUANTITIES: Mapping[Quantity, str] = {
    Quantity.THICKNESS: mark("thickness"),
    Quantity.SIDE_DROP: mark("fall from the centre of the tip to its sides"),
    Quantity.CORNER_DROP: mark("fall from the centre of the tip to its corners"),
    Quantity.TRANSITION_POSITION: mark("position of the transition from the bottom rim"),
    Quantity.TRANSITION_STEEPNESS: mark("steepness of the transition"),
    Quantity.TIP_LENGTH: mark("length of the tip"),
    Quantity.HEART_LENGTH: mark("length of the heart"),
    Quantity.OVERALL_LENGTH: mark("overall length"),
    Quantity.STAPLE_LENGTH: mark("length up to the top of the thread"),
}
_ZONES: Mapping[str, str] = {
    "tip": mark("tip"),
    "corners": mark("corners"),
    "transition": mark("transition"),
    "heart": mark("heart"),
    "spine": mark("spine"),
    "windows": mark("windows"),
    "rails": mark("rails"),
    "back": mark("back"),
    "bark": mark("bark"),
}
_THICKER: Mapping[tuple[Against, bool], str] = {
    (Against.SIDES, True): mark("left thicker"),
    (Against.SIDES, False): mark("right thicker"),
    (Against.BLADES, True): mark("marked thicker"),
    (Against.BLADES, False): mark("plain thicker"),
    (Against.STYLE, True): mark("thicker than the style"),
    (Against.STYLE, False): mark("thinner than the style"),
}
_LARGER: Mapping[tuple[Against, bool], str] = {
    (Against.SIDES, True): mark("larger on the left"),
    (Against.SIDES, False): mark("larger on the right"),
    (Against.BLADES, True): mark("larger on the marked blade"),
    (Against.BLADES, False): mark("larger on the plain blade"),
    (Against.STYLE, True): mark("larger than the style has"),
    (Against.STYLE, False): mark("smaller than the style has"),
}
_NOT_MAPPED: Mapping[str, str] = {
    "no-style": mark(
        "No thickness map yet: write down the scrape style under Description, and a map of both "
        "blades is drawn."
    ),
    "unknown-style": mark(
        "No thickness map: there are no figures for this scrape style; choose another under "
        "Description, and a map of both blades is drawn."
    ),
    "state": mark(
        "No thickness map: the figures of the style hold for cane in another state, wet or dry, "
        "than these readings state."
    ),
    "few": mark("No thickness map yet: it takes at least six readings of each blade."),
}


def zone_name(code: str, words: Words) -> str:
    """Return what a zone is called; of one without a name here, its code."""
    return words(_ZONES[code]) if code in _ZONES else code


def what(finding: Finding, words: Words) -> str:
    """Return what a finding is about, and where."""
    parts = [words(_QUANTITIES[finding.quantity])]
    if finding.zone:
        parts = [f"{zone_name(finding.zone, words)}, {parts[0]}"]
    if finding.blade is not None:
        parts.append(words.blade(finding.blade))
    if finding.side is not None:
        parts.append(words.side(finding.side))
    return ", ".join(parts)


def more(finding: Finding, words: Words) -> str:
    """Return which of the two is more; empty when not measured."""
    value = finding.decision.value
    if not math.isfinite(value):
        return ""
    table = _THICKER if finding.quantity is Quantity.THICKNESS else _LARGER
    return words(table[finding.against, value >= 0])


def unit_of(finding: Finding) -> tuple[float, str, int]:
    """Return how many of the unit one SI unit is, the unit, and the digits shown.

    Thicknesses are in millimetres here; pages show them in the user's own unit.
    """
    match finding.quantity:
        case Quantity.TRANSITION_STEEPNESS:
            return 1.0, "mm/mm", 3
        case Quantity.THICKNESS | Quantity.SIDE_DROP | Quantity.CORNER_DROP:
            return 1e3, "mm", 3
        case _:
            return 1e3, "mm", 2


def _is_thickness(finding: Finding) -> bool:
    return finding.quantity in {Quantity.THICKNESS, Quantity.SIDE_DROP, Quantity.CORNER_DROP}


def difference_of(finding: Finding, words: Words, *, signed: bool = True) -> str:
    """Return the difference with its unit."""
    factor, unit, digits = unit_of(finding)
    value = finding.decision.value
    if _is_thickness(finding):
        return words.thick(value if signed else abs(value), digits, signed=signed)
    value *= factor
    shown = words.number(value if signed else abs(value), digits, signed=signed)
    return f"{shown}\N{NO-BREAK SPACE}{unit}" if math.isfinite(value) else shown


def interval_of(finding: Finding, words: Words) -> str:
    """Return the interval of the difference, in the unit of the difference."""
    factor, _, digits = unit_of(finding)
    d = finding.decision
    if not (math.isfinite(d.low) and math.isfinite(d.high)):
        return "\N{EN DASH}"
    if _is_thickness(finding):
        return words.interval(d.low, d.high, digits)
    return words.say(
        mark("%(low)s to %(high)s"),
        low=words.number(d.low * factor, digits, signed=True),
        high=words.number(d.high * factor, digits, signed=True),
    )


def not_mapped(code: str, words: Words) -> str:
    """Return why there is no map, and what to do about it."""
    if code in _NOT_MAPPED:
        return words(_NOT_MAPPED[code])
    return words.say(mark("No thickness map: %(why)s"), why=code) if code else ""
