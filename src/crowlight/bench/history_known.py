"""From a log to the history of a reed: clips, cuts, checks, soaks, hours played."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar

from crowlight.bench.advice_kinds import AfterCheck, Trials
from crowlight.bench.kinds import Clip, Cut, Payload, PlayingTest, ReadingsTaken, Rest, Verdict
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import FollowUp, Intake, Played, Tie
from crowlight.judge.findings import Crow, History

__all__ = ["entries_of", "history_known", "rounded", "since_cut"]

P = TypeVar("P", bound=Payload)

#: Tests without gain are counted within so long: the next day the count begins anew.
_TODAY = timedelta(hours=18)
#: A rest this long lets cane rise (common practice, no source).
_NIGHT = timedelta(hours=6)
#: What makes a fresh start after a check.
_TESTS = (PlayingTest, Verdict, ReadingsTaken, Trials)
#: A soak further back than this is another day's.
_SOAK = timedelta(hours=24)


def entries_of(state: ReedState, kind: type[P]) -> Iterator[tuple[Entry, P]]:
    """Yield the entries of a kind, latest first."""
    for e in reversed(state.entries):
        if isinstance(e.payload, kind):
            yield e, e.payload


def cut_at(state: ReedState) -> int | None:
    """Index of the last cut or clip."""
    cuts = [i for i, e in enumerate(state.entries) if isinstance(e.payload, Cut | Clip)]
    return cuts[-1] if cuts else None


def since_cut(state: ReedState) -> Sequence[Entry]:
    """Return the entries since the last cut or clip."""
    last = cut_at(state)
    return state.entries if last is None else state.entries[last + 1 :]


def rounded(span: timedelta, step: timedelta) -> float:
    """Return a time in whole steps [s]."""
    return max(span // step, 0) * step.total_seconds()


def history_known(state: ReedState, at: datetime, crow: Crow, strokes: int | None) -> History:
    """Return what was done to a reed.

    Parameters
    ----------
    state : ReedState
        The reed.
    at : datetime
        The moment it is asked about.
    crow : Crow
        What is known of its crow now; tells whether the crow went with the last cut.
    strokes : int or None
        Since the knife was sharpened, on all reeds of the maker.
    """
    last = cut_at(state)
    cut = None if last is None else state.entries[last]
    measured = [i for i, e in enumerate(state.entries) if isinstance(e.payload, ReadingsTaken)]
    cuts = [i for i, e in enumerate(state.entries) if isinstance(e.payload, Cut | Clip)]
    tied = next((e for e, _ in entries_of(state, Tie)), None)
    soaks = [e for e in state.entries if e.payload.kind == "wetting"]
    soak = next((e for e in reversed(soaks) if getattr(e.payload, "how", "") == "soaked"), None)
    of_now = soak is not None and (state.entries[-1].happened_at - soak.happened_at) <= _SOAK
    check = None if cut is None else _checkentries_of(state, cut)
    return History(
        played=_hours_played(state),
        since_tied=None if tied is None else rounded(at - tied.happened_at, timedelta(hours=3)),
        since_cut=None if cut is None else rounded(at - cut.happened_at, timedelta(minutes=30)),
        rested=next((r.duration for _, r in entries_of(state, Rest)), None),
        soaked=getattr(soak.payload, "duration", None) if soak is not None and of_now else None,
        clips=sum(isinstance(e.payload, Clip) for e in state.entries),
        cuts_since_measured=sum(i > measured[-1] for i in cuts) if measured else None,
        tests_without_gain=_without_gain(state, at),
        strokes_since_sharpened=strokes,
        last_cut=check.result if check else None,
        crow_lost=_crow_lost(state, crow, cut),
        changed_together=_changed_together(state),
    )


def _hours_played(state: ReedState) -> float | None:
    """Return the playing time in all, as far as it was written down [s]."""
    total, known = 0.0, False
    for e in state.entries:
        match e.payload:
            case Played(duration=duration):
                total, known = total + duration, True
            case Intake(played=float() as played) | FollowUp(played=float() as played):
                total, known = max(total, played), True
            case _:
                pass
    return total if known else None


def _checkentries_of(state: ReedState, done: Entry) -> AfterCheck | None:
    """Return the latest check that follows something done."""
    return next((c for _, c in entries_of(state, AfterCheck) if c.follows == done.uuid), None)


def _without_gain(state: ReedState, at: datetime) -> int:
    """Count the latest checks of one day that did not say better."""
    count = 0
    for entry, check in entries_of(state, AfterCheck):
        if check.result == "better" or at - entry.happened_at > _TODAY:
            break
        count += 1
    return count


def _crow_lost(state: ReedState, crow: Crow, cut: Entry | None) -> Any:
    """Whether it crowed before the last cut and does not since."""
    if cut is None or crow.speaks is None:
        return None
    if crow.speaks == "yes":
        return "no"
    before = state.entries[: state.entries.index(cut)]
    crowed = any(
        (e.payload.kind == "recording" and getattr(e.payload, "sound_of", "") == "crow")
        or (isinstance(e.payload, Trials) and e.payload.crow_speaks == "yes")
        for e in before
    )
    return "yes" if crow.speaks == "no" and crowed else None


def _changed_together(state: ReedState) -> Any:
    """Whether a cut and a night, or two unlike cuts, stand between the last check and its test."""
    checks = [i for i, e in enumerate(state.entries) if isinstance(e.payload, AfterCheck)]
    if not checks or any(isinstance(e.payload, _TESTS) for e in state.entries[checks[-1] :]):
        return None  # a fresh test is a fresh start
    start = checks[-2] + 1 if len(checks) > 1 else 0
    changes: set[str] = set()
    for e in state.entries[start : checks[-1]]:
        match e.payload:
            case Cut(zone=zone):
                changes.add(f"cut {zone}")
            case Rest(duration=duration) if duration is None or duration >= _NIGHT.total_seconds():
                changes.add("night")
            case Followed():
                changes.add(e.payload.kind)
            case _:
                pass
    if not changes:
        return None
    return "yes" if len(changes) > 1 else "no"
