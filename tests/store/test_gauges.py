"""A maker's own repeatability is pooled over their latest reeds, used and shown."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from uuid import UUID, uuid4

import numpy as np
import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.gauges import LATEST, makers_gauges
from crowlight.bench.kinds import Described, Note, ReadingsTaken
from crowlight.bench.ports import Maker, NewEntry, NewReed
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.judge.sitting import REWET
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.report.plain import assessment_in_mm
from crowlight.store import FileResults, SqlRecords
from crowlight.wiring import open_desk

TRUE_SD = 3e-6


def heart(rng: np.random.Generator) -> tuple[Reading, ...]:
    """Read four points of a flat heart twice each: 4 degrees of freedom."""
    return tuple(
        Reading(
            Place(Blade.MARKED, along, across),
            0.46e-3 + rng.normal(0, TRUE_SD),
            "dial",
            repeat=repeat,
            state=CaneState.WET,
        )
        for along in (0.0605, 0.0625)
        for across in (0.0, 2e-3)
        for repeat in range(2)
    )


def add_reed(
    records: SqlRecords, maker: UUID | None, name: str, readings: tuple[Reading, ...]
) -> UUID:
    reed = records.add_reed(NewReed(uuid=uuid4(), name=name, maker=maker))
    at = records.clock.now()
    taken = NewEntry(uuid=uuid4(), payload=ReadingsTaken(), happened_at=at, readings=readings)
    records.append(reed.uuid, [taken])
    return reed.uuid


@pytest.fixture
def results(tmp_path: Path) -> FileResults:
    return FileResults(tmp_path / "computed")


def test_latest_reeds_of_a_maker(records: SqlRecords) -> None:
    ann, bo = Maker(uuid=uuid4(), name="Ann"), Maker(uuid=uuid4(), name="Bo")
    for maker in (ann, bo):
        records.add_person(maker)
    for number in range(5):
        owner = (bo if number == 3 else ann).uuid
        records.add_reed(NewReed(uuid=uuid4(), name=f"R {number}", maker=owner))
    assert [reed.name for reed in records.latest_reeds(ann.uuid, 3)] == ["R 4", "R 2", "R 1"]
    assert records.latest_reeds(bo.uuid, 0) == ()
    assert records.latest_reeds(uuid4(), 3) == ()


def test_repeats_are_pooled_over_the_makers_latest_reeds(
    records: SqlRecords, results: FileResults
) -> None:
    ann, bo = Maker(uuid=uuid4(), name="Ann"), Maker(uuid=uuid4(), name="Bo")
    for maker in (ann, bo):
        records.add_person(maker)
    rng = np.random.default_rng(3)

    def found(maker: UUID | None = ann.uuid) -> dict:
        return makers_gauges(records, results, maker)

    first = add_reed(records, ann.uuid, "R 0", heart(rng))
    add_reed(records, bo.uuid, "B", heart(rng))
    add_reed(records, None, "N", heart(rng))
    assert found() == {}  # too few
    add_reed(records, ann.uuid, "R 1", heart(rng))
    assert found()["dial"].dof == 8
    assert found(bo.uuid) == found(None) == {}
    for number in range(2, LATEST + 3):
        add_reed(records, ann.uuid, f"R {number}", heart(rng))
    assert found()["dial"].dof == 4 * LATEST  # bounded
    assert 0.7 < found()["dial"].standard_deviation / TRUE_SD < 1.4
    # the oldest reeds are out of sight; what is new in the others is seen
    before = found()
    records.append(first, [note(records)])
    assert found() == before
    latest = records.latest_reeds(ann.uuid, 1)[0].uuid
    at = records.clock.now()
    more = NewEntry(uuid=uuid4(), payload=ReadingsTaken(), happened_at=at, readings=heart(rng))
    records.append(latest, [more])
    assert found()["dial"].dof == 4 * LATEST + 4


def note(records: SqlRecords) -> NewEntry:
    return NewEntry(uuid=uuid4(), payload=Note(text="x"), happened_at=records.clock.now())


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    with open_desk(tmp_path / "records") as opened:
        yield opened


def test_own_repeatability_is_used_and_shown(desk: Desk) -> None:
    ann = desk.people.add_maker("Ann")
    rng = np.random.default_rng(3)
    true = draw_reed(rng, even=True)
    places = planned_places(true.style)
    readings = measure(true, (*places, places[0]), rng)
    for name in ("Tern", "Gull"):
        desk.add_reed(name, maker=ann.uuid if name == "Tern" else None)
        desk.write(name, Described(style="long"))
        desk.write(name, ReadingsTaken(), readings=tuple(readings))
    for number in range(4):
        desk.add_reed(f"R {number}", maker=ann.uuid)
        desk.write(f"R {number}", ReadingsTaken(), readings=heart(rng))
    own = desk.gauges(ann.uuid)["dial"]
    assert own.dof == 16
    mine, usual = desk.assess("Tern"), desk.assess("Gull")
    assert mine.groups[0].differences.gauges == {"dial": own}
    assert not usual.groups[0].differences.own_repeatability_used
    for before, after in zip(
        usual.groups[0].differences.comparisons,
        mine.groups[0].differences.comparisons,
        strict=True,
    ):
        narrower = after.decision.standard_uncertainty < before.decision.standard_uncertainty
        assert narrower or before.decision.outcome == "not_measured"
    assert mine.groups[0].mapped is not None
    assert usual.groups[0].mapped is not None
    assert mine.groups[0].mapped.shown.sd != usual.groups[0].mapped.shown.sd
    (shown,) = json.loads(json.dumps(assessment_in_mm(mine)))["groups"]
    assert shown["own_repeatability_used"]
    assert shown["repeatability_dof"] == 16
    assert shown["own_gauges"]["dial"] == {
        "repeatability_mm": round(own.standard_deviation * 1e3, 4),
        "dof": 16,
    }


def test_a_reed_that_dries_while_it_is_measured(desk: Desk) -> None:
    rng = np.random.default_rng(3)
    true = draw_reed(rng, even=True)
    readings = list(measure(true, planned_places(true.style), rng))
    flat = next(i for i, r in enumerate(readings) if r.place.along < 0.0615)
    readings = readings[flat:] + readings[:flat]
    desk.add_reed("Tern")
    desk.write("Tern", Described(style="long"))

    def sat(change: float) -> object:
        again = replace(readings[0], thickness=readings[0].thickness + change)
        desk.write("Tern", ReadingsTaken(), readings=(*readings, again))
        return desk.assess("Tern").groups[0]

    desk.write("Tern", ReadingsTaken(), readings=tuple(readings))
    assert desk.assess("Tern").groups[0].drift is None
    dry = sat(-0.08e-3)
    assert dry.drift.decision.value == pytest.approx(-0.08e-3)
    assert dry.drift.decision.high < 0
    assert dry.advice == (REWET,)
    (shown,) = assessment_in_mm(desk.assess("Tern"))["groups"]
    assert shown["advice"] == ["rewet-and-wait"]
    assert shown["drift"]["change_mm"] == pytest.approx(-0.08, abs=1e-3)
    steady = sat(0.0)  # the latest sitting counts
    assert steady.advice == ()
    assert steady.drift.decision.low < 0 < steady.drift.decision.high
    assert dry.mapped.drying_sd > 0
