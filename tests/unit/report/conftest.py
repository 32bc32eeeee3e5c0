"""A judged reed to report on."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from crowlight.bench.assess import Assessment, assess
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.reed.styles import style

Row = tuple[str, float, float, float]


@pytest.fixture
def judged() -> Callable[..., Assessment]:
    """Return a function that judges rows of (blade, mm from the rim, mm across, mm thick)."""

    def judge(*rows: Row, length: float | None = 70.0, state: str = "wet") -> Assessment:
        readings = [
            Reading(Place(Blade(b), a * 1e-3, x * 1e-3), t * 1e-3, state=CaneState(state))
            for b, a, x, t in rows
        ]
        return assess(
            {
                "name": "Gull 7",
                "readings": readings,
                "length": None if length is None else length * 1e-3,
                "thread_top": 47e-3,
            }
        )

    return judge


@pytest.fixture(scope="session")
def mapped() -> Assessment:
    """Return a reed like its style all over, but with a marked blade 0.08 mm thicker."""
    long = style("long").placed(0.0702)
    readings = [
        Reading(
            p.on(b),
            round(float(long.thickness(p.along, p.across)) + 0.08e-3 * (b is Blade.MARKED), 8),
            instrument="digital",
            state=CaneState.WET,
            seating=i,
        )
        for i, b in enumerate(Blade)
        for p in long.full
    ]
    return assess(
        {
            "name": "Gull 7",
            "readings": readings,
            "style": "long",
            "length": 0.0702,
            "thread_top": 0.047,
        }
    )


@pytest.fixture
def uneven(judged: Callable[..., Assessment]) -> Assessment:
    """One pair that differs, one that does not, one that is half measured."""
    return judged(
        ("marked", 62.0, -2.0, 0.60),
        ("marked", 62.0, 2.0, 0.42),
        ("plain", 62.0, -2.0, 0.42),
        ("plain", 62.0, 2.0, 0.43),
        ("plain", 58.0, -2.0, 0.45),
    )
