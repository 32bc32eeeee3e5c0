"""What must not change the crow's measures, and what must change them in step."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import signal

from crowlight.invented.sounds import (
    InventedCrow,
    crow_take,
    draw_crow,
    draw_room,
    peep_take,
    pulsed_take,
    swell_take,
)
from crowlight.listen import measure_crow, measure_peep, measure_swell

RATE = 24_000.0
SAME = settings(max_examples=12, suppress_health_check=list(HealthCheck))
kinds = st.sampled_from(["clean", "mixed", "rattling"])
seeds = st.integers(0, 2**32 - 1)
NUMBERS = (
    "pitch_hz",
    "pitched_share",
    "stray_db",
    "breath_db",
    "rattle_percent",
    "beat_percent",
    "steadiness_cents",
    "attack_s",
)


def take(seed, kind):
    rng = np.random.default_rng(seed)
    return crow_take(draw_crow(rng, kind), rng, room=draw_room(rng), seconds=1.2, rate=RATE).sound


def numbers(sound, rate=RATE):
    answer = measure_crow(sound, rate).as_dict()
    return {name: answer[name] for name in NUMBERS}


def agree(a, b, rel):
    assert a.keys() == b.keys()
    for name, value in a.items():
        if value is None or b[name] is None:
            assert value == b[name], name
        else:
            assert b[name] == pytest.approx(value, rel=rel, abs=rel), name


@SAME
@given(seeds, kinds, st.floats(0.3, 4.0))
def test_level_and_sign_change_nothing(seed, kind, gain):
    sound = take(seed, kind)
    agree(numbers(sound), numbers(-gain * sound), 1e-6)


@SAME
@given(seeds, kinds)
def test_a_second_quieter_channel_changes_nothing(seed, kind):
    sound = take(seed, kind)
    agree(numbers(sound), numbers(np.stack([0.1 * sound, sound], axis=1)), 1e-9)


@SAME
@given(seeds, kinds)
def test_input_is_left_alone(seed, kind):
    sound = take(seed, kind)
    copy = sound.copy()
    measure_crow(sound, RATE)
    assert np.array_equal(copy, sound)


@SAME
@given(seeds, st.sampled_from(["clean", "mixed"]), st.sampled_from([(2, 1), (147, 80)]))
def test_the_sampling_rate_changes_little(seed, kind, ratio):
    sound = take(seed, kind)
    up, down = ratio
    other = signal.resample_poly(sound, up, down)
    a, b = numbers(sound), numbers(other, RATE * up / down)
    assert b["pitch_hz"] == pytest.approx(a["pitch_hz"], rel=1e-4)  # 0.17 cents
    assert b["pitched_share"] == pytest.approx(a["pitched_share"], abs=0.01)
    # a fourth root of what chance leaves: under half a per cent there is no rattle to compare
    rattle = [max(v["rattle_percent"], 0.5) for v in (a, b)]
    assert rattle[1] == pytest.approx(rattle[0], rel=0.05, abs=0.1)
    assert b["breath_db"] == pytest.approx(a["breath_db"], abs=1.0)


@SAME
@given(seeds, st.floats(-400.0, 400.0))
def test_pitch_follows_a_transposition(seed, cents):
    found = []
    for shift in (0.0, cents):
        rng = np.random.default_rng(seed)
        crow = InventedCrow(pitch=523.0 * 2 ** (shift / 1200), jitter=1.0)
        answer = measure_crow(crow_take(crow, rng, seconds=1.2, rate=RATE).sound, RATE).as_dict()
        found.append(answer["pitch_cents"])
    assert found[1] - found[0] == pytest.approx(cents, abs=1.0)


@SAME
@given(seeds, kinds)
def test_answers_stay_in_their_ranges(seed, kind):
    answer = measure_crow(take(seed, kind), RATE).as_dict()
    assert answer["usable"]
    assert 0.0 <= answer["pitched_share"] <= 1.0
    assert sum(answer["class_probability"].values()) == pytest.approx(1.0)
    assert answer["rattle_percent"] >= 0.0
    assert (answer["pitch_hz"] is None) == any(
        r["code"] == "no_single_pitch" for r in answer["reasons"]
    )
    if answer["pitch_cents_folded"] is not None:
        assert -600.0 <= answer["pitch_cents_folded"] <= 600.0
    for low, high in answer["intervals"].values():
        assert low is None or high is None or low <= high


@SAME
@given(seeds, st.integers(0, 60_000))
def test_anything_at_all_is_an_answer(seed, size):
    rng = np.random.default_rng(seed)
    wave = rng.standard_normal(size) * 10.0 ** rng.uniform(-6, 1)
    if size and rng.random() < 0.5:
        wave = np.repeat(wave[: size // 50 + 1], 50)[:size]
    if size and rng.random() < 0.3:
        wave[rng.integers(size)] = rng.choice([np.nan, np.inf, -np.inf, 1e30])
    for measure in (measure_crow, measure_peep):
        answer = measure(wave, float(rng.choice([4_000, 8_000, 44_100, 192_000]))).as_dict()
        assert isinstance(answer["usable"], bool)
    measure_swell(wave, 44_100.0)


@SAME
@given(seeds)
def test_invented_sounds_depend_on_their_seed_alone(seed):
    for make in (peep_take, pulsed_take, swell_take):
        one, two = (make(np.random.default_rng(seed), rate=RATE).sound for _ in range(2))
        assert np.array_equal(one, two)
        assert np.all(np.isfinite(one))
