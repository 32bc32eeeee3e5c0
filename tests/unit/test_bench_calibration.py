"""What is gathered for a calibration, and how the models take what was learned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import numpy as np
import pytest

from crowlight.bench import measured
from crowlight.bench.calibration import Calibrated
from crowlight.bench.codec import Codec
from crowlight.bench.kept import Entry
from crowlight.bench.kinds import Climate, Clip, CrowStart, Cut, ForceTest, Payload, Recording
from crowlight.bench.learned import Learned, middle_of, unknowns_of
from crowlight.bench.measured import Datum, calibration_inputs, was_measured
from crowlight.bench.state import ReedState, state_of
from crowlight.bench.tasks import result_key, run_task
from crowlight.blade import Blades, typical_scrape, usual_unknowns
from crowlight.crow import ReedParameters, find_resonances, onsets, staple_bore
from crowlight.errors import InputError
from crowlight.materials import breath
from crowlight.reed import Blade, CaneState, Place, Reading
from crowlight.reed.styles import style
from crowlight.wiring import open_desk

DAY = datetime(2026, 1, 1, tzinfo=UTC)
FORCE = ForceTest(force=0.9, uncertainty=0.05)
CUT = Cut(zone="tip", blades=(Blade.MARKED,))


def recording() -> Recording:
    return Recording(sound_of="crow", digest="0" * 64, sample_rate=48_000)


def state(*payloads: Payload) -> ReedState:
    reed = uuid4()
    return state_of(
        Entry(
            uuid=uuid4(),
            reed=reed,
            seq=seq,
            payload=payload,
            happened_at=DAY + timedelta(hours=seq),
            recorded_at=DAY + timedelta(hours=seq),
        )
        for seq, payload in enumerate(payloads, start=1)
    )


def heard(first: str | None, pitch: float = 530.0, *, usable: bool = True) -> dict[str, Any]:
    cents = 1200 * np.log2(pitch / 523.25)
    return {
        "usable": usable,
        "target_hz": 523.25,
        "pitch_hz": pitch,
        "pitch_cents_folded": cents,
        "first_octave": first,
        "intervals": {"pitch_cents_folded": [cents - 39.2, cents + 39.2]},
    }


def gathered(s: ReedState, answer: Mapping[str, Any] | None = None) -> dict[str, Any]:
    return calibration_inputs({}, s, lambda *_, **__: answer or heard("upper"))


def test_only_what_was_measured_since_the_last_cut_or_clip_counts():
    found = gathered(
        state(FORCE, recording(), Clip(amount=1e-4), CrowStart(pressure=4e3, read_in="kPa"))
    )
    assert [d.kind for d in found["measured"]] == ["start"]
    assert found["passed_over"] == 2
    assert not was_measured(state(FORCE, CUT))
    assert was_measured(state(CUT, FORCE))
    barometer, hygrometer = Climate(pressure=81_000.0), Climate(humidity=0.4)
    assert gathered(state(barometer))["air_pressure"] == 81_000.0
    assert gathered(state(barometer, hygrometer))["air_pressure"] == 81_000.0


def test_without_a_barometer_the_air_is_that_of_the_makers_place(tmp_path):
    """US Standard Atmosphere 1976 (as ISO 2533), from memory: 83,528 Pa at 1,600 m."""
    with open_desk(tmp_path) as desk:
        desk.add_reed("Dunlin")
        desk.write("Dunlin", FORCE)
        reed = desk.records.reed("Dunlin")

        def air() -> float | None:
            s = state_of(desk.records.entries(reed.uuid))
            return desk.models.calibration_given(reed, s)["air_pressure"]

        assert air() is None
        maker = desk.people.add_maker("Ann")
        desk.people.add_place(maker.uuid, "Workshop", altitude=1600.0)
        assert air() == pytest.approx(83_528.0, abs=0.51)
        desk.write("Dunlin", Climate(pressure=83_000.0))
        assert air() == 83_000.0


@pytest.mark.parametrize(
    ("first", "factor", "upper"), [("upper", 2, True), ("both", 2, True), ("lower", 1, False)]
)
def test_a_crow_begins_with_its_upper_note_unless_the_lower_is_heard_first(first, factor, upper):
    (datum,) = gathered(state(recording()), heard(first))["measured"]
    assert datum.value == pytest.approx(530.0 * factor)
    assert datum.upper is upper
    # 95 % within 39.2 cents is a standard deviation of 20 cents
    assert datum.spread / datum.value == pytest.approx(np.log(2) * 20 / 1200)


def test_a_recording_without_a_pitch_says_nothing():
    assert gathered(state(recording()), heard("upper", usable=False))["measured"] == ()
    assert gathered(state(recording()), heard("upper") | {"pitch_hz": None})["measured"] == ()


def test_no_more_recordings_are_listened_to_than_needed():
    found = gathered(state(*(recording() for _ in range(6))))
    assert len(found["measured"]) == measured.MOST_RECORDINGS
    assert found["measured"][-1].entry == 6


def test_kinds_of_measurement_are_told_apart_in_the_key_of_a_result():
    keys = {
        result_key("calibrate", {"measured": (Datum(kind=k, value=900.0, spread=9.0, entry=1),)})
        for k in ("crow", "peep")
    }
    assert len(keys) == 2


def learned(mean: np.ndarray, covariance: np.ndarray) -> Learned:
    names = tuple(u.name for u in usual_unknowns(Blades(typical_scrape())))
    rows = tuple(map(tuple, covariance.tolist()))
    return Learned(names=names, mean=tuple(mean.tolist()), covariance=rows, data=("force",))


def test_nothing_learned_changes_nothing():
    reed = Blades(typical_scrape(), interference=1e-5)
    n = len(usual_unknowns(reed))
    none = learned(np.zeros(n), np.eye(n))
    assert middle_of(reed, None) is reed
    assert middle_of(reed, none) == reed
    for before, after in zip(usual_unknowns(reed), unknowns_of(reed, none), strict=True):
        moved, expected = after.apply(reed, 0.7), before.apply(reed, 0.7)
        assert moved.cane.along == pytest.approx(expected.cane.along, rel=1e-12)
        assert moved.cane.across == pytest.approx(expected.cane.across, rel=1e-12)
        assert moved.shape.height == pytest.approx(expected.shape.height, rel=1e-12)
        assert moved.interference == pytest.approx(expected.interference, rel=1e-12)


def test_unknowns_after_data_have_the_covariance_that_was_learned():
    reed = Blades(typical_scrape(), interference=1e-5)
    n = len(usual_unknowns(reed))
    mean, covariance = np.zeros(n), np.eye(n)
    mean[1], covariance[:2, :2] = 0.5, [[0.9, -0.3], [-0.3, 0.4]]
    told = learned(mean, covariance)
    middle = middle_of(reed, told)
    assert middle.cane.across == pytest.approx(reed.cane.across * np.exp(0.2 * 0.5))
    canes = [u.apply(middle, 1.0).cane for u in unknowns_of(middle, told)]
    along = [np.log(c.along / middle.cane.along) / 0.2 for c in canes]
    across = [np.log(c.across / middle.cane.across) / 0.2 for c in canes]
    slopes = np.array([along, across])
    np.testing.assert_allclose(slopes @ slopes.T, covariance[:2, :2], atol=1e-12)


def test_what_was_learned_of_other_unknowns_is_refused():
    reed = Blades(typical_scrape())
    n = len(usual_unknowns(reed))
    old = replace(learned(np.zeros(n), np.eye(n)), names=("a",) * n)
    with pytest.raises(InputError, match="older version"):
        middle_of(reed, old)


def readings() -> tuple[Reading, ...]:
    """Take the style's own thicknesses at a few points."""
    long = style("long")
    return tuple(
        Reading(
            Place(blade, along, across),
            float(long.thickness(along, across)),
            "digital",
            state=CaneState.WET,
        )
        for blade in Blade
        for along in (0.0612, 0.064)
        for across in (-2e-3, 0.0, 2e-3)
    )


