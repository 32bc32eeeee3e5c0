"""The frame pitch tracker: accuracy on its own tones, limits and messages."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crowlight.errors import Cancelled, InputError
from crowlight.listen.decimate import decimate
from crowlight.listen.path import best_path
from crowlight.listen.periodicity import Candidates
from crowlight.listen.phases import partials_at, turn_between, window_length
from crowlight.listen.pitch import track_pitch
from crowlight.listen.slope import steady_slope

RATE = 48_000


def reedy(pitch: float | np.ndarray, duration: float = 1.0, rate: float = RATE) -> np.ndarray:
    """Add up partials, the first one weak as in a low oboe note."""
    time = np.arange(round(duration * rate)) / rate
    turn = pitch * time if np.isscalar(pitch) else np.cumsum(pitch) / rate
    return sum(
        0.1 * strength * np.sin(2 * np.pi * n * turn + n * n)
        for n, strength in enumerate((0.05, 0.3, 1.0, 0.8, 0.5, 0.4, 0.2), 1)
    )


def off(track, pitch) -> np.ndarray:
    inner = (track.time > 0.05) & (track.time < track.time[-1] - 0.05)
    return 1200 * np.log2(track.pitch[inner] / pitch)


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("pitch", [164.81, 233.08, 466.16, 1046.5])
def test_steady_tones_are_exact_at_every_rate(pitch: float, rate: int) -> None:
    tone = (
        reedy(pitch, rate=rate)
        if 7 * pitch < rate / 2
        else np.sin(2 * np.pi * pitch * np.arange(rate) / rate)
    )
    cents = off(track_pitch(tone, rate), pitch)
    assert np.abs(cents).max() < 0.05


@pytest.mark.parametrize("pitch", [233.08, 466.16])
def test_a_pitch_carried_by_one_per_cent_of_the_power_is_found(pitch: float) -> None:
    """Even partials hold 99 %; below 0.75 % the octave is read, as the theory page says."""
    time = np.arange(RATE) / RATE
    even, odd = (
        sum(np.sin(2 * np.pi * n * pitch * time + n * n) for n in numbers)
        for numbers in ((2, 4, 6), (1, 3, 5))
    )
    cents = off(track_pitch(even + odd * np.sqrt(0.01 / 0.99), RATE), pitch)
    assert np.abs(cents).max() < 0.1


@pytest.mark.parametrize("pitch", [233.08, 440.0, 1567.98])
def test_no_octave_error_at_equal_power_of_tone_and_noise(pitch: float) -> None:
    rng = np.random.default_rng(11)
    tone = reedy(pitch, 3.0)
    noise = rng.normal(size=tone.size)
    cents = off(track_pitch(tone / tone.std() + noise, RATE), pitch)
    assert np.mean(np.isfinite(cents)) > 0.99
    assert np.nanmax(np.abs(cents)) < 100
    assert np.nanmedian(np.abs(cents)) < 3


def test_a_steady_tone_is_averaged_for_long() -> None:
    """At 20 dB, half of all frames are right to 0.004 cents; 0.16 s spans instead of 0.32 fail."""
    rng = np.random.default_rng(12)
    tone = reedy(392.0, 3.0)
    sound = tone / tone.std() + rng.normal(size=tone.size) / 10
    assert np.nanmedian(np.abs(off(track_pitch(sound, RATE), 392.0))) < 0.004


def test_noise_and_silence_have_no_pitch() -> None:
    rng = np.random.default_rng(3)
    track = track_pitch(rng.normal(size=2 * RATE), RATE)
    assert np.isfinite(track.pitch).mean() < 0.05
    track = track_pitch(np.zeros(RATE), RATE)
    assert not np.isfinite(track.pitch).any()
    assert np.all(track.level == -200)


def test_a_leap_is_followed_within_two_frames() -> None:
    pitch = np.where(np.arange(RATE) < RATE // 2, 440.0, 880.0)
    track = track_pitch(reedy(pitch), RATE)
    truth = np.where(track.time < 0.5, 440.0, 880.0)
    wrong = np.abs(1200 * np.log2(track.pitch / truth)) > 20
    assert not wrong[np.abs(track.time - 0.5) > 0.02].any()


def test_level_is_that_of_the_sound() -> None:
    track = track_pitch(np.sin(2 * np.pi * 440 * np.arange(RATE) / RATE), RATE)
    assert np.median(track.level) == pytest.approx(-3.01, abs=0.02)


def test_long_sounds_are_worked_through_in_pieces_without_a_seam() -> None:
    """30 s make 3,000 coarse and 12,000 fine frames: many more than are held at once."""
    seen: list[float] = []
    tone = reedy(440.0, 30.0, 16_000)
    track = track_pitch(tone, 16_000, report=seen.append)
    assert np.abs(off(track, 440.0)).max() < 0.05
    assert len(seen) > 4
    assert seen == sorted(seen)
    assert seen[-1] == 1


def test_a_report_may_cancel() -> None:
    def stop(fraction: float) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        track_pitch(np.zeros(RATE), RATE, report=stop)


@pytest.mark.parametrize("other", [1.0, -1.0, 0.1])
def test_nothing_is_changed_and_the_loudest_channel_is_taken(other: float) -> None:
    """Two channels of opposite sign, as some telephones write, must not cancel."""
    tone = reedy(440.0)
    stereo = np.stack([other * tone, tone], axis=1)
    kept = stereo.copy()
    track = track_pitch(stereo, RATE)
    np.testing.assert_array_equal(stereo, kept)
    np.testing.assert_allclose(track.pitch, track_pitch(tone, RATE).pitch, rtol=1e-6)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rate": 4000}, "rate = 4000 per second must be at least 8000"),
        ({"rate": np.nan}, "rate = nan"),
        ({"sound": np.zeros(100)}, r"sound lasts 0\.002 s; at least 0\.06 s"),
        ({"sound": np.full(RATE, np.nan)}, "48000 samples that are not numbers"),
        ({"sound": np.full(RATE, 1e300)}, "48000 samples that are not numbers"),
        ({"sound": np.full(RATE, 32_767_000.0)}, r"reaches 3\.28e\+07 times full scale"),
        ({"sound": np.full((RATE, 2), [0.1, np.nan])}, "48000 samples that are not numbers"),
        ({"sound": np.zeros((10, 2, 2))}, "sound has 3 dimensions"),
        ({"hop": 0.5}, r"hop = 0\.5 s must be 0\.002 to 0\.020"),
        ({"lowest": 500, "highest": 400}, "lowest = 500 Hz and highest = 400 Hz"),
    ],
)
def test_what_cannot_be_right_is_named(change: dict, message: str) -> None:
    given_ = {"sound": np.zeros(RATE), "rate": RATE} | change
    with pytest.raises(InputError, match=message):
        track_pitch(given_.pop("sound"), given_.pop("rate"), **given_)


@settings(max_examples=25)
@given(
    pitch=st.floats(170, 1600),
    gain=st.floats(1e-4, 1.0),
    octave_weak=st.booleans(),
)
def test_pitch_does_not_depend_on_loudness(pitch: float, gain: float, octave_weak: bool) -> None:
    time = np.arange(RATE // 2) / RATE
    strength = (0.02, 1.0, 0.5, 0.3) if octave_weak else (1.0, 0.5, 0.3, 0.2)
    tone = sum(a * np.sin(2 * np.pi * n * pitch * time) for n, a in enumerate(strength, 1))
    track = track_pitch(gain * tone, RATE)
    cents = off(track, pitch)
    assert np.abs(cents).max() < 0.5
    np.testing.assert_allclose(track.pitch, track_pitch(tone, RATE).pitch, rtol=1e-5)


ODD = {
    "offset": lambda n, rng: np.ones(n),
    "one click": lambda n, rng: np.eye(1, n, n // 2)[0],
    "clicks": lambda n, rng: (np.arange(n) % 1000 == 0) * 1.0,
    "vanishing": lambda n, rng: np.full(n, 1e-42),
    "clipped": lambda n, rng: np.sign(np.sin(np.arange(n) / 17)),
    "huge": lambda n, rng: 9e5 * np.sin(np.arange(n) / 17),
    "fastest": lambda n, rng: np.cos(np.pi * np.arange(n)),
    "whole numbers": lambda n, rng: (100 * rng.normal(size=n)).astype(np.int16),
}


@pytest.mark.parametrize("rate", [8_000, 11_025, 47_999.5, 192_000])
@pytest.mark.parametrize("kind", ODD)
def test_odd_sounds_give_an_answer_or_none_and_no_warning(kind: str, rate: float) -> None:
    """Warnings are errors in these tests."""
    sound = ODD[kind](round(0.3 * rate), np.random.default_rng(8))
    for options in ({}, {"hop": 0.002}, {"lowest": 60, "highest": 100}, {"highest": 4000}):
        track = track_pitch(sound, rate, **options)
        assert np.isfinite(track.level).all()
        assert ((track.clarity >= 0) & (track.clarity <= 1)).all()
        shown = track.pitch[np.isfinite(track.pitch)]
        low, high = options.get("lowest", 140), options.get("highest", 1800)
        assert ((shown > 0.9 * low) & (shown < 1.1 * high)).all()


# The steps by themselves.


@pytest.mark.parametrize("step", [1, 2, 3, 12])
def test_decimation_keeps_the_low_and_drops_the_high(step: int) -> None:
    rate = 16_000 * step
    time = np.arange(rate) / rate
    low = np.sin(2 * np.pi * 3000 * time).astype(np.float32)
    thin = decimate(low, step)
    assert thin.size == 16_000
    np.testing.assert_allclose(thin[100:-100], low[::step][100:-100], atol=5e-4)
    if step > 1:
        high = np.sin(2 * np.pi * 11_000 * time).astype(np.float32)
        assert np.abs(decimate(high, step)[100:-100]).max() < 10 ** (-60 / 20)


@pytest.mark.parametrize("count", [1, 2, 3, 10, 100, 301])
def test_the_path_through_blocks_is_the_plain_viterbi_path(count: int) -> None:
    rng = np.random.default_rng(count)
    pitch = 2 ** rng.uniform(7, 10.5, (count, 4))
    score = rng.uniform(0, 1, (count, 4))
    total, back = score[0], []
    for i in range(1, count):
        octaves = np.abs(np.log2(pitch[i][:, None] / pitch[i - 1][None, :]))
        reach = total - 0.35 * np.minimum(octaves, 1)
        back.append(reach.argmax(axis=1))
        total = reach.max(axis=1) + score[i]
    column = int(total.argmax())
    plain = [column]
    for origin in back[::-1]:
        column = origin[column]
        plain.append(column)
    chosen = best_path(Candidates(pitch, score, score, score[:, 0]))
    assert chosen.tolist() == plain[::-1]


def test_a_window_of_whole_periods_hears_one_partial_at_a_time() -> None:
    """A tone on the third partial only: all others read below -70 dB of it, off the grid too."""
    rate, pitch = 16_000.0, 437.3
    half = round(0.01 * rate)
    time = np.arange(-half, half) / rate
    frame = np.cos(2 * np.pi * 3 * pitch * time + 0.4).astype(np.float32)
    partials, _ = partials_at(frame[None], rate, np.array([pitch]), shortest=0.006)
    size = np.abs(partials[0])
    assert size[2] == pytest.approx(0.5, rel=0.005)
    assert np.angle(partials[0, 2]) == pytest.approx(0.4, abs=1e-4)
    assert np.delete(size, 2).max() < 0.5 * 10 ** (-70 / 20)
    assert float(window_length(np.array(pitch), 0.006)) == pytest.approx(3 / pitch)


def test_turns_of_all_partials_agree_on_one_pitch() -> None:
    hop, pitch, guess = 0.0025, 441.7, 440.0
    number = np.arange(1, 11)
    turn = 2 * np.pi * pitch * hop
    partials = np.exp(1j * np.outer(np.arange(5) * turn, number)).astype(np.complex64)
    found, spread = turn_between(partials, np.zeros(5), np.full(4, guess), hop)
    np.testing.assert_allclose(found, turn, atol=1e-6)
    assert spread.max() < 1e-10


def test_slope_of_noise_shrinks() -> None:
    """Half of all points do three times better than the difference of their two neighbours."""
    rng = np.random.default_rng(5)
    count = 4000
    phase = 0.5 * np.arange(count) + 1e-3 * rng.normal(size=count)
    slope = steady_slope(phase, np.full(count, 2e-6), np.full(count, 1.5))
    plain = (phase[2:] - phase[:-2]) / 2
    assert np.median(np.abs(slope - 0.5)) < np.median(np.abs(plain - 0.5)) / 3


def test_slope_keeps_the_crest_of_a_vibrato() -> None:
    """5.7 Hz at 2.5 ms a step, between points: crests are kept to 1 % of the depth."""
    step = np.arange(1000)
    wave = np.sin(2 * np.pi * step / 70)
    phase = np.concatenate([[0.0], np.cumsum(0.5 + 0.01 * wave)])
    slope = steady_slope(phase, np.full(1001, 1e-10), np.full(1001, 1e-3))
    truth = 0.5 + 0.01 * np.sin(2 * np.pi * (np.arange(1001) - 0.5) / 70)
    assert np.abs(slope - truth)[70:-70].max() < 0.01 * 0.01


def test_slope_undoes_what_the_window_rounds_off() -> None:
    """A bent phase seen through a Hann window of 5 steps has its true slope again."""
    step = np.arange(-200, 201) * 1.0
    bend = 1e-6
    moment = 5.0**2 * (1 / 12 - 1 / (2 * np.pi**2))
    seen = bend * (step**3 / 6 + moment * step / 2)
    slope = steady_slope(seen, np.full(401, 1e-16), np.full(401, 5.0))
    assert slope[200] == pytest.approx(0.0, abs=1e-9)
    assert slope[260] == pytest.approx(bend * 60**2 / 2, rel=1e-3)
