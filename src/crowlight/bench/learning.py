"""What predictions have come to: each advice beside what was measured after it was followed.

Scores are of what was told; corrections are learned from what the model told before any of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from crowlight.bench.kinds import Clip, Cut, Opening, Travelled, Wetting
from crowlight.bench.outcomes import changed_by
from crowlight.bench.own_correcting import confounded_cuts, learned_by
from crowlight.bench.own_cuts import OPENING, OwnCuts, joined, own_cuts_of
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry, Reed, ReedQuery
from crowlight.bench.state import ReedState, state_of
from crowlight.calibrate.learning import (
    Between,
    Claim,
    Correction,
    Pair,
    Predicted,
    Reason,
    Score,
    effect_claim,
    score,
)

if TYPE_CHECKING:
    from crowlight.bench.desk import Desk

__all__ = [
    "Beside",
    "Credit",
    "Learned",
    "Learning",
    "Told",
    "learned_from",
    "pairs_of",
]

#: Most reeds looked at, the latest first.
MOST = 200
#: How an opening is read again from one day to the next [m], standard (common practice, no source).
_OPENING = 0.05e-3
#: Openings of so many reeds tell where they usually lie.
_USUAL = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """How later predictions of one quantity are put right, for the reeds of one maker.

    Parameters
    ----------
    quantity : str
        Which.
    maker : UUID or None
        Whose cuts; None for a reed that is nobody's, which learns from its own.
    cuts : int
        How many cuts it rests on.
    left_out : int
        Cuts measured before and after that do not count: something else lay between.
    bias : float
        Mean error along the predicted change, in standard deviations as the model told them, drawn
        towards 0: above 0 more came of it than told.
    scale : float
        How much wider than told the errors scatter.
    used : bool
        Whether anything was learned yet.
    """

    quantity: str
    maker: UUID | None = None
    cuts: int
    left_out: int = 0
    bias: float
    scale: float
    used: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Predictions that own cuts put right, beside what the model alone would have told.

    Parameters
    ----------
    quantity : str
        Which.
    cuts : int
        Cuts whose prediction was put right, and that were measured.
    crps, raw_crps : float
        Mean continuous ranked probability score of what was told, and of the model alone, in the
        unit of the quantity; 0 is best.
    """

    quantity: str
    cuts: int
    crps: float
    raw_crps: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Credit:
    """Whether a change of the opening may be credited to what was done.

    Parameters
    ----------
    what : str
        Kind of entry: ``cut`` or ``clip``.
    claim : Claim
        The answer [m].
    pairs : int
        How often an opening was measured before and after.
    """

    what: str
    claim: Claim
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """How the predictions have done.

    Parameters
    ----------
    reeds : int
        Reeds looked at.
    followed : int
        Cuts and clips that followed an advice.
    paired : int
        Of those, how many had something measured before and after.
    scores : tuple of Score
        By quantity.
    corrections : tuple of Told
        What is put right by it.
    left_out : int
        Openings that do not count in the scores, since something else lay between the measures.
    confounded : mapping of str to int
        How often something else lay between the measures, by what.
    credits : tuple of Credit
        What may be said of the opening.
    beside : tuple of Beside
        Whether what was put right did better for it.
    """

    reeds: int
    followed: int
    paired: int
    scores: tuple[Score, ...] = ()
    corrections: tuple[Told, ...] = ()
    left_out: int = 0
    confounded: Mapping[Reason, int] = field(default_factory=dict[Reason, int])
    credits: tuple[Credit, ...] = ()
    beside: tuple[Beside, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Learning:
    """Predictions and what came of them; part of a `crowlight.bench.desk.Desk`."""

    desk: Desk

    def scores(self, maker: UUID | None = None) -> Learned:
        """Score the predictions of a maker's reeds, or of all."""
        return learned_from(self._logs(maker))

    def correction(self, maker: UUID) -> Correction:
        """Return by what later predictions of the opening are put right on a maker's reeds."""
        return learned_by(joined(own_cuts_of(reed, log) for reed, log, _ in self._logs(maker)))

    def _logs(self, maker: UUID | None) -> Iterator[tuple[Reed, tuple[Entry, ...], str]]:
        records = self.desk.records
        if maker is not None:
            reeds = records.latest_reeds(maker, MOST)
        else:
            rows = records.reeds(ReedQuery(limit=MOST)).rows
            reeds = tuple(records.reed(row.uuid) for row in rows)
        for reed in reeds:
            log = records.entries(reed.uuid)
            yield reed, log, self.desk.style_text(state_of(log).described.style)


def learned_from(logs: Iterator[tuple[Reed, Sequence[Entry], str]]) -> Learned:
    """Score the predictions in the logs of several reeds.

    Parameters
    ----------
    logs : iterator of tuple
        A reed, its entries, and the text of its style if it is a maker's own.
    """
    pairs: list[Pair] = []
    raw: list[Pair] = []
    own: dict[UUID, list[OwnCuts]] = {}
    makers: dict[UUID, UUID | None] = {}
    between: dict[str, list[Between]] = {}
    openings: list[float] = []
    measured: set[str] = set()
    reeds = followed = left_out = 0
    for reed, log, text in logs:
        reeds += 1
        state = state_of(log)
        followed += sum(_is_cut(e) and _follows(e) for e in state.entries)
        cuts = own_cuts_of(reed, log)
        unclear = confounded_cuts(cuts)
        every = pairs_of(reed, log, text)
        clear = [p for p in every if p.quantity != OPENING or p.cut not in unclear]
        measured.update(p.cut for p in every)
        left_out += len(every) - len(clear)
        pairs.extend(clear)
        kept = {p.cut for p in clear if p.quantity == OPENING}
        raw.extend(p for p in pairs_of(reed, log, text, raw=True) if p.cut in kept)
        whose = reed.maker or reed.uuid
        own.setdefault(whose, []).append(cuts)
        makers[whose] = reed.maker
        openings.extend(e.payload.height for e in state.entries if isinstance(e.payload, Opening))
        for what, one in _openings_between(state):
            between.setdefault(what, []).append(one)
    reasons: Counter[Reason] = Counter(r for x in between.values() for b in x for r in b.confounds)
    return Learned(
        reeds=reeds,
        followed=followed,
        paired=len(measured),
        left_out=left_out,
        scores=score(pairs),
        corrections=tuple(
            _told(makers[whose], together)
            for whose, parts in own.items()
            if (together := joined(parts)).changes
        ),
        confounded=dict(reasons),
        credits=tuple(_credits(between, openings)),
        beside=tuple(_beside(pairs, raw)),
    )


def _told(maker: UUID | None, own: OwnCuts) -> Told:
    found = learned_by(own)
    return Told(
        quantity=found.quantity,
        maker=maker,
        cuts=found.cuts,
        left_out=len(own.changes) - found.cuts,
        bias=found.bias(),
        scale=found.scale,
        used=found.learned is not None,
    )


def _beside(told: Sequence[Pair], raw: Sequence[Pair]) -> Iterator[Beside]:
    """Yield how predictions that were put right did, beside the model alone."""
    of = {(p.cut, p.quantity): p for p in raw}
    for quantity in sorted({p.quantity for p in raw}):
        both = [(p, of[p.cut, quantity]) for p in told if (p.cut, quantity) in of]
        both = [(p, r) for p, r in both if p.quantity == quantity]
        yield Beside(
            quantity=quantity,
            cuts=len({p.cut for p, _ in both}),
            crps=float(np.mean([p.seen.crps(p.happened) for p, _ in both])),
            raw_crps=float(np.mean([r.seen.crps(r.happened) for _, r in both])),
        )


def pairs_of(
    reed: Reed, log: Sequence[Entry], style_text: str = "", *, raw: bool = False
) -> list[Pair]:
    """Return what was predicted of a reed's cuts beside what was measured.

    Only for cuts that followed an advice; what was told without a width, such as the size of a
    clip, is no prediction. With `raw`, what the model alone told, of those own cuts put right.
    """
    found: list[Pair] = []
    for e in state_of(log).entries:
        if not (_is_cut(e) and _follows(e)):
            continue
        changed = changed_by(log, e.uuid, style_text=style_text)
        if changed is None or changed.offered is None:
            continue
        groups = {
            "cut": changed.offered.name,
            "zone": changed.offered.zone,
            "maker": str(reed.maker or ""),
            "batch": str(reed.batch or ""),
        }
        for x in changed.found:
            # nothing was predicted of what was done otherwise
            if x.low is None or x.middle is None or x.high is None or not x.low < x.high:
                continue
            if raw and x.raw is None:
                continue
            told = Predicted(*(x.raw if raw and x.raw else (x.low, x.middle, x.high)))
            found.append(Pair(x.name, told, x.value, x.uncertainty, str(e.uuid), groups))
    return found


def _is_cut(e: Entry) -> bool:
    return isinstance(e.payload, Cut | Clip)


def _follows(e: Entry) -> bool:
    return isinstance(e.payload, Followed) and e.payload.advised is not None


def _openings_between(state: ReedState) -> Iterator[tuple[str, Between]]:
    """Yield every opening measured before and after a cut or clip, and what lay between."""
    entries = state.entries
    measured = [i for i, e in enumerate(entries) if isinstance(e.payload, Opening)]
    for first, second in pairwise(measured):
        inside = entries[first + 1 : second]
        deeds = [e for e in inside if isinstance(e.payload, Followed)]
        cut = next((e for e in deeds if _is_cut(e)), None)
        old, new = entries[first].payload, entries[second].payload
        if cut is None or not isinstance(old, Opening) or not isinstance(new, Opening):
            continue
        days = entries[second].happened_at.date() - entries[first].happened_at.date()
        yield (
            cut.payload.kind,
            Between(
                old.height,
                new.height,
                changes=len(deeds),
                nights=max(days.days, 0),
                soaked_anew=any(isinstance(e.payload, Wetting) for e in inside),
                place_changed=any(isinstance(e.payload, Travelled) for e in inside),
            ),
        )


def _credits(between: Mapping[str, list[Between]], openings: Sequence[float]) -> Iterator[Credit]:
    """Yield what may be said, once enough openings tell where they usually lie."""
    if len(openings) < _USUAL:
        return
    seen = float(np.std(openings, ddof=1))
    # what openings scatter by beyond how they are read; never nothing
    usual = max(seen**2 - _OPENING**2, (0.5 * _OPENING) ** 2) ** 0.5
    for what, pairs in sorted(between.items()):
        claim = effect_claim(
            pairs, usual_mean=float(np.mean(openings)), usual_sd=usual, repeatability=_OPENING
        )
        yield Credit(what=what, claim=claim, pairs=len(pairs))
