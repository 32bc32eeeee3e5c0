"""Recordings through the command line and the desk."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from crowlight.invented.sounds import crow_take, draw_crow, swell_take
from crowlight.wiring import open_desk

RATE = 48_000


@pytest.fixture
def crow(tmp_path: Path) -> Path:
    rng = np.random.default_rng(4)
    take = crow_take(draw_crow(rng), rng, blows=3)
    path = tmp_path / "crow.wav"
    soundfile.write(path, take.sound, RATE, subtype="PCM_24")
    return path


def test_a_crow_is_measured(crowlight: Callable, crow: Path) -> None:
    done = crowlight("listen", crow, "--as", "crow", "--json")
    assert done.status == 0, done.err
    (heard,) = json.loads(done.out)
    wanted = {
        "usable", "reasons", "class", "pitch_hz", "pitch_cents", "pitched_share", "stray_db",
        "breath_db", "rattle_percent", "steadiness_cents", "attack_s", "octave_levels_db",
    }  # fmt: skip
    assert wanted <= set(heard)
    assert heard["usable"] is True
    assert heard["class"] == "clean"
    assert 400 < heard["pitch_hz"] < 700
    assert len(heard["blows"]) == 3


def test_notes_are_named(crowlight: Callable, tmp_path: Path) -> None:
    t = np.arange(RATE) / RATE
    tones = [
        sum(np.sin(2 * np.pi * f * k * t) / k for k in (1, 2, 3)) * np.hanning(RATE) * 0.2
        for f in (440.0, 523.25)
    ]
    path = tmp_path / "notes.flac"
    soundfile.write(path, np.concatenate(tones), RATE)
    (heard,) = json.loads(crowlight("listen", path, "--as", "notes", "--a", "440", "--json").out)
    assert [n["name"] for n in heard["notes"]] == ["A4", "C5"]
    assert all(abs(n["pitch_cents"]) < 1 for n in heard["notes"])
    assert "A4" in crowlight("listen", path, "--as", "notes").out


def test_a_long_recording_tells_how_far_it_is_beside_the_answer(
    crowlight: Callable, crow: Path, tmp_path: Path
) -> None:
    blows, rate = soundfile.read(crow)
    path = tmp_path / "long.wav"
    soundfile.write(path, np.tile(blows, 8)[: 62 * rate], rate)
    done = crowlight("listen", path, "--json")
    assert done.status == 0, done.err
    told = [int(line.split()[1]) for line in done.err.splitlines()]
    assert told == sorted(set(told))
    assert told[-1] == 100
    assert len(told) >= 5
    assert json.loads(done.out)[0]["usable"] is True
    assert crowlight("listen", crow, "--json").err == ""


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "empty"), (b"not a sound at all, just words", "not a sound file"), (b"RIFF" * 9, "")],
)
def test_files_that_are_no_sound(
    crowlight: Callable, tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(content)
    done = crowlight("listen", path)
    assert done.status == 1
    assert said in done.err
    assert "Traceback" not in done.err


def test_what_it_is_of_must_be_known(crowlight: Callable, crow: Path) -> None:
    done = crowlight("listen", crow, "--as", "song")
    assert done.status == 1
    assert "crow, peep or notes" in done.err
    assert crowlight("listen", crow.with_name("none.wav")).status == 1


def test_a_recording_is_kept_twice_over_and_heard_again(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    path = tmp_path / "swell.wav"
    soundfile.write(path, swell_take(rng).sound, RATE)
    with open_desk(tmp_path / "records") as desk:
        desk.add_reed("Auk")
        done = desk.keep_recording("Auk", path.read_bytes(), name=path.name, sound_of="crow")
        kept = done.entries[0].payload
        assert desk.blobs.get(kept.original) == path.read_bytes()
        assert desk.blobs.get(kept.digest)[:4] == b"fLaC"
        first = desk.hear(kept.digest, "crow")
        assert first == desk.hear(kept.digest, "crow")
        assert first["swell"]["first_octave"] in ("upper", "lower", "both")
