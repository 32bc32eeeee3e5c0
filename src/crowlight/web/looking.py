"""Looking at a reed, also at one that cannot be judged: what is kept can always be seen and mended.

A reading that lies off the blade of its style, say, makes the judgement refuse. The page must then
still open, or nobody could correct the reading.
"""

from __future__ import annotations

from uuid import UUID

from crowlight.bench.desk import Desk, Sheet
from crowlight.bench.state import state_of
from crowlight.errors import CrowlightError, RecordsError

__all__ = ["as_kept", "judged"]


def as_kept(desk: Desk, reed: UUID, *, up_to: int | None = None) -> Sheet:
    """Return what is kept of a reed, without judging it: for forms, which need no judgement.

    Raises
    ------
    NotFound
        If there is no such reed.
    """
    found = desk.records.reed(reed)
    entries = desk.records.entries(found.uuid, up_to=up_to)
    return Sheet(reed=found, state=state_of(entries), entries=entries, assessment=None)


def judged(desk: Desk, reed: UUID, *, up_to: int | None = None) -> tuple[Sheet, str]:
    """Return a judged reed, and why it could not be judged; one of the two is empty.

    Raises
    ------
    RecordsError
        If the records themselves cannot be read.
    """
    try:
        return desk.sheet(reed, up_to=up_to), ""
    except RecordsError:
        raise
    except CrowlightError as error:
        return as_kept(desk, reed, up_to=up_to), str(error)
