"""What a maker's own cuts brought about: the opening before and after each, and what lay between.

Kept beside it is what the *model* told of each cut, before any correction: corrections are learned
from that alone. Which of them may teach is decided in `crowlight.bench.own_correcting`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from crowlight.bench.advice_kinds import Advised, Foretold, Offered
from crowlight.bench.codec import Codec
from crowlight.bench.kinds import Clip, Cut, Opening, Travelled, Wetting
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry, Records, Reed, Results
from crowlight.bench.state import ReedState, state_of

__all__ = [
    "FEWEST",
    "LATEST",
    "OPENING",
    "OwnChange",
    "OwnCuts",
    "joined",
    "makers_own_cuts",
    "own_cuts_of",
]

#: Reeds looked at, the latest first.
LATEST = 60
#: Output of the blade model that an opening measures.
OPENING = "rest_height"
#: Fewer cuts teach nothing: `crowlight.calibrate.learning.LEAST`, which would load far more.
FEWEST = 5
#: Goes up whenever the same entries would give another result.
_VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnChange:
    """One cut that was made as advised, with the opening measured before and after it.

    Parameters
    ----------
    cut : str
        Its entry.
    name, zone, maker, batch : str
        Kind of cut, and where; whose reed, and which batch it is of.
    told : tuple of float
        Change of the opening as the model told it, uncorrected: 5, 50 and 95 % points [m].
    before, after : float
        As measured [m].
    before_uncertainty, after_uncertainty : float
        Standard uncertainties [m].
    changes : int
        Things done between the two measures; 1 is the cut alone.
    nights : int
        Nights between.
    soaked_anew, place_changed : bool
        Whether it was soaked or wiped, or taken elsewhere between.
    """

    cut: str
    name: str
    zone: str
    maker: str
    batch: str
    told: tuple[float, float, float]
    before: float
    before_uncertainty: float
    after: float
    after_uncertainty: float
    changes: int
    nights: int
    soaked_anew: bool
    place_changed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnCuts:
    """What is known of the cuts of one maker.

    Parameters
    ----------
    changes : tuple of OwnChange
        In the order of their entries' names: when they were made does not matter.
    openings : tuple of float
        Every opening measured, in order of size [m]: where openings usually lie.
    """

    changes: tuple[OwnChange, ...] = ()
    openings: tuple[float, ...] = ()

    @property
    def teaching(self) -> OwnCuts | None:
        """The same where there are enough to teach anything, else None."""
        return self if len(self.changes) >= FEWEST else None


_codec = Codec(OwnCuts)


def makers_own_cuts(records: Records, results: Results, reed: Reed) -> OwnCuts:
    """Return what is known of the cuts of whoever made a reed; of nobody's reed, of its own."""
    reeds = (reed,) if reed.maker is None else records.latest_reeds(reed.maker, LATEST)
    return joined(_kept(records, results, r) for r in reeds)


def joined(parts: Iterable[OwnCuts]) -> OwnCuts:
    """Return what several reeds tell together."""
    every = list(parts)
    return OwnCuts(
        changes=tuple(sorted((c for p in every for c in p.changes), key=lambda c: c.cut)),
        openings=tuple(sorted(x for p in every for x in p.openings)),
    )


def _kept(records: Records, results: Results, reed: Reed) -> OwnCuts:
    told = f"own cuts {_VERSION}\0{reed.uuid}:{reed.seq}:{reed.maker}:{reed.batch}"
    key = hashlib.sha256(told.encode()).hexdigest()
    if (known := results.get(key)) is not None:
        return _codec.from_bytes(known)
    found = own_cuts_of(reed, records.entries(reed.uuid, up_to=reed.seq))
    results.put(key, _codec.to_bytes(found))
    return found


def own_cuts_of(reed: Reed, log: Sequence[Entry]) -> OwnCuts:
    """Return what one reed's log tells."""
    state = state_of(log)
    heights = [e.payload.height for e in state.entries if isinstance(e.payload, Opening)]
    maker = str(reed.maker or "")
    return joined(
        [
            OwnCuts(
                changes=tuple(_changes(state, maker, str(reed.batch or ""))),
                openings=tuple(heights),
            )
        ]
    )


def _changes(state: ReedState, maker: str, batch: str) -> Iterator[OwnChange]:
    entries = state.entries
    for at, e in enumerate(entries):
        offered = _as_offered(state, e)
        told = _told(offered) if offered is not None else None
        around = _around(entries, at)
        if offered is None or told is None or around is None:
            continue
        first, second = around
        old, new = entries[first].payload, entries[second].payload
        assert isinstance(old, Opening)  # noqa: S101 - see `_around`
        assert isinstance(new, Opening)  # noqa: S101
        inside = [x.payload for x in entries[first + 1 : second]]
        days = entries[second].happened_at.date() - entries[first].happened_at.date()
        yield OwnChange(
            cut=str(e.uuid),
            name=offered.name,
            zone=offered.zone,
            maker=maker,
            batch=batch,
            told=told,
            before=old.height,
            before_uncertainty=old.uncertainty,
            after=new.height,
            after_uncertainty=new.uncertainty,
            changes=sum(isinstance(p, Followed) for p in inside),
            nights=max(days.days, 0),
            soaked_anew=any(isinstance(p, Wetting) for p in inside),
            place_changed=any(isinstance(p, Travelled) for p in inside),
        )


def _as_offered(state: ReedState, e: Entry) -> Offered | None:
    """Return the option a cut or clip followed, where as much was done as was told of."""
    deed = e.payload
    if not isinstance(deed, Cut | Clip) or deed.advised is None or deed.option is None:
        return None
    advice = next((x.payload for x in state.entries if x.uuid == deed.advised), None)
    if not isinstance(advice, Advised) or deed.option >= len(advice.options):
        return None
    offered = advice.options[deed.option]
    if isinstance(deed, Cut):
        return offered if deed.strokes == offered.strokes else None
    alike = deed.amount is not None and abs(deed.amount - offered.clip) < 1e-9
    return offered if alike else None


def _told(offered: Offered) -> tuple[float, float, float] | None:
    e: Foretold | None = next((x for x in offered.expected if x.name == OPENING), None)
    if e is None:
        return None
    low, middle, high = e.raw or (e.low, e.middle, e.high)
    return (low, middle, high) if low <= middle <= high and low < high else None


def _around(entries: Sequence[Entry], at: int) -> tuple[int, int] | None:
    """Return the last opening before a deed, and the last one after it, before the next deed."""
    first = next((i for i in range(at - 1, -1, -1) if _opens(entries[i])), None)
    after = range(at + 1, len(entries))
    until = next((i for i in after if isinstance(entries[i].payload, Followed)), len(entries))
    second = next((i for i in range(until - 1, at, -1) if _opens(entries[i])), None)
    return None if first is None or second is None else (first, second)


def _opens(e: Entry) -> bool:
    return isinstance(e.payload, Opening)
