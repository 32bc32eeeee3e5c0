"""Positions in the user's count: there and back, with what the counting costs."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from crowlight.errors import InputError
from crowlight.reed import Blade, Origin
from crowlight.report.charts import sections_chart
from crowlight.report.counting import ORIGINS, RULER, Counting
from crowlight.report.maps import difference_picture, thickness_picture
from crowlight.report.svg import blade_picture, facing_picture, frame_of
from crowlight.report.text import assessment_text
from crowlight.report.words import in_locale

WORDS = in_locale("en")
#: A reed 70.2 mm long, known to 0.3 mm, its thread ending at 47 mm, known to 0.2 mm.
KNOWN = Counting(
    length=70.2e-3, length_uncertainty=0.3e-3, thread_top=47e-3, thread_uncertainty=0.2e-3
)
#: Count, where 67.2 mm from the rim lies in it [mm], what the count adds to it [mm].
COUNTS = [(Origin.TIP, 3.0, 0.3), (Origin.RIM, 67.2, 0.0), (Origin.THREAD, 20.2, 0.2)]


@pytest.mark.parametrize(("origin", "mm", "uncertainty"), COUNTS)
def test_there_and_back(origin, mm, uncertainty):
    counting = replace(KNOWN, origin=origin)
    assert counting.position(67.2e-3) == pytest.approx(mm * 1e-3, abs=1e-12)
    assert counting.along(mm * 1e-3) == pytest.approx(67.2e-3, abs=1e-12)
    assert counting.uncertainty == pytest.approx(uncertainty * 1e-3, abs=1e-12)


@pytest.mark.parametrize("along", [47e-3, 58.3e-3, 70.2e-3])
@pytest.mark.parametrize("origin", Origin)
def test_the_uncertainty_is_the_shift_a_wrong_length_makes(origin, along):
    # law of propagation for one input (JCGM 100:2008, eq. 10): here |dx/dL| u(L), and x is linear
    counting = replace(KNOWN, origin=origin)
    wrong = replace(counting, length=70.5e-3, thread_top=47.2e-3)
    shift = wrong.position(along) - counting.position(along)
    assert abs(shift) == pytest.approx(counting.uncertainty, abs=1e-12)


@pytest.mark.parametrize("origin", [Origin.TIP, Origin.THREAD])
def test_no_count_without_its_length(origin):
    with pytest.raises(
        InputError, match=rf"from the {origin.value} need (length|thread_top) \[m\]"
    ):
        Counting(origin=origin)


def test_what_is_not_known_is_counted_from_the_rim_and_said(judged):
    pair = (("marked", 60.0, -2.0, 0.4), ("marked", 60.0, 2.0, 0.4))
    short = judged(*pair, length=None)
    counting = Counting.of(short, Origin.TIP)
    assert (counting.origin, counting.asked) == (Origin.RIM, Origin.TIP)
    assert counting.note(WORDS).endswith("the length is not known.")
    assert counting.where(60e-3, WORDS) == "60.0\u00a0mm from the bottom rim"
    counting = Counting.of(replace(short, thread_top=None), Origin.THREAD)
    assert (counting.origin, counting.uncertainty) == (Origin.RIM, 0.0)
    assert counting.note(WORDS).endswith("where the thread ends is not known.")
    assert Counting.of(short, Origin.THREAD).where(60e-3, WORDS).startswith("13.0\u00a0mm from")


def test_the_uncertainty_of_the_length_is_the_one_stated_else_a_rulers(judged):
    reed = judged(("marked", 60.0, -2.0, 0.4))
    assert Counting.of(reed).uncertainty == RULER
    stated = Counting.of(replace(reed, length_uncertainty=0.1e-3))
    assert stated.uncertainty == 0.1e-3
    assert stated.caption(WORDS) == "positions from the tip, ±0.10\u00a0mm from the length"
    assert "±0.10\u00a0mm from the length" in stated.note(WORDS)


def test_every_count_has_all_its_words():
    assert set(ORIGINS) == set(Origin)
    said = [
        (c.axis(WORDS), c.heading(WORDS), c.origin_of(WORDS), c.caption(WORDS), c.note(WORDS))
        for c in (replace(KNOWN, origin=o) for o in Origin)
    ]
    assert len({text for row in said for text in row}) == 5 * len(Origin)
    # the rim costs nothing, so nothing is said of it
    assert ["±" in row[3] for row in said] == [o is not Origin.RIM for o in Origin]


def test_the_marks_of_a_scale_stand_at_whole_numbers_tip_first():
    ends = (46.9e-3, 70.2e-3)
    for origin, numbers in (
        (Origin.TIP, [0, 5, 10, 15, 20]),
        (Origin.RIM, [70, 65, 60, 55, 50]),
        (Origin.THREAD, [20, 15, 10, 5, 0]),
    ):
        counting = replace(KNOWN, origin=origin)
        marks = counting.marks(*ends)
        assert [number for _, number in marks] == numbers
        for along, number in marks:
            assert counting.position(along) == pytest.approx(number * 1e-3, abs=1e-12)


def scale(svg: str) -> tuple[list[tuple[float, int]], str]:
    """Return the numbers of a picture's scale from the top down, and its name."""
    texts = [t for t in ET.fromstring(svg).iter("text") if t.get("class") == "scale"]  # noqa: S314  (our own drawing)
    numbers = [(float(t.get("y")) - 4.5, int(t.text)) for t in texts if t.get("y")]
    (name,) = [t.text for t in texts if not t.get("y")]
    return sorted(numbers), name


