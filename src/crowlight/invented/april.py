"""The invented workshop's next batch: eight reeds with one habit of the hand in all of them.

On both blades the right side of the tip, as the maker sees it, comes out thinner: by so little that
most of the reeds, each on its own, show nothing. The players grade those with more of it lower.
Everything is made up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

import numpy as np

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import (
    Cane,
    Described,
    Lengths,
    Opening,
    Payload,
    ReadingsTaken,
    Rest,
    Shape,
    Staple,
    Verdict,
    Wetting,
)
from crowlight.bench.ports import Batch
from crowlight.bench.workshop_kinds import (
    CaneTube,
    Gouge,
    Minutes,
    Outcome,
    Played,
    ShapedWith,
    Stage,
    Tie,
)
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.invented.sitting import counted
from crowlight.reed import Blade, Reading

__all__ = ["APRIL", "HABIT", "AprilReed", "fill_april"]

_SPACE = UUID("c6a8d1f2-73de-5f36-9c42-6a1b9f20b4e7")
_DAY = datetime(2026, 4, 7, 9, 30, tzinfo=UTC)
#: Where the habit lies, on both blades: +1 is the right side as seen.
HABIT = ("tip", +1)


@dataclass(frozen=True, slots=True, kw_only=True)
class AprilReed:
    """One reed of the batch.

    Parameters
    ----------
    name : str
        A wader.
    seed : int
        Of its chance.
    thinner : float
        By how much the right side of the tip is thinner than the left [m].
    grade : int
        The player's.
    minutes : float
        Attention it took.
    hours : float
        How long it has been played.
    failed : str
        Why it was given up; empty if it was not.
    """

    name: str
    seed: int
    thinner: float
    grade: int
    minutes: float
    hours: float
    failed: str = ""


APRIL: Sequence[AprilReed] = (
    AprilReed(name="Avocet", seed=401, thinner=15e-6, grade=4, minutes=48, hours=11),
    AprilReed(name="Curlew", seed=402, thinner=5e-6, grade=5, minutes=41, hours=14),
    AprilReed(name="Dotterel", seed=403, thinner=31e-6, grade=2, minutes=55, hours=3),
    AprilReed(name="Godwit", seed=404, thinner=12e-6, grade=4, minutes=44, hours=9),
    AprilReed(name="Greenshank", seed=405, thinner=23e-6, grade=3, minutes=62, hours=6),
    AprilReed(name="Lapwing", seed=406, thinner=8e-6, grade=5, minutes=39, hours=12),
    AprilReed(
        name="Redshank", seed=407, thinner=28e-6, grade=2, minutes=50, hours=2, failed="chirps"
    ),
    AprilReed(name="Whimbrel", seed=408, thinner=19e-6, grade=3, minutes=46, hours=8),
)


def _id(word: str) -> UUID:
    return uuid5(_SPACE, word)


def fill_april(desk: Desk, *, maker: UUID, player: UUID) -> list[str]:
    """Write the batch down.

    Parameters
    ----------
    desk : Desk
        Where.
    maker, player : UUID
        Whose reeds they are.

    Returns
    -------
    list of str
        Names of the reeds, in the order of their making.
    """
    desk.records.add_batch(Batch(uuid=_id("batch"), name="April", maker=maker))
    for count, reed in enumerate(APRIL):
        kept = desk.add_reed(
            reed.name,
            uuid=_id(reed.name),
            maker=maker,
            player=player,
            batch=_id("batch"),
            invented=True,
        )
        if not kept.seq:
            _write(desk, reed, _DAY + timedelta(days=count // 4, minutes=70 * (count % 4)))
    return [reed.name for reed in APRIL]


def _write(desk: Desk, reed: AprilReed, start: datetime) -> None:
    """Write down the way of one reed: cane, tie, one sitting at the gauge, the player's answer."""
    rng = np.random.default_rng(reed.seed)
    zone, side = HABIT
    faults = [Fault(zone=zone, blade=b, side=side, amount=-reed.thinner) for b in Blade]
    true = draw_reed(rng, even=True, faults=faults)
    step = 0

    def write(payload: Payload, days: float, readings: tuple[Reading, ...] = ()) -> None:
        nonlocal step
        step += 1
        desk.write(
            reed.name,
            payload,
            readings=readings,
            uuid=_id(f"{reed.name} {step}"),
            at=start + timedelta(days=days),
        )

    def about(usual_mm: float, spread_mm: float) -> float:
        return round(rng.normal(usual_mm, spread_mm), 2) * 1e-3

    write(
        CaneTube(lot="Invented tubes, bag two", diameter_least=10.2e-3, diameter_most=10.3e-3), -6
    )
    side_mm = about(0.44, 0.01)
    write(Gouge(centre=about(0.60, 0.008), left=side_mm, right=about(side_mm * 1e3, 0.006)), -6)
    write(ShapedWith(tool="Invented shape, seven"), -5)
    write(Tie(turns=int(rng.integers(17, 21)), thread_end=about(-0.3, 0.3), slip="none"), -5)
    write(Stage(stage="tied"), -5)
    write(Rest(duration=4 * 86_400.0), -1)
    write(
        Described(
            thread_colour="violet",
            cork_number=str(reed.seed - 394),
            style=true.style.code,
            cane=Cane(source="Invented tubes, bag two"),
            shape=Shape(tip_width=7.0e-3, waist_width=4.0e-3),
            staple=Staple(length=47e-3, bore_top=2.4e-3, bore_bottom=4.9e-3),
            tie_length=73e-3,
            overlap=0.1e-3,
        ),
        0.0,
    )
    write(Lengths(overall=round(true.style.length * 2000) / 2000, thread_top=47e-3), 0.001)
    write(Wetting(how="soaked", duration=180.0), 0.004)
    write(Opening(height=about(0.68, 0.05)), 0.005)
    places = planned_places(true.style)
    taken = measure(true, (*places, places[0]), rng, repeats=2, seconds=4.0)
    write(ReadingsTaken(source="gauge, standard points"), 0.006, counted(taken))
    write(Minutes(duration=60.0 * reed.minutes, cost=3.2, currency="EUR"), 0.05)
    write(Stage(stage="finished" if reed.failed else "sold"), 2)
    if reed.failed:
        write(Outcome(outcome="given-up", reason=reed.failed, where="bench"), 2)
    else:
        write(Outcome(outcome="sellable"), 2)
    write(Verdict(grade=reed.grade), 9)
    write(Played(duration=3600.0 * reed.hours), 30)
