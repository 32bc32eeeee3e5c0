"""`crowlight gauge`: repeatability and remounting come out as they were put in."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from crowlight.bench.kinds import Lengths, ReadingsTaken
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.wiring import open_desk

REPEAT, REMOUNT = 8e-6, 15e-6


@pytest.fixture
def measured(tmp_path: Path) -> Path:
    """Measure ten points of one blade twice in each of twelve mountings, dry."""
    rng = np.random.default_rng(1)
    folder = tmp_path / "records"
    with open_desk(folder) as desk:
        desk.add_reed("Test piece")
        desk.write("Test piece", Lengths(overall=70e-3, thread_top=47e-3))
        for _ in range(6):
            readings = []
            for mounting in range(2):
                offset = rng.normal(0.0, REMOUNT)
                readings += [
                    Reading(
                        Place(Blade.MARKED, 0.050 + 0.0018 * k, 0.0),
                        0.55e-3 - 0.04e-3 * k + offset + rng.normal(0.0, REPEAT),
                        seating=mounting,
                        repeat=repeat,
                        state=CaneState.DRY,
                    )
                    for k in range(10)
                    for repeat in range(2)
                ]
            desk.write("Test piece", ReadingsTaken(), readings=tuple(readings))
    return folder


def test_repeating_and_remounting_are_told_apart(measured: Path, crowlight: Callable) -> None:
    done = crowlight("--folder", measured, "gauge", "Test piece", "--json")
    assert done.status == 0, done.err
    (told,) = json.loads(done.out)
    assert (told["places"], told["mountings"], told["repeats"]) == (10, 12, 2)
    assert told["repeatability_low_mm"] < 1e3 * REPEAT < told["repeatability_high_mm"]
    # a standard deviation of twelve mountings is known to a fifth; three of those
    assert told["reproducibility_mm"] == pytest.approx(1e3 * REMOUNT, rel=0.6)
    text = crowlight("--folder", measured, "gauge", "Test piece").out
    assert "10 points, 12 mountings, 2 readings of each" in text
    assert "dries" not in text


def test_without_crossed_readings_it_says_how(crowlight: Callable, tmp_path: Path) -> None:
    folder = tmp_path / "other"
    with open_desk(folder) as desk:
        desk.add_reed("Plain")
    done = crowlight("--folder", folder, "gauge", "Plain")
    assert done.status == 1
    assert "take the reed off the gauge, put it on again" in done.err
