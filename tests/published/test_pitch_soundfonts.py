"""Recorded oboe and cor anglais notes from two sound fonts, and scales rendered from them.

The nominal pitch of a sample is its author's tuning: root key less the correction the font applies
to it (SoundFont Technical Specification 2.04, sections 7.10, 8.1.3 and 9.4).
"""

from __future__ import annotations

import shutil
import struct
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import parselmouth
import pytest
import soundfile
from scipy.fft import next_fast_len
from scipy.signal.windows import tukey

from crowlight.listen.hnr import harmonics_to_noise
from crowlight.listen.notes import find_notes
from crowlight.listen.pitch import track_pitch
from crowlight.listen.tuning import cents_between, note_pitch

INSTALL = "apt-get install --yes fluid-soundfont-gm timgm6mb-soundfont fluidsynth"
FONTS = {
    "FluidR3_GM": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    "TimGM6mb": Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
}
OBOE, COR_ANGLAIS = 68, 69
SAMPLE_ID, ROOT_KEY, COARSE, FINE, INSTRUMENT = 53, 58, 51, 52, 41


@dataclass(frozen=True)
class Sample:
    name: str
    sound: np.ndarray
    rate: float
    nominal: float  # [Hz]


def font(name: str) -> Path:
    path = FONTS[name]
    assert path.exists(), f"{path} is missing; run: {INSTALL}"
    return path


def chunks(data: memoryview) -> dict[bytes, memoryview]:
    """Sub-chunks of a RIFF list by name; a LIST goes by its type."""
    found, at = {}, 0
    while at + 8 <= len(data):
        name, size = bytes(data[at : at + 4]), struct.unpack_from("<I", data, at + 4)[0]
        body = data[at + 8 : at + 8 + size]
        found[bytes(body[:4]) if name == b"LIST" else name] = body[4:] if name == b"LIST" else body
        at += 8 + size + size % 2
    return found


def zones(bags: np.ndarray, generators: np.ndarray, first: int, last: int) -> list[dict[int, int]]:
    """Read the generators of each zone of one preset or instrument; a global zone is merged in."""
    result, common = [], {}
    for bag in range(first, last):
        own = {int(g): int(v) for g, v in generators[bags[bag, 0] : bags[bag + 1, 0]]}
        if SAMPLE_ID not in own and INSTRUMENT not in own:
            common = own
        else:
            result.append({**common, **own})
    return result


@cache
def samples(name: str, program: int) -> tuple[Sample, ...]:
    whole = chunks(memoryview(font(name).read_bytes())[12:])
    data, p = chunks(whole[b"sdta"])[b"smpl"], chunks(whole[b"pdta"])
    sound = np.frombuffer(data, "<i2")
    presets = list(struct.iter_unpack("<20sHHHIII", p[b"phdr"]))
    instruments = list(struct.iter_unpack("<20sH", p[b"inst"]))
    headers = list(struct.iter_unpack("<20sIIIIIBbHH", p[b"shdr"]))
    pbag, pgen, ibag, igen = (
        np.array(list(struct.iter_unpack(form, p[key])))
        for form, key in (("<HH", b"pbag"), ("<Hh", b"pgen"), ("<HH", b"ibag"), ("<Hh", b"igen"))
    )
    at = next(i for i, row in enumerate(presets) if row[1:3] == (program, 0))
    found = {}
    for zone in zones(pbag, pgen, presets[at][3], presets[at + 1][3]):
        i = zone[INSTRUMENT]
        for inner in zones(ibag, igen, instruments[i][1], instruments[i + 1][1]):
            title, start, end, _, _, rate, root, correction, _, _ = headers[inner[SAMPLE_ID]]
            if inner.get(ROOT_KEY, -1) >= 0:
                root = inner[ROOT_KEY]
            tune = 100 * inner.get(COARSE, 0) + inner.get(FINE, 0) + correction
            label = title.split(b"\0")[0].decode()
            nominal = float(note_pitch(root)) * 2 ** (-tune / 1200)
            found[label] = Sample(label, sound[start:end] / 32768, rate, nominal)
    return tuple(found.values())


RECORDED = [
    ("FluidR3_GM", OBOE),
    ("FluidR3_GM", COR_ANGLAIS),
    ("TimGM6mb", OBOE),
]
ALL = [
    pytest.param(sample, id=f"{name}-{sample.name}")
    for name, program in RECORDED
    for sample in samples(name, program)
]
# The highest oboe sample of TimGM6mb is mistuned by its author: Praat finds the same 18 cents.
MISTUNED = {"Yolo Ob"}


def praat_pitch(sound: np.ndarray, rate: float) -> tuple[np.ndarray, np.ndarray]:
    track = parselmouth.Sound(sound, rate).to_pitch_ac(
        time_step=0.01, pitch_floor=75, pitch_ceiling=1800
    )
    pitch = track.selected_array["frequency"]
    return track.xs(), np.where(pitch > 0, pitch, np.nan)


def test_enough_samples_were_found() -> None:
    assert [len(samples(*row)) for row in RECORDED] == [14, 16, 7]


