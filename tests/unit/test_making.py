"""The way of reeds through the workshop, counted from plain entries."""

from typing import Any

from crowlight.batch.figures import Made
from crowlight.bench.kinds import Described, Verdict, Withdrawn
from crowlight.bench.making import KINDS_LOOKED_AT, made_reeds
from crowlight.bench.ports import PlainEntry
from crowlight.bench.workshop_kinds import (
    CaneTube,
    FollowUp,
    Intake,
    Minutes,
    Outcome,
    Played,
    ShapedWith,
    Stage,
)


def entries(*said: tuple[int, Any] | tuple[int, Any, str]) -> list[PlainEntry]:
    return [
        PlainEntry(row[0], f"e{i}", row[1].kind, row[1].model_dump(mode="json"), (*row, None)[2])
        for i, row in enumerate(said)
    ]


def test_everything_that_is_noted_is_counted() -> None:
    (made,) = made_reeds(
        entries(
            (1, Described(cane={"source": "bag"})),
            (1, ShapedWith(tool="narrow")),
            (1, Stage(stage="tied")),
            (1, Stage(stage="sold")),
            (1, Stage(stage="scraped")),  # noted late: the furthest counts
            (1, Minutes(duration=600.0, cost=2.0, currency="EUR")),
            (1, Minutes(duration=300.0)),
            (1, Minutes(cost=9.0, currency="USD")),
            (1, Outcome(outcome="sellable")),
            (1, Verdict(grade=3)),
            (1, Verdict(grade=4)),
            (1, Played(duration=3600.0)),
            (1, Played(duration=1800.0)),
            (1, FollowUp(still_played="no")),
        )
    )
    assert made == Made(
        stage=5,
        sellable=True,
        grade=4,
        seconds=900.0,
        cost=2.0,
        currency="EUR",
        played=5400.0,
        ended=True,
        cane="bag",
        shape="narrow",
    )


def test_what_was_taken_back_or_corrected_does_not_count() -> None:
    (made,) = made_reeds(
        entries(
            (1, Minutes(duration=600.0)),
            (1, Minutes(duration=60.0), "e0"),
            (1, Outcome(outcome="broke", reason="slip of the knife")),
            (1, Withdrawn(), "e2"),
        )
    )
    assert made.seconds == 60.0
    assert made.sellable is None
    assert made.reason == ""


def test_a_broken_reed_says_why_and_a_lot_outranks_a_description() -> None:
    (made,) = made_reeds(
        entries(
            (4, CaneTube(lot="lot 7")),
            (4, Described(cane={"source": "bag"})),
            (4, Outcome(outcome="broke", reason="slip of the knife")),
        )
    )
    assert (made.cane, made.sellable, made.reason, made.ended) == (
        "lot 7",
        False,
        "slip of the knife",
        True,
    )


def test_posted_reeds_are_not_of_ones_own_making() -> None:
    found = made_reeds(
        entries((1, Intake()), (1, Minutes(duration=5.0)), (2, Minutes(duration=7.0)))
    )
    assert [m.seconds for m in found] == [7.0]


def test_every_kind_looked_at_is_one_there_is() -> None:
    from crowlight.bench.kinds import KINDS

    assert set(KINDS) >= KINDS_LOOKED_AT
