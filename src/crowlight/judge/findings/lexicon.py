"""The player's words, mapped to the codes evidence is taken from.

A small matter of finding phrases, with a guard against plain negations. It understands no irony, no
comparisons ("less flat than yesterday") and no other language; what it heard is shown to the
player, who may strike it.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache
from importlib.resources import files

from crowlight.errors import InputError
from crowlight.judge.findings.signs import WORDS

__all__ = ["heard"]

#: How many words may stand between a negation and what it negates.
_BETWEEN = 2


def _bare(text: str) -> str:
    """Return text in lower case without apostrophes, which are often left out."""
    return text.lower().replace("’", "").replace("'", "")


@cache
def _lexicon() -> tuple[re.Pattern[str], dict[str, str]]:
    """Return the pattern of all phrases, longest first, and the code of each phrase."""
    text = (files("crowlight.judge.findings") / "lexicon.toml").read_text(encoding="utf-8")
    content = tomllib.loads(text)
    codes: dict[str, str] = {}
    for code, phrases in content["words"].items():
        if code not in WORDS:
            msg = f"lexicon: {code!r} is not a code; use one of: {', '.join(WORDS)}"
            raise InputError(msg)
        for phrase in map(_bare, phrases):
            if codes.setdefault(phrase, code) != code:
                msg = f"lexicon: {phrase!r} stands under both {codes[phrase]!r} and {code!r}"
                raise InputError(msg)
    phrases = "|".join(re.escape(p) for p in sorted(codes, key=len, reverse=True))
    negations = "|".join(
        re.escape(n) for n in sorted(map(_bare, content["not"]), key=len, reverse=True)
    )
    word = r"(?!and\b|but\b)\w+"
    # a phrase that begins with a negation of its own is tried first, hence the lazy group
    pattern = rf"\b(?P<not>(?:{negations})\s+(?:{word}\s+){{0,{_BETWEEN}}}?)??(?P<said>{phrases})\b"
    return re.compile(pattern), codes


def heard(words: str) -> frozenset[str]:
    """Return the codes of what a player said.

    Parameters
    ----------
    words : str
        In the player's own words, English.

    Returns
    -------
    frozenset of str
        Keys of `signs.WORDS`.

    Examples
    --------
    >>> sorted(heard("Stuffy and the low notes won't come, but not sharp."))
    ['no-low', 'stuffy']
    """
    pattern, codes = _lexicon()
    found = pattern.finditer(_bare(words))
    return frozenset(codes[m["said"]] for m in found if m["not"] is None)
