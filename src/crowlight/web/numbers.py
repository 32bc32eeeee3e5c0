"""Numbers as people type them."""

from __future__ import annotations

import math
import re

from crowlight.errors import InputError
from crowlight.report.words import Words, mark

__all__ = ["shown", "typed_number"]

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,12}(?:[.,][0-9]{0,12})?|[.,][0-9]{1,12})")
#: Units people write behind a number, longest first where one ends another.
_UNITS = (
    *("mm", "cm", "km", "µm", "um", "m", "inches", "inch", "in", "ft", "mg", "kg", "g", "%"),
    *("hPa", "kPa", "mbar", "bar", "Pa", "°C", "°F", "C", "F", "K", "Hz", "kHz", "dB", "cents"),
    *("seconds", "sec", "s", "minutes", "min", "hours", "h", "days", "d", "weeks"),
)
#: Other ways of writing the unit of a field.
_SAME = {
    "µm": ("um",),
    "°C": ("C",),
    "min": ("minutes",),
    "h": ("hours", "hour"),
    "d": ("days", "day"),
}
_WITH_UNIT = re.compile(
    rf"{_NUMBER.pattern}\s*({'|'.join(re.escape(u) for u in _UNITS)})", re.IGNORECASE
)
#: A number that looks right in a field, by its unit, with its decimals; 12.5 for any other.
_EXAMPLES = {"mm": (0.46, 2), "": (0.46, 2), "µm": (20.0, 0), "hPa": (990.0, 0), "Hz": (440.0, 0)}


def typed_number(text: str, *, unit: str, words: Words) -> float:
    """Return the number somebody typed, with a decimal comma or point.

    Parameters
    ----------
    text : str
        What was typed; the unit may stand behind the number.
    unit : str
        Unit of the field, as shown beside it.
    words : Words
        The language of the message.

    Raises
    ------
    InputError
        If it is no number; two marks are not guessed at, another unit is not converted.

    Examples
    --------
    >>> from crowlight.report.words import in_locale
    >>> [typed_number(t, unit="mm", words=in_locale("en")) for t in ("0,46", ".46 mm", "−2")]
    [0.46, 0.46, -2.0]
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-").replace("\N{NO-BREAK SPACE}", " ")
    plain = plain.replace("\N{GREEK SMALL LETTER MU}", "\N{MICRO SIGN}")
    for own in (unit, *_SAME.get(unit, ())) if unit else ():
        bare = plain[: -len(own)].rstrip() if plain.lower().endswith(own.lower()) else ""
        plain = bare if _NUMBER.fullmatch(bare) else plain
    if not _NUMBER.fullmatch(plain):
        raise InputError(_refused(text.strip()[:40], plain, unit, words))
    return float(plain.replace(",", "."))


def _refused(typed: str, plain: str, unit: str, words: Words) -> str:
    """Return why something typed is no number for a field of this unit."""
    other = _WITH_UNIT.fullmatch(plain)
    if other and unit:
        text = mark("“%(typed)s” is in %(other)s, and this field in %(unit)s; give it in %(unit)s")
        return words.say(text, typed=typed, other=other[1], unit=unit)
    if other:
        text = mark("“%(typed)s” is in %(other)s; this field takes a plain number, without a unit")
        return words.say(text, typed=typed, other=other[1])
    value, decimals = _EXAMPLES.get(unit, (12.5, 1))
    text = (
        mark("“%(typed)s” is not a number; write it like %(example)s, in %(unit)s")
        if unit
        else mark("“%(typed)s” is not a number; write it like %(example)s")
    )
    return words.say(text, typed=typed, example=words.number(value, decimals), unit=unit)


def shown(value: float | None) -> str:
    """Return a number for a field: short, with a point, no digits that nobody typed."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.7g}"
