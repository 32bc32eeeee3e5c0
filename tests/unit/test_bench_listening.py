"""Recordings together: attempts, since a cut, the control reed, the spread, what labels teach."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import numpy as np
import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Clip, Control, Cut, Label, Note, Recording, read
from crowlight.bench.listening import Compared, Listening
from crowlight.bench.recordings import (
    attempts,
    class_probability,
    recordings_of,
    since_change,
    sittings,
    summaries,
)
from crowlight.errors import InputError
from crowlight.listen import common_practice
from crowlight.wiring import open_desk

START = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
CUT = Cut(zone="tip", blades=("marked",))


def blow(pitch: float = 0.0, **more: float | None) -> dict[str, float | None]:
    return {"pitch_cents": pitch, "pitched_share": 0.99, "rattle_percent": 0.5, **more}


class Bench:
    """A desk whose recordings are heard as the test says."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.heard: dict[str, dict[str, object]] = {}
        self.minutes = 0.0

    def record(self, reed: str, *blows: dict[str, float | None], of: str = "crow") -> UUID:
        digest = f"{len(self.heard):064x}"
        self.heard[digest] = {"kind": of, "usable": bool(blows), "blows": list(blows)}
        return self.write(reed, Recording(sound_of=of, digest=digest, sample_rate=48_000))

    def write(self, reed: str, payload: object, *, hours: float = 0.0, **more: object) -> UUID:
        self.minutes += 60.0 * hours or 1.0
        at = START + timedelta(minutes=self.minutes)
        return self.desk.write(reed, payload, at=at, **more).entries[0].uuid

    def kept(self, reed: str) -> list:
        return list(recordings_of(self.entries(reed)))

    def entries(self, reed: str) -> tuple:
        return self.desk.records.entries(self.desk.records.reed(reed).uuid)

    def compare(self, reed: str, before: list[UUID], after: list[UUID]) -> Compared:
        listening = Listening(desk=self.desk)
        found = self.desk.records.reed(reed)
        sides = [[k for k in self.kept(reed) if k.entry.uuid in side] for side in (before, after)]
        return listening.compare(found, *sides, workshop=listening.workshop(found))


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    with open_desk(tmp_path) as desk:
        made = Bench(desk)
        monkeypatch.setattr(Desk, "hear", lambda _, digest, *a, **k: made.heard[digest])
        desk.add_reed("Auk")
        yield made


def test_attempts_are_one_value_a_blow_and_a_swell_is_no_attack() -> None:
    heard = [{"blows": [blow(1.0, attack_s=0.02)]}, {"blows": [blow(3.0, attack_s=1.4)]}]
    values = attempts(heard)
    assert values["pitch_cents"] == [1.0, 3.0]
    assert values["attack_s"] == [0.02, None]
    assert values["stray_db"] == [None, None]
    found = summaries(heard)
    assert (found["pitch_cents"].median, found["pitch_cents"].enough) == (2.0, False)
    assert "stray_db" not in found
    assert attempts([{"blows": []}, {}]) == {}


def test_the_class_is_that_of_the_median_blow() -> None:
    clean = blow(stray_db=-60.0)
    wild = blow(pitched_share=0.2, rattle_percent=60.0, stray_db=0.0)
    heard = {"blows": [clean, clean, wild]}
    probability = class_probability(heard, common_practice())
    assert probability is not None
    assert probability == class_probability({"blows": [clean]}, common_practice())
    assert sum(probability.values()) == pytest.approx(1.0)
    assert probability["clean"] > 0.9
    assert class_probability({"blows": []}, common_practice()) is None


def test_labels_count_the_latest_and_go_with_their_recording(bench: Bench) -> None:
    first, second = bench.record("Auk", blow()), bench.record("Auk", blow())
    bench.write("Auk", Label(recording=first, says="mixed"))
    bench.write("Auk", Label(recording=first, says="clean"))
    bench.write("Auk", Label(recording=uuid4(), says="rattling"))
    labels = {k.entry.uuid: k.label and k.label.says for k in bench.kept("Auk")}
    assert labels == {first: "clean", second: None}
    bench.desk.withdraw("Auk", first)
    assert [k.entry.uuid for k in bench.kept("Auk")] == [second]


