"""From an advice that was shown to the entries that say what was advised and what was done."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

import crowlight
from crowlight.bench.advice_kinds import Advised, AfterCheck, Foretold, Named, Offered, Treated
from crowlight.bench.counsel import Counsel
from crowlight.bench.kinds import Clip, Cut, Rest
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry, NewEntry, Reed
from crowlight.bench.state import ReedState
from crowlight.errors import InputError
from crowlight.judge.findings import Support
from crowlight.judge.findings.odds import probability
from crowlight.plan.cut import Option, Part

__all__ = ["Deed", "advised_entry", "advised_of", "after_check", "deed_of"]

_NAMED = {Support.STRONG: "strong", Support.FAIR: "fair", Support.WEAK: "weak"}
_RESULTS = ("better", "same", "worse")


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """What was done otherwise than offered; what is not given was done as offered.

    Parameters
    ----------
    strokes : int or None
        Light strokes at each place.
    clip : float or None
        Clipped off [m].
    against : {"stop", "ruler", "eye"}
        What the clip was measured against; by ruler or eye its size is not known.
    duration : float or None
        Of a rest [s].
    remark : str
        In words.
    """

    strokes: int | None = None
    clip: float | None = None
    against: str = "stop"
    duration: float | None = None
    remark: str = ""


def advised_of(counsel: Counsel, *, seq: int, liked: UUID | None = None) -> Advised:
    """Return an advice as an entry, with all that is needed to score it later."""
    ranked = [r for r in counsel.findings.ranked if r.support in _NAMED]
    return Advised.model_validate(
        {
            "target": counsel.plan.source,
            "target_reed": liked,
            "answer": counsel.findings.answer.value,
            "findings": tuple(
                Named.model_validate(
                    {
                        "name": r.finding.code,
                        "blade": r.where.blade,
                        "side": r.where.side,
                        "support": _NAMED[r.support],
                        "probability": probability(r.log_odds),
                    }
                )
                for r in ranked
            ),
            "options": tuple(map(_offered, counsel.plan.options)),
            "advised": counsel.plan.advised,
            "notes": (*counsel.plan.notes, *counsel.notes),
            "seq": seq,
            "code": f"crowlight {crowlight.__version__}",
            "digest": counsel.digest,
        }
    )


def _offered(option: Option) -> Offered:
    act = option.act
    return Offered(
        kind=act.kind,
        name=act.code,
        zone=act.zone,
        part=act.part.value if act.kind == "scrape" else None,
        blades=act.blades,
        oblique=act.oblique,
        strokes=act.strokes,
        clip=act.clip,
        cane=option.cane,
        closer=option.gain,
        better=option.better,
        harm=option.harm.total,
        expected=tuple(
            Foretold(
                name=e.name,
                unit=e.unit,
                low=e.low,
                middle=e.middle,
                high=e.high,
                basis=e.basis,
                raw=e.raw,
                own_cuts=e.own_cuts,
            )
            for e in option.expected
        ),
    )


def advised_entry(
    reed: Reed,
    counsel: Counsel,
    entries: Iterable[Entry],
    *,
    at: datetime,
    liked: UUID | None = None,
) -> NewEntry:
    """Return the entry of an advice; of one that was written down already, that one.

    Parameters
    ----------
    reed : Reed
        The reed.
    counsel : Counsel
        The advice.
    entries : iterable of Entry
        Of the reed.
    at : datetime
        When it was given.
    liked : UUID, optional
        The reed it is to be like.
    """
    uuid = uuid5(reed.uuid, f"advised {counsel.digest}")
    for e in entries:
        if e.uuid == uuid:
            return e
    return NewEntry(
        uuid=uuid, payload=advised_of(counsel, seq=reed.seq, liked=liked), happened_at=at
    )


def deed_of(option: Option, deed: Deed, advised: UUID, index: int) -> Followed:
    """Return what was done as an entry that follows an option.

    Raises
    ------
    InputError
        For leaving it: nothing was done.
    """
    act = option.act
    follows: dict[str, Any] = {"advised": advised, "option": index}
    match act.kind:
        case "scrape":
            strokes = act.strokes if deed.strokes is None else deed.strokes
            whole = act.part is Part.WHOLE
            return Cut(
                zone=act.zone,
                blades=act.blades,
                part=None if whole else act.part.value,
                direction="oblique" if act.oblique else "along",
                strokes=strokes,
                remark=deed.remark,
                **follows,
            )
        case "clip":
            amount = act.clip if deed.clip is None else deed.clip
            stop = deed.against == "stop" or deed.clip is not None
            return Clip.model_validate(
                {"amount": amount if stop else None, "against": deed.against, **follows}
            )
        case "rest":
            return Rest(duration=deed.duration, **follows)
        case "act":
            return Treated(what=act.code, remark=deed.remark, **follows)
        case _:
            msg = "leaving a reed as it is needs no entry; write down a grade or a note instead"
            raise InputError(msg)


def after_check(
    state: ReedState,
    result: str,
    *,
    follows: UUID | None,
    recording: UUID | None,
    remark: str,
) -> AfterCheck:
    """Return a check afterwards as an entry.

    Raises
    ------
    InputError
        If there is nothing it can follow, or the result is none of the three.
    """
    if result not in _RESULTS:
        msg = f"{result!r} is no result; say one of: {', '.join(_RESULTS)}"
        raise InputError(msg)
    done = [e for e in state.entries if isinstance(e.payload, Followed)]
    if follows is not None and follows not in {e.uuid for e in done}:
        msg = "what it follows is no cut, clip, rest or treatment of this reed; look at its log"
        raise InputError(msg)
    if not done:
        msg = (
            "nothing was done to this reed yet that could be better or worse; write that down first"
        )
        raise InputError(msg)
    return AfterCheck.model_validate(
        {
            "follows": follows or done[-1].uuid,
            "result": result,
            "recording": recording,
            "remark": remark,
        }
    )
