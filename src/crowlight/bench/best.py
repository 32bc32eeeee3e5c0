"""When a reed was liked best so far, and what has gone since."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from crowlight.bench.advice_kinds import AfterCheck
from crowlight.bench.carrying import cut_part
from crowlight.bench.kinds import Clip, Cut, Verdict
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import difference, state_of

__all__ = ["BestMoment", "best_moment"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMoment:
    """When a reed was liked best so far.

    Parameters
    ----------
    entry : int
        Number of the entry that says so.
    at : datetime
        When.
    grade : int or None
        The grade then; None where only a check afterwards said better.
    words : str
        The player's words then.
    latest_grade : int or None
        The grade now.
    strokes : mapping of str to int
        Light strokes since, by zone, summed over blades.
    clipped : float
        Clipped since, as far as it was measured [m].
    opening, length : float or None
        Change since [m].
    thinner : float or None
        Mean loss of thickness over places measured at both moments [m].
    deeds : int
        How many things were done since; 0: it is the moment now.
    """

    entry: int
    at: datetime
    grade: int | None
    words: str
    latest_grade: int | None
    strokes: Mapping[str, int] = field(default_factory=dict[str, int])
    clipped: float = 0.0
    opening: float | None = None
    length: float | None = None
    thinner: float | None = None
    deeds: int = 0


def best_moment(entries: Sequence[Entry]) -> BestMoment | None:
    """Return when a reed was liked best, the latest of equals, and what has gone since.

    Parameters
    ----------
    entries : sequence of Entry
        Of one reed.

    Returns
    -------
    BestMoment or None
        None if nobody ever graded it or found it better.
    """
    state = state_of(entries)
    best: tuple[int, int] | None = None  # grade, index; a mere "better" counts as no grade
    for i, e in enumerate(state.entries):
        match e.payload:
            case Verdict(grade=int() as grade):
                best = max(best or (grade, i), (grade, i))
            case AfterCheck(result="better") if best is None or best[0] == 0:
                best = (0, i)
            case _:
                pass
    if best is None:
        return None
    entry = state.entries[best[1]]
    since = state.entries[best[1] + 1 :]
    then = state_of(entries, up_to=entry.seq)
    gone = difference(then, state)
    strokes: Counter[str] = Counter()
    for e in since:
        if isinstance(e.payload, Cut) and e.payload.strokes:
            strokes[cut_part(e.payload)[0]] += e.payload.strokes * len(e.payload.blades)
    losses = [c.before - c.after for c in gone.thickness]
    return BestMoment(
        entry=entry.seq,
        at=entry.happened_at,
        grade=best[0] or None,
        words=entry.payload.words if isinstance(entry.payload, Verdict) else "",
        latest_grade=state.grade,
        strokes=dict(strokes),
        clipped=math.fsum(
            e.payload.amount for e in since if isinstance(e.payload, Clip) and e.payload.amount
        ),
        opening=gone.opening,
        length=gone.length,
        thinner=math.fsum(losses) / len(losses) if losses else None,
        deeds=sum(isinstance(e.payload, Followed) for e in since),
    )