@pytest.mark.parametrize("payload", [Label(recording=uuid4(), says="clean"), Control(remark="x")])
def test_the_new_kinds_survive_being_written_down(bench: Bench, payload: Label | Control) -> None:
    bench.write("Auk", payload)
    assert bench.entries("Auk")[-1].payload == payload
    assert read(payload.kind, 1, payload.model_dump(mode="json")) == payload
    with pytest.raises(InputError, match="version 2"):
        read(payload.kind, 2, payload.model_dump(mode="json"))


def test_since_a_cut_goes_from_one_change_to_the_next(bench: Bench) -> None:
    assert since_change(bench.entries("Auk"), "crow") is None
    bench.record("Auk", blow())
    bench.write("Auk", CUT)
    two = bench.record("Auk", blow())
    bench.record("Auk", blow(), of="peep")
    bench.write("Auk", Clip(amount=1e-4))
    assert since_change(bench.entries("Auk"), "peep") is None
    three = bench.record("Auk", blow())
    bench.write("Auk", Note(text="no change of the reed"))
    four = bench.record("Auk", blow())
    found = since_change(bench.entries("Auk"), "crow")
    assert found is not None
    assert [[k.entry.uuid for k in side] for side in found] == [[two], [three, four]]
    # a cut nothing was recorded after does not hide the one before
    bench.write("Auk", CUT)
    again = since_change(bench.entries("Auk"), "crow")
    assert again is not None
    assert [k.entry.uuid for k in again[1]] == [three, four]


def test_a_sitting_ends_with_a_cut_or_a_night(bench: Bench) -> None:
    for _ in range(2):
        bench.record("Auk", blow())
    bench.write("Auk", CUT)
    bench.record("Auk", blow())
    bench.write("Auk", Note(text="next day"), hours=20)
    bench.record("Auk", blow())
    assert [len(s) for s in sittings(bench.entries("Auk"), "crow")] == [2, 1, 1]


def test_a_change_is_told_only_beyond_the_spread_of_attempts(bench: Bench) -> None:
    before = bench.record("Auk", *[blow(c) for c in (0.0, 2.0, 1.0)])
    after = bench.record("Auk", *[blow(c) for c in (30.0, 33.0, 31.0)])
    found = bench.compare("Auk", [before], [after])
    change = found.changes["pitch_cents"]
    assert change.verdict == "changed"
    assert change.difference == 30.0
    assert change.low < 30.0 < change.high
    assert found.changes["pitched_share"].verdict == "no change these recordings show"
    assert found.control is None
    assert found.recordings == 0


def test_two_attempts_are_too_few(bench: Bench) -> None:
    before = bench.record("Auk", blow(0.0), blow(1.0))
    after = bench.record("Auk", *[blow(c) for c in (30.0, 33.0, 31.0)])
    change = bench.compare("Auk", [before], [after]).changes["pitch_cents"]
    assert change.verdict == "too few attempts to tell"


def test_what_cannot_be_compared_is_refused(bench: Bench) -> None:
    crow, peep = bench.record("Auk", blow()), bench.record("Auk", blow(), of="peep")
    notes = [bench.record("Auk", of="notes") for _ in range(2)]
    with pytest.raises(InputError, match="crow and peep cannot be compared"):
        bench.compare("Auk", [crow], [peep])
    with pytest.raises(InputError, match="two different recordings"):
        bench.compare("Auk", [crow], [crow])
    with pytest.raises(InputError, match="two crows or two peeps"):
        bench.compare("Auk", [notes[0]], [notes[1]])


def test_an_unusable_side_leaves_nothing_to_compare(bench: Bench) -> None:
    crow, nothing = bench.record("Auk", blow()), bench.record("Auk")
    assert bench.compare("Auk", [crow], [nothing]).changes == {}


