"""A trial on invented reeds: habits of the hand are found, and none where there is none."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import UUID

import numpy as np
import pytest
from tests.batch_reeds import tips

from crowlight.batch.steady import Contrast, Pattern, Steady, steady_differences
from crowlight.bench.batch_facts import ReedFacts
from crowlight.bench.batch_found import contrasts
from crowlight.bench.batch_reed import BatchReed, batch_reed
from crowlight.invented.reeds import draw_reed, measure, planned_places

REEDS, BATCHES = 8, 60
UNEVEN = {Contrast.SEEN, Contrast.EDGE, Contrast.BLADES}


def reeds(count: int, amount: float, *, edge: bool = False, start: int) -> list[BatchReed]:
    """Measure invented reeds at the standard points, twice each."""
    found = []
    for seed in range(start, start + count):
        rng = np.random.default_rng(seed)
        true = draw_reed(rng, even=True, faults=tips(amount, edge=edge) if amount else ())
        readings = measure(true, planned_places(true.style), rng, repeats=2, seconds=4.0)
        inputs = {"readings": readings, "style": "long", "length": true.style.length}
        more = {"uuid": UUID(int=seed), "seq": 1, "facts": ReedFacts()}
        found.append(batch_reed(inputs | more))
    return found


def batches(pool: list[BatchReed]) -> Iterator[Steady]:
    """Draw batches from a pool and look for their steady difference."""
    rng = np.random.default_rng(3)
    for _ in range(BATCHES):
        chosen = [pool[i] for i in rng.choice(len(pool), REEDS, replace=False)]
        yield steady_differences(contrasts(chosen, ()), rng=rng)


@pytest.mark.soak
def test_even_reeds_have_no_habit() -> None:
    pool = reeds(72, 0.0, start=9000)
    named = sum(any(t.contrast in UNEVEN for t in s.consistent) for s in batches(pool))
    assert named <= 0.05 * BATCHES


@pytest.mark.soak
@pytest.mark.parametrize(("edge", "pattern"), [(False, Pattern.HAND), (True, Pattern.EDGE)])
def test_a_difference_no_single_reed_shows_is_found_and_told_apart(edge, pattern) -> None:
    pool = reeds(36, 16e-6, edge=edge, start=9200)
    found = [
        [t.pattern for t in s.consistent if t.quantity == "tip" and t.contrast in UNEVEN]
        for s in batches(pool)
    ]
    assert sum(pattern in p for p in found) >= 0.9 * BATCHES
    other = Pattern.EDGE if pattern is Pattern.HAND else Pattern.HAND
    assert sum(other in p for p in found) == 0
