"""Maps and sections: drawn where they belong, named, told by lightness and number."""

from __future__ import annotations

import base64
import re
import struct
import zlib
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from crowlight.judge.geometry import Quantity
from crowlight.reed import Blade
from crowlight.reed.styles import STYLE_CODES, style
from crowlight.report import finding
from crowlight.report.charts import chart_svg, sections_chart
from crowlight.report.maps import difference_picture, sure_share, thickness_picture
from crowlight.report.words import in_locale

WORDS = in_locale("en")


def pixels(svg: str) -> tuple[np.ndarray, list[tuple[int, int, int]]]:
    """Return the palette indices and the palette of the image in a picture."""
    data = base64.b64decode(re.search(r"base64,([^\"]+)", svg)[1])
    assert data.startswith(b"\x89PNG")
    at, found = 8, {}
    while at < len(data):
        (size,), kind = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        found[kind] = data[at + 8 : at + 8 + size]
        (crc,) = struct.unpack(">I", data[at + 8 + size : at + 12 + size])
        assert crc == zlib.crc32(data[at + 4 : at + 8 + size])
        at += 12 + size
    width, height = struct.unpack(">II", found[b"IHDR"][:8])
    raw = np.frombuffer(zlib.decompress(found[b"IDAT"]), np.uint8).reshape(height, width + 1)
    palette = found[b"PLTE"]
    colours = [tuple(palette[i : i + 3]) for i in range(0, len(palette), 3)]
    return raw[:, 1:], colours


def lightness(colour: tuple[int, int, int]) -> float:
    """Relative luminance, WCAG 2.2."""
    channels = [c / 255 for c in colour]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_thick_cane_is_darker_than_thin_in_every_step(mapped):
    index, colours = pixels(thickness_picture(mapped.groups[0], Blade.PLAIN, words=WORDS, name="t"))
    light = [lightness(c) for c in colours[1:]]
    assert light == sorted(light, reverse=True)
    middle = index[:, index.shape[1] // 2]
    # from the tip down to the heart of the style the cane only gets thicker
    down = middle[: len(middle) // 3]
    assert list(down) == sorted(down)
    assert down[0] < down[-1]


def test_off_the_blade_nothing_is_drawn(mapped):
    index, _ = pixels(thickness_picture(mapped.groups[0], Blade.PLAIN, words=WORDS, name="t"))
    assert (index[-1, :5] == 0).all()
    assert (index[-1, -5:] == 0).all()
    assert (index[:, index.shape[1] // 2] > 0).all()


def test_marked_thicker_is_orange_and_evenness_is_grey(mapped):
    group = mapped.groups[0]
    index, colours = pixels(difference_picture(group, None, words=WORDS, name="d"))
    shown = {colours[i] for i in np.unique(index) if i}
    red_over_blue = [c for c in shown if c[0] > c[2] + 20]
    assert red_over_blue, "the marked blade is 0.08 mm thicker"
    assert not [c for c in shown if c[2] > c[0] + 20]
    even, colours = pixels(difference_picture(group, Blade.PLAIN, words=WORDS, name="e"))
    assert {colours[i] for i in np.unique(even) if i} == {(172, 172, 167)}


def test_the_thicker_side_is_the_one_that_is_orange(mapped):
    group = mapped.groups[0]
    drawn = group.mapped
    shown = drawn.shown
    more = tuple(tuple(0.05e-3 for _ in row) for row in shown.left_right[Blade.MARKED])
    sure = tuple(tuple(0.001e-3 for _ in row) for row in more)
    changed = replace(
        shown,
        left_right={**shown.left_right, Blade.MARKED: more},
        left_right_sd={**shown.left_right_sd, Blade.MARKED: sure},
    )
    uneven = replace(group, mapped=replace(drawn, shown=changed))
    index, colours = pixels(difference_picture(uneven, Blade.MARKED, words=WORDS, name="d"))
    row = index[10]
    left, right = colours[row[len(row) // 4]], colours[row[3 * len(row) // 4]]
    assert left[0] > left[2] + 20
    assert right[2] > right[0] + 20


def test_every_picture_is_named_and_small(mapped):
    group = mapped.groups[0]
    for svg in (
        thickness_picture(group, Blade.MARKED, words=WORDS, name="a"),
        difference_picture(group, None, words=WORDS, name="b"),
        difference_picture(group, Blade.MARKED, words=WORDS, name="c"),
    ):
        assert len(svg) < 16_000
        root = ET.fromstring(svg)  # noqa: S314  (our own drawing)
        assert root.get("role") == "img"
        ids = {e.get("id") for e in root}
        assert {root.get("aria-labelledby"), root.get("aria-describedby")} <= ids


def test_without_a_map_there_is_no_picture(uneven):
    with pytest.raises(ValueError, match="no map"):
        thickness_picture(uneven.groups[0], Blade.MARKED, words=WORDS, name="a")
    with pytest.raises(ValueError, match="no map"):
        sections_chart(uneven.groups[0], Blade.MARKED, words=WORDS)


def test_share_of_a_map_that_can_be_told():
    mean = np.array([[0.0, 1.0], [-3.0, 3.0]])
    assert sure_share(mean, np.ones_like(mean)) == 0.5


def test_sections_hold_readings_map_and_style(mapped):
    group = mapped.groups[0]
    chart = sections_chart(group, Blade.MARKED, words=WORDS)
    assert [s["title"] for s in chart["vconcat"]] == ["left", "centreline", "right"]
    centre = chart["vconcat"][1]
    rows = centre["data"]["values"]
    assert all(0 <= r["map_low"] <= r["map"] <= r["map_high"] for r in rows)
    points = centre["layer"][-1]["data"]["values"]
    expected = {
        round((0.0702 - r.place.along) * 1e3, 3): round(r.thickness * 1e3, 4)
        for r in group.readings
        if r.place.blade is Blade.MARKED and abs(r.place.across) < 0.1e-3
    }
    assert {p["at_mm"]: p["shown"] for p in points} == expected
    # two standard uncertainties of a digital gauge: 0.004 mm and 0.001 mm / sqrt(12)
    half = 2 * (0.004**2 + 0.001**2 / 12) ** 0.5
    assert all(p["high"] - p["shown"] == pytest.approx(half, abs=2e-4) for p in points)


def test_a_chart_becomes_svg_for_light_and_dark(mapped):
    light, dark = (
        chart_svg(sections_chart(mapped.groups[0], Blade.MARKED, words=WORDS, dark=d))
        for d in (False, True)
    )
    assert light.startswith("<svg")
    assert "#f2eee4" in dark
    assert "#f2eee4" not in light
    assert "<script" not in light


def test_every_quantity_and_zone_has_words(mapped):
    zones = {z.name for code in STYLE_CODES for z in style(code).zones}
    assert zones <= set(finding._ZONES)
    assert set(finding._QUANTITIES) == set(Quantity)
    for f in mapped.groups[0].mapped.geometry.findings:
        assert finding.what(f, WORDS)
        assert finding.interval_of(f, WORDS)
    for code in ("no-style", "unknown-style", "state", "few"):
        assert len(finding.not_mapped(code, WORDS)) > 20
