"""The octave experiment, run on recordings whose truth is known."""

import numpy as np
import pytest

from crowlight.bench.octave import octave_courses, octave_experiment
from crowlight.bench.sounds import listen

RATE = 48_000


def _crescendo(*, half: float = 0.5, at: float = 3.0, grows: float = 0.0, upper: float = 1046.5):
    """Make six seconds of a rising upper note, a lower one from `at` on, growing over `grows`."""
    rng = np.random.default_rng(5)
    t = np.arange(6 * RATE) / RATE
    swell = np.linspace(0.1, 1.0, t.size)
    there = np.clip((t - at) / grows, 0.0, 1.0) if grows else (t >= at).astype(float)
    sound = np.sin(2 * np.pi * upper * t) + 0.4 * there * np.sin(2 * np.pi * upper * half * t)
    sound += 0.2 * np.sin(2 * np.pi * 2 * upper * t)
    quiet = np.zeros(RATE // 2)
    whole = np.concatenate([quiet, 0.2 * swell * sound, quiet])
    return whole + 1e-5 * rng.standard_normal(whole.size)


def test_courses_follow_both_notes() -> None:
    sound = _crescendo()[RATE // 2 : -RATE // 2]
    times, upper, lower, level = octave_courses(sound, RATE, upper=1050.0)
    assert np.nanmax(np.abs(1200 * np.log2(upper / 1046.5))) < 3
    late, early = times > 3.2, times < 2.8
    assert np.all(np.isnan(lower[early]))
    assert np.max(np.abs(1200 * np.log2(lower[late] / 523.25))) < 5
    assert np.median(level[late]) == pytest.approx(20 * np.log10(0.4), abs=0.5)


@pytest.mark.parametrize(
    ("change", "verdict", "reason"),
    [
        ({}, "supports", "at once at half"),
        ({"half": 0.5 * 2 ** (45 / 1200)}, "speaks against", r"\+45 cents off one half"),
        ({"at": 0.0}, "speaks against", "from the start"),
        ({"grows": 2.5}, "does not decide", "grows over"),
        ({"at": 99.0}, "does not decide", "no lower octave"),
    ],
)
def test_verdicts(change: dict, verdict: str, reason: str) -> None:
    found = octave_experiment(_crescendo(**change), RATE, upper=1046.5)
    assert found is not None
    assert found["verdict"] == verdict, found
    assert found["basis"] == "hypothesis"
    import re

    assert re.search(reason, found["reason"]), found["reason"]


def test_the_moment_is_that_of_the_recording() -> None:
    found = octave_experiment(_crescendo(), RATE, upper=1046.5)
    assert found is not None
    assert found["appears_at_s"] == pytest.approx(3.5, abs=0.15)


def test_short_blows_decide_nothing() -> None:
    assert octave_experiment(_crescendo()[: 2 * RATE], RATE, upper=1046.5) is None
    assert octave_experiment(np.zeros(5 * RATE), RATE, upper=1046.5) is None


def test_listening_to_a_crow_runs_it() -> None:
    found = listen({"sound": _crescendo(), "rate": RATE, "kind": "crow"})
    assert found["octave_experiment"]["verdict"] == "supports"


@pytest.mark.parametrize("offset", [0.0, 0.1])
def test_a_blow_that_is_too_short_stays_so_beside_an_offset(offset: float) -> None:
    """A sound card's offset is no sound: it must not make one long blow of the whole take."""
    rng = np.random.default_rng(6)
    blow = _crescendo()[RATE // 2 : 3 * RATE]
    rest = np.zeros(RATE)
    take = np.concatenate([rest, blow, rest]) + offset
    assert (
        octave_experiment(take + 1e-5 * rng.standard_normal(take.size), RATE, upper=1046.5) is None
    )
