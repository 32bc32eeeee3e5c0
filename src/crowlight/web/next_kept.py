"""What is already known of the next cut: for pages that must never wait for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NoReturn
from uuid import UUID

from crowlight.bench.desk import Desk, Sheet
from crowlight.errors import CrowlightError
from crowlight.report.held import Held
from crowlight.report.words import Words
from crowlight.web.next_shown import headline_of

__all__ = ["Known", "next_known"]


@dataclass(frozen=True, slots=True)
class Known:
    """The advice in two lines: what is likeliest wrong, and what to do next."""

    headline: str
    act: str


class _NotKept(CrowlightError):
    """It would have to be computed."""


class _NoJobs:
    """Computes nothing."""

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> NoReturn:
        """Refuse a task."""
        raise _NotKept(task)

    def close(self) -> None:
        """Do nothing."""


def next_known(desk: Desk, sheet: Sheet, *, held: Held, words: Words) -> Known | None:
    """Return the advice for a reed if it was computed before; None rather than wait or fail.

    Parameters
    ----------
    desk : Desk
        The desk.
    sheet : Sheet
        The reed as it is now.
    held : Held
        How it is held.
    words : Words
        The language.
    """
    reed: UUID = sheet.reed.uuid
    try:
        counsel = replace(desk, jobs=_NoJobs()).advice.plan(reed)
    except CrowlightError:
        return None
    headline, act = headline_of(
        counsel,
        held=held,
        words=words,
        grade=sheet.state.grade,
        owed=desk.posted.owed(reed),
    )
    return Known(headline, act)
