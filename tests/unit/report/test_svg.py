"""The pictures say by shape, number and name what they say by colour."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from crowlight.reed import Blade
from crowlight.report.svg import blade_picture, facing_picture, frame_of, key_mark, width_usual
from crowlight.report.words import in_locale

WORDS = in_locale("en")


def marked(assessment, name="a"):
    frame = frame_of(assessment)
    return blade_picture(assessment.groups[0], Blade.MARKED, frame, words=WORDS, name=name), frame


def tree(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  (our own drawing)


def triangles(svg: str) -> list[tuple[float, bool]]:
    """Return where the triangles of a picture stand and whether they point up."""
    found = []
    for element in tree(svg).iter("path"):
        if element.get("class") == "differs":
            numbers = [float(n) for n in re.findall(r"-?[\d.]+", element.get("d", ""))]
            found.append((numbers[4], numbers[5] < numbers[1]))
    return sorted(found)


def test_the_thicker_side_points_up_and_the_thinner_down(uneven):
    svg, frame = marked(uneven)
    assert triangles(svg) == [(frame.x(-2e-3), True), (frame.x(2e-3), False)]


def test_the_difference_is_written_with_its_interval(uneven):
    svg, _ = marked(uneven)
    said = [t.text for t in tree(svg).iter("text") if t.get("class") == "difference"]
    assert len(said) == 1
    assert re.fullmatch(r"0\.180 \(0\.\d{3}–0\.\d{3}\)", said[0])


def test_an_even_pair_has_rings_and_a_half_measured_one_dashed_rings(uneven):
    frame = frame_of(uneven)
    svg = blade_picture(uneven.groups[0], Blade.PLAIN, frame, words=WORDS, name="p")
    rings = [(float(e.get("cx")), e.get("class")) for e in tree(svg).iter("circle")]
    left, right = frame.x(-2e-3), frame.x(2e-3)
    assert sorted(r for r in rings if r[1] != "point") == [
        (left, "even"),
        (left, "unmeasured"),
        (right, "even"),
        (right, "unmeasured"),
    ]


def test_marked_against_plain_is_drawn_as_seen_facing_the_marked_blade(uneven):
    frame = frame_of(uneven)
    svg = facing_picture(uneven.groups[0], frame, words=WORDS, name="f")
    # the marked blade's left, 0.60, lies across from the plain blade's right, 0.43
    assert triangles(svg) == [(frame.x(-2e-3), True)]


def test_the_tip_is_up_and_left_is_left(uneven):
    frame = frame_of(uneven)
    assert frame.y(70e-3) < frame.y(47e-3)
    assert frame.x(-2e-3) < frame.x(0) < frame.x(2e-3)


def test_name_and_description_say_what_is_to_be_seen(uneven):
    svg, _ = marked(uneven, "own")
    root = tree(svg)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "own-title"
    assert root.get("aria-describedby") == "own-desc"
    assert root.find("title").text == "marked blade, seen facing it, tip up"
    told = root.find("desc").text
    assert "2 places measured." in told
    assert "left thicker by 0.180\u00a0mm" in told


def test_scale_from_the_rim_when_the_length_is_not_known(judged):
    svg, frame = marked(judged(("marked", 60.0, -2.0, 0.4), length=None))
    assert frame.tip is None
    assert "mm from the bottom rim" in svg
    assert "55" in [t.text for t in tree(svg).iter("text")]


def test_labels_do_not_cover_each_other(judged):
    rows = [
        (b, 50.0 + 1.3 * i, x, 0.4 + 0.03 * (x < 0))
        for i in range(12)
        for b in ("marked", "plain")
        for x in (-2.4, -1.2, 0.0, 1.2, 2.4)
    ]
    assessment = judged(*rows)
    for svg in (
        marked(assessment)[0],
        facing_picture(assessment.groups[0], frame_of(assessment), words=WORDS, name="f"),
    ):
        boxes = []
        for t in tree(svg).iter("text"):
            if t.get("class") in {"thickness", "difference"}:
                # 0.5 em is a narrow estimate of a digit's width
                half, x, y = 0.25 * 11 * len(t.text), float(t.get("x")), float(t.get("y"))
                boxes.append((x - half, y - 8, x + half, y))
        assert len(boxes) > 20
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


def test_thousands_of_points_stay_a_small_picture(judged):
    rows = [("marked", 50.0 + 0.01 * i, (i % 40) * 0.1 - 2.0, 0.4) for i in range(1500)]
    svg, _ = marked(judged(*rows))
    assert len(svg) < 200_000
    assert "thickness" not in svg


def test_readings_off_the_usual_outline_are_still_inside_the_picture(judged):
    svg, frame = marked(judged(("marked", 60.0, -4.8, 0.4), ("marked", 60.0, 4.8, 0.4)))
    width = float(tree(svg).get("viewBox").split()[2])
    assert 0 < frame.x(-4.8e-3) < frame.x(4.8e-3) < width


@pytest.mark.parametrize("outcome", ["differs", "no_difference_seen", "not_measured"])
def test_marks_of_the_key_are_different_shapes_and_silent(outcome):
    svg = key_mark(outcome)
    assert 'aria-hidden="true"' in svg
    shapes = {key_mark(o) for o in ("differs", "no_difference_seen", "not_measured")}
    assert len(shapes) == 3


def test_the_usual_width_narrows_towards_the_thread():
    widths = [width_usual(d * 1e-3) for d in range(-1, 30)]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] == pytest.approx(3.5e-3)