def test_the_spread_is_that_of_the_same_maker_and_leaves_out_what_is_compared(
    bench: Bench,
) -> None:
    people = bench.desk.people
    makers = [people.add_maker(name) for name in ("Ann", "Bo")]
    for reed, maker, scale in (("Wide", 0, 40.0), ("Like one of Ann's", 1, 1000.0)):
        bench.desk.add_reed(reed, maker=makers[maker].uuid)
        bench.record(reed, *[blow(scale * c) for c in (-1.0, 0.0, 1.0)])
    bench.desk.add_reed("Mine", maker=makers[0].uuid)
    before = bench.record("Mine", *[blow(c) for c in (0.0, 2.0, 1.0)])
    after = bench.record("Mine", *[blow(c) for c in (30.0, 33.0, 31.0)])
    found = bench.compare("Mine", [before], [after])
    change = found.changes["pitch_cents"]
    assert found.recordings == 1
    # pooled by hand: the sides' squares about their means, and those of the other reed
    squares = 2.0 + (1.333**2 + 1.667**2 + 0.333**2) + 2 * 40.0**2
    assert change.spread.freedom == 6
    assert change.spread.deviation == pytest.approx(np.sqrt(squares / 6.0), rel=1e-4)
    assert change.verdict == "no change these recordings show"


def test_invented_reeds_say_nothing_about_real_ones(bench: Bench) -> None:
    bench.desk.add_reed("Made up", invented=True)
    bench.record("Made up", blow(-40.0), blow(40.0))
    reed = bench.desk.records.reed("Auk")
    assert [w.reed.name for w in Listening(desk=bench.desk).workshop(reed)] == ["Auk"]


@pytest.fixture
def sitting(bench: Bench) -> Callable[..., Compared]:
    """Return a function that compares a reed in a sitting with a control reed 20 cents up."""

    def compare(*, between: object = None, twice: bool = True, hours: float = 0.0) -> Compared:
        bench.desk.add_reed("Still")
        bench.write("Still", Control())
        if hours:
            bench.write("Auk", Note(text="later"), hours=hours)
        bench.record("Still", *[blow(c) for c in (0.0, 1.0, 2.0)])
        before = bench.record("Auk", *[blow(c) for c in (0.0, 1.0, 2.0)])
        bench.write("Auk", CUT)
        after = bench.record("Auk", *[blow(c) for c in (20.0, 21.0, 22.0)])
        if between is not None:
            bench.write("Still", between)
        if twice:
            bench.record("Still", *[blow(c) for c in (20.0, 21.0, 22.0)])
        return bench.compare("Auk", [before], [after])

    return compare


def test_the_control_reed_takes_the_weather_off(sitting: Callable[..., Compared]) -> None:
    found = sitting()
    change = found.changes["pitch_cents"]
    assert found.control is not None
    assert found.control.reed.name == "Still"
    assert (change.control, change.difference) == (20.0, 0.0)
    assert change.verdict == "no change these recordings show"


@pytest.mark.parametrize(
    ("more", "why"),
    [({"twice": False}, "once"), ({"between": CUT}, "changed"), ({"hours": 30.0}, None)],
)
def test_a_control_reed_that_tells_nothing_takes_nothing_off(
    sitting: Callable[..., Compared], more: dict, why: str | None
) -> None:
    found = sitting(**more)
    assert (found.control.why_not if found.control else None) == why
    assert found.changes["pitch_cents"].control is None
    assert found.changes["pitch_cents"].difference == 20.0


def test_labels_of_enough_reeds_replace_common_practice(bench: Bench) -> None:
    listening = Listening(desk=bench.desk)
    rng = np.random.default_rng(5)
    kinds = {
        "clean": (0.99, 0.5, -55.0),
        "mixed": (0.8, 8.0, -22.0),
        "rattling": (0.3, 50.0, -5.0),
    }
    for n in range(9):
        name = f"Reed {n}"
        bench.desk.add_reed(name)
        says = list(kinds)[n % 3]
        share, rattle, stray = kinds[says]
        values = blow(pitched_share=share - 0.1 * rng.random(), stray_db=stray + rng.normal())
        recording = bench.record(name, {**values, "rattle_percent": rattle})
        bench.write(name, Label(recording=recording, says=says))
        learned = listening.learned(listening.workshop(bench.desk.records.reed("Auk")))
        assert learned.takes == n + 1
        assert learned.enough is (n >= 7)
    assert learned.model.basis == "your labels"
    assert learned.error is not None
    assert learned.error <= 0.2
    reed = bench.desk.records.reed("Reed 0")
    (kept,) = bench.kept("Reed 0")
    probability = class_probability(listening.hear(kept, reed.uuid).heard, learned.model)
    assert probability is not None
    assert max(probability, key=probability.__getitem__) == "clean"
