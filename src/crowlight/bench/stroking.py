"""How much cane a maker's light stroke takes: pooled from logged cuts, over all their reeds."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.carrying import CutsLaid
from crowlight.bench.codec import Codec
from crowlight.bench.kinds import Cut, Knife
from crowlight.bench.mapping import placed_style
from crowlight.bench.payload import Payload
from crowlight.bench.ports import Records, Results
from crowlight.bench.state import ReedState, TimedReading, state_of
from crowlight.errors import InputError
from crowlight.plan.cut import LoggedCut, SeenFall, StrokeSize, learn_strokes, logged_cut
from crowlight.reed import Blade, CaneState, Instrument, Place, instrument

__all__ = [
    "LATEST",
    "Strokes",
    "logged_cuts",
    "makers_strokes",
    "pooled",
    "sharpenings",
    "sittings_of_blade",
    "strokes_of",
]

#: Reeds looked at, the latest first.
LATEST = 24
#: Goes up whenever the same entries would give another result.
_VERSION = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes:
    """What is known of a maker's strokes.

    Parameters
    ----------
    size : StrokeSize
        With the knife as it is now.
    since_sharpened : int or None
        Strokes since the knife was sharpened or changed; None if that was never written down.
    """

    size: StrokeSize
    since_sharpened: int | None = None


_codec = Codec(Strokes)


def makers_strokes(
    records: Records, results: Results, maker: UUID | None, reed: UUID, *, texts: dict[str, str]
) -> Strokes:
    """Return what is known of the strokes of whoever made a reed.

    Parameters
    ----------
    records, results : Records, Results
        Where reeds are kept, and what was worked out of them.
    maker : UUID or None
        The maker; of nobody's reed only its own cuts tell.
    reed : UUID
        The reed.
    texts : dict of str to str
        Texts of the makers' own styles by name.
    """
    reeds = (records.reed(reed),) if maker is None else records.latest_reeds(maker, LATEST)
    told = " ".join(f"{r.uuid}:{r.seq}" for r in reeds)
    key = hashlib.sha256(f"strokes {_VERSION}\0{told}".encode()).hexdigest()
    if (known := results.get(key)) is not None:
        return _codec.from_bytes(known)
    states = [state_of(records.entries(r.uuid, up_to=r.seq)) for r in reeds]
    found = strokes_of(states, texts=texts)
    results.put(key, _codec.to_bytes(found))
    return found


def strokes_of(states: Sequence[ReedState], *, texts: dict[str, str] | None = None) -> Strokes:
    """Return what several reeds of one maker tell of their strokes.

    Examples
    --------
    >>> strokes_of([]).size.basis
    'common practice'
    """
    knives = sharpenings(states)
    cuts = [c for s in states for c in logged_cuts(s, knives=knives, texts=texts or {})]
    since = None
    if knives:
        since = sum(
            (e.payload.strokes or 0) * len(e.payload.blades)
            for s in states
            for e in s.entries
            if isinstance(e.payload, Cut) and e.happened_at > knives[-1]
        )
    return Strokes(size=learn_strokes(cuts, knife=len(knives)), since_sharpened=since)


def sharpenings(states: Iterable[ReedState]) -> list[datetime]:
    """Return when the knife was sharpened or changed, over all reeds, each moment once."""
    return sorted({e.happened_at for s in states for e in s.entries if _sharpens(e.payload)})


def _sharpens(payload: Payload) -> bool:
    return isinstance(payload, Knife) or (
        isinstance(payload, Treated) and payload.what == "sharpen"
    )


def logged_cuts(
    state: ReedState, *, knives: Sequence[datetime] = (), texts: dict[str, str] | None = None
) -> Iterator[LoggedCut]:
    """Yield what the cuts of one reed tell: strokes pooled between two gaugings of a blade.

    Parameters
    ----------
    state : ReedState
        The reed.
    knives : sequence of datetime
        When the knife was sharpened or changed, in order. Cuts on both sides of one are not pooled.
    texts : dict of str to str, optional
        Texts of the makers' own styles by name.

    Notes
    -----
    Places touched before and after are compared. Each tells by what a gauge sees of the strokes
    there; what the two mountings share is added once. A cut whose depth was measured tells by
    itself.
    """
    yield from _depths(state, knives)
    code = state.described.style
    if not code:
        return
    try:
        style = placed_style(code, state.length, (texts or {}).get(code, ""))
    except InputError:
        return
    laid = CutsLaid(style)
    for blade in Blade:
        sittings = sittings_of_blade(state, blade)
        for before, after in pairwise(sittings):
            found = pooled(state, blade, before, after, laid, knives)
            if found is not None:
                yield found


def _depths(state: ReedState, knives: Sequence[datetime]) -> Iterator[LoggedCut]:
    for e in state.entries:
        cut = e.payload
        if isinstance(cut, Cut) and cut.depth is not None and cut.strokes:
            gauge = instrument("dial").repeatability
            yield LoggedCut(
                cut.strokes, cut.depth, math.sqrt(2.0) * gauge, _knife(knives, e.happened_at)
            )


def _knife(knives: Sequence[datetime], at: datetime) -> int:
    return sum(k <= at for k in knives)


def sittings_of_blade(state: ReedState, blade: Blade) -> list[list[TimedReading]]:
    """Return the wet readings of a blade, sitting by sitting."""
    found: dict[UUID, list[TimedReading]] = {}
    for t in state.readings:
        if t.reading.place.blade is blade and t.reading.state is CaneState.WET:
            found.setdefault(t.entry, []).append(t)
    return list(found.values())


def pooled(
    state: ReedState,
    blade: Blade,
    before: Sequence[TimedReading],
    after: Sequence[TimedReading],
    laid: CutsLaid,
    knives: Sequence[datetime],
) -> LoggedCut | None:
    """Return what all strokes between two gaugings of a blade took together; None if untold."""
    order = {e.uuid: i for i, e in enumerate(state.entries)}
    between = state.entries[order[before[0].entry] + 1 : order[after[0].entry]]
    cuts = [e for e in between if isinstance(e.payload, Cut) and blade in e.payload.blades]
    strokes = [(e.payload, e.payload.strokes) for e in cuts if isinstance(e.payload, Cut)]
    made = {_knife(knives, e.happened_at) for e in cuts}
    if not strokes or any(not n or c.depth is not None for c, n in strokes) or len(made) > 1:
        return None
    total = sum(n or 0 for _, n in strokes)
    old, new = _means(before, laid), _means(after, laid)
    seen = [
        SeenFall(
            share=sum((n or 0) * laid.share(c, place, gauge.code) for c, n in strokes) / total,
            fall=old[place][0] - value,
            variance=u**2 + old[place][1] ** 2,
            seating=math.hypot(gauge.seating, old[place][2].seating),
        )
        for place, (value, u, gauge) in new.items()
        if place in old
    ]
    return logged_cut(total, seen, knife=made.pop())


def _means(
    readings: Sequence[TimedReading], laid: CutsLaid
) -> dict[Place, tuple[float, float, Instrument]]:
    """Return mean of each place, its uncertainty but for the seating [m], and what read it."""
    found: dict[Place, list[TimedReading]] = {}
    for t in readings:
        p = t.reading.place
        # to a hundredth of a millimetre: a position passes through decimal text on its way here
        found.setdefault(Place(p.blade, round(p.along, 5), round(p.across, 5)), []).append(t)
    out: dict[Place, tuple[float, float, Instrument]] = {}
    for place, several in found.items():
        gauge = instrument(several[0].reading.instrument)
        values = [t.reading.thickness for t in several]
        u = math.hypot(gauge.repeatability, gauge.resolution / math.sqrt(12.0))
        # a place is found once for each mounting: repeats in one do not average that away
        mountings = len({t.reading.seating for t in several})
        placed = gauge.placement * laid.slope(place) / math.sqrt(mountings)
        u = math.hypot(u / math.sqrt(len(values)), placed)
        out[place] = math.fsum(values) / len(values), u, gauge
    return out
