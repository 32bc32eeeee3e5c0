"""What can go wrong, as one tree of exceptions.

::

    CrowlightError
    ├── InputError            a value the user gave cannot be right (also a ValueError)
    │   └── TableError        a table with bad rows; every problem with its line number
    ├── OutsideModel          the model's validity ends here, or no answer was found
    ├── MissingExtra          an optional part is not installed (also an ImportError)
    ├── Cancelled             the user stopped a long computation
    └── RecordsError          something about the kept records
        ├── NotFound
        ├── Conflict          someone else wrote first: reload and look
        ├── NewerDatabase     made by a later crowlight
        └── CannotWrite       disk full, folder read-only, database locked

A message says which value, which unit, which limit and what to do about it. The command line and
the web pages translate these once; a user never sees a traceback for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "Cancelled",
    "CannotWrite",
    "Conflict",
    "CrowlightError",
    "InputError",
    "MissingExtra",
    "NewerDatabase",
    "NotFound",
    "OutsideModel",
    "Problem",
    "RecordsError",
    "TableError",
]


class CrowlightError(Exception):
    """Base of every error crowlight raises on purpose."""


class InputError(CrowlightError, ValueError):
    """A value that cannot be right: the message names value, unit, limit and remedy."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with one line of a table.

    Parameters
    ----------
    line : int
        Line number in the file as a text editor counts it, from 1; 0 for the whole file.
    text : str
        What is wrong, with value, unit, limit and remedy.
    """

    line: int
    text: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.text}" if self.line else self.text


class TableError(InputError):
    """A table that was refused as a whole; nothing of it was kept.

    Parameters
    ----------
    problems : sequence of Problem
        Everything found wrong, in line order; at least one.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        shown = [str(p) for p in self.problems[:20]]
        if len(self.problems) > len(shown):
            shown.append(f"and {len(self.problems) - len(shown)} more")
        super().__init__("\n".join(shown))

    def __reduce__(self) -> tuple[type[TableError], tuple[tuple[Problem, ...]]]:
        """Let the error travel between processes with its problems."""
        return type(self), (self.problems,)


class OutsideModel(CrowlightError):
    """The model is not valid here, or found no answer; the message gives the reason."""


class MissingExtra(CrowlightError, ImportError):
    """An optional part is needed and not installed; the message names the extra."""


class Cancelled(CrowlightError):
    """The user stopped a long computation."""


class RecordsError(CrowlightError):
    """Something about the kept records."""


class NotFound(RecordsError, LookupError):
    """No such reed, person, entry or file."""


class Conflict(RecordsError):
    """The record changed since it was read; nothing was written."""


class NewerDatabase(RecordsError):
    """The database was made by a later version of crowlight; nothing was changed."""


class CannotWrite(RecordsError):
    """The record could not be written; what was there is untouched."""
