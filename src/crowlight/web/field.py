"""What a form and a field of it are, and the fields several forms share."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from crowlight.report.words import mark

__all__ = [
    "BLADES",
    "BLOWING",
    "KNIFE",
    "PARTS",
    "PRESSURES",
    "REMARK",
    "YES",
    "ZONES",
    "Field",
    "Form",
    "answer",
    "choice",
    "followed",
    "humidity",
    "line",
    "mm",
    "text",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form.

    Parameters
    ----------
    name : str
        Name in the payload; ``cane.diameter`` for a nested one.
    label : str
        What it is called.
    kind : str
        ``number``, ``line``, ``text``, ``choice`` (one), ``ticks`` (any number), ``suggest``
        (a line, with words offered), ``day`` (a date) or ``kept`` (not shown, sent back as it was).
    unit : str
        Unit shown and typed.
    factor, offset : float
        SI value = typed value times `factor` plus `offset`.
    choices : tuple of (str, str)
        Value and label.
    hint : str
        One sentence of help.
    needed : bool
        Whether the form cannot be sent without it.
    section : str
        Heading it stands under; fields without one come first.
    whole : bool
        Whether a number has no decimals.
    units : tuple of (str, float)
        Units it may be typed in, each with its factor to SI; empty where there is but one.
    unit_from : str
        Name of the field that says which of them.
    mistaken : tuple of (str, float)
        Other units in which such a number is often read, to ask about one outside its limits.
    least : float
        Smallest number above 0 that can be meant, as typed: below it, another unit is asked about.
    slip : tuple of (str, float)
        The unit such a small number was then typed in, and how many of this field's go to it.
    more : bool
        Whether a page may offer more choices than these.
    """

    name: str
    label: str
    kind: Literal["number", "line", "text", "choice", "ticks", "suggest", "day", "kept"] = "number"
    unit: str = ""
    factor: float = 1.0
    offset: float = 0.0
    choices: tuple[tuple[str, str], ...] = ()
    hint: str = ""
    needed: bool = False
    section: str = ""
    whole: bool = False
    more: bool = False
    units: tuple[tuple[str, float], ...] = ()
    unit_from: str = ""
    mistaken: tuple[tuple[str, float], ...] = ()
    least: float = 0.0
    slip: tuple[str, float] = ("", 1.0)

    def typed_in(self, unit: str) -> Field:
        """Return the field in one of its units; as it is if that is none of them."""
        factor = dict(self.units).get(unit)
        return self if factor is None else replace(self, unit=unit, factor=factor)


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """The form for one kind of entry.

    Parameters
    ----------
    title : str
        Its heading.
    fields : tuple of Field
        What it asks.
    about : str
        One sentence below the heading.
    caution : str
        What to mind where work can hurt; empty if it cannot.
    says_something : bool
        Whether a form with nothing filled in says nothing and is refused.
    """

    title: str
    fields: tuple[Field, ...]
    about: str = ""
    caution: str = ""
    says_something: bool = True


def mm(name: str, label: str, *, least: float = 1e-3, **rest: str | bool) -> Field:
    """Return a length; nothing of a reed is measured to less than a micrometre."""
    return Field(
        name=name,
        label=label,
        unit="mm",
        factor=1e-3,
        mistaken=_INCHES,
        least=least,
        slip=_METRES,
        **rest,  # pyright: ignore[reportArgumentType]  # passed through
    )


def humidity(name: str, label: str, **rest: str | bool) -> Field:
    """Return a relative humidity; no room is as dry as a hundredth."""
    return Field(
        name=name,
        label=label,
        unit="%",
        factor=0.01,
        least=1.0,
        slip=_OF_ONE,
        **rest,  # pyright: ignore[reportArgumentType]  # passed through
    )


_METRES = (mark("metres"), 1000.0)
_OF_ONE = (mark("parts of one"), 100.0)
_INCHES = (("inches", 25.4e-3),)
#: Pressures as manometers show them, in pascals; centimetres of water at 4 °C.
PRESSURES = (("hPa", 100.0), ("mbar", 100.0), ("cmH2O", 98.0665), ("kPa", 1000.0))
YES = (("yes", mark("yes")), ("no", mark("no")), ("unsure", mark("not sure")))
ZONES = tuple(
    (z, z)
    for z in (
        mark("tip"),
        mark("corners"),
        mark("transition"),
        mark("heart"),
        mark("spine"),
        mark("windows"),
        mark("rails"),
        mark("back"),
    )
)
BLADES = (("marked", mark("marked blade")), ("plain", mark("plain blade")))
PARTS = (
    ("whole", mark("all over")),
    ("sides", mark("both sides, not the centre")),
    ("left", mark("left side as seen")),
    ("right", mark("right side as seen")),
    ("corners", mark("both corners")),
    ("left-corner", mark("left corner as seen")),
    ("right-corner", mark("right corner as seen")),
    ("left-foot", mark("foot of the left side as seen")),
    ("right-foot", mark("foot of the right side as seen")),
    ("upper", mark("next to the heart")),
)
KNIFE = mark(
    "Sharp knife, plaque seated, cut away from you with the thumb behind the edge. "
    "Scrape wet and wipe, do not blow: cane dust is bad for the lungs."
)
BLOWING = mark(
    "Do not share a reed unwashed. Stop at dizziness, headache or pressure in the head; "
    "never force a reed that will not speak."
)


def text(name: str, label: str, **rest: str | bool) -> Field:
    """Return a field for several lines."""
    return Field(name=name, label=label, kind="text", **rest)  # pyright: ignore[reportArgumentType]  # passed through


def line(name: str, label: str, **rest: str | bool) -> Field:
    """Return a field for one line."""
    return Field(name=name, label=label, kind="line", **rest)  # pyright: ignore[reportArgumentType]  # passed through


def choice(name: str, label: str, choices: Iterable[tuple[str, str]], **rest: str | bool) -> Field:
    """Return a question with one answer out of several."""
    return Field(name=name, label=label, kind="choice", choices=tuple(choices), **rest)  # pyright: ignore[reportArgumentType]  # passed through


REMARK = text("remark", mark("Remark"))


def answer(name: str, label: str) -> Field:
    """Return a question that is answered by yes, no or not sure."""
    return choice(name, label, YES)


def followed() -> tuple[Field, ...]:
    """Return what says which advice was followed; whoever writes it down is not asked."""
    return (
        Field(name="advised", label=mark("Advice"), kind="kept"),
        Field(name="option", label=mark("Option"), kind="kept"),
    )
