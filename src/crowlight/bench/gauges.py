"""A maker's own repeatability of each gauge, over all of their latest reeds."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from itertools import groupby
from uuid import UUID

from crowlight.bench.codec import Codec
from crowlight.bench.ports import Records, Results
from crowlight.bench.state import ReedState, state_of
from crowlight.judge.sitting import own_gauges
from crowlight.reed import Reading, Repeatability

__all__ = ["LATEST", "makers_gauges", "sittings_of"]

#: Reeds looked at: enough for some dozens of degrees of freedom, few enough to be read at once.
LATEST = 12
#: Goes up whenever the same readings would give another result.
_VERSION = 1

_codec = Codec(dict[str, Repeatability])


def makers_gauges(
    records: Records, results: Results, maker: UUID | None
) -> dict[str, Repeatability]:
    """Return the maker's own repeatability of each gauge that was repeated enough.

    Parameters
    ----------
    records, results : Records, Results
        Where reeds are kept, and what was worked out of them.
    maker : UUID or None
        The maker; nothing is known of nobody.

    Returns
    -------
    dict
        By instrument code, over the `LATEST` reeds of this maker; see
        `crowlight.judge.sitting.own_gauges`.
    """
    if maker is None:
        return {}
    reeds = records.latest_reeds(maker, LATEST)
    told = " ".join(f"{reed.uuid}:{reed.seq}" for reed in reeds)
    key = hashlib.sha256(f"gauges {_VERSION}\0{told}".encode()).hexdigest()
    if (known := results.get(key)) is not None:
        return _codec.from_bytes(known)
    states = [state_of(records.entries(reed.uuid, up_to=reed.seq)) for reed in reeds]
    found = own_gauges([sitting for state in states for sitting in sittings_of(state)])
    results.put(key, _codec.to_bytes(found))
    return found


def sittings_of(state: ReedState) -> Iterator[list[Reading]]:
    """Yield the readings of each time a reed was measured, by wet state, as they were taken."""
    for _, timed in groupby(state.readings, key=lambda t: t.together):
        one = [t.reading for t in timed]
        for wet in dict.fromkeys(r.state for r in one):
            yield [r for r in one if r.state is wet]
