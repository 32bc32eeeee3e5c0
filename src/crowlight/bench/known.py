"""From what is kept of a reed to what the findings know of it: words, trials, history, climate.

Pure: a state, a moment and what other reeds tell go in, `Known` comes out. The shape comes from
`crowlight.bench.shape`, sounds from `crowlight.bench.crow_known`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Any, TypeVar

from crowlight.bench.advice_kinds import AfterCheck, Trials, Wish
from crowlight.bench.climate_known import climate_known
from crowlight.bench.kinds import Clip, Cut, Payload, PlayingTest, ReadingsTaken, Rest, Verdict
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import Consent, FollowUp, Intake, Played, Tie
from crowlight.judge.findings import Agreement, Crow, Geometry, History, Known, Playing, heard
from crowlight.judge.findings import Model as ModelKnown
from crowlight.judge.findings import Trials as TrialsKnown

__all__ = ["Around", "asked_again", "known_of", "wish_of"]

P = TypeVar("P", bound=Payload)

#: Tests without gain are counted within so long: the next day the count begins anew.
_TODAY = timedelta(hours=18)
#: A rest this long lets cane rise (common practice, no source).
_NIGHT = timedelta(hours=6)
#: What makes a fresh start after a check.
_TESTS = (PlayingTest, Verdict, ReadingsTaken, Trials)
#: A soak further back than this is another day's.
_SOAK = timedelta(hours=24)


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What is known of a reed from elsewhere: its maker's other reeds, places and people.

    Parameters
    ----------
    strokes_since_sharpened : int or None
        On all reeds of the maker since the knife was last sharpened or changed.
    batch_alike : tuple of int or None
        So many of so many other reeds of the batch show what this one shows first.
    altitude_home, humidity_home : float or None
        Where it was made [m], [1].
    """

    strokes_since_sharpened: int | None = None
    batch_alike: tuple[int, int] | None = None
    altitude_home: float | None = None
    humidity_home: float | None = None


def known_of(
    state: ReedState,
    *,
    at: datetime,
    geometry: Geometry | None = None,
    model: ModelKnown | None = None,
    crow: Crow | None = None,
    around: Around | None = None,
) -> Known:
    """Return all that is known of a reed.

    Parameters
    ----------
    state : ReedState
        What is kept of it.
    at : datetime
        The moment it is asked about.
    geometry, model, crow : Geometry, Model, Crow, optional
        From the thickness map, the blade model and recordings.
    around : Around, optional
        What is known from elsewhere.

    Returns
    -------
    Known
        What was not written down is missing. Words and taps hold until a check afterwards says
        better (`asked_again`); times are rounded, so that asking twice within minutes is asking
        the same.
    """
    around = around or Around()
    crow = _crow_by_ear(state, crow or Crow())
    return Known(
        geometry=geometry or Geometry(),
        model=model or ModelKnown(),
        crow=crow,
        playing=_playing(state),
        trials=_trials(state, around.batch_alike),
        climate=climate_known(
            state, at=at, altitude_home=around.altitude_home, humidity_home=around.humidity_home
        ),
        history=_history(state, at, crow, around.strokes_since_sharpened),
        agreement=_agreement(state, at),
    )


def _of(state: ReedState, kind: type[P]) -> Iterator[tuple[Entry, P]]:
    """Yield the entries of a kind, latest first."""
    for e in reversed(state.entries):
        if isinstance(e.payload, kind):
            yield e, e.payload


def _latest(state: ReedState, kind: type[P]) -> P | None:
    return next((payload for _, payload in _of(state, kind)), None)


def wish_of(state: ReedState) -> Wish | None:
    """Return the latest wish."""
    return _latest(state, Wish)


# --- words, taps and trials -----------------------------------------------------------------------


def _better_since(state: ReedState, entry: Entry) -> bool:
    """Whether something helped after an entry, so that it may hold no longer."""
    later = state.entries[state.entries.index(entry) + 1 :]
    return any(isinstance(e.payload, AfterCheck) and e.payload.result == "better" for e in later)


def _said(state: ReedState) -> tuple[Entry, str] | None:
    """Return the player's latest words."""
    for e in reversed(state.entries):
        match e.payload:
            case Verdict(words=words) | FollowUp(words=words) | Intake(complaint=words) if words:
                return e, words
            case Verdict():
                return e, ""  # a grade without words: nothing is complained of
            case _:
                pass
    return None


def asked_again(state: ReedState) -> bool:
    """Whether words or taps are older than what helped, and so no longer count."""
    said = _said(state)
    tests = list(_of(state, PlayingTest))
    entries = [said[0]] if said and said[1] else []
    entries += [e for e, _ in tests[:1]]
    return any(_better_since(state, e) for e in entries)


