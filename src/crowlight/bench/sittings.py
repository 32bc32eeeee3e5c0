"""A sitting at the bench: what to do next with each reed, told by its entries alone.

The way is look over, seal, crow, play, measure if asked, decide, cut, check, rest. Nothing counts
down, and it may be entered anywhere: what was done is seen from the entries, in whatever order they
came; what needs no entry is gone past, and the sitting keeps where.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Literal

from crowlight.bench.advice_kinds import AfterCheck, Treated, Trials
from crowlight.bench.kept import Entry, SittingReed
from crowlight.bench.kinds import Clip, Cut, PlayingTest, ReadingsTaken, Recording, Rest, Wetting
from crowlight.bench.state import WETTING_COUNTS_FOR, ReedState
from crowlight.bench.styles import ENOUGH_READINGS
from crowlight.errors import InputError
from crowlight.reed import Blade, CaneState

__all__ = ["MOST_REEDS", "Act", "Step", "gauge_asked", "minutes_wet", "next_act", "passed_now"]

#: Reeds in one sitting at most.
MOST_REEDS = 8
#: Cuts after which the gauge is asked for: one or two light strokes are below what it resolves.
CUTS_BETWEEN = 3
#: Tests in a row without getting better after which a reed is laid aside (common practice).
ENOUGH_TESTS = 3


class Step(StrEnum):
    """A step of the way."""

    LOOK = "look"
    SEAL = "seal"
    CROW = "crow"
    PLAY = "play"
    MEASURE = "measure"
    DECIDE = "decide"
    CUT = "cut"
    CHECK = "check"
    REST = "rest"


Why = Literal[
    "soak",
    "look",
    "seal",
    "leaks",
    "crow",
    "play",
    "no-readings",
    "three-cuts",
    "advice",
    "decide",
    "cut",
    "check",
    "three-tests",
    "nothing-cut",
    "resting",
    "chosen",
]


@dataclass(frozen=True, slots=True)
class Act:
    """What to do next with a reed, and a code of why.

    Parameters
    ----------
    step : Step
        The step.
    why : str
        Why this one: the first of the way that is open, or what asks for it.
    """

    step: Step
    why: Why


def next_act(
    state: ReedState,
    here: SittingReed,
    *,
    now: datetime,
    advice_asks: bool = False,
    may_cut: bool = True,
) -> Act:
    """Return what to do next with a reed of a sitting.

    Parameters
    ----------
    state : ReedState
        What is known of it.
    here : SittingReed
        When it was laid on the bench, and what was gone past since.
    now : datetime
        The time.
    advice_asks : bool
        Whether the advice says that a reading could change it; it is listened to once a turn.
    may_cut : bool
        Whether nobody has to be asked before the knife; else no cut is ever next.

    Returns
    -------
    Act
        One step and why.
    """
    since = [e for e in state.entries if e.seq > here.joined]
    last = since[-1] if since else None
    done = next((e for e in reversed(since) if isinstance(e.payload, (Cut, Clip, Treated))), None)
    turn = done.seq if done else here.joined

    def passed(step: Step, after: int = here.joined) -> bool:
        return here.passed.get(step, -1) >= after

    if last is not None and isinstance(last.payload, Rest):
        return Act(Step.REST, "resting")
    if done is not None and not _checked(since, done) and not passed(Step.CHECK, turn):
        return Act(Step.CHECK, "check")
    if not (passed(Step.LOOK) or _said(since, "looked", "look")):
        return Act(Step.LOOK, "look" if minutes_wet(state, now) is not None else "soak")
    if not passed(Step.SEAL):
        if (leaks := _leaks(since)) is None:
            return Act(Step.SEAL, "seal")
        if leaks:
            return Act(Step.SEAL, "leaks")
    if not (passed(Step.CROW) or _crowed(since)):
        return Act(Step.CROW, "crow")
    if not (passed(Step.PLAY) or any(isinstance(e.payload, PlayingTest) for e in since)):
        return Act(Step.PLAY, "play")
    if _in_vain(since):
        return Act(Step.REST, "three-tests")
    measured = any(isinstance(e.payload, ReadingsTaken) and e.seq > turn for e in since)
    why = gauge_asked(state, advice_asks=advice_asks and not measured)
    if why is not None and not passed(Step.MEASURE, turn):
        return Act(Step.MEASURE, why)
    if not passed(Step.DECIDE, turn):
        return Act(Step.DECIDE, "decide")
    if may_cut and not passed(Step.CUT, turn):
        return Act(Step.CUT, "cut")
    return Act(Step.REST, "nothing-cut")


def gauge_asked(
    state: ReedState, *, advice_asks: bool = False
) -> Literal["no-readings", "three-cuts", "advice"] | None:
    """Return why the gauge is asked for; None while it would tell nothing that is needed.

    Parameters
    ----------
    state : ReedState
        What is known of the reed.
    advice_asks : bool
        Whether the advice says that a reading could change it.
    """
    for blade in Blade:
        places = {
            t.reading.place
            for t in state.readings
            if t.reading.place.blade is blade and t.reading.state is not CaneState.DRY
        }
        if len(places) < ENOUGH_READINGS:
            return "no-readings"
    newest = max((t.at for t in state.readings), default=None)
    cuts = [
        e
        for e in state.entries
        if isinstance(e.payload, Cut) and (newest is None or e.happened_at > newest)
    ]
    if len(cuts) >= CUTS_BETWEEN:
        return "three-cuts"
    return "advice" if advice_asks else None


def minutes_wet(state: ReedState, now: datetime) -> float | None:
    """Return minutes since the reed was soaked; None if that is too long ago, or not known."""
    if state.wetted_at is None:
        return None
    since = now - state.wetted_at
    if not timedelta(0) <= since <= WETTING_COUNTS_FOR:
        return None
    return since / timedelta(minutes=1)


def passed_now(here: SittingReed, step: Step, seq: int) -> SittingReed:
    """Return a reed with a step gone past at its entry `seq`.

    Raises
    ------
    InputError
        If there cannot be such an entry.
    """
    if seq < here.joined:
        msg = f"entry {seq} was written before the reed was laid on the bench; reload the page"
        raise InputError(msg)
    return SittingReed(reed=here.reed, joined=here.joined, passed={**here.passed, step: seq})


def _checked(since: list[Entry], done: Entry) -> bool:
    return any(isinstance(e.payload, AfterCheck) and e.payload.follows == done.uuid for e in since)


def _said(since: list[Entry], *names: str) -> bool:
    trials = (e.payload for e in since if isinstance(e.payload, Trials))
    return any(getattr(t, name) for t in trials for name in names)


def _leaks(since: list[Entry]) -> bool | None:
    """Tell whether the seal was found wanting and nothing was done about it; None if not tried."""
    leaks: bool | None = None
    for e in since:
        if isinstance(e.payload, Trials) and e.payload.leaks is not None:
            leaks = e.payload.leaks == "yes"
        elif isinstance(e.payload, Treated) and e.payload.what in {"seal", "cork", "fit"}:
            leaks = None  # tried anew
    return leaks


def _crowed(since: list[Entry]) -> bool:
    recorded = any(isinstance(e.payload, Recording) and e.payload.sound_of == "crow" for e in since)
    return recorded or _said(since, "crow_speaks", "swell_begins")


def _in_vain(since: list[Entry]) -> bool:
    """Tell whether the last tests made nothing better, with no soaking or rest between them."""
    results: list[str] = []
    for e in since:
        if isinstance(e.payload, AfterCheck):
            results.append(e.payload.result)
        elif isinstance(e.payload, Wetting) and e.payload.how == "soaked":
            results.clear()
    tests = results[-ENOUGH_TESTS:]
    return len(tests) == ENOUGH_TESTS and "better" not in tests
