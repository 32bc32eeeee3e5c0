"""Which side, edge or blade is named: followed from cane to sentence."""

from __future__ import annotations

import pytest

from crowlight.batch.control import RUN
from crowlight.batch.steady import Contrast, Pattern, SteadyTest
from crowlight.report.batch_words import (
    RULES,
    direction_said,
    mean_said,
    pattern_said,
    quantity_name,
    shown_value,
    signal_said,
    span_said,
)
from crowlight.report.words import in_locale

WORDS = in_locale("en")


def found(
    quantity: str,
    contrast: Contrast,
    mean: float,
    *,
    pattern: Pattern | None = None,
    blade: int | None = None,
) -> SteadyTest:
    return SteadyTest(
        quantity=quantity,
        contrast=contrast,
        count=8,
        mean=mean,
        spread=abs(mean) / 4,
        repeatability=abs(mean) / 5,
        low=mean - abs(mean) / 2,
        high=mean + abs(mean) / 2,
        same_sign=8,
        tolerance=abs(mean) / 2,
        p=0.001,
        pattern=pattern,
        blade=blade,
    )


@pytest.mark.parametrize(
    ("quantity", "contrast", "mean", "said"),
    [
        # left 0.10, right 0.08 on both blades as seen
        ("tip", Contrast.SEEN, 20e-6, "the right side, as you see it, is thinner"),
        ("tip", Contrast.SEEN, -20e-6, "the left side, as you see it, is thinner"),
        # marked: left thicker; plain: right thicker, which is the same edge
        ("tip", Contrast.EDGE, 20e-6, "edge right on the marked blade, left on the plain one"),
        ("heart", Contrast.BLADES, 20e-6, "the plain blade is thinner"),
        ("heart-thickness", Contrast.STYLE, -20e-6, "thinner than the style asks"),
        ("transition-steepness", Contrast.SEEN, -0.1, "steeper on the right, as you see it"),
        ("transition-steepness", Contrast.EDGE, 0.1, "edge left on the marked blade, right on"),
        ("transition-position", Contrast.SEEN, 0.5e-3, "nearer the tip on the left"),
        ("tip-length", Contrast.STYLE, 0.5e-3, "more than the style asks"),
        ("clips", Contrast.EARLIER, -1.5, "less than on your earlier reeds"),
    ],
)
def test_the_direction_follows_the_sign(quantity, contrast, mean, said) -> None:
    assert said in direction_said(found(quantity, contrast, mean), WORDS)


@pytest.mark.parametrize(
    ("blade", "mean", "said"),
    [
        (0, 20e-6, "the right side of the marked blade is thinner than its left"),
        (1, 20e-6, "the right side of the plain blade is thinner than its left"),
        (1, -20e-6, "the left side of the plain blade is thinner than its right"),
    ],
)
@pytest.mark.parametrize("contrast", [Contrast.SEEN, Contrast.EDGE])
def test_one_blade_is_named_whichever_contrast_showed_it(blade, mean, said, contrast) -> None:
    test = found("tip", contrast, mean, pattern=Pattern.ONE_BLADE, blade=blade)
    assert direction_said(test, WORDS) == said


@pytest.mark.parametrize(
    ("quantity", "mean", "hand", "side"),
    [
        ("tip", 20e-6, "right", "this is the side of that hand"),
        ("tip", -20e-6, "right", "this is the side of the hand that holds the reed"),
        ("tip", -20e-6, "left", "this is the side of that hand"),
        ("tip", 20e-6, "left", "this is the side of the hand that holds the reed"),
        # steeper on the right
        ("transition-steepness", -0.1, "right", "this is the side of that hand"),
        ("tip", 20e-6, "", "not noted"),
    ],
)
def test_the_hand_is_told_from_the_side_with_less_cane(quantity, mean, hand, side) -> None:
    said = pattern_said(found(quantity, Contrast.SEEN, mean, pattern=Pattern.HAND), hand, WORDS)
    assert side in said[1]
    assert "gauge turned round" in said[2]


def test_edges_are_not_scraped_for() -> None:
    test = found("tip", Contrast.EDGE, 1e-5, pattern=Pattern.EDGE)
    (said,) = pattern_said(test, "right", WORDS)
    assert "Do not scrape for it" in said


def test_numbers_stand_in_the_units_of_the_bench() -> None:
    test = found("tip", Contrast.SEEN, -20e-6)
    assert mean_said(test, WORDS) == "0.020 mm on average (0.010 to 0.030)"
    assert shown_value("tip-length", 4.5e-3, WORDS) == "4.50"
    assert shown_value("tip-slope", 0.0125, WORDS, signed=True) == "+0.012"
    assert span_said("overall-length", 0.0, float("inf"), WORDS) == "0.0 or more"
    assert span_said("tip", float("nan"), float("nan"), WORDS) == "its range cannot be told"
    assert (
        quantity_name("tip/uneven", WORDS) == "thickness of the tip, larger difference of its sides"
    )
    assert quantity_name("a code of tomorrow", WORDS) == "a code of tomorrow"


@pytest.mark.parametrize("rule", sorted(RULES))
def test_every_signal_has_words(rule: str) -> None:
    said = signal_said(rule, WORDS)
    assert said
    assert "%" not in said
    assert str(RUN) in said or rule in {"beyond", "range"}
