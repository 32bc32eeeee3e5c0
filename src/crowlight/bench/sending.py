"""What goes along with everything that is written down: who, when, and what the sender knew."""

from __future__ import annotations

from datetime import datetime
from typing import TypedDict
from uuid import UUID

__all__ = ["Entered", "Sending"]


class Entered(TypedDict, total=False):
    """Keywords of whatever makes an entry; all may be left out.

    Parameters
    ----------
    uuid : UUID or None
        The sender's own, so that sending twice writes once.
    at : datetime or None
        When it happened, with its zone; now if not given.
    by : UUID or None
        The person who did it.
    """

    uuid: UUID | None
    at: datetime | None
    by: UUID | None


class Sending(Entered, total=False):
    """Keywords of every use case that writes an entry down; all may be left out.

    Parameters
    ----------
    expected_seq : int or None
        The latest entry number the sender has seen; who wrote in between makes it a conflict.
    """

    expected_seq: int | None
