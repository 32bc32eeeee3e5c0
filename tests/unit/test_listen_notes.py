"""Notes of a take: cutting, attacks, slurs, span, intonation chart; and listening live."""

import math

import numpy as np
import pytest

from crowlight.errors import InputError
from crowlight.listen.hnr import harmonics_to_noise
from crowlight.listen.live import listen_live, live_delay
from crowlight.listen.notes import Slur, find_notes, intonation
from crowlight.listen.pitch import track_pitch
from crowlight.listen.tuning import cents_between, note_pitch, tunings

RATE = 48_000
PARTIALS = (0.4, 1.0, 0.8, 0.5, 0.3)


def play(
    notes: list[tuple[int, float]],
    *,
    reference: float = 440.0,
    rest: float = 0.0,
    cents: dict[int, float] | None = None,
    seed: int = 0,
) -> np.ndarray:
    """Play notes of (number, seconds), slurred without a rest; a little breath all through."""
    pieces = []
    for number, seconds in notes:
        away = (cents or {}).get(number, 0.0)
        pitch = float(note_pitch(number, reference=reference)) * 2 ** (away / 1200)
        pieces.append(np.full(round(seconds * RATE), pitch))
        pieces.append(np.zeros(round(rest * RATE)))
    pitch = np.concatenate(pieces)
    smooth = np.hanning(round(0.012 * RATE))
    loud = np.convolve(pitch > 0, smooth / smooth.sum(), mode="same")
    turn = np.cumsum(pitch) / RATE
    tone = sum(a * np.sin(2 * np.pi * n * turn) for n, a in enumerate(PARTIALS, 1))
    noise = np.random.default_rng(seed).normal(size=pitch.size)
    return 0.1 * loud * tone + 1e-4 * noise


SCALE = [58, 60, 62, 63, 65, 67, 69, 70, 72, 74, 75, 77, 79, 81, 82, 84, 86, 87, 89, 91]


@pytest.mark.parametrize("rest", [0.0, 0.08])
@pytest.mark.parametrize("seconds", [0.07, 0.25])
def test_every_note_of_a_scale_and_no_other(seconds: float, rest: float) -> None:
    take = find_notes(play([(n, seconds) for n in SCALE], rest=rest, reference=443.0), RATE)
    assert [note.number for note in take.notes] == SCALE
    starts = np.array([note.start for note in take.notes])
    assert np.abs(starts - np.arange(len(SCALE)) * (seconds + rest)).max() < 0.015
    assert take.reference.pitch == pytest.approx(443.0, abs=0.05)
    assert max(abs(note.cents) for note in take.notes) < (1.0 if seconds < 0.1 else 0.5)
    assert [note.joined for note in take.notes] == [False] + [rest == 0] * (len(SCALE) - 1)
    assert len(take.slurs) == (len(SCALE) - 1 if rest == 0 else 0)
    if rest:
        # Nothing is known from before the first note, so its attack is not either.
        assert math.isnan(take.notes[0].attack)
        assert all(0 < note.attack < 0.02 for note in take.notes[1:])
    else:
        assert take.slur_success == 1
        assert all(math.isnan(note.attack) for note in take.notes[1:])