@pytest.fixture(scope="module")
def inputs() -> dict[str, Any]:
    return {
        "name": "Gull 7",
        "readings": readings(),
        "style": "long",
        "style_text": "",
        "gauges": {},
        "length": 0.0702,
        "length_uncertainty": 0.2e-3,
        "thread_top": 0.047,
        "common_shift": 0.0,
        "gouge_centre": None,
        "gouge_side": None,
        "opening": 0.7e-3,
        "tip_width": None,
    }


def calibrated(inputs: dict[str, Any], newtons: float) -> Calibrated:
    test = ForceTest(force=newtons, uncertainty=0.03)
    given = calibration_inputs(inputs, state(test), lambda *_, **__: {})
    return run_task("calibrate", given, lambda _: None)


def test_a_stiff_reed_in_the_force_test_has_stiffer_cane(inputs: dict[str, Any]):
    found = calibrated(inputs, 1.1)
    before, after = found.prior["cane_across"], found.posterior["cane_across"]
    assert after.value > before.value
    assert after.high / after.low < before.high / before.low
    across = found.learned.names.index("cane stiffness across")
    assert found.learned.mean[across] > 0.1
    assert found.learned.covariance[across][across] < 0.95
    assert found.learned.data == ("force",)
    assert len(found.reeds) == 200
    assert found.used
    assert not replace(found, map_older=True).used
    assert not replace(found, data=()).used
    codec = Codec(Calibrated)
    assert codec.from_bytes(codec.to_bytes(found)) == found


def test_a_force_out_of_all_proportion_is_asked_about_and_not_used(inputs: dict[str, Any]):
    found = calibrated(inputs, 4.0)
    assert [c.code for c in found.conflicts] == ["unexpected"]
    assert "much more than" in found.conflicts[0].question
    assert not found.used


def test_the_air_model_takes_the_reeds_that_were_learned():
    reed = ReedParameters(frequency=3600.0)
    found = run_task("crow", {"altitude": 0.0, "reeds": (reed,) * 8}, lambda _: None)
    assert found["your_data"] is True
    low, middle, high = found["pitch_hz"]
    assert low == pytest.approx(high)  # all reeds alike: nothing is left open
    alone = onsets([reed], find_resonances(staple_bore(), breath(101325.0)))
    assert middle == pytest.approx(float(alone.frequency[0]), rel=1e-6)
