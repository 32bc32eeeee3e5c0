"""Names, units and sentences of what a batch tells."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from crowlight.batch.control import RUN
from crowlight.batch.steady import Contrast, Pattern, SteadyTest
from crowlight.report.words import Words, mark

__all__ = [
    "RULES",
    "STEPS",
    "contrast_said",
    "direction_said",
    "mean_said",
    "pattern_said",
    "quantity_name",
    "shown_value",
    "signal_said",
    "span_said",
    "unit_kind",
    "unit_name",
]

_NAMES: Mapping[str, str] = {
    "tip-thickness": mark("thickness of the tip"),
    "heart-thickness": mark("thickness of the heart, middle"),
    "spine-thickness": mark("thickness of the spine"),
    "windows-thickness": mark("thickness of the windows"),
    "rails-thickness": mark("thickness of the rails"),
    "tip-slope": mark("slope of the tip"),
    "tip-length": mark("length of the tip"),
    "transition-position": mark("position of the transition"),
    "transition-steepness": mark("steepness of the transition"),
    "heart-length": mark("length of the heart"),
    "overall-length": mark("overall length"),
    "opening": mark("opening"),
    "clips": mark("number of clips"),
    "rest-days": mark("days of rest"),
    "tip": mark("thickness of the tip"),
    "transition": mark("thickness of the transition"),
    "heart": mark("thickness of the heart"),
    "spine": mark("thickness of the spine"),
    "windows": mark("thickness of the windows"),
    "rails": mark("thickness of the rails"),
    "back": mark("thickness of the back"),
}
#: Steps from cane to blank.
STEPS: Mapping[str, str] = {
    "diameter": mark("diameter of the tube"),
    "out-of-round": mark("tube out of round"),
    "rocking": mark("tube rocks on the plate"),
    "gouge-centre": mark("gouge, centre"),
    "gouge-side": mark("gouge, sides"),
    "gouge-left-right": mark("gouge, left less right"),
    "gouge-ends": mark("gouge, one end less the other"),
    "tip-width": mark("shape, width at the tip"),
    "waist-width": mark("shape, width at the waist"),
    "staple-length": mark("staple, length"),
    "tie-length": mark("length of the blank"),
    "thread-end": mark("thread past the top of the staple"),
    "overlap": mark("overlap of the blades"),
}
_FINE = {"opening": 2, "overall-length": 1, "tip-length": 2, "heart-length": 2}
_SLOPES = frozenset({"tip-slope", "transition-steepness"})
_LENGTHS = frozenset(
    {"tip-length", "heart-length", "overall-length", "transition-position", "opening"}
)

Kind = Literal["thickness", "length", "slope", "count", "days"]


def unit_kind(code: str) -> Kind:
    """Return what kind of number a quantity is.

    Examples
    --------
    >>> unit_kind("tip"), unit_kind("tip-slope"), unit_kind("rest-days")
    ('thickness', 'slope', 'days')
    """
    if code in _SLOPES:
        return "slope"
    if code in _LENGTHS:
        return "length"
    if code in {"clips", "rest-days"}:
        return "count" if code == "clips" else "days"
    return "thickness"


def quantity_name(code: str, words: Words) -> str:
    """Return what a quantity is called; with ``/uneven`` or ``/blades`` behind it, of what."""
    base, _, of = code.partition("/")
    name = words(_NAMES[base]) if base in _NAMES else base
    if of == "uneven":
        return words.say(mark("%(what)s, larger difference of its sides"), what=name)
    if of == "blades":
        return words.say(mark("%(what)s, difference of the blades"), what=name)
    return name


def unit_name(code: str, words: Words) -> str:
    """Return the unit a quantity is shown in; empty for a count."""
    match unit_kind(code.partition("/")[0]):
        case "thickness":
            return words.thickness_unit
        case "length":
            return "mm"
        case "slope":
            return "mm/mm"
        case "days":
            return words(mark("days"))
        case _:
            return ""


def shown_value(code: str, value: float, words: Words, *, signed: bool = False) -> str:
    """Return a quantity in the unit of `unit_name`, without it."""
    base = code.partition("/")[0]
    if not math.isfinite(value):
        return "–"
    match unit_kind(base):
        case "thickness":
            return words.thin(value, 3, signed=signed)
        case "length":
            return words.number(value * 1e3, _FINE.get(base, 2) + signed, signed=signed)
        case "slope":
            return words.number(value, 3, signed=signed)
        case _:
            return words.number(value, 1, signed=signed)


def span_said(code: str, low: float, high: float, words: Words, *, signed: bool = False) -> str:
    """Return an interval in the unit of `unit_name`, without it.

    Values that are all equal have no spread, and so no interval: that is said in words.
    """
    if math.isnan(low) or math.isnan(high):
        return words(mark("its range cannot be told"))
    if math.isinf(high):
        return words.say(mark("%(low)s or more"), low=shown_value(code, low, words, signed=signed))
    return words.say(
        mark("%(low)s to %(high)s"),
        low=shown_value(code, low, words, signed=signed),
        high=shown_value(code, high, words, signed=signed),
    )


def mean_said(test: SteadyTest, words: Words) -> str:
    """Return the mean of a steady difference without its sign, with unit and interval."""
    code = test.quantity
    low, high = sorted((abs(test.low), abs(test.high)))
    if test.low < 0.0 < test.high:
        low, high = test.low, test.high
    return words.say(
        mark("%(mean)s %(unit)s on average (%(span)s)"),
        mean=shown_value(code, abs(test.mean), words),
        unit=unit_name(code, words),
        span=span_said(code, low, high, words),
    )


_CONTRASTS: Mapping[Contrast, str] = {
    Contrast.SEEN: mark("left against right as seen, both blades"),
    Contrast.EDGE: mark("one physical edge against the other"),
    Contrast.BLADES: mark("marked blade against plain blade"),
    Contrast.STYLE: mark("against what the style asks"),
    Contrast.EARLIER: mark("against your earlier reeds"),
}
#: By kind of number and contrast: what is said where the difference is positive, and negative.
_DIRECTIONS: Mapping[tuple[str, Contrast], tuple[str, str]] = {
    ("thickness", Contrast.SEEN): (
        mark("the right side, as you see it, is thinner than the left on both blades"),
        mark("the left side, as you see it, is thinner than the right on both blades"),
    ),
    ("thickness", Contrast.EDGE): (
        mark("the edge right on the marked blade, left on the plain one, is thinner"),
        mark("the edge left on the marked blade, right on the plain one, is thinner"),
    ),
    ("thickness", Contrast.BLADES): (
        mark("the plain blade is thinner than the marked one"),
        mark("the marked blade is thinner than the plain one"),
    ),
    ("thickness", Contrast.STYLE): (
        mark("thicker than the style asks"),
        mark("thinner than the style asks"),
    ),
    ("slope", Contrast.SEEN): (
        mark("steeper on the left, as you see it, on both blades"),
        mark("steeper on the right, as you see it, on both blades"),
    ),
    ("slope", Contrast.EDGE): (
        mark("steeper on the edge left on the marked blade, right on the plain one"),
        mark("steeper on the edge right on the marked blade, left on the plain one"),
    ),
    ("slope", Contrast.BLADES): (
        mark("steeper on the marked blade"),
        mark("steeper on the plain blade"),
    ),
    ("length", Contrast.SEEN): (
        mark("nearer the tip on the left, as you see it, on both blades"),
        mark("nearer the tip on the right, as you see it, on both blades"),
    ),
    ("length", Contrast.EDGE): (
        mark("nearer the tip on the edge left on the marked blade, right on the plain one"),
        mark("nearer the tip on the edge right on the marked blade, left on the plain one"),
    ),
    ("length", Contrast.BLADES): (
        mark("nearer the tip on the marked blade"),
        mark("nearer the tip on the plain blade"),
    ),
}
_MORE: Mapping[Contrast, tuple[str, str]] = {
    Contrast.STYLE: (mark("more than the style asks"), mark("less than the style asks")),
    Contrast.EARLIER: (
        mark("more than on your earlier reeds"),
        mark("less than on your earlier reeds"),
    ),
}
_ONE_BLADE: Mapping[tuple[str, int, bool], str] = {
    ("thickness", 0, True): mark("the right side of the marked blade is thinner than its left"),
    ("thickness", 0, False): mark("the left side of the marked blade is thinner than its right"),
    ("thickness", 1, True): mark("the right side of the plain blade is thinner than its left"),
    ("thickness", 1, False): mark("the left side of the plain blade is thinner than its right"),
}
_ONE_BLADE_OTHER: Mapping[tuple[int, bool], str] = {
    (0, True): mark("more on the left of the marked blade than on its right"),
    (0, False): mark("more on the right of the marked blade than on its left"),
    (1, True): mark("more on the left of the plain blade than on its right"),
    (1, False): mark("more on the right of the plain blade than on its left"),
}


def contrast_said(contrast: Contrast, words: Words) -> str:
    """Return what is compared."""
    return words(_CONTRASTS[contrast])


def direction_said(test: SteadyTest, words: Words) -> str:
    """Return which side, edge, blade or reed has less or more of it."""
    kind, positive = unit_kind(test.quantity), test.mean >= 0.0
    if test.pattern is Pattern.ONE_BLADE and test.blade is not None:
        said = _ONE_BLADE.get((kind, test.blade, positive), _ONE_BLADE_OTHER[test.blade, positive])
        return words(said)
    pair = _DIRECTIONS.get((kind, test.contrast)) or _MORE.get(test.contrast)
    return words(pair[0 if positive else 1]) if pair else contrast_said(test.contrast, words)


_PATTERNS: Mapping[Pattern, str] = {
    Pattern.HAND: mark(
        "The same side on both blades, as you see them: on the reed it lies diagonally. That is "
        "how a habit of the hand shows; shape, slip and gouge would follow one physical edge."
    ),
    Pattern.EDGE: mark(
        "The same physical edge on both blades. That is how shape, slip or gouge show, before any "
        "scraping; a habit of the hand would lie diagonally. Do not scrape for it: look at the "
        "shaped cane and at how the blades lie on each other when you tie."
    ),
    Pattern.ONE_BLADE: mark(
        "On one blade only. Neither the hand alone nor shape, slip or gouge alone show like this; "
        "the order in which you scrape the four sides may."
    ),
    Pattern.BLADES: mark(
        "One blade against the other: the order of scraping, or halves of unlike gouge."
    ),
    Pattern.LEVEL: mark("On the reed as a whole: a matter of aim or of the style chosen."),
}
_HANDS: Mapping[tuple[str, bool], str] = {
    ("right", True): mark("You hold the knife in the right hand: this is the side of that hand."),
    ("right", False): mark(
        "You hold the knife in the right hand: this is the side of the hand that holds the reed."
    ),
    ("left", False): mark("You hold the knife in the left hand: this is the side of that hand."),
    ("left", True): mark(
        "You hold the knife in the left hand: this is the side of the hand that holds the reed."
    ),
}


def pattern_said(test: SteadyTest, hand: str, words: Words) -> list[str]:
    """Return what the place of a steady difference tells, one sentence each."""
    if test.pattern is None:
        return []
    said = [words(_PATTERNS[test.pattern])]
    if test.pattern is Pattern.HAND:
        # the side that is thinner, steeper or nearer the tip: the side the knife did more on
        right = test.mean > 0.0 if unit_kind(test.quantity) == "thickness" else test.mean < 0.0
        if (hand, right) in _HANDS:
            said.append(words(_HANDS[hand, right]))
        else:
            said.append(
                words(
                    mark(
                        "Which hand holds the knife is not noted; note it with: "
                        "crowlight people --maker NAME --hand right"
                    )
                )
            )
        said.append(
            words(
                mark(
                    "A gauge whose foot always stands off to one side looks the same: measure one "
                    "reed once more with the gauge turned round before you change anything."
                )
            )
        )
    return said


RULES: Mapping[str, str] = {
    "beyond": mark("beyond a limit"),
    "range": mark("a step larger than its limit"),
    "run": mark("%(run)s in a row on one side of the centre line"),
    "trend": mark("%(run)s in a row rising or falling"),
}


def signal_said(rule: str, words: Words) -> str:
    """Return what a signal of a control chart is."""
    return words.say(RULES[rule], run=RUN) if "%" in RULES[rule] else words(RULES[rule])
