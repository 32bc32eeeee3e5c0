"""Reading what was typed into a question: a form that asks and writes nothing down."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from starlette.datastructures import QueryParams

from crowlight.errors import InputError
from crowlight.report.words import Words
from crowlight.web.numbers import typed_number
from crowlight.web.typing_in import Trouble

__all__ = ["Question"]


@dataclass(slots=True)
class Question:
    """What was asked, in the address of the page, and what is wrong with it.

    Parameters
    ----------
    typed : dict
        Name of each field and what was typed.
    words : Words
        The language of messages.
    troubles : list of Trouble
        Grows as fields are read.
    """

    typed: dict[str, list[str]]
    words: Words
    troubles: list[Trouble] = field(default_factory=list[Trouble])

    @classmethod
    def of(cls, params: QueryParams, words: Words) -> Question:
        """Read the address of a page."""
        typed: dict[str, list[str]] = {}
        for name, value in params.multi_items():
            typed.setdefault(name[:60], []).append(value[:200])
        return cls(typed, words)

    def one(self, name: str) -> str:
        """Return what was typed into a field, without blanks around it."""
        return (self.typed.get(name) or [""])[0].strip()

    def choice(self, name: str, choices: Mapping[str, object], usual: str) -> str:
        """Return what was chosen; what is none of the choices is the usual one."""
        chosen = self.one(name)
        return chosen if chosen in choices else usual

    def number(self, name: str, *, unit: str, usual: float | None = None) -> float | None:
        """Return a number; `usual` for an empty field, None with a trouble for no number."""
        text = self.one(name)
        if not text:
            return usual
        try:
            return typed_number(text, unit=unit, words=self.words)
        except InputError as error:
            self.trouble(name, str(error))
            return None

    def trouble(self, name: str, text: str) -> None:
        """Note what is wrong with a field."""
        self.troubles.append(Trouble(name, text))