@pytest.mark.parametrize("rest", [0.03, 0.06, 0.12])
def test_attacks_after_short_rests_are_not_those_of_the_note_before(rest: float) -> None:
    """The same growth, 1 - exp(-t / 8 ms), after every rest; 6 ms of envelope blur it by 3."""
    time = np.arange(RATE // 4) / RATE
    grown = np.sin(2 * np.pi * 587.33 * time) * (1 - np.exp(-time / 0.008))
    fading = grown * np.minimum((time[-1] - time) / 0.01, 1)
    sound = np.concatenate([np.zeros(round(rest * RATE)), fading] * 4)
    take = find_notes(sound, RATE)
    assert len(take.notes) == 4
    expected = 0.008 * math.log((1 - 10 ** (-20 / 20)) / (1 - 10 ** (-3 / 20)))
    for note in take.notes:
        assert note.attack == pytest.approx(expected, abs=0.003)


def test_a_repeated_note_is_two_notes_and_a_swell_is_one() -> None:
    take = find_notes(play([(69, 0.4), (69, 0.4)], rest=0.05), RATE)
    assert [note.number for note in take.notes] == [69, 69]
    time = np.arange(3 * RATE) / RATE
    swell = play([(69, 3.0)]) * 10 ** (-1.5 * np.abs(time - 1.5) / 1.5)
    take = find_notes(swell, RATE)
    assert [note.number for note in take.notes] == [69]
    # From -30 to 0 dB in a straight line, and back: the middle 90 % of it.
    assert take.span == pytest.approx(0.9 * 30, abs=0.5)
    assert take.notes[0].span == pytest.approx(0.9 * 30, abs=0.6)


def test_a_vibrato_of_half_a_semitone_stays_one_note() -> None:
    time = np.arange(2 * RATE) / RATE
    pitch = 587.33 * 2 ** (50 * np.sin(2 * np.pi * 6 * time) / 1200)
    tone = 0.1 * np.sin(2 * np.pi * np.cumsum(pitch) / RATE)
    take = find_notes(tone, RATE, reference=440.0)
    assert [note.number for note in take.notes] == [74]
    assert take.notes[0].steadiness == pytest.approx(50 / math.sqrt(2), rel=0.02)


def test_intonation_is_read_from_the_a_that_is_given() -> None:
    away = {62: 12.0, 65: -8.0}
    sound = play([(60, 0.4), (62, 0.4), (65, 0.4), (69, 0.4), (62, 0.4)], cents=away, rest=0.05)
    chart = intonation(find_notes(sound, RATE, reference=440.0))
    assert [(row.number, row.count) for row in chart] == [(60, 1), (62, 2), (65, 1), (69, 1)]
    np.testing.assert_allclose([row.cents for row in chart], [0, 12, -8, 0], atol=0.1)
    sharp = intonation(find_notes(sound, RATE, reference=438.0))
    shift = float(cents_between(440.0, 438.0))
    np.testing.assert_allclose(
        [row.cents for row in sharp], np.add([0, 12, -8, 0], shift), atol=0.1
    )


def test_other_tunings_are_data() -> None:
    tuning = tunings()["meantone"]
    pieces = []
    for number in (60, 64, 67, 69, 71):
        time = np.arange(RATE // 2) / RATE
        pieces.append(0.1 * np.sin(2 * np.pi * float(note_pitch(number, tuning=tuning)) * time))
    sound = np.concatenate(pieces)
    take = find_notes(sound, RATE, tuning=tuning)
    assert take.reference.pitch == pytest.approx(440.0, abs=0.02)
    assert max(abs(note.cents) for note in take.notes) < 0.1
    equal = find_notes(sound, RATE, reference=440.0)
    assert equal.notes[1].cents == pytest.approx(tuning.offsets[4], abs=0.1)


@pytest.mark.parametrize("depth", [3.0, 8.0])
def test_a_slur_with_a_dip_of_loudness(depth: float) -> None:
    sound = play([(65, 0.5), (72, 0.5)])
    time = np.arange(sound.size) / RATE
    sound = sound * 10 ** (-depth * np.exp(-(((time - 0.5) / 0.04) ** 2)) / 20)
    take = find_notes(sound, RATE)
    (slur,) = take.slurs
    assert slur.leap == 7
    assert slur.dip == pytest.approx(depth, abs=0.8)
    assert slur.clean == (depth < 6)


def test_a_slur_that_cracks_is_not_clean() -> None:
    """60 ms of noise between the notes: no pitch there."""
    sound = play([(65, 0.5), (72, 0.5)])
    gap = slice(round(0.47 * RATE), round(0.53 * RATE))
    sound[gap] = 0.1 * np.random.default_rng(1).normal(size=gap.stop - gap.start)
    take = find_notes(sound, RATE)
    assert [note.number for note in take.notes] == [65, 72]
    assert not any(slur.clean for slur in take.slurs)
    assert all(slur.mute > 0.02 or slur.duration > 0.06 for slur in take.slurs)


@pytest.mark.parametrize("gap", [0.02, 0.03, 0.04, 0.05])
def test_two_scraps_of_a_note_about_a_gap(gap: float) -> None:
    """However short, what is kept of it has a pitch."""
    scrap = play([(72, 0.03)])
    silence = np.zeros(round(gap * RATE))
    take = find_notes(np.concatenate([silence, scrap, silence, scrap, silence]), RATE)
    for note in take.notes:
        assert note.number == 72
        assert abs(note.cents) < 50


def test_clean_means_all_three() -> None:
    good = {"first": 0, "leap": 2, "duration": 0.01, "dip": 1.0, "mute": 0.0}
    assert Slur(**good).clean
    for key, value in (("duration", 0.07), ("dip", 7.0), ("mute", 0.03)):
        assert not Slur(**(good | {key: value})).clean


def test_brightness_and_centroid_of_known_spectra() -> None:
    """Two partials: 1 kHz at amplitude 1 and 3 kHz at a half: -6.02 dB, (1 + 3/2) / 1.5."""
    time = np.arange(RATE) / RATE
    sound = 0.2 * np.sin(2 * np.pi * 1000 * time) + 0.1 * np.sin(2 * np.pi * 3000 * time)
    (note,) = find_notes(sound, RATE).notes
    assert note.brightness == pytest.approx(20 * math.log10(0.5), abs=0.05)
    assert note.centroid == pytest.approx((1 + 3 * 0.5) / 1.5, abs=0.02)
    assert note.level == pytest.approx(10 * math.log10((0.2**2 + 0.1**2) / 2), abs=0.05)


def test_nothing_played() -> None:
    take = find_notes(np.zeros(RATE), RATE)
    assert take.notes == ()
    assert math.isnan(take.span)
    assert math.isnan(take.slur_success)
    assert intonation(take) == ()
    noise = np.random.default_rng(2).normal(size=2 * RATE)
    assert find_notes(noise, RATE).notes == ()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"reference": 300.0}, r"reference A = 300\.0 Hz must be 400 to 480"),
        ({"lowest": 80, "highest": 70}, "lowest = 80 and highest = 70 must be semitone numbers"),
    ],
)
def test_what_cannot_be_right_is_named(options: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        find_notes(np.zeros(RATE), RATE, **options)


@pytest.mark.parametrize("rate", [22_050, 44_100, 48_000])
@pytest.mark.parametrize("ratio", [0.0, 10.0, 20.0, 30.0])
def test_harmonics_to_noise_is_the_ratio_of_powers(ratio: float, rate: int) -> None:
    time = np.arange(2 * rate) / rate
    tone = sum(a * np.sin(2 * np.pi * n * 349.23 * time) for n, a in enumerate(PARTIALS, 1))
    noise = np.random.default_rng(4).normal(size=tone.size) * tone.std() * 10 ** (-ratio / 20)
    sound = tone + noise
    found = np.nanmedian(harmonics_to_noise(sound, rate, track_pitch(sound, rate)))
    assert found == pytest.approx(ratio, abs=0.5)


def test_harmonics_to_noise_is_placed_evenly_about_its_frame() -> None:
    """Noise sets in at 0.5 s; a frame sees (1/75 s + a period) / 2 = 7.8 ms to either side."""
    time = np.arange(RATE) / RATE
    tone = np.sin(2 * np.pi * 440 * time)
    noise = 0.3 * np.random.default_rng(1).normal(size=tone.size) * (time >= 0.5)
    track = track_pitch(tone + noise, RATE, hop=0.002)
    ratio = harmonics_to_noise(tone + noise, RATE, track)
    before = (track.time > 0.45) & (track.time < 0.5 - 0.0082)
    touched = (track.time > 0.5 - 0.0070) & (track.time < 0.55)
    assert ratio[before].min() > 30
    assert ratio[touched].max() < 30


# Live


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_live_pitch_follows_the_stream(rate: int) -> None:
    time = np.arange(2 * rate // 1024 * 1024) / rate
    pitch = 523.25 * 2 ** (20 * np.sin(2 * np.pi * 5 * time) / 1200)
    tone = 0.1 * np.sin(2 * np.pi * np.cumsum(pitch) / rate)
    moments = list(listen_live(tone.reshape(-1, 1024), rate))
    at = np.array([moment.time for moment in moments])
    found = np.array([moment.pitch for moment in moments])
    assert np.abs(cents_between(found, np.interp(at, time, pitch)))[3:].max() < 1
    assert moments[-1].level == pytest.approx(20 * math.log10(0.1) - 3.01, abs=0.1)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_live_values_are_at_most_forty_milliseconds_old(rate: int) -> None:
    """Counted in samples: the oldest sound not yet shown when a value comes out."""
    given = 0
    ages = []

    def stream():
        nonlocal given
        for _ in range(60):
            given += 1024
            yield np.sin(2 * np.pi * 440 * np.arange(given - 1024, given) / rate)

    before = None
    for moment in listen_live(stream(), rate):
        if before is not None:
            ages.append(given / rate - before)  # what follows `before` was first shown now
        before = moment.time
    assert max(ages) <= 0.040
    assert max(ages) == pytest.approx(live_delay(rate, 1024), abs=0.001)


@pytest.mark.parametrize("pitch", [440.0, 1500.0])
def test_live_pitch_makes_no_octave_errors_in_noise(pitch: float) -> None:
    """Equal power of tone and noise; without memory one value in fifty is an octave or more off."""
    time = np.arange(4 * RATE // 1024 * 1024) / RATE
    tone = sum(a * np.sin(2 * np.pi * n * pitch * time) for n, a in enumerate(PARTIALS, 1))
    sound = tone / tone.std() + np.random.default_rng(2).normal(size=tone.size)
    found = np.array([m.pitch for m in listen_live(sound.reshape(-1, 1024), RATE)])
    assert np.abs(cents_between(found, pitch)).max() < 100


def test_live_silence_and_short_blocks() -> None:
    faint = 1e-5 * np.sin(2 * np.pi * 440 * np.arange(50 * 1024) / RATE)
    assert all(math.isnan(m.pitch) for m in listen_live(faint.reshape(-1, 1024), RATE))
    assert all(math.isnan(m.pitch) for m in listen_live(np.zeros((50, 1024)), RATE))
    tone = np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE).reshape(-1, 128)
    moments = list(listen_live(tone, RATE))
    steps = np.diff([m.time for m in moments])
    assert steps.min() >= 0.008 - 1e-9  # 128-sample blocks of 2.7 ms are gathered
    assert moments[-1].pitch == pytest.approx(440, rel=1e-5)


def test_live_blocks_that_cannot_be_right() -> None:
    with pytest.raises(InputError, match="not numbers"):
        list(listen_live([np.full(1024, np.nan)], RATE))
    with pytest.raises(InputError, match="lowest = 50"):
        list(listen_live([], RATE, lowest=50))