@pytest.mark.parametrize("sample", ALL)
def test_recorded_notes_lie_within_ten_cents_of_nominal(sample: Sample) -> None:
    track = track_pitch(sample.sound, sample.rate)
    assert np.isfinite(track.pitch).mean() > 0.9
    begun = np.isfinite(track.pitch) & (track.time > 0.03)  # windows that hold sound throughout
    cents = cents_between(track.pitch[begun], sample.nominal)
    assert np.abs(cents).max() < 100  # no octave error, nor any other, in any frame
    if sample.name in MISTUNED:
        assert 10 < np.median(cents) < 20
    else:
        assert abs(np.median(cents)) <= 10


@pytest.mark.parametrize("sample", ALL)
def test_recorded_notes_agree_with_praat_within_a_cent(sample: Sample) -> None:
    """Praat 6.1 through parselmouth, `To Pitch (ac)`, floor 75 Hz."""
    time, theirs = praat_pitch(sample.sound, sample.rate)
    track = track_pitch(sample.sound, sample.rate)
    ours = np.interp(time, track.time, track.pitch)
    both = np.isfinite(ours) & np.isfinite(theirs)
    assert both.mean() > 0.8
    assert abs(np.median(cents_between(ours[both], theirs[both]))) <= 1.0


def exact_ratio(sample: Sample, moment: float, pitch: float) -> float:
    """Harmonics-to-noise ratio with exact shifts, by the phases of a long spectrum.

    The best of nine lags within 0.1 % of the period.
    """
    length, margin = round(sample.rate / 75), 4000
    start = round(moment * sample.rate) - length // 2
    piece = np.pad(sample.sound, margin)[start : start + length + 2 * margin]
    size = next_fast_len(piece.size)
    # Faded in and out far from what is compared, the piece has no edges to smear.
    spectrum = np.fft.rfft(piece * tukey(piece.size, 0.5), size)
    turn = 2 * np.pi * np.fft.rfftfreq(size)
    best = 0.0
    for lag in sample.rate / pitch * np.linspace(0.999, 1.001, 9):
        shifted = (np.fft.irfft(spectrum * np.exp(s * 0.5j * lag * turn), size) for s in (-1, 1))
        a, b = (x[margin : margin + length] - x[margin : margin + length].mean() for x in shifted)
        best = max(best, float(a @ b / np.sqrt((a @ a) * (b @ b))))
    return 10 * np.log10(best / (1 - best))


@pytest.mark.parametrize("sample", ALL)
def test_harmonics_to_noise_of_recorded_notes(sample: Sample) -> None:
    """Within 2 dB of Praat, `To Harmonicity (cc)`, to 45 dB; within 1 dB of exact shifts always.

    Above 45 dB the ratio hangs on how the correlation is read between samples.
    """
    track = track_pitch(sample.sound, sample.rate)
    ours = harmonics_to_noise(sample.sound, sample.rate, track)
    table = parselmouth.Sound(sample.sound, sample.rate).to_harmonicity_cc(
        time_step=0.01, minimum_pitch=75
    )
    theirs = table.values[table.values > -100]
    if np.median(theirs) <= 45:
        assert abs(np.nanmedian(ours) - np.median(theirs)) <= 2.0
    frames = np.flatnonzero(np.isfinite(ours))[::15]
    exact = [exact_ratio(sample, track.time[i], track.pitch[i]) for i in frames]
    assert abs(np.median(ours[frames]) - np.median(exact)) <= 1.0


def midi(notes: list[int], program: int, held: int, apart: int) -> bytes:
    """One track, 960 ticks a second: a note every `apart` ticks, each `held` ticks long."""
    events = [(0, bytes([0xC0, program]))]
    for i, note in enumerate(notes):
        events.append((i * apart, bytes([0x90, note, 96])))
        events.append((i * apart + held, bytes([0x80, note, 0])))
    body, now = b"", 0
    for at, message in sorted(events, key=lambda event: event[0]):
        delta, now = at - now, at
        body += bytes([delta >> 7 | 0x80, delta & 0x7F]) + message
    body += b"\x83\x00\xff\x2f\x00"
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480)
    return head + b"MTrk" + struct.pack(">I", len(body)) + body


@pytest.mark.parametrize(("held", "apart"), [(400, 480), (480, 480), (240, 240)])
@pytest.mark.parametrize(
    ("name", "program", "low", "high"),
    [("FluidR3_GM", OBOE, 58, 91), ("FluidR3_GM", COR_ANGLAIS, 52, 81), ("TimGM6mb", OBOE, 58, 91)],
)
def test_every_note_of_a_rendered_scale_is_found_and_none_else(
    tmp_path: Path, name: str, program: int, low: int, high: int, held: int, apart: int
) -> None:
    program_path = shutil.which("fluidsynth")
    assert program_path, f"fluidsynth is missing; run: {INSTALL}"
    scale = list(range(low, high + 1))
    (tmp_path / "scale.mid").write_bytes(midi(scale, program, held, apart))
    out = tmp_path / "scale.wav"
    command = [program_path, "-ni", "-R", "0", "-C", "0", "-r", "44100", "-F", str(out)]
    command += [str(font(name)), str(tmp_path / "scale.mid")]
    subprocess.run(command, check=True, capture_output=True)
    sound, rate = soundfile.read(out)
    take = find_notes(sound, rate)
    assert [note.number for note in take.notes] == scale
    starts = np.array([note.start for note in take.notes])
    # Releases of 30 to 60 ms ring into the next note of a slurred scale.
    assert np.abs(starts - np.arange(len(scale)) * apart / 960).max() < 0.08
    assert 435 < take.reference.pitch < 445
