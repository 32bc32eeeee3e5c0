"""Pictures and sentences about recordings."""

from __future__ import annotations

import io
import struct
import zlib
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from crowlight.bench.listening import Compared
from crowlight.listen import CLASSES, compare_measures, learn_classes
from crowlight.report.charts import chart_svg
from crowlight.report.png import palette_png
from crowlight.report.sound_charts import (
    HIGH,
    LOW,
    intonation_chart,
    spectrogram_svg,
    spectrogram_told,
    spectrum_levels,
)
from crowlight.report.sounds import (
    change_rows,
    class_basis,
    class_said,
    measure_rows,
    octaves_said,
    pitch_said,
    reasons_said,
    swell_said,
)
from crowlight.report.words import in_locale

WORDS = in_locale("en")


def chunks(png: bytes) -> dict[bytes, bytes]:
    """Read a PNG file by ISO/IEC 15948, checking every length and checksum."""
    file = io.BytesIO(png)
    assert file.read(8) == b"\x89PNG\r\n\x1a\n"
    found: dict[bytes, bytes] = {}
    while head := file.read(8):
        size, kind = struct.unpack(">I4s", head)
        found[kind] = file.read(size)
        assert struct.unpack(">I", file.read(4)) == (zlib.crc32(kind + found[kind]),)
    return found


def test_a_png_holds_the_indices_and_colours_it_was_made_of() -> None:
    index = np.arange(12, dtype=np.uint8).reshape(3, 4)
    colours = [(i, 2 * i, 3 * i) for i in range(12)]
    found = chunks(palette_png(index, colours))
    assert list(found) == [b"IHDR", b"PLTE", b"IDAT", b"IEND"]
    assert struct.unpack(">IIBBBBB", found[b"IHDR"]) == (4, 3, 8, 3, 0, 0, 0)
    assert found[b"PLTE"] == bytes(v for c in colours for v in c)
    rows = np.frombuffer(zlib.decompress(found[b"IDAT"]), np.uint8).reshape(3, 5)
    np.testing.assert_array_equal(rows[:, 0], 0)
    np.testing.assert_array_equal(rows[:, 1:], index)


@pytest.mark.parametrize(
    ("index", "colours"), [(np.zeros((0, 4), np.uint8), 1), (np.full((1, 1), 3, np.uint8), 3)]
)
def test_a_png_without_pixels_or_colours_is_refused(index: np.ndarray, colours: int) -> None:
    with pytest.raises(ValueError, match="colour"):
        palette_png(index, [(0, 0, 0)] * colours)


@pytest.mark.parametrize("frequency", [220.0, 523.25, 3_000.0, 6_500.0])
@pytest.mark.parametrize("rate", [16_000, 44_100])
def test_a_tone_is_loudest_in_its_own_row(frequency: float, rate: int) -> None:
    tone = np.sin(2 * np.pi * frequency * np.arange(rate) / rate)
    rows = 240
    level = spectrum_levels(tone, rate, columns=50, rows=rows)
    row = np.log(HIGH / frequency) / np.log(HIGH / LOW) * rows
    # a bin is 3 to 8 Hz wide, at 220 Hz some rows
    reach = 1.0 + rows * np.log1p(8.0 / frequency) / np.log(HIGH / LOW)
    assert abs(np.argmax(level[:, 25]) + 0.5 - row) <= reach
    assert level.max() == 0.0


def test_levels_are_decibels_of_the_louder_channel_over_time() -> None:
    t = np.arange(16_000) / 16_000
    tone = np.sin(2 * np.pi * 1_000 * t) * np.where(t < 0.5, 1.0, 0.1)
    both = np.stack([0.5 * tone, 0.1 * np.sin(2 * np.pi * 4_000 * t)], axis=1)
    level = spectrum_levels(both, 16_000, columns=100, rows=200)
    assert level[:, 75].max() - level[:, 25].max() == pytest.approx(-20.0, abs=0.1)


def test_silence_and_a_few_samples_make_a_picture_too() -> None:
    for sound in (np.zeros(5), np.zeros((4_000, 2)), np.full(3, np.nan)):
        assert np.all(np.isneginf(spectrum_levels(sound, 8_000, columns=20, rows=20)))
        ET.fromstring(spectrogram_svg(sound, 8_000, {}, words=WORDS))  # noqa: S314  # our own


HEARD = {
    "kind": "crow",
    "target_hz": 523.25,
    "pitch_hz": 1_060.0,
    "pitch_cents": 1222.2,
    "octave_levels_db": {"1/2": None, "1": -8.0, "2": 0.0, "4": -3.0, "8": -14.0},
    "intervals": {"pitch_hz": [1_059.0, 1_061.0], "stray_db": [None, -40.0]},
    "stray_db": -40.0,
    "blows": [
        {"pitch_hz": 1_060.0, "pitch_cents": 1222.2, "stray_db": -40.0, "pitched_share": 0.9},
        {"pitch_hz": None, "pitch_cents": None, "stray_db": -30.0, "pitched_share": 0.2},
        {"pitch_hz": 1_062.0, "pitch_cents": 1225.4, "stray_db": -35.0, "pitched_share": 0.8},
    ],
    "swell": {
        "first_octave": "upper",
        "start": {"time_s": 0.5, "level_db": -30.0},
        "octave_joins": {"time_s": 0.62, "level_db": -6.0},
        "rattles": None,
    },
}


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("narrow", [False, True])
def test_octave_lines_stand_in_the_octave_of_the_target(dark: bool, narrow: bool) -> None:
    svg = spectrogram_svg(np.zeros(8_000), 8_000, HEARD, words=WORDS, dark=dark, narrow=narrow)
    root = ET.fromstring(svg)  # noqa: S314  # our own
    words = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert words.index("½") < words.index("1", words.index("½")) < words.index("8")
    assert ("speaks" in words, "octave" in words, "rattle" in words) == (True, True, False)
    # ½ was not heard: dotted; the others are not
    assert svg.count("stroke-dasharray") == 1


