"""How a maker holds the reed: where the tip points, and which hand has the knife.

Records name sides facing a blade with its tip up. A maker who holds the tip down sees that side on
the other hand, and one who holds it sideways sees an upper and a lower edge. Pictures of what to do
are drawn as the reed is held, and the words beside them name the side as it is seen there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from crowlight.plan.cut import Part
from crowlight.reed import Side
from crowlight.report.words import Words, mark

__all__ = ["HANDS", "TIPS", "Hand", "Held", "Tip"]


class Tip(StrEnum):
    """Where the tip points."""

    UP = "up"
    DOWN = "down"
    RIGHT = "right"
    LEFT = "left"


class Hand(StrEnum):
    """The hand that has the knife."""

    RIGHT = "right"
    LEFT = "left"


#: The settings, as one chooses them.
TIPS: Mapping[Tip, str] = {
    Tip.UP: mark("up"),
    Tip.DOWN: mark("down"),
    Tip.RIGHT: mark("to the right"),
    Tip.LEFT: mark("to the left"),
}
HANDS: Mapping[Hand, str] = {
    Hand.RIGHT: mark("in the right hand"),
    Hand.LEFT: mark("in the left hand"),
}
#: The edge on which each side lies, by where the tip points.
_EDGES: Mapping[Tip, tuple[str, str]] = {
    Tip.UP: ("left", "right"),
    Tip.DOWN: ("right", "left"),
    Tip.RIGHT: ("upper", "lower"),
    Tip.LEFT: ("lower", "upper"),
}
_EDGE_NAMES: Mapping[str, str] = {
    "left": mark("left"),
    "right": mark("right"),
    "upper": mark("upper"),
    "lower": mark("lower"),
}
_PARTS: Mapping[str, str] = {
    "whole": mark("all over"),
    "sides": mark("both sides, not the centre"),
    "corners": mark("both corners"),
    "upper": mark("next to the heart"),
    "left": mark("left side"),
    "right": mark("right side"),
    "upper-side": mark("upper side"),
    "lower-side": mark("lower side"),
    "left-corner": mark("left corner"),
    "right-corner": mark("right corner"),
    "upper-corner": mark("upper corner"),
    "lower-corner": mark("lower corner"),
    "left-foot": mark("foot of the left side"),
    "right-foot": mark("foot of the right side"),
    "upper-foot": mark("foot of the upper side"),
    "lower-foot": mark("foot of the lower side"),
}
_HELD: Mapping[Tip, str] = {
    Tip.UP: mark("Tip up, facing each blade."),
    Tip.DOWN: mark("Tip down, facing each blade: left and right as you see them so."),
    Tip.RIGHT: mark("Tip to the right, facing each blade."),
    Tip.LEFT: mark("Tip to the left, facing each blade."),
}


@dataclass(frozen=True, slots=True)
class Held:
    """How a reed is held.

    Parameters
    ----------
    tip : Tip
        Where the tip points.
    knife : Hand
        The hand that has the knife.

    Examples
    --------
    >>> from crowlight.report.words import in_locale
    >>> Held(Tip.DOWN).part("left-corner", in_locale("en"))
    'right corner'
    """

    tip: Tip = Tip.UP
    knife: Hand = Hand.RIGHT

    @property
    def sideways(self) -> bool:
        """Whether the reed lies across."""
        return self.tip in (Tip.LEFT, Tip.RIGHT)

    def edges(self) -> dict[str, Side]:
        """Return the edges as they are seen, left or upper first, and the side each one is."""
        first, second = _EDGES[self.tip]
        if first in ("left", "upper"):
            return {first: Side.LEFT, second: Side.RIGHT}
        return {second: Side.RIGHT, first: Side.LEFT}

    def edge(self, side: Side | str) -> str:
        """Return the code of the edge on which a side is seen."""
        return _EDGES[self.tip][Side(side) is Side.RIGHT]

    def side(self, side: Side | str, words: Words) -> str:
        """Return what a side is called as the reed is held."""
        return words(_EDGE_NAMES[self.edge(side)])

    def part(self, part: Part | str, words: Words) -> str:
        """Return what a part of a zone is called as the reed is held."""
        name = Part(part)
        if not name.lopsided:
            return words(_PARTS[name.value])
        side, _, rest = name.value.partition("-")
        edge = self.edge(side)
        if not rest and edge in ("upper", "lower"):
            rest = "side"
        return words(_PARTS[f"{edge}-{rest}" if rest else edge])

    def said(self, words: Words) -> str:
        """Return how the reed is held, in a sentence."""
        return words(_HELD[self.tip])
