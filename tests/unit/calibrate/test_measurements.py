"""Numbers in the wrong unit are asked about."""

import numpy as np
import pytest

from crowlight.calibrate import CrowPitch, CrowStart, ForceTest, Opening, Pad, PeepPitch
from crowlight.errors import InputError

GRAM = 9.80665e-3


@pytest.mark.parametrize(
    ("force", "asks"),
    [
        (0.95 * GRAM, "newtons .* typed as grams"),
        (97.0, "97 a reading in grams typed as newtons"),
        (9.5 * GRAM, "ounces"),
        (2e3, "which unit does the scale show"),
        (0.0, "must be positive"),
        (-0.9, "must be positive"),
        (float("nan"), "must be positive"),
    ],
)
def test_force_in_another_unit_is_asked_about(force: float, asks: str) -> None:
    with pytest.raises(InputError, match=asks):
        ForceTest(force, 0.03)


def test_ounces_typed_as_grams_are_asked_about() -> None:
    with pytest.raises(InputError, match="ounces"):
        ForceTest(3.4 * GRAM, 0.1 * GRAM)


REFUSED = {
    "opening in millimetres": (lambda: Opening(0.7, 0.05), "millimetres"),
    "spread in millimetres": (lambda: Opening(0.7e-3, 0.05), "how far do repeated readings lie"),
    "no spread": (lambda: Opening(0.7e-3, 0.0), "above 0"),
    "spread not a number": (lambda: Opening(0.7e-3, float("nan")), "above 0"),
    "depth in millimetres": (lambda: ForceTest(0.9, 0.03, depth=0.1), "millimetres"),
    "depth without spread": (lambda: ForceTest(0.9, 0.03, depth_spread=0.0), "spread"),
    "pad on the tip": (lambda: Pad(from_tip=1e-3), "never press the tip"),
    "pad in millimetres": (lambda: Pad(from_tip=8.0), "millimetres"),
    "short pad": (lambda: Pad(length=0.4e-3), "millimetres"),
    "wide pad": (lambda: Pad(touching=7e-3), "millimetres"),
    "a note's number": (lambda: CrowPitch(84.0, 1.0), "hertz"),
    "cents": (lambda: PeepPitch(15.0, 1.0), "hertz"),
    "kilopascals": (lambda: CrowStart(4.0, 0.2), "kilopascals"),
    "centimetres of water": (lambda: CrowStart(41.0, 2.0), "centimetres of water"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_other_units_and_places_are_asked_about(case: str) -> None:
    make, asks = REFUSED[case]
    with pytest.raises(InputError, match=asks):
        make()


def test_depth_adds_to_the_doubt_of_a_force() -> None:
    sure, unsure = ForceTest(0.9, 0.027, depth_spread=1e-9), ForceTest(0.9, 0.027)
    assert sure.relative == pytest.approx(0.03, rel=1e-3)
    assert unsure.relative == pytest.approx(np.hypot(0.03, 0.1))


def test_a_heard_interval_becomes_a_spread() -> None:
    heard = PeepPitch.heard(1000.0, 900.0, 1100.0, level=0.6826894921370859)
    assert (heard.value, heard.spread) == (1000.0, pytest.approx(100.0))
    assert isinstance(heard, PeepPitch)
    for low, high in ((1001.0, 1100.0), (900.0, float("inf")), (-float("inf"), 1100.0)):
        with pytest.raises(InputError, match="must hold the pitch"):
            CrowPitch.heard(1000.0, low, high)
