"""What a batch takes from one reed's readings: as far from the style as the readings say."""

import math
from uuid import UUID

import numpy as np
import pytest

from crowlight.bench.batch_facts import ReedFacts
from crowlight.bench.batch_reed import BatchReed, batch_reed, measured_reed
from crowlight.bench.codec import Codec
from crowlight.bench.mapping import thickness_map
from crowlight.invented.reeds import Fault, InventedReed, draw_reed, measure, planned_places
from crowlight.judge.sums import evaluate, zone_mean
from crowlight.reed import Blade, CaneState, Instrument

#: A gauge without noise, so that only the map's own leaning is looked at.
QUIET = Instrument("dial", 1e-7, 1e-9, 0.0, 0.0, 1e-6)


def read(zone: str, amount: float, *, every: int = 1) -> tuple[dict, InventedReed]:
    rng = np.random.default_rng(5)
    faults = [Fault(zone=zone, blade=b, side=0, amount=amount) for b in Blade]
    reed = draw_reed(rng, twin=True, faults=faults)
    places = planned_places(reed.style)[::every]
    readings = measure(reed, places, np.random.default_rng(6), gauge=QUIET)
    given = {"readings": readings, "style": "long", "length": reed.style.length, "name": "x"}
    return given, reed


def seen(zone: str, amount: float, every: int) -> tuple[float, float, float]:
    """Return the true mean of a zone, what the map makes of it, and what the batch takes."""
    inputs, reed = read(zone, amount, every=every)
    found = thickness_map(inputs, inputs["readings"])
    here = zone_mean(found.style, found.zones.zone(zone), 0)
    across = here.fraction * found.style.outline.half_width(here.along)
    true = float(here.weight @ reed.thickness(Blade.MARKED, here.along, across))
    mapped = float(evaluate(found, [here]).values[0])
    return true, mapped, measured_reed(inputs).quantities[f"{zone}-thickness"].value


@pytest.mark.parametrize(
    ("zone", "every", "within"),
    [("tip", 1, 0.1), ("tip", 2, 0.1), ("tip", 3, 0.1), ("rails", 1, 0.3)],
)
def test_a_map_that_leans_towards_its_style_is_stretched_back(
    zone: str, every: int, within: float
) -> None:
    """Of a change in the cane nearly all is seen; the map, which leans, shows less of it."""
    low, high = seen(zone, -30e-6, every), seen(zone, 40e-6, every)
    true, mapped, taken = (b - a for a, b in zip(low, high, strict=True))
    assert abs(taken / true - 1.0) < within
    assert abs(taken / true - 1.0) < abs(mapped / true - 1.0) - 0.05


def test_readings_that_tell_too_little_give_nothing() -> None:
    found = measured_reed(read("tip", 0.0, every=3)[0])
    assert math.isnan(found.sides["transition-steepness"].marked)
    assert found.map is not None


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"readings": ()}, "none"),
        ({"style": ""}, "no-style"),
        ({"style": "nobody's"}, "unknown-style"),
    ],
)
def test_what_cannot_be_mapped_says_why(change: dict, why: str) -> None:
    assert measured_reed(read("tip", 0.0)[0] | change).not_mapped == why


def test_dry_readings_do_not_count_for_a_wet_style() -> None:
    from dataclasses import replace

    inputs, _ = read("tip", 0.0)
    inputs["readings"] = tuple(replace(r, state=CaneState.DRY) for r in inputs["readings"])
    assert measured_reed(inputs).not_mapped == "state"


def test_a_reed_goes_through_json_unchanged() -> None:
    facts = ReedFacts(grade=4, opening=0.6e-3, opening_uncertainty=0.05e-3, steps={"rocking": 1e-4})
    inputs = read("tip", 0.0)[0] | {"uuid": UUID(int=7), "seq": 3, "facts": facts}
    found = batch_reed(inputs)
    codec = Codec(BatchReed)
    again = codec.from_bytes(codec.to_bytes(found))
    assert repr(again) == repr(found)
    assert found.measured.quantities["opening"].value == 0.6e-3
    assert found.measured.quantities["overall-length"].wanted == pytest.approx(70e-3)
