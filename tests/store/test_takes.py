"""Recordings on their way in: whole chunks, once each, found again after an end in between."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid4

import pytest

from crowlight.bench.takes import Take
from crowlight.errors import CannotWrite, Conflict, NotFound
from crowlight.store import FileTakes


class EndedError(Exception):
    pass


@pytest.fixture
def takes(tmp_path: Path) -> FileTakes:
    return FileTakes(tmp_path / "takes")


def a_take(**changes: object) -> Take:
    take = Take(
        uuid=uuid4(),
        reed=uuid4(),
        sound_of="crow",
        rate=48_000,
        channels=1,
        begun_at=datetime(2026, 1, 2, 3, 4, 5, 678_901, tzinfo=UTC),
        device="desk microphone, 30 cm",
        settings={"echoCancellation": False, "rate": 44_100, "label": "µ", "latency": 0.01},
    )
    return replace(take, **changes)  # pyright: ignore[reportArgumentType]


def test_what_was_said_and_sent_is_there_after_opening_again(takes):
    take = a_take()
    takes.begin(take)
    for number in (1, 0, 2):
        takes.put(take.uuid, number, bytes([number]) * (4 + number))
    again = FileTakes(takes.folder)
    assert again.take(take.uuid) == take
    assert again.held(take.uuid) == {0: 4, 1: 5, 2: 6}
    assert list(again.held(take.uuid)) == [0, 1, 2]
    assert again.chunk(take.uuid, 1) == b"\1" * 5


def test_sending_again_changes_nothing_and_other_content_is_refused(takes):
    take = a_take()
    takes.begin(take)
    takes.begin(take)
    takes.put(take.uuid, 0, b"abcd")
    takes.put(take.uuid, 0, b"abcd")
    with pytest.raises(Conflict, match=r"chunk 0 .* other content"):
        takes.put(take.uuid, 0, b"abce")
    with pytest.raises(Conflict, match="says something else"):
        takes.begin(replace(take, rate=44_100))
    assert takes.chunk(take.uuid, 0) == b"abcd"
    assert takes.take(take.uuid).rate == 48_000


def test_what_was_never_begun_takes_no_chunk(takes):
    with pytest.raises(NotFound, match="no take"):
        takes.put(uuid4(), 0, b"abcd")
    assert takes.held(uuid4()) == {}
    assert takes.all() == ()
    take = a_take()
    takes.begin(take)
    with pytest.raises(NotFound, match=r"chunk 3 .* send it again"):
        takes.chunk(take.uuid, 3)


def test_takes_are_listed_by_their_beginning(takes):
    made = [a_take(begun_at=datetime(2026, 1, day, tzinfo=UTC)) for day in (3, 1, 2)]
    for take in made:
        takes.begin(take)
    (takes.folder / "notes.txt").write_text("somebody else's")
    assert [t.begun_at.day for t in takes.all()] == [1, 2, 3]


def test_a_dropped_take_is_gone_and_dropping_again_is_harmless(takes):
    take = a_take()
    takes.begin(take)
    takes.put(take.uuid, 0, b"abcd")
    takes.drop(take.uuid)
    takes.drop(take.uuid)
    assert takes.all() == ()
    assert list(takes.folder.iterdir()) == []
    takes.begin(replace(take, rate=44_100))  # nothing of it is left
    assert takes.held(take.uuid) == {}


def test_a_drop_that_was_cut_short_leaves_no_half_take(takes, monkeypatch):
    take = a_take()
    takes.begin(take)
    takes.put(take.uuid, 0, b"abcd")

    def ended(*_: object, **__: object) -> None:
        raise EndedError

    with monkeypatch.context() as patch:
        patch.setattr("crowlight.store.takes.shutil.rmtree", ended)
        with pytest.raises(EndedError):
            takes.drop(take.uuid)
    assert FileTakes(takes.folder).all() == ()
    assert list(takes.folder.iterdir()) == []


@pytest.mark.parametrize("moment", ["takes:before-rename", "takes:after-rename"])
def test_a_chunk_is_whole_or_not_there_and_may_be_sent_again(tmp_path, moment):
    take = a_take()
    FileTakes(tmp_path).begin(take)

    def end(point: str) -> None:
        if point == moment:
            raise EndedError

    with pytest.raises(EndedError):
        FileTakes(tmp_path, failpoint=end).put(take.uuid, 0, b"abcd")
    after = FileTakes(tmp_path)
    assert after.held(take.uuid) == ({} if "before" in moment else {0: 4})
    after.put(take.uuid, 0, b"abcd")
    assert after.held(take.uuid) == {0: 4}
    assert after.chunk(take.uuid, 0) == b"abcd"


def test_ended_before_it_was_begun_leaves_nothing_to_finish(tmp_path):
    take = a_take()

    def end(_: str) -> None:
        raise EndedError

    with pytest.raises(EndedError):
        FileTakes(tmp_path, failpoint=end).begin(take)
    assert [t.uuid for t in FileTakes(tmp_path).all()] in ([], [take.uuid])
    FileTakes(tmp_path).begin(take)
    assert FileTakes(tmp_path).all() == (take,)


def test_a_damaged_head_hides_no_other_take(takes):
    good, bad = a_take(), a_take()
    for take in (good, bad):
        takes.begin(take)
    (takes.folder / str(bad.uuid) / "about.json").write_text("{")
    assert takes.all() == (good,)
    assert (takes.folder / str(bad.uuid)).is_dir()


def test_a_folder_that_may_not_be_written_says_so(tmp_path, ordinary_user):
    folder = tmp_path / "takes"
    folder.mkdir(mode=0o500)
    with ordinary_user(), pytest.raises(CannotWrite, match="could not be written"):
        FileTakes(folder).begin(a_take(uuid=UUID(int=1)))
