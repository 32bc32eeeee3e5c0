"""What to do next with a reed on the bench, from its entries alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from crowlight.bench.advice_kinds import AfterCheck, Treated, Trials
from crowlight.bench.kept import Entry, SittingReed
from crowlight.bench.kinds import (
    Clip,
    Cut,
    Note,
    Payload,
    PlayingTest,
    ReadingsTaken,
    Recording,
    Rest,
    Wetting,
    Withdrawn,
)
from crowlight.bench.sittings import Step, gauge_asked, minutes_wet, next_act, passed_now
from crowlight.bench.state import state_of
from crowlight.errors import InputError
from crowlight.reed import Blade, CaneState, Place, Reading

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
REED = uuid4()
SOAKED = Wetting(how="soaked")
LOOKED = Trials(looked=True)
TIGHT = Trials(leaks="no")
CROWED = Trials(crow_speaks="yes")
PLAYED = PlayingTest()
SCRAPED = Cut(zone="tip", blades=(Blade.MARKED,))
MEASURED = tuple(
    Reading(Place(b, 0.06 + n * 1e-3, 0.0), 0.4e-3, state=CaneState.WET)
    for b in Blade
    for n in range(6)
)
READY = (SOAKED, LOOKED, TIGHT, CROWED, PLAYED, ReadingsTaken())


def written(*payloads: Payload, follows: Sequence[Entry] = ()) -> list[Entry]:
    """Return entries, a minute apart, after those that they follow."""
    found = list(follows)
    for payload in payloads:
        if isinstance(payload, AfterCheck):
            done = [e for e in found if isinstance(e.payload, (Cut, Clip, Treated))]
            payload = payload.model_copy(update={"follows": done[-1].uuid})
        at = NOON + timedelta(minutes=len(found))
        found.append(
            Entry(
                uuid=uuid4(),
                payload=payload,
                happened_at=at,
                recorded_at=at,
                readings=MEASURED if isinstance(payload, ReadingsTaken) else (),
                reed=REED,
                seq=len(found) + 1,
            )
        )
    return found


def checked(result: str) -> AfterCheck:
    return AfterCheck(follows=uuid4(), result=result)  # pyright: ignore[reportArgumentType]


def act(*payloads: Payload, joined: int = 0, asks: bool = False, **passed: int) -> tuple[str, str]:
    state = state_of(written(*payloads))
    here = SittingReed(reed=REED, joined=joined, passed=passed)
    found = next_act(state, here, now=NOON + timedelta(minutes=30), advice_asks=asks)
    return found.step.value, found.why


@pytest.mark.parametrize(
    ("payloads", "expected"),
    [
        ((), ("look", "soak")),
        ((SOAKED,), ("look", "look")),
        ((SOAKED, LOOKED), ("seal", "seal")),
        ((SOAKED, Trials(look=("nick",))), ("seal", "seal")),
        ((SOAKED, LOOKED, TIGHT), ("crow", "crow")),
        ((SOAKED, LOOKED, Trials(leaks="yes")), ("seal", "leaks")),
        ((SOAKED, LOOKED, Trials(leaks="yes"), Note(text="hm")), ("seal", "leaks")),
        ((SOAKED, LOOKED, TIGHT, CROWED), ("play", "play")),
        ((SOAKED, LOOKED, TIGHT, CROWED, PLAYED), ("measure", "no-readings")),
        (READY, ("decide", "decide")),
        ((*READY, SCRAPED), ("check", "check")),
        ((*READY, Clip(amount=1e-4)), ("check", "check")),
        ((*READY, SCRAPED, checked("better")), ("decide", "decide")),
        ((*READY, SCRAPED, checked("same"), SCRAPED), ("check", "check")),
        ((*READY, Rest()), ("rest", "resting")),
        # the other way round is as good: what was done is done
        ((PLAYED, CROWED, TIGHT, LOOKED, SOAKED), ("measure", "no-readings")),
    ],
)
def test_the_way_goes_on_from_what_was_done(payloads, expected):
    assert act(*payloads) == expected


def test_a_seal_that_was_mended_is_tried_anew():
    leaking = (SOAKED, LOOKED, Trials(leaks="yes"))
    assert act(*leaking, Treated(what="seal"), checked("better")) == ("seal", "seal")
    assert act(*leaking, Treated(what="seal"), checked("better"), TIGHT) == ("crow", "crow")


def test_a_recorded_crow_is_a_crow():
    recording = Recording(sound_of="crow", digest="0" * 64, sample_rate=48_000)
    assert act(SOAKED, LOOKED, TIGHT, recording) == ("play", "play")
    peep = recording.model_copy(update={"sound_of": "peep"})
    assert act(SOAKED, LOOKED, TIGHT, peep) == ("crow", "crow")


def test_what_needs_no_entry_is_gone_past():
    assert act(SOAKED, look=1) == ("seal", "seal")
    assert act(SOAKED, look=1, seal=1, crow=1) == ("play", "play")
    assert act(SOAKED, LOOKED, Trials(leaks="yes"), seal=3) == ("crow", "crow")
    assert act(*READY, decide=6) == ("cut", "cut")
    assert act(*READY, decide=6, cut=6) == ("rest", "nothing-cut")
    # a decision holds for one cut
    assert act(*READY, SCRAPED, checked("better"), decide=6) == ("decide", "decide")
    assert act(*READY, SCRAPED, decide=6, check=7) == ("decide", "decide")
    assert act(*READY[:5], measure=5) == ("decide", "decide")


def test_a_new_sitting_starts_anew_with_what_was_done_before_kept():
    assert act(*READY, SCRAPED, joined=7) == ("look", "look")
    assert act(*READY, Rest(), joined=7) == ("look", "look")
    assert act(*READY, LOOKED, TIGHT, CROWED, PLAYED, joined=6) == ("decide", "decide")
    # gone past in an earlier sitting
    assert act(*READY, joined=6, look=3) == ("look", "look")


def test_after_three_tests_that_made_nothing_better_the_reed_is_laid_aside():
    vain = [p for r in ("same", "worse", "same") for p in (SCRAPED, checked(r))]
    assert act(*READY, *vain) == ("rest", "three-tests")
    assert act(*READY, *vain[:4]) == ("decide", "decide")
    helped = [*vain[:4], SCRAPED, checked("better")]
    assert act(*READY, *helped)[0] == "measure"  # three cuts since the gauge, not in vain


def test_the_gauge_is_asked_for_only_when_it_tells_something():
    tests = [p for _ in range(2) for p in (SCRAPED, checked("better"))]
    assert act(*READY, *tests) == ("decide", "decide")
    assert act(*READY, *tests, SCRAPED, checked("better")) == ("measure", "three-cuts")
    again = (*READY, *tests, SCRAPED, checked("better"), ReadingsTaken())
    assert act(*again) == ("decide", "decide")
    known = (ReadingsTaken(), SOAKED, LOOKED, TIGHT, CROWED, PLAYED)
    assert act(*known, joined=1, asks=True) == ("measure", "advice")
    assert act(*known, joined=1, asks=True, measure=6) == ("decide", "decide")
    # measured in this turn, it is not asked again
    assert act(*known, ReadingsTaken(), joined=1, asks=True) == ("decide", "decide")
    assert act(*known, joined=1) == ("decide", "decide")


def test_dry_readings_and_single_places_are_not_a_map():
    dry = [replace(r, state=CaneState.DRY) for r in MEASURED]
    once = [replace(MEASURED[0], repeat=n) for n in range(12)]
    for readings in (dry, once):
        (entry,) = written(ReadingsTaken())
        assert gauge_asked(state_of([replace(entry, readings=tuple(readings))])) == "no-readings"
    assert gauge_asked(state_of(written(ReadingsTaken()))) is None


def test_what_was_withdrawn_was_not_done():
    entries = written(*READY, SCRAPED)
    gone = replace(
        written(Withdrawn(), follows=entries)[-1], replaces=entries[-1].uuid, seq=len(entries) + 1
    )
    here = SittingReed(reed=REED)
    found = next_act(state_of([*entries, gone]), here, now=NOON)
    assert found.step is Step.DECIDE


def test_minutes_wet_count_from_the_last_soaking_for_some_hours():
    state = state_of(written(Note(text="x"), SOAKED))
    assert minutes_wet(state, NOON + timedelta(minutes=21)) == 20.0
    assert minutes_wet(state, NOON + timedelta(hours=5)) is None
    assert minutes_wet(state, NOON) is None  # a clock that was set back tells nothing
    assert minutes_wet(state_of([]), NOON) is None


def test_a_step_cannot_be_gone_past_before_the_reed_was_here():
    here = SittingReed(reed=REED, joined=5, passed={"look": 5})
    assert passed_now(here, Step.SEAL, 6).passed == {"look": 5, "seal": 6}
    with pytest.raises(InputError, match="before the reed was laid on the bench"):
        passed_now(here, Step.SEAL, 4)