def _playing(state: ReedState) -> Playing:
    said, words = _said(state), frozenset[str]()
    if said is not None and not _better_since(state, said[0]):
        words = heard(said[1])
    for entry, taps in _of(state, PlayingTest):
        if not _better_since(state, entry):
            return Playing(words=words, **taps.model_dump())
        break
    return Playing(words=words)


#: What a look or a trial told holds until it is told anew.
_TOLD = ("leaks", "bubbles", "control_reed", "other_instrument", "other_player", "re_soaked",
         "dried", "pinched_sides")  # fmt: skip


def _trials(state: ReedState, batch_alike: tuple[int, int] | None) -> TrialsKnown:
    told: dict[str, Any] = {}
    look: frozenset[str] = frozenset()
    looked = False
    for _, trial in reversed(list(_of(state, Trials))):
        for name in _TOLD:
            if (value := getattr(trial, name)) is not None:
                told[name] = value
        if trial.looked:
            look, looked = frozenset(trial.look), True
        elif trial.look:
            look = look | frozenset(trial.look)
    tie = _latest(state, Tie)
    if tie is not None and tie.leaks != "unsure":
        told.setdefault("leaks", tie.leaks)
    return TrialsKnown(look=look, looked=looked, batch_alike=batch_alike, **told)


def _crow_by_ear(state: ReedState, crow: Crow) -> Crow:
    """Add what was heard without a microphone since the last cut."""
    for entry, trial in _of(state, Trials):
        if entry not in _since_cut(state):
            break
        if trial.crow_speaks is not None and crow.speaks is None:
            crow = replace(crow, speaks=trial.crow_speaks)
        if trial.swell_begins is not None and crow.first is None:
            crow = replace(crow, first=trial.swell_begins)
    return crow


# --- history --------------------------------------------------------------------------------------


def _cut_at(state: ReedState) -> int | None:
    """Index of the last cut or clip."""
    cuts = [i for i, e in enumerate(state.entries) if isinstance(e.payload, Cut | Clip)]
    return cuts[-1] if cuts else None


def _since_cut(state: ReedState) -> Sequence[Entry]:
    last = _cut_at(state)
    return state.entries if last is None else state.entries[last + 1 :]


def _rounded(span: timedelta, step: timedelta) -> float:
    """Return a time in whole steps [s]."""
    return max(span // step, 0) * step.total_seconds()


def _history(state: ReedState, at: datetime, crow: Crow, strokes: int | None) -> History:
    last = _cut_at(state)
    cut = None if last is None else state.entries[last]
    measured = [i for i, e in enumerate(state.entries) if isinstance(e.payload, ReadingsTaken)]
    cuts = [i for i, e in enumerate(state.entries) if isinstance(e.payload, Cut | Clip)]
    tied = next((e for e, _ in _of(state, Tie)), None)
    soaks = [e for e in state.entries if e.payload.kind == "wetting"]
    soak = next((e for e in reversed(soaks) if getattr(e.payload, "how", "") == "soaked"), None)
    of_now = soak is not None and (state.entries[-1].happened_at - soak.happened_at) <= _SOAK
    check = None if cut is None else _check_of(state, cut)
    return History(
        played=_hours_played(state),
        since_tied=None if tied is None else _rounded(at - tied.happened_at, timedelta(hours=3)),
        since_cut=None if cut is None else _rounded(at - cut.happened_at, timedelta(minutes=30)),
        rested=next((r.duration for _, r in _of(state, Rest)), None),
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


def _check_of(state: ReedState, done: Entry) -> AfterCheck | None:
    """Return the latest check that follows something done."""
    return next((c for _, c in _of(state, AfterCheck) if c.follows == done.uuid), None)


def _without_gain(state: ReedState, at: datetime) -> int:
    """Count the latest checks of one day that did not say better."""
    count = 0
    for entry, check in _of(state, AfterCheck):
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


# --- agreement ------------------------------------------------------------------------------------


def _agreement(state: ReedState, at: datetime) -> Agreement:
    others, may_cut, left = False, None, None
    for e in state.entries:
        match e.payload:
            case Wish() as wish:
                others = others or wish.others_reed == "yes"
                may_cut = wish.may_cut or may_cut
                if wish.concert_in is not None:
                    left = e.happened_at + timedelta(seconds=wish.concert_in) - at
            case Intake() as intake:
                others = True
                if intake.may_cut in ("yes", "no"):
                    may_cut = intake.may_cut
                if intake.deadline is not None:
                    evening = datetime.combine(intake.deadline, time(19), e.happened_at.tzinfo)
                    left = evening - at
            case Consent(to="cut", answer=answer):
                may_cut = answer if answer in ("yes", "no") else may_cut
            case _:
                pass
    hours = None if left is None or left < timedelta(0) else _rounded(left, timedelta(hours=1))
    return Agreement(others_reed=others, may_cut=may_cut, concert_in=hours)
