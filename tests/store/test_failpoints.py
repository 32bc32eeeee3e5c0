"""The moments at which a test may end the process."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest

from crowlight.bench.kinds import Note
from crowlight.bench.ports import Clock, NewEntry, NewReed
from crowlight.bench.takes import Take
from crowlight.store import (
    FileBlobs,
    FileResults,
    FileTakes,
    open_records,
    restore_backup,
    write_backup,
)
from crowlight.store.failpoints import FAILPOINTS


def a_take() -> Take:
    return Take(
        uuid=uuid4(),
        reed=uuid4(),
        sound_of="crow",
        rate=48_000,
        channels=1,
        begun_at=datetime.now(UTC),
    )


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_every_moment_is_listed_and_comes(
    kind: str, request: pytest.FixtureRequest, tmp_path: Path, clock: Clock
) -> None:
    first, second = str(tmp_path / "a.sqlite"), str(tmp_path / "b.sqlite")
    if kind == "postgresql":
        first, second = (request.getfixturevalue("new_database")() for _ in range(2))
    passed: list[str] = []
    blobs = FileBlobs(tmp_path / "blobs", failpoint=passed.append)
    blobs.put(b"sound")
    FileResults(tmp_path / "computed", failpoint=passed.append).put("a", b"1")
    with open_records(first, clock, failpoint=passed.append) as records:
        reed = records.add_reed(NewReed(uuid=uuid4(), name="R 1"))
        passed.clear()
        note = NewEntry(uuid=uuid4(), payload=Note(text="x"), happened_at=datetime.now(UTC))
        records.append(reed.uuid, [note])
        assert passed == ["records:before-commit", "records:after-commit"]
        blobs.put(b"picture")
        FileResults(tmp_path / "computed", failpoint=passed.append).put("b", b"2")
        FileTakes(tmp_path / "takes", failpoint=passed.append).begin(a_take())
        write_backup(records, blobs, tmp_path / "all.zip", failpoint=passed.append)
    restore_backup(tmp_path / "all.zip", second, blobs, failpoint=passed.append)
    assert passed == list(FAILPOINTS)
