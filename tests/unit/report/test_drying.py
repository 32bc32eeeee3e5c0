"""What reading the first point once more tells, in words."""

import pytest

from crowlight.judge import decide
from crowlight.judge.sitting import Drift
from crowlight.reed import Blade, Place
from crowlight.report.drying import drift_said
from crowlight.report.words import in_locale

WORDS = in_locale("en")


def _drift(change: float) -> Drift:
    decision = decide(change, 4e-6, tolerance=0.0)
    return Drift(place=Place(Blade.MARKED, 0.06, 0.0), minutes=6.0, decision=decision)


@pytest.mark.parametrize(
    ("change", "said"),
    [(-0.02e-3, "Wet it again, wait"), (-0.002e-3, "No more than the gauge scatters")],
)
def test_a_reed_that_dried_is_to_be_wetted_again(change: float, said: str) -> None:
    text = drift_said(_drift(change), WORDS)
    assert said in text
    assert WORDS.mm(change, 3, signed=True) in text


def test_nothing_read_again_says_nothing() -> None:
    assert drift_said(None, WORDS) == ""
