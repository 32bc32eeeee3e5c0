"""Posted reeds: what is allowed, what they are sorted to, what is due, the gate before a cut."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import get_args
from uuid import UUID, uuid4

import pytest
from tests.pictures import PLACE, jpeg, png

from crowlight.bench.advice_kinds import Trials, Wish
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Clip, Cut, Note, ReadingsTaken, Rest
from crowlight.bench.ports import Maker, PersonPlace, Player
from crowlight.bench.posting import Work
from crowlight.bench.workshop_kinds import (
    LETTER_PARTS,
    MAKING,
    POSTED,
    Consent,
    FollowUp,
    Intake,
    Letter,
    Minutes,
    Outcome,
    Played,
    Season,
    Stage,
    StageName,
)
from crowlight.errors import InputError, NotFound
from crowlight.plan import seasons
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.report.posted import asked_said, reason_said
from crowlight.report.words import in_locale
from crowlight.wiring import open_desk

CAME = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
CUT = Cut(zone="tip", blades=(Blade.MARKED,))
ALLOWED = Intake(
    complaint="It buzzes.",
    altitude=30.0,
    may_play="yes",
    may_clean="yes",
    may_cut="yes",
    may_break="no",
    afterwards="return",
    allergies="asked: none",
)
READING = Reading(
    place=Place(blade=Blade.MARKED, along=0.069, across=0.0),
    thickness=1.1e-4,
    instrument="dial",
    state=CaneState.WET,
)


@dataclass
class StoppedClock:
    """A clock that is set by hand."""

    time: datetime

    def now(self) -> datetime:
        return self.time


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records") as opened:
        yield replace(opened, clock=StoppedClock(CAME + timedelta(days=3)))


def _post(desk: Desk, intake: Intake = ALLOWED, name: str = "Sent 1", *, measured: bool = True):
    reed = desk.posted.take_in(name, intake, at=CAME)
    if measured:
        at = CAME + timedelta(hours=1)
        desk.write(name, ReadingsTaken(), readings=(READING,), at=at)
    return reed


def _sorted(desk: Desk, name: str = "Sent 1") -> tuple[Work, list[str]]:
    posting = desk.posted.posting(name)
    assert posting is not None
    words = in_locale("en")
    assert all(reason_said(reason, words) for reason in posting.reasons)
    assert all(asked_said(code, words) for code in posting.questions)
    return posting.work, [r.code for r in posting.reasons]


def test_stages_and_seasons_are_the_same_everywhere():
    assert set(MAKING) | set(POSTED) == set(get_args(StageName))
    assert set(get_args(Season)) == {"", *seasons()}
    assert LETTER_PARTS[0] == "greeting"
    assert LETTER_PARTS[-1] == "closing"


def test_a_reed_that_was_not_posted_has_no_posting_and_may_be_cut(desk):
    desk.add_reed("Own")
    assert desk.posted.posting("Own") is None
    assert desk.posted.allowed("Own") is None
    desk.write("Own", CUT)


@pytest.mark.parametrize(
    ("changes", "later", "work", "first"),
    [
        ({}, [], Work.LIGHT_WORK, "measured"),
        ({"may_cut": "unknown"}, [], Work.ASK_FIRST, "may-cut"),
        ({"may_cut": "ask"}, [], Work.ASK_FIRST, "may-cut"),
        ({"may_cut": "no"}, [], Work.NO_KNIFE, "cut-refused"),
        ({"may_cut": "unknown"}, [Consent(to="cut", answer="yes")], Work.LIGHT_WORK, "measured"),
        ({"may_cut": "yes"}, [Consent(to="cut", answer="no")], Work.NO_KNIFE, "cut-refused"),
        ({"may_cut": "unknown"}, [Wish(may_cut="yes")], Work.LIGHT_WORK, "measured"),
        ({"complaint": ""}, [], Work.ASK_FIRST, "no-complaint"),
        ({"deadline": date(2026, 3, 6)}, [], Work.NO_KNIFE, "deadline"),
        ({"deadline": date(2026, 3, 7)}, [], Work.LIGHT_WORK, "measured"),
        ({"played": 9.9 * 3600}, [], Work.LIGHT_WORK, "measured"),
        ({"played": 12 * 3600.0}, [], Work.NO_KNIFE, "break-refused"),
        ({"played": 12 * 3600.0, "may_break": "ask"}, [], Work.ASK_FIRST, "may-break"),
        ({"played": 12 * 3600.0, "may_break": "yes"}, [], Work.NO_KNIFE, "clean-first"),
        ({"played": 20 * 3600.0}, [], Work.RETIRE, "worn-out"),
        ({"played": 15 * 3600.0}, [Played(duration=6 * 3600.0)], Work.RETIRE, "worn-out"),
        (
            {"may_cut": "unknown"},
            [Trials(looked=True, look=("crack-tip",))],
            Work.RETIRE,
            "cracked",
        ),
        ({}, [Outcome(outcome="broke", where="bench")], Work.RETIRE, "broke"),
    ],
)
def test_it_is_sorted_by_what_weighs_most(desk, changes, later, work, first):
    _post(desk, ALLOWED.model_copy(update=changes))
    for n, payload in enumerate(later):
        desk.write("Sent 1", payload, at=CAME + timedelta(hours=2 + n))
    found, codes = _sorted(desk)
    assert (found, codes[0]) == (work, first)


def test_it_settles_for_a_day_and_is_measured_before_the_knife(desk):
    _post(desk, measured=False)
    assert _sorted(desk) == (Work.NO_KNIFE, ["not-measured"])
    desk.clock.time = CAME + timedelta(hours=23)
    assert _sorted(desk) == (Work.NO_KNIFE, ["settling", "not-measured"])


def test_what_was_not_said_is_asked(desk):
    _post(desk, Intake(complaint="Hard."), measured=False)
    posting = desk.posted.posting("Sent 1")
    assert posting is not None
    assert posting.questions == (
        "may-play",
        "may-clean",
        "may-cut",
        "may-break",
        "allergies",
        "altitude",
        "afterwards",
    )
    assert posting.stage == "waiting"


@pytest.mark.parametrize("payload", [CUT, Clip(amount=1e-4)])
@pytest.mark.parametrize("said", ["unknown", "no", "ask"])
def test_no_cut_is_written_without_asking(desk, said, payload):
    reed = _post(desk, ALLOWED.model_copy(update={"may_cut": said}))
    before = desk.records.reed(reed.uuid).seq
    with pytest.raises(InputError, match="has not allowed it to be cut: ask"):
        desk.write("Sent 1", payload)
    assert desk.records.reed(reed.uuid).seq == before
    assert not desk.posted.may_cut("Sent 1")
    desk.write("Sent 1", Note(text="Everything else is written down."))


def test_a_cut_with_the_answer_is_written_once(desk):
    _post(desk, ALLOWED.model_copy(update={"may_cut": "unknown"}))
    uuid, answer = uuid4(), Consent(to="cut", answer="yes", how="by telephone")
    seq = desk.records.reed("Sent 1").seq
    for added in (2, 0):
        done = desk.posted.write_with_consent("Sent 1", CUT, answer, uuid=uuid, expected_seq=seq)
        assert done.added == added
    kinds = [e.payload.kind for e in desk.sheet("Sent 1").state.entries]
    assert kinds[-2:] == ["consent", "cut"]
    assert desk.posted.may_cut("Sent 1")


def test_a_cut_without_asking_is_said_and_the_next_one_is_asked_about_again(desk):
    _post(desk, ALLOWED.model_copy(update={"may_cut": "unknown"}))
    said = Consent(to="cut", answer="not-asked")
    desk.posted.write_with_consent("Sent 1", CUT, said, uuid=uuid4())
    assert not desk.posted.may_cut("Sent 1")
    with pytest.raises(InputError, match="ask, and write the answer"):
        desk.write("Sent 1", CUT)


@pytest.mark.parametrize(
    "wrong", [Consent(to="cut", answer="no"), Consent(to="play", answer="yes")]
)
def test_no_cut_comes_with_an_answer_that_forbids_it(desk, wrong):
    _post(desk, ALLOWED.model_copy(update={"may_cut": "unknown"}))
    with pytest.raises(InputError, match="an answer of no is written down alone"):
        desk.posted.write_with_consent("Sent 1", CUT, wrong, uuid=uuid4())


def test_a_withdrawn_answer_does_not_count(desk):
    _post(desk, ALLOWED.model_copy(update={"may_cut": "unknown"}))
    kept = desk.write("Sent 1", Consent(to="cut", answer="yes")).entries[0]
    assert desk.posted.may_cut("Sent 1")
    desk.withdraw("Sent 1", kept.uuid, reason="misheard")
    assert not desk.posted.may_cut("Sent 1")


def test_the_queue_puts_what_is_due_first_and_leaves_out_what_is_done(desk):
    _post(desk, name="Later")
    _post(desk, ALLOWED.model_copy(update={"deadline": date(2026, 3, 20)}), "Due")
    _post(desk, ALLOWED.model_copy(update={"deadline": date(2026, 3, 10)}), "Sooner")
    _post(desk, name="Gone")
    desk.write("Gone", Stage(stage="posted"), at=CAME + timedelta(days=1))
    _post(desk, name="Done")
    desk.write("Done", Stage(stage="done"), at=CAME + timedelta(days=1))
    _post(desk, name="Mistake")
    (entry,) = desk.records.entries_of_kinds({"intake"}, reed=desk.records.reed("Mistake").uuid)
    desk.withdraw("Mistake", entry.uuid)
    assert [q.reed.name for q in desk.posted.queue()] == ["Sooner", "Due", "Later", "Gone"]
    assert {q.reed.name for q in desk.posted.queue(gone=True)} == {
        "Sooner",
        "Due",
        "Later",
        "Gone",
        "Done",
    }


def test_minutes_costs_and_hours_add_up(desk):
    _post(desk, ALLOWED.model_copy(update={"played": 3600.0}))
    for payload in (
        Minutes(duration=600.0, cost=4.0, currency="EUR"),
        Minutes(duration=900.0, cost=2.5, currency="EUR"),
        Minutes(cost=3.0, currency="CHF"),
        Played(duration=7200.0),
    ):
        desk.write("Sent 1", payload)
    posting = desk.posted.posting("Sent 1")
    assert posting is not None
    assert (posting.attention, posting.costs) == (1500.0, {"EUR": 6.5, "CHF": 3.0})
    assert posting.played == 3 * 3600.0
    desk.write("Sent 1", FollowUp(played=9 * 3600.0))
    posting = desk.posted.posting("Sent 1")
    assert posting is not None
    assert posting.played == 9 * 3600.0


def _due(desk: Desk) -> list[tuple[str, str]]:
    posting = desk.posted.posting("Sent 1")
    assert posting is not None
    return [(r.code, r.day.isoformat()) for r in posting.reminders]


def test_reminders(desk):
    reed = _post(desk, ALLOWED.model_copy(update={"deadline": date(2026, 3, 20)}))
    desk.write("Sent 1", Rest(duration=48 * 3600.0), at=CAME + timedelta(days=1))
    desk.write("Sent 1", Stage(stage="resting", until=date(2026, 3, 7)), at=CAME)
    # one rest, and not two reminders of it: it is over when both say so
    assert _due(desk) == [("stage-until", "2026-03-07"), ("deadline", "2026-03-20")]
    desk.write("Sent 1", Rest(duration=9 * 86400.0), at=CAME + timedelta(days=2))
    assert _due(desk) == [("stage-until", "2026-03-13"), ("deadline", "2026-03-20")]
    acclimatising = Stage(stage="acclimatising", until=date(2026, 3, 7))
    desk.write("Sent 1", acclimatising, at=CAME + timedelta(days=3))
    assert _due(desk) == [
        ("stage-until", "2026-03-07"),
        ("rest-over", "2026-03-13"),
        ("deadline", "2026-03-20"),
    ]
    first = desk.posted.posting("Sent 1").reminders
    desk.write("Sent 1", Stage(stage="posted"), at=CAME + timedelta(days=4))
    assert _due(desk) == [("follow-up", "2026-03-20")]  # 6 March and fourteen days
    desk.write("Sent 1", Stage(stage="done"), at=CAME + timedelta(days=30))
    assert _due(desk) == []
    assert len({r.uuid for r in first}) == 3
    assert all(isinstance(r.uuid, UUID) for r in first)
    assert reed.uuid not in {r.uuid for r in first}


def test_taking_in_twice_takes_in_once(desk):
    uuid, entry = uuid4(), uuid4()
    for _ in range(2):
        reed = desk.posted.take_in("Sent 1", ALLOWED, uuid=uuid, entry=entry, at=CAME)
    assert reed.seq == 1


def test_where_it_goes(desk):
    maker, player = Maker(uuid=uuid4(), name="M"), Player(uuid=uuid4(), name="P")
    for person in (maker, player):
        desk.records.add_person(person)
    hall = PersonPlace(uuid=uuid4(), person=player.uuid, name="Hall", altitude=1850.0, humidity=0.3)
    desk.records.add_place(hall)
    low = PersonPlace(uuid=uuid4(), person=maker.uuid, name="Shop", altitude=6.0)
    desk.records.add_place(low)
    reed = desk.posted.take_in("Sent 1", ALLOWED, player=player.uuid, maker=maker.uuid)
    assert desk.posted.home(reed).name == "Shop"
    to = desk.posted.destination(reed, ALLOWED.model_copy(update={"altitude": None}))
    assert (to.name, to.altitude, to.humidity) == ("Hall", 1850.0, 0.3)
    to = desk.posted.destination(reed, ALLOWED.model_copy(update={"hall_humidity": 0.5}))
    assert (to.altitude, to.humidity) == (30.0, 0.5)
    nowhere = desk.posted.take_in("Sent 2", Intake())
    assert desk.posted.destination(nowhere, Intake()) is None


def test_photographs_are_kept_as_they_came_and_shown_without_the_place(desk):
    _post(desk)
    for data, media in ((jpeg(), "image/jpeg"), (png(), "image/png")):
        kept = desk.posted.keep_photo("Sent 1", data, shows="tip").entries[0]
        assert desk.blobs.get(kept.payload.digest) == data
        found = desk.posted.photo("Sent 1", kept.uuid)
        assert found.media_type == media
        assert PLACE not in found.shown
    assert len(desk.posted.photos("Sent 1")) == 2
    desk.withdraw("Sent 1", kept.uuid)
    assert len(desk.posted.photos("Sent 1")) == 1
    with pytest.raises(NotFound, match="no such photograph"):
        desk.posted.photo("Sent 1", kept.uuid)
    with pytest.raises(InputError, match="no picture"):
        desk.posted.keep_photo("Sent 1", b"<svg>", shows="tip")


def test_the_letter_edited_last_counts(desk):
    _post(desk)
    assert desk.posted.letter("Sent 1") is None
    for words in ("first", "second"):
        desk.write("Sent 1", Letter(parts={"came": words}))
    assert desk.posted.letter("Sent 1").parts == {"came": "second"}
    with pytest.raises(ValueError, match="holds no words"):
        Letter(parts={"came": ""})
