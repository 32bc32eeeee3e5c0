"""A number in another unit is told so; the example is one that the field takes."""

from __future__ import annotations

import re

import pytest

from crowlight.errors import InputError
from crowlight.report.words import in_locale
from crowlight.web.numbers import typed_number

WORDS = in_locale("en")


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("1,62 km", "m", "“1,62 km” is in km, and this field in m; give it in m"),
        ("16.2 mm", "m", "“16.2 mm” is in mm, and this field in m; give it in m"),
        ("0.46cm", "mm", "“0.46cm” is in cm, and this field in mm; give it in mm"),
        ("68 °F", "°C", "“68 °F” is in °F, and this field in °C; give it in °C"),
        ("90 min", "h", "“90 min” is in min, and this field in h; give it in h"),
        ("3 mm", "", "“3 mm” is in mm; this field takes a plain number, without a unit"),
    ],
)
def test_another_unit_is_named_and_not_converted(typed: str, unit: str, said: str) -> None:
    with pytest.raises(InputError, match=f"^{re.escape(said)}$"):
        typed_number(typed, unit=unit, words=WORDS)


@pytest.mark.parametrize("unit", ["", "mm", "µm", "m", "g", "°C", "hPa", "h", "Hz", "%"])
def test_the_example_is_a_number_that_the_field_takes(unit: str) -> None:
    with pytest.raises(InputError, match="is not a number; write it like") as caught:
        typed_number("1.62.3", unit=unit, words=WORDS)
    said = str(caught.value)
    example = said.partition("write it like ")[2].partition(", in ")[0]
    assert typed_number(f"{example} {unit}", unit=unit, words=WORDS) > 0.0
    assert unit in {"", "mm"} or "0.46" not in said


@pytest.mark.parametrize("typed", ["20 µm", "20 \u03bcm", "20µM", "20"])
def test_the_unit_of_the_field_may_stand_behind_the_number(typed: str) -> None:
    assert typed_number(typed, unit="µm", words=WORDS) == 20.0


@pytest.mark.parametrize(
    ("typed", "unit"), [("20 C", "°C"), ("20 hours", "h"), ("20um", "µm"), ("20 Days", "d")]
)
def test_the_unit_may_be_written_another_way(typed: str, unit: str) -> None:
    assert typed_number(typed, unit=unit, words=WORDS) == 20.0
