"""Whole batches with gaps, ties and odd numbers: always an answer, always JSON."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta
from uuid import UUID

import numpy as np
import pytest

from crowlight.bench.batch_facts import ReedFacts
from crowlight.bench.batch_found import BatchFound, batch_found
from crowlight.bench.batch_reed import BatchMeasured, BatchReed, Known, Sides
from crowlight.bench.batches import BatchShown
from crowlight.bench.codec import Codec
from crowlight.bench.ports import Batch
from crowlight.report.batch_pictures import control_chart_spec
from crowlight.report.batch_plain import batch_plain, batch_text
from crowlight.report.words import in_locale

START = datetime(2026, 1, 1, tzinfo=UTC)
LEVELS = ("tip-thickness", "heart-thickness", "tip-length", "opening", "tip-slope")
SIDES = ("tip", "heart", "transition-steepness", "transition-position")


def reed(rng: np.random.Generator, day: int) -> BatchReed:
    """Make numbers up: some missing, some rounded until they are alike, some all the same."""
    digits, scale = int(rng.integers(4, 8)), float(rng.choice([0.0, 1e-6, 2e-5]))

    def some(middle: float = 0.0) -> float:
        if rng.random() < 0.15:
            return math.nan
        return float(np.round(rng.normal(middle, scale), digits))

    def kept(names: tuple[str, ...]) -> list[str]:
        return [n for n in names if rng.random() < 0.9]

    return BatchReed(
        uuid=UUID(int=int(rng.integers(1, 1 << 60))),
        seq=1,
        style="long",
        oboe=True,
        facts=ReedFacts(
            begun=START + timedelta(days=day) if rng.random() < 0.9 else None,
            grade=int(rng.integers(1, 6)) if rng.random() < 0.8 else None,
            clips=int(rng.integers(0, 3)),
            rest_days=float(rng.integers(1, 9)) if rng.random() < 0.7 else None,
            steps={"gouge-centre": float(np.round(rng.normal(6e-4, 1e-5), 5)), "tie-length": 75e-3},
            splits={"tip/seen": bool(rng.random() < 0.5)} if rng.random() < 0.5 else {},
        ),
        measured=BatchMeasured(
            quantities={n: Known(some(4e-4), 1e-5, 4e-4, 1e-5) for n in kept(LEVELS)},
            sides={n: Sides(some(), 5e-6, some(), 5e-6, 1e-5) for n in kept(SIDES)},
            blades={n: Known(some(), 5e-6, tolerance=1e-5) for n in kept(SIDES)},
        ),
    )


@pytest.mark.parametrize("seed", range(12))
def test_there_is_always_an_answer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    reeds = [reed(rng, 30 + i) for i in range(int(rng.integers(1, 26)))]
    others = [reed(rng, i) for i in range(int(rng.integers(0, 20)))]
    batches = {str(r.uuid): str(rng.integers(0, 4)) for r in (*reeds, *others)}
    given = {"batch": UUID(int=seed), "reeds": reeds, "others": others, "batches": batches}
    found, codec = batch_found(given), Codec(BatchFound)
    again = codec.from_bytes(codec.to_bytes(found))
    assert codec.to_bytes(again) == codec.to_bytes(found)
    shown = BatchShown(
        batch=Batch(uuid=UUID(int=seed), name="Odd"),
        maker=None,
        names={r.uuid: f"Reed {i}" for i, r in enumerate(reeds)},
        invented=False,
        found=again,
    )
    words = in_locale("en")
    told = json.loads(json.dumps(batch_plain(shown, words), allow_nan=False))
    assert len(told["reeds"]) == len(reeds)
    assert "The steady difference" in batch_text(shown, words)
    for c in again.charted:
        if c.chart:
            json.dumps(control_chart_spec(c, words=words), allow_nan=False)
