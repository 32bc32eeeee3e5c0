"""``crowlight light``: one photograph, four points, which side lets more light through."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.lit_pictures import HIGH, MARKS, WIDE, file_of, light, thinner_left

from crowlight.bench.kinds import Described, Lengths
from crowlight.wiring import open_desk

POINTS = " ".join(
    f"{100 * x / WIDE:.2f},{100 * y / HIGH:.2f}"
    for x, y in (MARKS.tip_left, MARKS.tip_right, MARKS.foot_left, MARKS.foot_right)
)


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    with open_desk(tmp_path / "records") as desk:
        desk.add_reed("Tern")
        desk.write("Tern", Described(style="long"))
        desk.write("Tern", Lengths(overall=70.2e-3, thread_top=47e-3))
    path = tmp_path / "reed.jpg"
    path.write_bytes(file_of(light(thickness=thinner_left(0.04e-3)), "JPEG", quality=92))
    return path


def test_it_says_which_side_and_keeps_photograph_and_marks(
    crowlight: Callable, photo: Path, tmp_path: Path
):
    ran = crowlight("light", "Tern", "--photo", photo, "--marks", POINTS, "--facing", "plain")
    assert ran.status == 0, ran.err
    assert "More light on the left: tip, " in ran.out
    assert "as seen facing the plain blade" in ran.out
    assert "Only the gauge tells thickness." in ran.out
    # the same again writes nothing; without a photograph the last one is told
    again = crowlight("light", "Tern", "--photo", photo, "--marks", POINTS, "--facing", "plain")
    assert again.out == ran.out
    plain = json.loads(crowlight("light", "Tern", "--json").out)
    assert plain["facing"] == "plain"
    assert plain["zones"][0]["zone"] == "tip"
    assert plain["zones"][0]["answer"] == "differs"
    with open_desk(tmp_path / "records") as desk:
        kinds = [e.payload.kind for e in desk.records.entries(desk.records.reed("Tern").uuid)]
    assert kinds == ["described", "lengths", "photo", "light"]


@pytest.mark.parametrize(
    ("arguments", "remedy"),
    [
        ((), "give --photo and --marks"),
        (("--marks", POINTS), "needs --photo"),
        (("--photo", "PHOTO"), "needs --marks"),
        (("--photo", "PHOTO", "--marks", "1,2 3,4"), "four points"),
        (("--photo", "PHOTO", "--marks", "1,2 3,4 5,6 7,800"), "0 to 100 percent"),
        (("--photo", "PHOTO", "--marks", "a,b c,d e,f g,h"), "four points"),
        (("--photo", "PHOTO", "--marks", POINTS, "--facing", "up"), "marked, plain or unsure"),
        (("--photo", "PHOTO", "--marks", POINTS, "--reach", "90"), "5 to 40 mm"),
        (("--facing", "marked"), "give --marks with them"),
        (("--one-blade",), "give --marks with them"),
        (("--photo", "nowhere.jpg", "--marks", POINTS), "cannot be read"),
        (("--photo", __file__, "--marks", POINTS), "no picture"),
    ],
)
def test_what_cannot_be_done_is_refused_with_a_remedy_and_nothing_is_written(
    crowlight: Callable, photo: Path, tmp_path: Path, arguments: tuple[str, ...], remedy: str
):
    ran = crowlight("light", "Tern", *(photo if a == "PHOTO" else a for a in arguments))
    assert ran.status != 0
    assert remedy in ran.err
    assert "Traceback" not in ran.err
    with open_desk(tmp_path / "records") as desk:
        assert desk.records.reed("Tern").seq == 2
