"""Recording at the bench: exactly the chunks in their order, and nothing that is no sound."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import numpy as np
import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Recording
from crowlight.bench.recorder import LONGEST, MOST_CHUNK, MOST_TAKES, Recorder
from crowlight.bench.takes import Take
from crowlight.errors import CannotWrite, Conflict, InputError, NotFound
from crowlight.wiring import open_desk
from crowlight.wiring.failpoints import ENDED, MOMENTS, VARIABLE, failpoint_of, pass_by

RATE = 44_100


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path) as opened:
        opened.add_reed("Gull 7")
        yield opened


@pytest.fixture
def recorder(desk: Desk) -> Recorder:
    return Recorder(desk=desk)


@pytest.fixture
def reed(desk: Desk) -> UUID:
    return desk.records.reed("Gull 7").uuid


def a_take(reed: UUID, **changes: object) -> Take:
    take = Take(
        uuid=uuid4(),
        reed=reed,
        sound_of="crow",
        rate=RATE,
        channels=1,
        begun_at=datetime.now(UTC) - timedelta(seconds=20),
    )
    return replace(take, **changes)  # pyright: ignore[reportArgumentType]


def sound(frames: int, channels: int = 1, seed: int = 1) -> np.ndarray:
    """Return samples as browsers give them: 32-bit floats, now and then above full scale."""
    return np.random.default_rng(seed).uniform(-1.2, 1.2, (frames, channels)).astype("<f4")


def pieces(samples: np.ndarray, frames: int) -> list[bytes]:
    return [samples[at : at + frames].tobytes() for at in range(0, len(samples), frames)]


@pytest.mark.parametrize("channels", [1, 2])
def test_the_chunks_become_one_recording_sample_for_sample(desk, recorder, reed, channels):
    samples = sound(10_001, channels)
    take = a_take(reed, channels=channels, device=" desk microphone ", settings={"gaps": 0})
    recorder.begin(take)
    chunks = pieces(samples, 1024)
    for number in (*range(1, len(chunks)), 0, 3):  # out of order, and one sent twice
        recorder.put(reed, take.uuid, number, chunks[number])
    assert recorder.held(reed, take.uuid).frames == 10_001
    done = recorder.finish(reed, take.uuid, chunks=len(chunks), frames=10_001)
    (entry,) = done.entries
    payload = entry.payload
    assert isinstance(payload, Recording)
    assert (entry.uuid, entry.happened_at) == (take.uuid, take.begun_at)
    assert (payload.sample_rate, payload.device) == (RATE, "desk microphone")
    assert payload.settings == {"gaps": 0}
    exact = desk.sounds.read(desk.blobs.get(payload.original))
    assert np.array_equal(exact.sound, samples)
    kept = desk.sounds.read(desk.blobs.get(payload.digest))
    assert np.max(np.abs(kept.sound * payload.full_scale - samples)) <= payload.full_scale / 2**24
    assert exact.rate == kept.rate == RATE
    assert recorder.unfinished(reed) == ()


def test_finishing_twice_keeps_one(desk, recorder, reed):
    take = a_take(reed)
    recorder.begin(take)
    recorder.put(reed, take.uuid, 0, sound(4000).tobytes())
    first = recorder.finish(reed, take.uuid, chunks=1, frames=4000)
    second = recorder.finish(reed, take.uuid, chunks=1, frames=4000)
    assert first.entries == second.entries
    assert len(desk.records.entries(reed)) == 1
    with pytest.raises(Conflict, match="kept already"):
        recorder.begin(take)


def test_a_take_whose_recording_is_kept_is_not_offered_again(desk, recorder, reed):
    take = a_take(reed)
    recorder.begin(take)
    recorder.put(reed, take.uuid, 0, sound(4000).tobytes())
    recorder.finish(reed, take.uuid, chunks=1)
    desk.takes.begin(take)  # as if ended after the commit and before the chunks were dropped
    desk.takes.put(take.uuid, 0, sound(4000).tobytes())
    assert recorder.unfinished(reed) == ()
    assert desk.takes.all() == ()


def test_missing_chunks_and_samples_are_not_passed_over(desk, recorder, reed):
    take = a_take(reed)
    recorder.begin(take)
    chunks = pieces(sound(4000), 1000)
    for number in (0, 1, 3):
        recorder.put(reed, take.uuid, number, chunks[number])
    with pytest.raises(InputError, match="3 of 4 chunks are here"):
        recorder.finish(reed, take.uuid, chunks=4, frames=4000)
    with pytest.raises(InputError, match="3 of 3 chunks are here"):
        recorder.finish(reed, take.uuid, chunks=3, frames=3000)
    recorder.put(reed, take.uuid, 2, chunks[2])
    with pytest.raises(InputError, match="4000 samples are here and 4001 were recorded"):
        recorder.finish(reed, take.uuid, chunks=4, frames=4001)
    assert desk.records.entries(reed) == ()
    recorder.finish(reed, take.uuid, chunks=4, frames=4000)
    assert len(desk.records.entries(reed)) == 1


def test_an_unfinished_take_is_kept_up_to_its_first_gap_and_says_so(desk, recorder, reed):
    samples = sound(4000)
    take = a_take(reed)
    recorder.begin(take)
    chunks = pieces(samples, 1000)
    for number in (0, 1, 3):
        recorder.put(reed, take.uuid, number, chunks[number])
    (held,) = recorder.unfinished(reed)
    assert (held.take, held.chunks, held.frames) == (take, (0, 1, 3), 3000)
    (entry,) = recorder.finish(reed, take.uuid).entries
    assert entry.payload.settings == {"unfinished": True}
    kept = desk.sounds.read(desk.blobs.get(entry.payload.original)).sound
    assert np.array_equal(kept, samples[:2000])


def test_nothing_is_no_recording_and_can_be_dropped(recorder, reed):
    take = a_take(reed)
    recorder.begin(take)
    with pytest.raises(InputError, match="nothing of this take is here"):
        recorder.finish(reed, take.uuid)
    recorder.drop(reed, take.uuid)
    recorder.drop(reed, take.uuid)
    assert recorder.unfinished(reed) == ()
    with pytest.raises(NotFound):
        recorder.finish(reed, take.uuid)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"sound_of": "song"}, "choose crow, peep or notes"),
        ({"rate": 7_999}, "rate = 7999 Hz"),
        ({"rate": 10**9}, "rate = 1000000000 Hz"),
        ({"channels": 3}, "3 channels"),
        ({"begun_at": datetime(2026, 1, 1)}, "with its zone"),
        ({"device": "x" * 201}, "201 characters"),
        ({"device": "a\x00b"}, "control character"),
        ({"settings": {f"s{n}": n for n in range(41)}}, "41 settings"),
        ({"settings": {"<b>": 1}}, "no name of a setting"),
        ({"settings": {"label": "x" * 201}}, "setting label has 201"),
        ({"settings": {"latency": float("nan")}}, "setting latency = nan"),
        ({"settings": {"latency": 10**15}}, "up to 1e12"),
    ],
)
def test_what_cannot_be_is_not_begun(recorder, reed, changes, said):
    with pytest.raises(InputError, match=said):
        recorder.begin(a_take(reed, **changes))
    assert recorder.unfinished(reed) == ()


@pytest.mark.parametrize(
    ("number", "data", "said"),
    [
        (0, b"", "0 bytes"),
        (0, b"abc", "3 bytes"),
        (0, bytes(MOST_CHUNK + 4), f"{MOST_CHUNK + 4} bytes"),
        (-1, bytes(4), "chunk -1"),
        (10**9, bytes(4), "chunk 1000000000"),
        (0, np.array([np.nan], "<f4").tobytes(), "no sound"),
        (0, np.array([np.inf], "<f4").tobytes(), "no sound"),
        (0, np.array([17], "<f4").tobytes(), "no sound"),
    ],
)
def test_what_is_no_sound_is_refused(recorder, reed, number, data, said):
    take = a_take(reed)
    recorder.begin(take)
    with pytest.raises(InputError, match=said):
        recorder.put(reed, take.uuid, number, data)
    assert recorder.held(reed, take.uuid).chunks == ()


def test_a_take_has_an_end(recorder, reed):
    take = a_take(reed, rate=8_000)
    recorder.begin(take)
    most = int(LONGEST * 8_000)
    whole = MOST_CHUNK // 4
    for number in range(most // whole):
        recorder.put(reed, take.uuid, number, bytes(MOST_CHUNK))
    number, left = most // whole, most % whole
    with pytest.raises(InputError, match="may last 180 s"):
        recorder.put(reed, take.uuid, number, bytes(4 * (left + 1)))
    recorder.put(reed, take.uuid, number, bytes(4 * left))


def test_a_clock_that_is_wrong_loses_no_sound(desk, recorder, reed):
    take = a_take(reed, begun_at=datetime(2126, 1, 1, tzinfo=UTC))
    recorder.begin(take)
    recorder.begin(take)  # sent again, as its answer was lost
    recorder.put(reed, take.uuid, 0, sound(4000).tobytes())
    (entry,) = recorder.finish(reed, take.uuid, chunks=1).entries
    assert abs(entry.happened_at - datetime.now(UTC)) < timedelta(minutes=1)


def test_only_so_many_takes_wait(recorder, reed):
    takes = [a_take(reed) for _ in range(MOST_TAKES)]
    for take in takes:
        recorder.begin(take)
    recorder.begin(takes[0])
    with pytest.raises(CannotWrite, match=f"{MOST_TAKES} recordings wait"):
        recorder.begin(a_take(reed))


def test_a_take_belongs_to_its_reed(desk, recorder, reed):
    other = desk.add_reed("Tern").uuid
    take = a_take(reed)
    with pytest.raises(NotFound):
        recorder.begin(replace(take, reed=uuid4()))
    recorder.begin(take)
    for act in (
        lambda: recorder.put(other, take.uuid, 0, bytes(4)),
        lambda: recorder.held(other, take.uuid),
        lambda: recorder.finish(other, take.uuid),
    ):
        with pytest.raises(NotFound, match="another reed"):
            act()
    recorder.drop(other, take.uuid)
    assert len(recorder.unfinished(reed)) == 1
    assert recorder.unfinished(other) == ()


# --- where a test may end the process -----------------------------------------------------------


def test_nothing_ends_the_process_unless_asked():
    assert failpoint_of({}) is pass_by
    assert failpoint_of({VARIABLE: ""}) is pass_by


@pytest.mark.parametrize("asked", ["reply:sometime", "reply:before@x", "reply:before@-1", "1"])
def test_a_moment_that_does_not_exist_is_refused(asked):
    with pytest.raises(InputError, match="names no moment"):
        failpoint_of({VARIABLE: asked})


def test_the_process_ends_at_its_moment_the_time_it_was_asked_for(monkeypatch):
    ends: list[int] = []
    monkeypatch.setattr("crowlight.wiring.failpoints.os._exit", ends.append)
    end_at = failpoint_of({VARIABLE: "records:after-commit@2"})
    for moment in MOMENTS:
        end_at(moment)
    assert ends == []
    end_at("records:after-commit")
    end_at("records:after-commit")
    assert ends == [ENDED]
