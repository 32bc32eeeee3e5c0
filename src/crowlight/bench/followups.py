"""What a maker's own travelled reeds have shown."""

from __future__ import annotations

from uuid import UUID

from crowlight.bench.kinds import Travelled
from crowlight.bench.ports import Records
from crowlight.bench.state import current

__all__ = ["LATEST", "travel_outcomes"]

#: Reeds looked at, the latest first.
LATEST = 60


def travel_outcomes(
    records: Records, maker: UUID | None
) -> tuple[tuple[str, float, float, float, float], ...]:
    """Return the follow-ups of a maker's latest reeds.

    Parameters
    ----------
    records : Records
        Where they are kept.
    maker : UUID or None
        The maker; nothing is known of nobody.

    Returns
    -------
    tuple of tuple
        Effect, altitude at home and there [m], what was found there less at home, its standard
        uncertainty; see `crowlight.bench.kinds.Travelled`.
    """
    if maker is None:
        return ()
    return tuple(
        (told.effect, told.home_altitude, told.altitude, told.found, told.accuracy)
        for reed in records.latest_reeds(maker, LATEST)
        for entry in current(records.entries(reed.uuid))
        if isinstance(told := entry.payload, Travelled)
    )
