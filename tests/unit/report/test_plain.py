"""The judgement as JSON: agreed keys, millimetres, nothing JSON does not know."""

from __future__ import annotations

import json
import math

import pytest

from crowlight.report import assessment_in_mm, assessment_text

TOP = {
    "reed",
    "unit",
    "length_mm",
    "length_uncertainty_mm",
    "thread_top_mm",
    "thread_top_uncertainty_mm",
    "tolerance_mm",
    "risk",
    "groups",
    "differing",
}
GROUP = {
    "state",
    "readings",
    "repeatability_mm",
    "repeatability_dof",
    "own_repeatability_used",
    "own_gauges",
    "drift",
    "advice",
    "differences",
    "map",
    "not_mapped",
}
DIFFERENCE = {
    "pairing",
    "blade",
    "side",
    "from_rim_mm",
    "from_tip_mm",
    "from_thread_mm",
    "across_mm",
    "outcome",
    "difference_mm",
    "low_mm",
    "high_mm",
    "standard_uncertainty_mm",
    "dof",
    "within_tolerance",
    "tolerance_mm",
}


def test_keys_and_units(uneven):
    found = assessment_in_mm(uneven)
    assert set(found) == TOP
    (group,) = found["groups"]
    assert set(group) == GROUP
    assert all(set(d) == DIFFERENCE for d in group["differences"])
    assert found["unit"] == "mm"
    assert found["tolerance_mm"] == 0.01
    assert found["risk"] == 0.05
    assert group["readings"] == 5
    assert group["state"] == "wet"
    assert group["repeatability_mm"] is None
    differs = [d for d in group["differences"] if d["outcome"] == "differs"]
    assert len(differs) == found["differing"] == uneven.differing > 0
    first = next(d for d in differs if d["pairing"] == "left-right")
    assert (first["from_rim_mm"], first["from_tip_mm"], first["across_mm"]) == (62.0, 8.0, 2.0)
    assert first["from_thread_mm"] == 15.0
    # nothing was said of them: what a ruler can tell
    assert found["length_uncertainty_mm"] == found["thread_top_uncertainty_mm"] == 0.25
    assert first["difference_mm"] == pytest.approx(0.18, abs=1e-9)
    assert first["low_mm"] < first["difference_mm"] < first["high_mm"]


def test_what_is_not_finite_is_null(uneven):
    found = assessment_in_mm(uneven)
    missing = [
        d for g in found["groups"] for d in g["differences"] if d["outcome"] == "not_measured"
    ]
    assert missing
    for d in missing:
        assert d["difference_mm"] is d["low_mm"] is d["high_mm"] is None
        assert d["dof"] is None or math.isfinite(d["dof"])
    json.loads(json.dumps(found, allow_nan=False))


def test_without_a_length_nothing_is_counted_from_the_tip(judged):
    found = assessment_in_mm(judged(("marked", 60.0, -2.0, 0.4), length=None))
    assert found["length_mm"] is None
    assert all(d["from_tip_mm"] is None for g in found["groups"] for d in g["differences"])


def test_repeats_are_reported(judged):
    rows = [("marked", 60.0, 0.0, t) for t in (0.40, 0.41, 0.40)]
    # neighbours that tell that the cane is flat here
    rows += [("marked", 60.0 + d, x, 0.40) for d in (-2.0, 2.0, 0.0) for x in (-1.0, 0.0, 1.0)]
    rows.pop(-2)
    (group,) = assessment_in_mm(judged(*rows))["groups"]
    assert group["repeatability_dof"] == 2
    # s of 0.40, 0.41, 0.40
    assert group["repeatability_mm"] == pytest.approx(0.01 / math.sqrt(3), abs=1e-4)


def test_as_text(uneven, judged):
    said = assessment_text(uneven)
    assert "Gull 7" in said
    assert "left thicker, 0.180\u00a0mm" in said
    assert "8.0\u00a0mm from the tip" in said
    assert "only one point" in said
    assert "No difference the gauge can see." in assessment_text(
        judged(("marked", 60.0, -2.0, 0.4), ("marked", 60.0, 2.0, 0.4))
    )
    assert "Nothing can be compared" in assessment_text(judged(("marked", 60.0, -2.0, 0.4)))


def test_with_a_map(mapped):
    found = assessment_in_mm(mapped)
    (group,) = found["groups"]
    assert group["not_mapped"] is None
    findings = group["map"]["findings"]
    assert found["differing"] == sum(f["outcome"] == "differs" for f in findings) > 0
    heart = next(
        f
        for f in findings
        if (f["quantity"], f["against"], f["zone"]) == ("thickness", "blades", "heart")
    )
    # the marked blade was made 0.08 mm thicker all over
    assert heart["unit"] == "mm"
    assert heart["low"] < 0.08 < heart["high"]
    assert heart["outcome"] == "differs"
    assert {f["unit"] for f in findings} == {"mm", "mm/mm"}
    assert len(group["map"]["next_places"]) > 0
    json.loads(json.dumps(found, allow_nan=False))
    said = assessment_text(mapped)
    assert "heart, thickness: marked thicker, 0.0" in said


def test_why_there_is_no_map_is_said(uneven):
    (group,) = assessment_in_mm(uneven)["groups"]
    assert group["map"] is None
    assert group["not_mapped"] == "no-style"
    assert "scrape style" in assessment_text(uneven)
