"""Batches of invented reeds for tests."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from uuid import UUID

import numpy as np

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Described, Lengths, ReadingsTaken, Verdict
from crowlight.bench.payload import Payload
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.invented.sitting import counted
from crowlight.reed import Blade

START = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def make_batch(
    desk: Desk,
    name: str,
    *,
    faults: Sequence[Sequence[Fault]],
    grades: Sequence[int] = (),
    more: Sequence[Sequence[Payload]] = (),
    names: Sequence[str] = (),
    maker: UUID | None = None,
    seed: int = 700,
) -> UUID:
    """Write down a batch of one reed for each entry of `faults`; return its uuid."""
    batch = desk.people.add_batch(name, maker=maker)
    for i, hidden in enumerate(faults):
        rng = np.random.default_rng(seed + i)
        true = draw_reed(rng, even=True, faults=hidden)
        reed = names[i] if names else f"{name} {i + 1}"
        desk.add_reed(reed, maker=maker, batch=batch.uuid)
        at = START + timedelta(days=i)
        desk.write(reed, Described(style="long"), at=at)
        desk.write(reed, Lengths(overall=true.style.length, thread_top=47e-3), at=at)
        taken = counted(measure(true, planned_places(true.style), rng))
        desk.write(reed, ReadingsTaken(), readings=taken, at=at)
        if grades:
            desk.write(reed, Verdict(grade=grades[i]), at=at)
        for payload in more[i] if more else ():
            desk.write(reed, payload, at=at)
    return batch.uuid


def tips(amount: float, *, edge: bool = False) -> tuple[Fault, ...]:
    """Return a tip thinner on the right as seen on both blades, or along one physical edge."""
    return tuple(
        Fault(zone="tip", blade=b, side=-1 if edge and b is Blade.PLAIN else 1, amount=-amount)
        for b in Blade
    )
