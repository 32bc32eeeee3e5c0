"""From what is kept of a reed to what the findings know of it: words, trials, history, climate.

Pure: a state, a moment and what other reeds tell go in, `Known` comes out. The shape comes from
`crowlight.bench.shape`, sounds from `crowlight.bench.crow_known`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Any, Literal, TypeVar

from crowlight.bench.advice_kinds import AfterCheck, Trials, Wish
from crowlight.bench.climate_known import climate_known
from crowlight.bench.history_known import entries_of, history_known, rounded, since_cut
from crowlight.bench.kinds import Payload, PlayingTest, Verdict
from crowlight.bench.ports import Entry
from crowlight.bench.posting import allowed_of
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import Consent, FollowUp, Intake, Tie
from crowlight.judge.findings import Agreement, Crow, Geometry, Known, Playing, heard
from crowlight.judge.findings import Model as ModelKnown
from crowlight.judge.findings import Trials as TrialsKnown

__all__ = ["Around", "asked_again", "known_of", "wish_of"]

P = TypeVar("P", bound=Payload)


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
        history=history_known(state, at, crow, around.strokes_since_sharpened),
        agreement=_agreement(state, at),
    )


def _latest(state: ReedState, kind: type[P]) -> P | None:
    return next((payload for _, payload in entries_of(state, kind)), None)


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
    tests = list(entries_of(state, PlayingTest))
    entries = [said[0]] if said and said[1] else []
    entries += [e for e, _ in tests[:1]]
    return any(_better_since(state, e) for e in entries)


def _playing(state: ReedState) -> Playing:
    said, words = _said(state), frozenset[str]()
    if said is not None and not _better_since(state, said[0]):
        words = heard(said[1])
    for entry, taps in entries_of(state, PlayingTest):
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
    for _, trial in reversed(list(entries_of(state, Trials))):
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
    for entry, trial in entries_of(state, Trials):
        if entry not in since_cut(state):
            break
        if trial.crow_speaks is not None and crow.speaks is None:
            crow = replace(crow, speaks=trial.crow_speaks)
        if trial.swell_begins is not None and crow.first is None:
            crow = replace(crow, first=trial.swell_begins)
    return crow


# --- agreement ------------------------------------------------------------------------------------


def _agreement(state: ReedState, at: datetime) -> Agreement:
    others, left = False, None
    may_cut: Literal["yes", "no", "unsure"] | None = None
    for e in state.entries:
        match e.payload:
            case Wish() as wish:
                others = others or wish.others_reed == "yes"
                may_cut = wish.may_cut or may_cut
                if wish.concert_in is not None:
                    left = e.happened_at + timedelta(seconds=wish.concert_in) - at
            case Intake() as intake:
                others = True
                if intake.deadline is not None:
                    evening = datetime.combine(intake.deadline, time(19), e.happened_at.tzinfo)
                    left = evening - at
            case Consent(to="cut", answer="yes" | "no" as answer):
                may_cut = answer
            case _:
                pass
    allowed = allowed_of(state.entries)
    if allowed is not None:  # it was posted: what forbids writing a cut down forbids advising it
        cut = allowed["cut"]
        may_cut = cut if cut in ("yes", "no") else None
    hours = None if left is None or left < timedelta(0) else rounded(left, timedelta(hours=1))
    return Agreement(others_reed=others, may_cut=may_cut, concert_in=hours)