def test_octave_lines_are_dotted_where_no_pitch_can_be_trusted() -> None:
    unsure = {**HEARD, "pitch_hz": None}
    svg = spectrogram_svg(np.zeros(8_000), 8_000, unsure, words=WORDS)
    assert svg.count("stroke-dasharray") == 5


def test_what_the_spectrogram_shows_is_told() -> None:
    told = spectrogram_told(HEARD, WORDS)
    for part in (
        "Pitch 1,061.0 Hz",
        "In 2 of 3 blows",
        "1: \u22128 dB, 2: 0 dB",
        "First speaks the upper octave",
        "joins at 0.62 s",
        "No rattle sets in",
    ):
        assert part in told
    notes = {"kind": "notes", "notes": [1, 2]}
    assert "2 notes" in spectrogram_told(notes, WORDS)
    assert "1 note " in spectrogram_told({"kind": "notes", "notes": [1]}, WORDS)


def test_no_pitch_is_said_where_none_was_found() -> None:
    heard = {"target_hz": 523.0, "blows": [{"pitch_hz": None}]}
    assert pitch_said(heard, WORDS) == "No single pitch."
    assert octaves_said({}, WORDS) == "none stands out"
    assert swell_said({}, WORDS) == []
    assert "No pitch stands out in it." in swell_said({"swell": {"first_octave": None}}, WORDS)


def test_measures_are_medians_ranges_and_the_longest_blow() -> None:
    rows = {row.name: row for row in measure_rows(HEARD, WORDS)}
    share = rows["Pitched share"]
    assert (share.median, share.span, share.enough) == ("80.00", "20.00 to 90.00", True)
    pitch = rows["Pitch"]
    assert (pitch.attempts, pitch.enough, pitch.interval) == (2, False, "1,059.0 to 1,061.0")
    assert rows["Stray partials"].interval == "none found; one this loud would have been"
    assert "Attack" not in rows


def test_classes_are_never_certain_and_say_their_basis() -> None:
    probability = dict(zip(CLASSES, (0.001, 0.3, 0.699), strict=True))
    said = class_said(probability, WORDS).replace("\xa0", " ")
    assert said == "rattling 70 %, mixed 30 %, clean under 1 %"
    assert class_said(dict(zip(CLASSES, (1.0, 0.0, 0.0), strict=True)), WORDS).startswith(
        "clean over\xa099\xa0%"
    )
    few = learn_classes(np.zeros((0, 3)), [], [])
    assert "common practice" in class_basis(few, WORDS)
    rng = np.random.default_rng(1)
    y = [n % 3 for n in range(12)]
    x = np.array([[20.0 * c, 20.0 * c, 20.0 * c] for c in y]) + rng.normal(size=(12, 3))
    many = learn_classes(x, y, [f"reed {n}" for n in range(12)])
    said = class_basis(many, WORDS)
    assert "your labels, 12 of 12 reeds" in said
    assert "in 0 % of the takes (0 to 26 %)" in said  # Clopper-Pearson, 0 of 12: 1 - 0.025^(1/12)


def test_reasons_are_said_with_their_numbers_and_unknown_ones_as_they_come() -> None:
    reasons = [
        {"code": "too_short", "text": "", "remedy": "", "value": 0.234, "limit": 0.5},
        {"code": "later", "text": "something new", "remedy": "wait", "blocks": True},
    ]
    (short, hold), (new, wait) = reasons_said(reasons, WORDS)
    assert short == "the longest steady sound lasts 0.23 s; 0.50 s is needed"
    assert hold == "hold the crow for 2 to 3 seconds"
    assert (new, wait) == ("something new", "wait")


def test_what_changed_comes_first() -> None:
    changes = compare_measures(
        {"pitched_share": [0.9, 0.91, 0.92], "pitch_cents": [0.0, 1.0, 2.0]},
        {"pitched_share": [0.9, 0.91, 0.92], "pitch_cents": [50.0, 51.0, 52.0]},
    )
    rows = change_rows(
        Compared(before=(), after=(), changes=changes, control=None, recordings=0), WORDS
    )
    assert [(r.name, r.code) for r in rows] == [
        ("From the target", "changed"),
        ("Pitched share", "same"),
    ]
    assert (rows[0].before, rows[0].after, rows[0].difference) == ("+1.0", "+51.0", "+50.0")
    few = compare_measures({"attack_s": [0.01]}, {"attack_s": [0.02]})
    (row,) = change_rows(
        Compared(before=(), after=(), changes=few, control=None, recordings=0), WORDS
    )
    assert (row.code, row.interval, row.verdict) == ("few", "", "too few attempts to tell")


def test_the_intonation_chart_has_the_highest_note_on_top() -> None:
    heard = {
        "intonation": [
            {"name": "A4", "number": 69, "cents": 3.0, "lowest": -2.0, "highest": 5.0, "count": 2},
            {"name": "C5", "number": 72, "cents": -41.0, "lowest": -41, "highest": -41, "count": 1},
        ]
    }
    chart = intonation_chart(heard, words=WORDS)
    assert [row["note"] for row in chart["data"]["values"]] == ["C5", "A4"]
    low, high = chart["layer"][0]["encoding"]["x"]["scale"]["domain"]
    assert low < -41.0
    assert high == -low
    svg = chart_svg(chart)
    assert svg.index("C5") < svg.index("A4")
    dark = intonation_chart(heard, words=WORDS, dark=True)
    assert dark["config"]["axis"]["labelColor"] != chart["config"]["axis"]["labelColor"]
