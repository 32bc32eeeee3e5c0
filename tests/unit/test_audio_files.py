"""Sound files in: many encodings, damaged files, and never more memory than a block."""

import hashlib
import io
import struct
import subprocess
import sys
import tracemalloc

import numpy as np
import pytest
import soundfile
from tests import sound_files
from tests.sound_files import LOSSLESS, LOSSY, PHONE, RATE, encoded, phone, stereo, write

from crowlight.errors import Cancelled, InputError, MissingExtra
from crowlight.files.audio import (
    file_digest,
    find_takes,
    open_sound,
    probe_sound,
    read_sound,
)
from crowlight.files.flac import decode_flac, encode_flac
from crowlight.listen.crowpitch import candidates

BY_NAME = {f"{c}-{k}": (c, k) for c, k in [*LOSSLESS, *LOSSY]}


def test_at_least_21_encodings_are_tried():
    assert len(LOSSLESS) + len(LOSSY) + len(PHONE) >= 21


@pytest.mark.parametrize("kind", [f"{c}-{k}" for c, k in LOSSLESS])
def test_lossless_files_come_back_as_they_were(kind):
    container, coding = BY_NAME[kind]
    found = read_sound(encoded(container, coding))
    assert found.rate == RATE
    assert found.notes == ()
    assert np.abs(found.sound - stereo()).max() <= LOSSLESS[container, coding]


def cents_off(recording):
    start = len(recording.sound) // 4
    part = recording.sound[start:-start, 0].astype(float)
    pitch = candidates(part, recording.rate, low=180.0, high=1_300.0)[0].pitch
    return 1_200 * np.log2(pitch / 523.25)


@pytest.mark.parametrize("kind", [f"{c}-{k}" for c, k in LOSSY])
def test_lossy_files_keep_length_level_and_pitch(kind):
    found = read_sound(encoded(*BY_NAME[kind]))
    assert found.notes == ()
    assert len(found.sound) == pytest.approx(RATE, abs=2_100)  # whole packets of 2041 frames
    assert np.std(found.sound[:, 0]) == pytest.approx(np.std(stereo()[:, 0]), rel=0.05)
    assert cents_off(found) == pytest.approx(0.0, abs=1.5)


@pytest.mark.parametrize(("container", "codec"), PHONE)
def test_phone_and_browser_recordings(container, codec):
    found = read_sound(phone(container, codec))
    assert found.rate == RATE
    assert found.sound.shape[1] == 2
    assert len(found.sound) == pytest.approx(RATE, abs=3 * 1_024)
    assert cents_off(found) == pytest.approx(0.0, abs=1.5)
    if codec in {"alac", "flac"}:
        assert np.abs(found.sound - stereo()).max() < 2**-15


def test_without_the_extra_the_message_names_it(monkeypatch):
    data = phone("mp4", "aac")
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(MissingExtra, match=r"crowlight\[video\]"):
        read_sound(data, name="memo.m4a")


@pytest.mark.parametrize("suffix", [".mp3", ".raw", ".txt", ".m4a", ""])
def test_the_name_of_a_file_decides_nothing(tmp_path, suffix):
    path = tmp_path / f"crow{suffix}"
    path.write_bytes(encoded("FLAC", "PCM_16"))
    assert read_sound(path).info.container == "FLAC"
    assert probe_sound(str(path)).seconds == pytest.approx(1.0)


@pytest.mark.parametrize("rate", [8_000, 11_025, 44_100, 192_000])
@pytest.mark.parametrize("channels", [1, 7])
def test_rates_and_channels(rate, channels):
    sound = np.linspace(-0.5, 0.5, 3_000 * channels).reshape(-1, channels)
    found = read_sound(write(sound, rate, "WAV", "FLOAT"))
    assert found.rate == rate
    assert found.sound == pytest.approx(sound, abs=1e-7)


@pytest.mark.parametrize("container", sorted({c for c, _ in LOSSLESS}))
def test_a_file_without_samples_says_so(container):
    with pytest.raises(InputError, match=r"holds no sound|cannot be read|is empty"):
        read_sound(write(np.zeros((0, 1)), RATE, container, "PCM_16"), name="empty take")


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "is empty \\(0 bytes\\)"),
        (b"hello, this is no sound at all", "not a sound file"),
        (b"#EXTM3U\nfile:///etc/passwd\n", "not a sound file"),
        (b"RIFF\x00\x00\x00\x00WAVE", "cannot be read"),
        (b"\x1aE\xdf\xa3" + bytes(100), "phone or browser recording"),
        (b"\x00\x00\x00\x18ftypM4A " + bytes(100), "phone or browser recording|no sound track"),
    ],
)
def test_what_is_no_sound_is_refused_clearly(data, match):
    with pytest.raises(InputError, match=match):
        read_sound(data)


