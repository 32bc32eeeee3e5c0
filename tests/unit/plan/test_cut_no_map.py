"""What is planned for a reed nobody gauged, and lines of a reed solved a little earlier."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from tests.cut_reeds import LONG, fake_reed

from crowlight.judge.findings import Known, Playing, Trials, rank
from crowlight.plan.cut import Lines, as_data, bare_reed, next_act, patch
from crowlight.plan.cut.shapes import Part
from crowlight.reed import Blade, Reading
from crowlight.reed.thickness import map_thickness


def test_what_can_be_undone_comes_before_the_gauge_and_no_cut_is_offered() -> None:
    leaking = Known(trials=Trials(leaks="yes", bubbles="side"), playing=Playing())
    plan = next_act(rank(leaking))
    codes = [o.act.code for o in plan.options]
    assert codes[0] == "seal"
    assert codes[-3:] == ["record", "leave", "rest"]
    assert plan.advised == 0
    assert not any(o.act.cuts for o in plan.options)
    assert all(o.harm.total == 0 for o in plan.options)
    # done already: then the gauge
    again = next_act(rank(leaking), done=("seal",))
    assert "seal" not in [o.act.code for o in again.options]


def test_a_cut_that_answers_a_finding_waits_for_the_gauge() -> None:
    steep = Known(
        playing=Playing(slurred_octaves="no", words=frozenset({"cracks"})),
        trials=Trials(looked=True, look=frozenset({"ridge"})),
    )
    found = rank(steep)
    plan = next_act(found)
    if plan.named:
        assert {b.reason for b in plan.barred} <= {"not-measured"}
    data = as_data(plan)
    assert data["distance"] is None
    assert math.isnan(plan.distance[0])
    assert data["target_text"].startswith("nothing yet")
    assert data["notes"][0]["name"] == "measure-first"


def test_a_crack_forbids_even_what_can_be_undone() -> None:
    plan = next_act(rank(Known(trials=Trials(look=frozenset({"crack-thread"}), looked=True))))
    assert {o.act.code for o in plan.options} <= {"record", "retire", "leave", "rest"}


def test_a_cut_is_laid_out_on_the_style_alone_as_on_a_measured_reed() -> None:
    reed = fake_reed()
    bare = bare_reed(LONG, reed.along, reed.fraction)
    for zone, part in (("heart", Part.WHOLE), ("tip", Part.LEFT_CORNER)):
        assert np.allclose(patch(bare, zone, part), patch(reed, zone, part))


def test_lines_move_with_the_map_and_hold_only_near_it() -> None:
    point = LONG.full[0]
    one = Reading(point.on(Blade.MARKED), float(LONG.thickness(point.along, point.across)))
    found = map_thickness([one], LONG, shape=(24, 11))
    rng = np.random.default_rng(3)
    by_cane = rng.uniform(0.5, 1.5, (2, *found.mean.shape))
    lines = Lines(
        names=("stiffness", "tilt"),
        values=np.array([8e6, 0.01]),
        by_cane=by_cane * np.array([1e9, 1.0])[:, None, None, None],
        by_clip=np.array([5e8, 0.0]),
        by_unknown=np.array([[4e5], [0.001]]),
        mean=found.mean - 2e-6,
        length=LONG.length + 0.1e-3,
    )
    assert lines.near(found)
    moved = lines.moved_to(found)
    step = 2e-6 * lines.by_cane.sum(axis=(1, 2, 3)) + 0.1e-3 * lines.by_clip
    # what is positive by ratios, what is signed by differences; slopes go with the value
    assert moved.values[0] == pytest.approx(8e6 * np.exp(step[0] / 8e6))
    assert moved.values[1] == pytest.approx(0.01 + step[1])
    scale = moved.values[0] / 8e6
    assert np.allclose(moved.by_cane[0], lines.by_cane[0] * scale)
    assert moved.by_unknown[0, 0] == pytest.approx(4e5 * scale)
    assert np.array_equal(moved.by_cane[1], lines.by_cane[1])
    again = moved.moved_to(found)
    assert np.allclose(again.values, moved.values)
    assert not replace(lines, mean=found.mean + 40e-6).near(found)
    assert not replace(lines, length=LONG.length + 0.5e-3).near(found)
    assert not replace(lines, mean=found.mean[:, :-1]).near(found)
