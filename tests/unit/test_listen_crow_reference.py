"""The crow's measures beside a general reference: Praat, through parselmouth."""

import numpy as np
import parselmouth
import pytest

from crowlight.invented.sounds import Room, crow_take, draw_crow, with_defect
from crowlight.listen import measure_crow

RATE = 24_000.0


def take(seed, breath=None):
    rng = np.random.default_rng(seed)
    crow = draw_crow(rng)
    if breath is not None:
        crow = with_defect(crow, "breath", breath, rng)
    room = Room(noise=-90.0)
    sound = crow_take(crow, rng, room=room, rate=RATE, seconds=1.8).sound
    heard = measure_crow(sound, RATE).best
    assert heard is not None
    part = sound[int(heard.start * RATE) : int(heard.end * RATE)]
    return heard, parselmouth.Sound(part, RATE)


def test_pitch_agrees_with_praat_to_a_cent():
    # Boersma (1993), autocorrelation; options by name, since by place they mean something else
    differences = []
    for seed in range(8):
        heard, sound = take(seed)
        assert heard.pitch is not None
        found = sound.to_pitch_ac(pitch_floor=180.0, pitch_ceiling=1_300.0)
        praat = found.selected_array["frequency"]
        cents = 1_200 * np.log2(np.mean(praat[praat > 0]) / heard.pitch.value)
        differences.append((cents + 600) % 1_200 - 600)
    assert np.median(np.abs(differences)) < 1.0
    assert np.max(np.abs(differences)) < 2.0


@pytest.mark.parametrize("breath", [-30.0, -20.0, -12.0])
def test_breath_noise_agrees_with_praats_harmonics_to_noise_ratio(breath):
    # Boersma (1993), cross-correlation; the room is silent, so the breath is all the noise there is
    differences = []
    for seed in range(6):
        heard, sound = take(seed, breath)
        ratio = sound.to_harmonicity_cc(time_step=0.01, minimum_pitch=180.0).values
        praat = float(np.median(ratio[ratio > -200.0]))
        differences.append(-heard.breath.value - praat)
    assert abs(np.median(differences)) < 2.0  # dB