def test_a_folder_is_no_sound_file(tmp_path):
    with pytest.raises(InputError, match="is a folder"):
        read_sound(tmp_path)


@pytest.mark.parametrize(
    "kind", ["WAV-PCM_16", "AIFF-PCM_24", "FLAC-PCM_16", "OGG-VORBIS", "MP3-MPEG_LAYER_III"]
)
@pytest.mark.parametrize("share", [0.3, 0.7])
def test_a_truncated_file_gives_what_is_there(kind, share):
    data = write(np.tile(stereo(), (8, 1)), RATE, *BY_NAME[kind])
    found = read_sound(data[: int(len(data) * share)])
    kept = len(found.sound) / len(stereo())
    # what is lost is at most 8192 samples and the cut page, which is 1 s in Ogg
    assert 8 * share - 1.3 < kept < 8 * share + 0.3


def test_a_truncated_file_leaves_a_note():
    data = encoded("FLAC", "PCM_16")
    found = read_sound(data[: len(data) // 2], name="broken.flac")
    assert len(found.notes) == 1
    assert "broken.flac" in found.notes[0]


def test_a_truncated_m4a_is_lost_and_says_so():
    data = phone("mp4", "aac")
    with pytest.raises(InputError, match="cut short while it was"):
        read_sound(data[: len(data) // 2])


def lying_wav(*, size=0xFFFFFFFF, rate=RATE, channels=1, bits=16, data=b"\x01\x02" * 5_000):
    block = channels * bits // 8
    head = b"RIFF" + struct.pack("<I", size) + b"WAVEfmt " + struct.pack("<IHH", 16, 1, channels)
    head += struct.pack("<IIHH", rate, (rate * block) & 0xFFFFFFFF, block, bits)
    head += b"data" + struct.pack("<I", size)
    return head + data


def test_a_header_that_claims_4_gigabytes_costs_nothing():
    tracemalloc.start()
    try:
        found = read_sound(lying_wav())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(found.sound) == 5_000
    assert peak < 60e6


@pytest.mark.parametrize("rate", [0, 1, 3_999, 768_001, 0xFFFFFFF0])
def test_unbelievable_rates_are_refused(rate):
    with pytest.raises(InputError, match=r"samples per second|cannot be read"):
        read_sound(lying_wav(rate=rate))


def test_unbelievable_channels_are_refused():
    with pytest.raises(InputError, match="40 channels"):
        read_sound(write(np.zeros((500, 40)), RATE, "WAV", "PCM_16"))


def test_part_of_a_file():
    found = read_sound(encoded("FLAC", "PCM_16"), start=0.25, stop=0.5)
    assert found.sound == pytest.approx(stereo()[12_000:24_000], abs=1e-7)
    late = read_sound(phone("matroska", "flac"), start=0.75)
    assert late.sound == pytest.approx(stereo()[36_000:], abs=2**-15)


def test_blocks_report_progress_and_can_be_cancelled():
    told = []
    with open_sound(encoded("WAV", "PCM_16")) as reader:
        blocks = list(reader.blocks(seconds=0.3, report=told.append))
    assert [len(b) for b in blocks] == [14_400, 14_400, 14_400, 4_800]
    assert told[:4] == pytest.approx([0.3, 0.6, 0.9, 1.0])

    def stop(_):
        raise Cancelled

    with pytest.raises(Cancelled):
        read_sound(encoded("WAV", "PCM_16"), report=stop)


def test_open_files_and_bytes_are_sources_too():
    data = encoded("WAV", "PCM_16")
    file = io.BytesIO(data)
    file.seek(100)
    assert len(read_sound(file).sound) == RATE
    assert not file.closed
    expected = hashlib.sha256(data).hexdigest()
    assert file_digest(data) == file_digest(file) == expected


def test_digest_of_a_path(tmp_path):
    (tmp_path / "a").write_bytes(b"abc")
    # FIPS 180-4 example: SHA-256 of "abc"
    assert file_digest(tmp_path / "a").startswith("ba7816bf8f01cfea414140de5dae2223")


def test_what_does_not_fit_in_memory_is_refused(monkeypatch):
    monkeypatch.setattr("crowlight.files.audio.MOST_VALUES", 50_000)
    with pytest.raises(InputError, match="give start and stop"):
        read_sound(encoded("WAV", "PCM_16"))


def long_file(seconds):
    quiet = np.random.default_rng(0).standard_normal((seconds * 8_000, 2)) * 1e-4
    t = np.arange(3 * 8_000) / 8_000
    for start in range(5, seconds - 4, 10):
        quiet[start * 8_000 : (start + 3) * 8_000, 1] += 0.1 * np.sin(2 * np.pi * 523 * t)
    return write(quiet, 8_000, "WAV", "PCM_16")


def test_takes_are_found_in_memory_that_does_not_grow_with_the_file():
    peaks = []
    for seconds in (60, 240):
        data = long_file(seconds)
        tracemalloc.start()
        try:
            found = find_takes(data)
            peaks.append(tracemalloc.get_traced_memory()[1])
        finally:
            tracemalloc.stop()
        assert len(found) == len(range(5, seconds - 4, 10))
        assert found[0].start == pytest.approx(5.0, abs=0.03)
        assert found[0].end == pytest.approx(8.0, abs=0.03)
    # what grows is 100 levels a second and channel: 180 s x 200 x a few values of 8 bytes
    assert peaks[1] - peaks[0] < 3e6


HOUR = """
import resource, sys
from crowlight.files.audio import find_takes, read_sound
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
told = []
takes = find_takes(sys.argv[1], report=told.append)
read_sound(sys.argv[1], start=takes[-1].start, stop=takes[-1].end)
grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
peak = before + grown
print(len(takes), len(told), grown // 1024, peak // 1024)
"""


@pytest.mark.soak
def test_an_hour_of_stereo_stays_under_300_megabytes(tmp_path):
    path = tmp_path / "hour.flac"
    block = np.random.default_rng(0).standard_normal((480_000, 2)) * 1e-3
    with soundfile.SoundFile(path, "w", RATE, 2, "PCM_16", format="FLAC") as file:
        for i in range(360):
            file.write(block if i % 6 else _with_tone(block))
    done = subprocess.run(
        [sys.executable, "-c", HOUR, str(path)], capture_output=True, text=True, check=True
    )
    takes, told, grown, peak = (int(v) for v in done.stdout.split())
    assert takes == 60
    assert told >= 360
    assert grown < 100  # MB
    assert peak < 300


def _with_tone(block):
    loud = block.copy()
    loud[48_000 : 48_000 * 4] += np.tile(stereo(), (3, 1))
    return loud


def test_levels_do_not_drift_where_blocks_cut_them(monkeypatch):
    monkeypatch.setattr("crowlight.files.audio.BLOCK_VALUES", 1_000)  # 6.25 levels a block
    found = find_takes(long_file(60))
    assert found[-1].start == pytest.approx(55.0, abs=0.03)


def test_takes_of_a_file_without_samples():
    assert find_takes(write(np.zeros((0, 1)), RATE, "WAV", "PCM_16")) == ()


@pytest.mark.parametrize("bits", [16, 24])
def test_kept_recordings_come_back_exactly(bits):
    rng = np.random.default_rng(bits)
    steps = 2 ** (bits - 1)
    sound = rng.integers(-steps, steps, (5_000, 3)) / steps
    kept = encode_flac(sound, 96_000, bits=bits)
    assert np.array_equal(decode_flac(kept), sound)
    assert (kept.rate, kept.channels, kept.scale) == (96_000, 3, 1.0)


def test_sound_beyond_full_scale_is_kept_with_its_scale():
    sound = np.array([0.0, 3.0, -2.5, 1.0])
    kept = encode_flac(sound, 48_000)
    assert kept.scale == 4.0
    assert decode_flac(kept).ravel() == pytest.approx(sound, abs=4 * 2**-24)


def test_digest_names_the_sound():
    sound = np.sin(np.arange(2_000) / 9.0)
    kept = encode_flac(sound, 48_000)
    assert encode_flac(sound.copy(), 48_000).digest == kept.digest
    others = [
        encode_flac(sound, 44_100),
        encode_flac(sound, 48_000, bits=16),
        encode_flac(np.stack([sound, sound], axis=1), 48_000),
        encode_flac(-sound, 48_000),
    ]
    assert len({kept.digest, *(o.digest for o in others)}) == 5


def test_a_damaged_or_exchanged_recording_is_noticed():
    from dataclasses import replace

    kept = encode_flac(np.sin(np.arange(2_000) / 9.0), 48_000)
    other = encode_flac(np.cos(np.arange(2_000) / 9.0), 48_000)
    with pytest.raises(InputError, match="holds another sound"):
        decode_flac(replace(kept, data=other.data))
    with pytest.raises(InputError, match="is damaged"):
        decode_flac(replace(kept, data=b"fLaC" + kept.data[50:]))


@pytest.mark.parametrize(
    ("sound", "rate", "bits", "match"),
    [
        ([np.nan, 1.0], 48_000, 24, "1 samples are not numbers"),
        ([], 48_000, 24, "at least one sample"),
        (np.zeros((10, 9)), 48_000, 24, "1 to 8 channels"),
        ([0.0], 44_100.5, 24, "whole numbers"),
        ([0.0], 48_000, 20, "16 or 24"),
    ],
)
def test_what_flac_cannot_hold_is_refused(sound, rate, bits, match):
    with pytest.raises(InputError, match=match):
        encode_flac(sound, rate, bits=bits)


def test_the_test_sound_itself():
    assert sound_files.stereo().shape == (RATE, 2)
