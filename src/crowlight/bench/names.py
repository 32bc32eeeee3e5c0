"""Names as people type them."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from difflib import get_close_matches

__all__ = ["folded", "no_such"]


def folded(text: str) -> str:
    """Return `text` as a search compares it: no capitals, no accents, single blanks.

    Examples
    --------
    >>> folded("Grüne  Wicklung, Nº 3")
    'grune wicklung, no 3'
    """
    parts = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in parts if not unicodedata.combining(c)).split())


def no_such(what: str, key: str, kept: Sequence[str], *, many: str = "") -> str:
    """Say that nothing has this name, and which names are close.

    Parameters
    ----------
    what : str
        What was looked for.
    key : str
        The name that was given.
    kept : sequence of str
        The names there are.
    many : str
        The plural of `what`; with an s if not given.

    Examples
    --------
    >>> no_such("reed", "terns", ["Tern", "Gull"])
    "no reed is called 'terns'; did you mean 'Tern'?"
    """
    many = many or f"{what}s"
    names = {folded(n): n for n in kept}
    close = [repr(names[n]) for n in get_close_matches(folded(key), names, n=3, cutoff=0.6)]
    if close:
        return f"no {what} is called {key!r}; did you mean {' or '.join(close)}?"
    if not kept:
        return f"no {what} is called {key!r}: no {many} are kept yet"
    return f"no {what} is called {key!r}; look it up in the list of {len(kept)} {many}"
