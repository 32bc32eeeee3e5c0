"""The base of all kinds of entry, and the text fields they share."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from typing import Annotated, ClassVar, Literal
from uuid import UUID

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from crowlight.errors import InputError

__all__ = ["Answer", "Followed", "Line", "Part", "Payload", "Text", "clean_text"]


def clean_text(text: str, *, lines: bool = True) -> str:
    """Return `text` in Unicode normal form C, without blanks at its ends.

    Parameters
    ----------
    text : str
        What was typed.
    lines : bool
        Whether line breaks and tabs may stand in it.

    Returns
    -------
    str
        The text.

    Raises
    ------
    InputError
        If it holds a control character: these are never typed on purpose and hide in files.

    Examples
    --------
    >>> clean_text("  soft <b>reed</b> ")
    'soft <b>reed</b>'
    """
    text = unicodedata.normalize("NFC", text.replace("\r\n", "\n")).strip()
    allowed = "\n\t" if lines else ""
    for position, char in enumerate(text, start=1):
        if unicodedata.category(char) in {"Cc", "Cs"} and char not in allowed:
            msg = (
                f"text has the control character U+{ord(char):04X} at position {position}; "
                f"delete it and type that part again"
            )
            raise InputError(msg)
    return text


def _text(*, lines: bool) -> Callable[[str], str]:
    def check(text: str) -> str:
        return clean_text(text, lines=lines)

    return check


Line = Annotated[str, AfterValidator(_text(lines=False)), Field(max_length=200)]
Text = Annotated[str, AfterValidator(_text(lines=True)), Field(max_length=10_000)]
Answer = Literal["yes", "no", "unsure"]
#: Part of a zone, as `crowlight.plan.cut.Part`; sides as seen facing the blade.
Part = Literal[
    "whole",
    "sides",
    "left",
    "right",
    "corners",
    "left-corner",
    "right-corner",
    "left-foot",
    "right-foot",
    "upper",
]


class Payload(BaseModel):
    """Base of all kinds: frozen, nothing unknown accepted, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    kind: ClassVar[str]
    version: ClassVar[int] = 1


class Followed(Payload):
    """Base of what was done to a reed: it may follow an advice.

    `advised` is the entry of that advice and `option` which of its options was followed; an advice
    without an option says that something else was done.
    """

    advised: UUID | None = None
    option: Annotated[int, Field(ge=0, le=9)] | None = None
