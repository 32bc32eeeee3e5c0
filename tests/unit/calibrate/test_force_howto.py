"""The how-to of the force test and the code say the same; the drawing is one file in two places."""

import re
from dataclasses import replace
from importlib import resources
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from crowlight.blade import Blades, build, typical_scrape
from crowlight.calibrate import CrowPitch, CrowStart, ForceTest, Opening, Pad, PeepPitch
from crowlight.calibrate.press import press

DOCS = Path(__file__).parents[3] / "docs"
HOWTO = (DOCS / "howto" / "force-test.md").read_text(encoding="utf-8")
THEORY = (DOCS / "theory" / "calibration.md").read_text(encoding="utf-8")
PACKAGED = resources.files("crowlight.report").joinpath("pictures", "force-test.svg")


def test_docs_and_package_show_the_same_drawing() -> None:
    assert PACKAGED.read_bytes() == (DOCS / "howto" / "force-test.svg").read_bytes()
    assert "](force-test.svg)" in HOWTO


def test_the_drawing_stands_alone_and_speaks() -> None:
    text = PACKAGED.read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)  # noqa: S314  our own file
    names = {child.tag.rpartition("}")[2] for child in root.iter()}
    assert names <= {"svg", "title", "desc", "g", "path", "rect", "circle", "text"}
    assert not re.search(r"href|style=|url\(|on\w+=", text)
    assert root.get("role") == "img"
    for words in ("tip free", "plaque out", "never here", "8 mm", "4 mm", "0.20 mm"):
        assert words in text


def test_the_caution_is_there() -> None:
    for words in ("Cane splits", "Wet reed", "Never on the tip's edge", "Plaque out"):
        assert words in HOWTO


def test_numbers_of_the_howto_are_those_of_the_code() -> None:
    pad, test = Pad(), ForceTest(1.0, 0.03)
    assert f"the pad's middle {pad.from_tip * 1e3:.0f} mm" in HOWTO
    assert f"**{pad.length * 1e3:.0f} mm along the reed**" in HOWTO
    assert f"about {test.depth * 1e3:.2f} mm each" in HOWTO
    assert f"allows {100 * ForceTest.model_error:.0f} %" in HOWTO
    with pytest.raises(ValueError, match="6 to 12 mm"):
        Pad(from_tip=5.9e-3)
    assert "middle never nearer than 6 mm" in HOWTO
    with pytest.raises(ValueError, match="depth"):
        ForceTest(1.0, 0.03, depth=0.26e-3)
    assert "more than 0.25 mm for each blade" in HOWTO


@pytest.mark.parametrize("kind", [Opening, ForceTest, CrowPitch, PeepPitch, CrowStart])
def test_every_model_error_is_documented(kind: type) -> None:
    error = float(kind.model_error)
    cents = round(error * 1200 / np.log(2.0))
    said = f"{cents} cents" if kind in (CrowPitch, PeepPitch) else f"| {100 * error:.0f} % |"
    (row,) = re.findall(rf"^\| {kind.name} \|.*$", THEORY, re.MULTILINE)
    assert said in row


@pytest.mark.regression
def test_the_typical_force_is_what_the_model_gives() -> None:
    blades = Blades(typical_scrape(), interference=10e-6)

    def grams(reed: Blades) -> float:
        return press(build(reed), Pad(), 0.1e-3).force / 9.80665e-3

    usual = grams(blades)
    across = grams(replace(blades, cane=blades.cane.scaled(across=1.2))) / usual - 1
    along = grams(replace(blades, cane=blades.cane.scaled(along=1.2))) / usual - 1
    nearer = press(build(blades), Pad(from_tip=7.5e-3), 0.1e-3).force / 9.80665e-3 / usual - 1
    assert f"needs about {usual:.0f} g" in HOWTO
    assert f"20 % stiffer cane across the fibres {100 * across:.0f} % more" in HOWTO
    assert f"along them only {100 * along:.0f} % more" in HOWTO
    assert f"nearer to the tip makes it {-100 * nearer:.0f} % less" in HOWTO
