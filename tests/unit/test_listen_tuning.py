"""Notes, tunings and the player's own A."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.errors import InputError
from crowlight.listen.tuning import (
    EQUAL,
    Tuning,
    cents_between,
    find_reference,
    nearest_note,
    note_name,
    note_pitch,
    tunings,
)

KEYS = sorted(tunings())


def test_names_over_the_oboe() -> None:
    assert [note_name(n) for n in (52, 58, 60, 69, 70, 91)] == [
        "E3",
        "B♭3",
        "C4",
        "A4",
        "B♭4",
        "G6",
    ]


def test_every_tuning_says_where_it_comes_from() -> None:
    assert "equal" in KEYS
    assert tunings()["equal"].offsets == EQUAL.offsets
    for tuning in tunings().values():
        assert tuning.title
        assert tuning.source


def test_fifths_of_the_regular_tunings_are_all_alike() -> None:
    """Eleven equal fifths from E flat to G sharp; printed to 0.001 cents, so good to 0.001."""
    chain = [3, 10, 5, 0, 7, 2, 9, 4, 11, 6, 1, 8]
    for key, fifth in (
        ("pythagorean", 1200 * math.log2(3 / 2)),
        ("meantone", 300 * math.log2(5)),
    ):
        offset = np.array(tunings()[key].offsets)[chain]
        np.testing.assert_allclose(
            700 + np.diff(offset), fifth - 1200 * (fifth > 1200), atol=1.1e-3
        )


def test_pure_ratios_of_just_intonation() -> None:
    ratios = [1, 16 / 15, 9 / 8, 6 / 5, 5 / 4, 4 / 3, 45 / 32, 3 / 2, 8 / 5, 5 / 3, 9 / 5, 15 / 8]
    pitch = note_pitch(np.arange(60, 72), tuning=tunings()["just_c"])
    np.testing.assert_allclose(cents_between(pitch / pitch[0], ratios), 0, atol=1.1e-3)


@pytest.mark.parametrize("key", KEYS)
@given(note=st.integers(40, 100), cents=st.floats(-35, 35), reference=st.floats(415, 466))
def test_nearest_note_undoes_note_pitch(
    key: str, note: int, cents: float, reference: float
) -> None:
    tuning = tunings()[key]
    pitch = note_pitch(note, reference=reference, tuning=tuning) * 2 ** (cents / 1200)
    found, away = nearest_note(pitch, reference=reference, tuning=tuning)
    # Neighbours of unequal tunings may lie only 63 cents apart (75 in meantone).
    steps = np.diff([*tuning.offsets, tuning.offsets[0]]) + 100
    if abs(cents) < steps.min() / 2:
        assert int(found) == note
        assert float(away) == pytest.approx(cents, abs=1e-8)


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize("reference", [430.5, 436.0, 440.0, 442.7, 449.5])
def test_the_players_a_is_found_in_any_tuning(key: str, reference: float) -> None:
    rng = np.random.default_rng(7)
    tuning = tunings()[key]
    notes = np.array([58, 62, 65, 67, 70, 74, 77, 79, 60, 64, 69, 72])
    pitch = note_pitch(notes, reference=reference, tuning=tuning)
    pitch = pitch * 2 ** (rng.normal(0, 3, notes.size) / 1200)
    found = find_reference(pitch, tuning=tuning)
    # The median of 12 deviations of 3 cents scatters by 3 * 1.25 / sqrt(12) = 1.1 cents.
    assert abs(float(cents_between(found.pitch, reference))) < 3 * 1.1
    assert found.count == 12


def test_the_a_is_found_between_the_steps_of_the_search() -> None:
    found = find_reference(note_pitch([60, 64, 67, 69], reference=441.237))
    assert found.pitch == pytest.approx(441.237, abs=1e-6)
    assert found.scatter == pytest.approx(0, abs=1e-6)


def test_one_wrong_note_does_not_move_the_a_much() -> None:
    pitch = [*note_pitch([60, 62, 64, 65, 67, 69, 71], reference=441.0), 500.0]
    assert find_reference(pitch).pitch == pytest.approx(441.0, abs=0.1)


def test_weights_count() -> None:
    """Two notes at A = 436 against one at 444 held three times as long."""
    pitch = [*note_pitch([60, 64], reference=436.0), float(note_pitch(67, reference=444.0))]
    assert find_reference(pitch, weight=[1, 1, 3]).pitch == pytest.approx(444.0, abs=0.01)
    assert find_reference(pitch, weight=[2, 2, 3]).pitch == pytest.approx(436.0, abs=0.01)


def test_nothing_played_gives_no_a() -> None:
    found = find_reference([np.nan])
    assert math.isnan(found.pitch)
    assert found.count == 0


@pytest.mark.parametrize("offsets", [(0.0,) * 11, (1.0,) * 12, (60.0,) + (0.0,) * 11])
def test_offsets_that_cannot_be_right(offsets: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="must be 12 numbers below 50, C first, with A at 0"):
        Tuning("mine", "nowhere", offsets)
