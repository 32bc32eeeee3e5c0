"""Usable or not: each fault alone must come back under its own code, and no fault under none."""

from dataclasses import replace

import numpy as np
import pytest

from crowlight.invented.sounds import (
    C5,
    InventedCrow,
    Room,
    crow_take,
    draw_crow,
    draw_room,
    peep_take,
    speech_like,
    swell_take,
)
from crowlight.listen import check_usable
from crowlight.listen.blows import find_blows
from crowlight.listen.usable import clipped_runs
from crowlight.listen.waveform import working

RATE = 48_000.0


def take(seed=1, *, room=None, seconds=1.5, kind="clean", blows=1, pitch=None):
    rng = np.random.default_rng(seed)
    crow = draw_crow(rng, kind)
    if pitch:
        crow = replace(crow, pitch=pitch)
    return crow_take(crow, rng, room=room or Room(noise=-55.0), seconds=seconds, blows=blows).sound


def codes(sound, rate=RATE, **options):
    found = check_usable(sound, rate, **options)
    return {r.code for r in found.reasons}, found


def clip(sound, db):
    top = np.abs(sound).max() * 10 ** (-db / 20)
    return np.clip(sound, -top, top)


def sixteen_bit(sound):
    return np.round(sound * 32_767) / 32_768


FAULTS = {
    "silence": lambda: np.zeros(48_000),
    "too_quiet": lambda: take(room=Room(level=-62.0)),
    "too_short": lambda: take(seconds=0.5),
    "clipped": lambda: sixteen_bit(clip(take(), 6.0)),
    "offset": lambda: take() + 0.2,
    "noisy_room": lambda: take(room=Room(noise=-15.0)),
    "hum": lambda: take(room=Room(hum=-14.0)),
    "two_reeds": lambda: np.concatenate([take(pitch=520.0), take(pitch=550.0)]),
    "speech": lambda: speech_like(np.random.default_rng(4)),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_blocks_under_its_own_code(fault):
    found, answer = codes(FAULTS[fault]())
    assert fault in found
    assert not answer.ok
    # an unexpected second code would send the maker after the wrong thing
    assert found <= {fault, "noisy_room"} if fault == "hum" else found == {fault}
    reason = next(r for r in answer.reasons if r.code == fault)
    assert len(reason.remedy) > 20


def test_a_sample_that_is_not_a_number_blocks():
    sound = take()
    sound[30_000:30_005] = np.nan
    sound[31_000] = np.inf
    found, answer = codes(sound)
    assert found == {"not_finite"}
    assert "6 of" in answer.reasons[0].text


def test_only_broken_samples_is_an_answer_too():
    found, answer = codes(np.full(1_000, np.nan))
    assert found == {"not_finite", "silence"}
    assert not answer.ok


def test_a_loud_knock_is_too_short_not_too_quiet():
    sound = np.random.default_rng(2).standard_normal(48_000) * 1e-4
    sound[20_000:24_000] += 0.3 * np.sin(np.arange(4_000) / 8.0)
    assert codes(sound)[0] == {"too_short"}


@pytest.mark.parametrize("size", [0, 1, 10, 700])
def test_a_few_samples_are_an_answer(size):
    assert not check_usable(np.full(size, 0.1), RATE).ok


@pytest.mark.parametrize("kind", ["clean", "mixed", "rattling"])
@pytest.mark.parametrize("seed", [11, 12, 13])
def test_good_takes_pass_without_remark(kind, seed):
    rng = np.random.default_rng(seed)
    sound = crow_take(draw_crow(rng, kind), rng, room=draw_room(rng), seconds=1.5).sound
    assert codes(sound)[0] == set()


def test_peeps_and_swells_pass():
    rng = np.random.default_rng(5)
    assert codes(peep_take(rng).sound, low=650.0, high=1_700.0)[0] == set()
    assert codes(swell_take(rng).sound)[0] == set()


def test_one_decibel_of_clipping_is_seen_in_most_takes():
    # the benchmark sees about 9 in 10; 5 or fewer of 10 would then come up twice in 1000 runs
    seen = sum("clipped" in codes(sixteen_bit(clip(take(s), 1.0)))[0] for s in range(40, 50))
    assert seen >= 6


@pytest.mark.parametrize("frequency", [100.0, 440.0, 1_000.0])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_pure_unclipped_tone_is_not_called_clipped(frequency, bits):
    wave = 0.8 * np.sin(2 * np.pi * frequency * np.arange(96_000) / RATE)
    steps = 2 ** (bits - 1)
    assert clipped_runs(np.round(wave * steps) / steps) == 0


def test_clipping_is_seen_after_the_level_was_turned_down():
    assert clipped_runs(sixteen_bit(clip(take(), 3.0) * 0.3)) > 3


def test_hum_that_is_a_partial_of_the_crow_is_not_hum():
    # a crow at exactly 500 Hz has all its power on multiples of 50 Hz; without any quiet in the
    # take the hum can only be looked for under it
    sound = take(pitch=500.0, room=Room(noise=-55.0))
    blown = sound[20_000:80_000]
    assert codes(blown)[0] == set()
    t = np.arange(blown.size) / RATE
    assert codes(blown + 0.1 * np.cos(2 * np.pi * 50.0 * t))[0] == {"hum"}


def test_speech_beside_a_crow_is_left_out_not_refused():
    voice = speech_like(np.random.default_rng(4), seconds=2.0)
    found, answer = codes(np.concatenate([voice, np.zeros(20_000), take(pitch=C5)]))
    assert found == {"speech"}
    assert answer.ok
    assert len(answer.blows) == 1
    assert answer.blows[0].start > 2.4


def test_two_reeds_is_a_question_that_can_be_answered():
    sound = FAULTS["two_reeds"]()
    assert check_usable(sound, RATE, one_reed=True).ok


def test_blows_that_scatter_widely_are_not_two_reeds():
    steps = (0.0, 40.0, 110.0)  # cents: the last gap is 70, but the others differ by 40 as well
    parts = [take(pitch=520.0 * 2 ** (c / 1200), seconds=0.9) for c in steps]
    assert codes(np.concatenate(parts))[0] == set()


def test_a_crow_that_pulses_is_not_speech():
    sound = take(pitch=520.0, seconds=2.0)
    t = np.arange(sound.size) / RATE
    pulsing = sound * (0.52 + 0.48 * np.cos(2 * np.pi * 4.0 * t))
    assert "speech" not in codes(pulsing)[0]


def test_attempts_with_one_reed_are_not_two_reeds():
    rng = np.random.default_rng(6)
    sound = crow_take(InventedCrow(), rng, blows=5, seconds=0.9).sound
    assert codes(sound)[0] == set()


def test_loudest_channel_is_judged():
    sound = take()
    assert codes(np.stack([np.zeros_like(sound), -sound], axis=1))[0] == set()


@pytest.mark.parametrize("rate", [8_000, 11_025, 44_100, 48_000, 88_200])
def test_blows_late_in_a_long_take_are_where_they_are(rate):
    """At 44,100 a hop of 10 ms is no whole number of samples."""
    time = np.arange(60 * rate) / rate
    wave = 1e-4 * np.random.default_rng(1).standard_normal(time.size)
    on = (time >= 57.0) & (time < 59.0)
    wave[on] += 0.3 * np.sin(2 * np.pi * 523.0 * time[on])
    x, slow = working(wave, rate)
    (blow,) = find_blows(x, slow)
    # the window of the levels is 20 ms long, their spacing 10 ms
    assert blow.start == pytest.approx(57.0, abs=0.02)
    assert blow.end == pytest.approx(59.0, abs=0.02)