@pytest.mark.parametrize("origin", Origin)
def test_pictures_of_points_keep_the_tip_up_whatever_they_count_from(uneven, origin):
    counting = Counting.of(uneven, origin)
    frame = frame_of(uneven, counting)
    group = uneven.groups[0]
    for svg in (
        blade_picture(group, Blade.MARKED, frame, words=WORDS, name="a"),
        facing_picture(group, frame, words=WORDS, name="b"),
    ):
        numbers, name = scale(svg)
        assert name == f"mm from the {ORIGINS[origin].removeprefix('the ')}"
        assert len(numbers) >= 3
        for y, number in numbers:
            assert y == pytest.approx(frame.y(counting.along(number * 1e-3)), abs=0.11)
        values = [n for _, n in numbers]
        assert values == sorted(values, reverse=origin is not Origin.TIP)
        # the difference at 62 mm is told in the same count
        assert counting.where(62e-3, WORDS) in ET.fromstring(svg).find("desc").text  # noqa: S314


@pytest.mark.parametrize("origin", Origin)
def test_maps_and_sections_count_alike(mapped, origin):
    counting = Counting.of(mapped, origin)
    group = mapped.groups[0]
    for svg in (
        thickness_picture(group, Blade.PLAIN, words=WORDS, name="a", counting=counting),
        difference_picture(group, None, words=WORDS, name="b", counting=counting),
    ):
        numbers, name = scale(svg)
        assert name == counting.axis(WORDS)
        for y, number in numbers:
            # 16 units per mm below the tip, which lies 26 below the edge of the picture
            assert y == pytest.approx(
                26 + 16 * (70.2 - counting.along(number * 1e-3) * 1e3), abs=0.11
            )
    chart = sections_chart(group, Blade.PLAIN, words=WORDS, counting=counting)
    section = chart["vconcat"][1]
    axis = section["layer"][0]["encoding"]["x"]
    assert axis["title"] == counting.axis(WORDS)
    assert axis["scale"]["reverse"] is (origin is not Origin.TIP)
    rows = section["data"]["values"]  # tip first
    assert rows[0]["at_mm"] == pytest.approx(counting.position(70.2e-3) * 1e3, abs=2e-3)
    shown = {p["at_mm"] for p in section["layer"][-1]["data"]["values"]}
    read = {
        round(counting.position(r.place.along) * 1e3, 3)
        for r in group.readings
        if r.place.blade is Blade.PLAIN and abs(r.place.across) < 0.1e-3
    }
    assert read <= shown


def test_a_map_laid_on_a_usual_length_is_counted_from_the_rim(mapped):
    group = mapped.groups[0]
    unknown = replace(group, mapped=replace(group.mapped, length_known=False))
    svg = thickness_picture(unknown, Blade.PLAIN, words=WORDS, name="a")
    assert scale(svg)[1] == "mm from the bottom rim"


@pytest.mark.parametrize(
    ("origin", "said"),
    [
        (Origin.TIP, "8.0\u00a0mm from the tip"),
        (Origin.RIM, "62.0\u00a0mm from the bottom rim"),
        (Origin.THREAD, "15.0\u00a0mm from the thread top"),
    ],
)
def test_text_in_every_count(uneven, origin, said):
    counting = Counting.of(uneven, origin)
    text = assessment_text(uneven, counting=counting)
    assert re.search(rf"marked blade, {re.escape(said)}, .*left thicker", text)
    assert text.count(counting.note(WORDS)) == 1
