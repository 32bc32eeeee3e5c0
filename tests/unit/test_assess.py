"""The judgement of one reed: groups, maps, and results that can be kept."""

import math

import numpy as np
import pytest

from crowlight.bench.assess import Assessment, assess
from crowlight.bench.codec import Codec
from crowlight.bench.tasks import result_key
from crowlight.errors import InputError
from crowlight.invented.reeds import Fault, draw_reed, measure, planned_places
from crowlight.reed import Blade, CaneState, Place, Reading

HEART = Fault(zone="heart", blade=Blade.MARKED, side=0, amount=0.08e-3)


@pytest.fixture(scope="module")
def inputs() -> dict:
    rng = np.random.default_rng(8)
    reed = draw_reed(rng, even=True, faults=(HEART,))
    readings = measure(reed, planned_places(reed.style), rng, repeats=2)
    return {"name": "Auk", "readings": readings, "style": "long", "length": reed.style.length}


@pytest.fixture(scope="module")
def found(inputs: dict) -> Assessment:
    return assess(inputs)


def test_a_heavy_heart_is_found(found: Assessment) -> None:
    (group,) = found.groups
    assert group.mapped is not None
    named = [f for f in group.mapped.geometry.findings if f.decision.outcome == "differs"]
    between = [f for f in named if f.against == "blades"]
    assert [(f.quantity.value, f.zone) for f in between] == [("thickness", "heart")]
    assert between[0].decision.low > 0.02e-3
    assert found.differing == len(named)


def test_kept_results_come_back_whole(found: Assessment) -> None:
    codec = Codec(Assessment)
    # NaN is not equal to itself: compare what is printed.
    assert repr(codec.from_bytes(codec.to_bytes(found))) == repr(found)
    points = assess({"name": "x", "readings": (Reading(Place(Blade.PLAIN, 0.06, 0.0), 4e-4),)})
    again = codec.from_bytes(codec.to_bytes(points))
    assert math.isnan(again.groups[0].differences.comparisons[0].decision.value)


def test_unlike_wet_states_are_never_compared(inputs: dict) -> None:
    dry = tuple(
        Reading(r.place, r.thickness, r.instrument, r.seating, r.repeat, CaneState.DRY)
        for r in inputs["readings"]
        if r.place.blade is Blade.PLAIN
    )
    wet = tuple(r for r in inputs["readings"] if r.place.blade is Blade.MARKED)
    both = assess({**inputs, "readings": wet + dry})
    assert {g.state for g in both.groups} == {CaneState.WET, CaneState.DRY}
    for group in both.groups:
        outcomes = {
            c.decision.outcome
            for c in group.differences.comparisons
            if c.pairing.value == "marked-plain"
        }
        assert outcomes == {"not_measured"}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"style": ""}, "no-style"),
        ({"state": CaneState.UNKNOWN}, "state"),
        ({"state": CaneState.DRY}, "state"),
        ({"keep": 8}, "few"),
    ],
)
def test_why_there_is_no_map(inputs: dict, change: dict, why: str) -> None:
    readings = inputs["readings"][: change.get("keep")]
    state = change.get("state", CaneState.WET)
    readings = tuple(
        Reading(r.place, r.thickness, r.instrument, r.seating, r.repeat, state) for r in readings
    )
    group = assess({**inputs, "readings": readings, **change}).groups[0]
    assert group.mapped is None
    assert group.not_mapped == why


def test_progress_ends_at_one(inputs: dict) -> None:
    seen: list[float] = []
    assess(inputs, seen.append)
    assert seen[-1] == 1.0
    assert seen == sorted(seen)


def test_no_readings_is_an_error() -> None:
    with pytest.raises(InputError, match="no thickness readings to judge"):
        assess({"name": "x", "readings": ()})


def test_key_follows_the_inputs(inputs: dict) -> None:
    key = result_key("assess", inputs)
    assert key == result_key("assess", dict(inputs))
    assert key != result_key("assess", {**inputs, "length": inputs["length"] + 1e-4})
    assert key != result_key("assess", {**inputs, "readings": inputs["readings"][:-1]})


@pytest.mark.parametrize("seed", range(3))
def test_a_thick_corner_is_named_although_the_style_does_not_expect_it(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    corner = Fault(zone="tip", blade=Blade.MARKED, side=-1, amount=0.06e-3)
    reed = draw_reed(rng, even=True, faults=(corner,))
    readings = measure(reed, planned_places(reed.style), rng, repeats=2)
    group = assess(
        {"name": "x", "readings": readings, "style": "long", "length": reed.style.length}
    ).groups[0]
    assert group.mapped is not None
    named = [
        (f.against, f.zone, f.blade)
        for f in group.mapped.geometry.findings
        if f.decision.outcome == "differs" and f.against == "sides"
    ]
    assert named == [("sides", "tip", Blade.MARKED)]


def test_twin_blades_are_rarely_called_uneven() -> None:
    # One in twenty is allowed; of 12 reeds more than 3 has a chance of 0.2 % then (binomial).
    wrong = 0
    for seed in range(12):
        rng = np.random.default_rng(500 + seed)
        reed = draw_reed(rng, even=True, twin=True)
        readings = measure(reed, planned_places(reed.style), rng)
        group = assess(
            {"name": "x", "readings": readings, "style": "long", "length": reed.style.length}
        ).groups[0]
        assert group.mapped is not None
        wrong += any(
            f.decision.outcome == "differs" and f.against != "style"
            for f in group.mapped.geometry.findings
        )
    assert wrong <= 3


def test_one_reading_off_the_blade_leaves_the_points_judged(inputs: dict) -> None:
    off = Reading(Place(Blade.MARKED, inputs["length"] - 1e-3, 4.9e-3), 2e-4, state=CaneState.WET)
    group = assess({**inputs, "readings": (*inputs["readings"], off)}).groups[0]
    assert group.mapped is None
    assert "4.90 mm across is off the marked blade" in group.not_mapped
    assert any(c.decision.outcome != "not_measured" for c in group.differences.comparisons)


def test_an_unknown_style_is_said(inputs: dict) -> None:
    group = assess({**inputs, "style": "spiral"}).groups[0]
    assert (group.mapped, group.not_mapped) == (None, "unknown-style")
