"""Colours of winding thread, by the words people use for them."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["thread_fill"]

_COLOURS: Mapping[str, str] = MappingProxyType(
    {
        "black": "#26282a",
        "white": "#f7f5ef",
        "grey": "#8b9092",
        "gray": "#8b9092",
        "silver": "#b9bec0",
        "red": "#c2272d",
        "orange": "#e3731c",
        "gold": "#c99a21",
        "yellow": "#efc927",
        "green": "#2f8a49",
        "turquoise": "#21a5a5",
        "teal": "#147a7a",
        "blue": "#2560b8",
        "navy": "#1c2f63",
        "violet": "#6a45a6",
        "purple": "#6a3d8f",
        "lilac": "#a88fce",
        "pink": "#e27ba4",
        "brown": "#7a4b28",
        "beige": "#d9c49b",
        "natural": "#d9c49b",
    }
)


def thread_fill(words: str) -> str:
    """Return the colour that a description of a thread names last; empty if it names none.

    Examples
    --------
    >>> thread_fill("dark green"), thread_fill("tartan")
    ('#2f8a49', '')
    """
    known = [_COLOURS[w] for w in words.lower().replace("-", " ").split() if w in _COLOURS]
    return known[-1] if known else ""
