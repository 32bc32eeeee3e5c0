"""Numbers as people type them."""

from __future__ import annotations

import math
import re

from crowlight.errors import InputError
from crowlight.report.words import Words, mark

__all__ = ["shown", "typed_number"]

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,12}(?:[.,][0-9]{0,12})?|[.,][0-9]{1,12})")


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
    if unit and plain.lower().endswith(unit.lower()):
        plain = plain[: -len(unit)].rstrip()
    if not _NUMBER.fullmatch(plain):
        example = words.number(0.46)
        raise InputError(
            words.say(
                mark("“%(typed)s” is not a number; write it like %(example)s, in %(unit)s"),
                typed=text.strip()[:40],
                example=example,
                unit=unit,
            )
            if unit
            else words.say(
                mark("“%(typed)s” is not a number; write it like %(example)s"),
                typed=text.strip()[:40],
                example=example,
            )
        )
    return float(plain.replace(",", "."))


def shown(value: float | None) -> str:
    """Return a number for a field: short, with a point, no digits that nobody typed."""
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.7g}"
