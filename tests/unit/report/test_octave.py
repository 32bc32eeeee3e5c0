"""The octave experiment in words."""

import pytest

from crowlight.crow import Verdict
from crowlight.report.octave import octave_said
from crowlight.report.words import in_locale

WORDS = in_locale("en")


@pytest.mark.parametrize("verdict", Verdict)
def test_every_verdict_has_its_sentence(verdict: Verdict) -> None:
    found = {"verdict": verdict.value, "appears_at_s": 3.5, "rise_s": 0.06, "off_half_cents": -2.0}
    said = octave_said({"octave_experiment": found}, WORDS)
    assert len(said) == 3
    assert said[0].startswith("Hypothesis")
    assert "3.50" in said[1]
    assert "recording" in said[2]


def test_no_experiment_says_nothing() -> None:
    assert octave_said({}, WORDS) == []
    assert octave_said({"octave_experiment": None}, WORDS) == []


def test_what_never_appeared_is_not_measured() -> None:
    found = {
        "verdict": Verdict.UNDECIDED.value,
        "appears_at_s": None,
        "rise_s": None,
        "off_half_cents": None,
    }
    assert len(octave_said({"octave_experiment": found}, WORDS)) == 2
