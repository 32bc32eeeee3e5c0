"""Backup and restore, on SQLite and on PostgreSQL."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import Connection
from tests.filled_records import SOUNDS, content, fill, said

from crowlight.bench.kinds import ReadingsTaken
from crowlight.bench.ports import Clock, Maker, NewReed
from crowlight.errors import Cancelled, CannotWrite, Conflict
from crowlight.reed import Blade, Place, Reading
from crowlight.store import (
    FileBlobs,
    SqlRecords,
    open_records,
    restore_backup,
    write_backup,
)
from crowlight.store.dump import copy_rows
from crowlight.store.schema import metadata

Kept = tuple[SqlRecords, str]


def test_there_and_back(
    kept: Kept, empty: str, blobs: FileBlobs, archive: Path, tmp_path: Path, clock: Clock
) -> None:
    records, _ = kept
    fractions: list[float] = []
    done = write_backup(records, blobs, archive, report=fractions.append)
    assert (done.path, done.size, done.blobs) == (archive, archive.stat().st_size, 3)
    assert done.damaged == done.absent == ()
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
    assert list(archive.parent.iterdir()) == [archive]
    new_blobs = FileBlobs(tmp_path / "new blobs")
    fractions.clear()
    restored = restore_backup(archive, empty, new_blobs, report=fractions.append)
    assert (restored.blobs, restored.set_aside) == (3, None)
    assert fractions[-1] == 1.0
    assert list(new_blobs.digests()) == list(blobs.digests())
    assert [new_blobs.get(blobs.put(sound)) for sound in SOUNDS] == SOUNDS
    with open_records(empty, clock) as again:
        assert content(again) == content(records)
        assert again.rebuild_summaries() == 0
        # The work goes on: new numbers do not collide with restored ones.
        reed = again.add_reed(NewReed(uuid=uuid4(), name="R 3"))
        again.add_person(Maker(uuid=uuid4(), name="Bo"))
        again.append(reed.uuid, [said("on")])
        assert again.append(again.reed("R 1").uuid, [said("on")]).entries[0].seq == 6


def test_a_backup_is_of_one_moment(
    postgresql: str,
    new_database: Callable[[], str],
    blobs: FileBlobs,
    archive: Path,
    clock: Clock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is written between the copying of two tables is not in the backup at all."""
    copied: list[str] = []
    with open_records(postgresql, clock) as records, open_records(postgresql, clock) as other:
        reed = fill(records, blobs)
        before = content(records)

        def interrupted(connection: Connection, table: str, columns: list[str]) -> object:
            rows = list(copy_rows(connection, table, columns))
            copied.append(table)
            other.add_person(Maker(uuid=uuid4(), name=f"after {table}"))
            taken = (Reading(Place(Blade.PLAIN, 0.065, 0.0), 0.5e-3),)
            other.append(reed.uuid, [said("", payload=ReadingsTaken(), readings=taken)])
            return rows

        monkeypatch.setattr("crowlight.store.backup.copy_rows", interrupted)
        write_backup(records, blobs, archive)
        assert sorted(copied) == sorted(metadata.tables)
        assert content(records) != before
    second = new_database()
    restore_backup(archive, second, blobs)
    with open_records(second, clock) as again:
        assert content(again) == before


def test_a_backup_while_somebody_is_writing(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path, tmp_path: Path
) -> None:
    """Half a sending, held open while the copy is made, is not in the backup."""
    fill(sqlite_records, blobs)
    before = content(sqlite_records)
    path = sqlite_records.database.path
    assert path is not None
    with closing(sqlite3.connect(path)) as other:
        other.execute("INSERT INTO person (uuid) VALUES ('00000000000000000000000000000001')")
        write_backup(sqlite_records, blobs, archive)
    restore_backup(archive, tmp_path / "again.sqlite", blobs)
    with open_records(tmp_path / "again.sqlite", sqlite_records.clock) as again:
        assert content(again) == before
        with again.database.read() as connection:
            assert connection.exec_driver_sql("SELECT count(*) FROM person").scalar() == 1


def test_records_that_are_there_are_not_overwritten_unasked(
    kept: Kept, blobs: FileBlobs, archive: Path
) -> None:
    records, where = kept
    write_backup(records, blobs, archive)
    records.append(records.reed("R 1").uuid, [said("newer than the backup")])
    before = content(records)
    with pytest.raises(Conflict, match="holds records already; nothing was changed"):
        restore_backup(archive, where, blobs)
    assert content(records) == before


def test_overwriting_when_asked(kept: Kept, blobs: FileBlobs, archive: Path) -> None:
    records, where = kept
    write_backup(records, blobs, archive)
    old = content(records)
    records.append(records.reed("R 1").uuid, [said("newer than the backup")])
    newer = content(records)
    restored = restore_backup(archive, where, blobs, overwrite=True)
    assert content(records) == old  # also for a program that has it open
    if restored.set_aside is not None:
        with open_records(restored.set_aside, records.clock) as aside:
            assert content(aside) == newer


def test_set_aside_twice(sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path) -> None:
    fill(sqlite_records, blobs)
    write_backup(sqlite_records, blobs, archive)
    path = sqlite_records.database.path
    assert path is not None
    first = restore_backup(archive, path, blobs, overwrite=True).set_aside
    second = restore_backup(archive, path, blobs, overwrite=True).set_aside
    assert (first, second) == (
        path.with_name("reeds.sqlite.before-restore-1"),
        path.with_name("reeds.sqlite.before-restore-2"),
    )


def test_a_damaged_database_is_set_aside_and_replaced(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path, tmp_path: Path, clock: Clock
) -> None:
    fill(sqlite_records, blobs)
    write_backup(sqlite_records, blobs, archive)
    broken = tmp_path / "c" / "reeds.sqlite"
    broken.parent.mkdir()
    broken.write_bytes(b"\xab" * 9000)
    with pytest.raises(Conflict, match="holds records already"):
        restore_backup(archive, broken, blobs)
    restored = restore_backup(archive, broken, blobs, overwrite=True)
    assert restored.set_aside is not None
    assert restored.set_aside.read_bytes() == b"\xab" * 9000
    with open_records(broken, clock) as again:
        assert content(again) == content(sqlite_records)


# --- things that go wrong on the way --------------------------------------------------------------


def test_an_existing_file_is_not_overwritten(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path
) -> None:
    archive.write_text("my holiday pictures")
    with pytest.raises(Conflict, match="is there already; choose another name"):
        write_backup(sqlite_records, blobs, archive)
    assert archive.read_text() == "my holiday pictures"


def test_a_folder_that_is_not_there(
    sqlite_records: SqlRecords, blobs: FileBlobs, tmp_path: Path
) -> None:
    with pytest.raises(CannotWrite, match=r"could not be written .No such file"):
        write_backup(sqlite_records, blobs, tmp_path / "none" / "all.zip")


def test_a_damaged_sound_does_not_keep_the_rest_out(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path, tmp_path: Path
) -> None:
    fill(sqlite_records, blobs)
    digest = blobs.put(SOUNDS[1])
    (blobs.folder / digest[:2] / digest).write_bytes(b"rotten")
    done = write_backup(sqlite_records, blobs, archive)
    assert (done.blobs, done.damaged) == (2, (digest,))
    new_blobs = FileBlobs(tmp_path / "new blobs")
    restore_backup(archive, tmp_path / "new.sqlite", new_blobs)
    assert len(list(new_blobs.digests())) == 2


def test_a_sound_that_is_not_there_is_reported(
    records: SqlRecords, blobs: FileBlobs, archive: Path
) -> None:
    fill(records, blobs)
    digest = blobs.put(SOUNDS[0])
    (blobs.folder / digest[:2] / digest).unlink()
    done = write_backup(records, blobs, archive)
    assert (done.blobs, done.damaged, done.absent) == (2, (), (digest,))


@pytest.mark.parametrize("moment", [0.5, 1.0])
def test_stopping_a_backup_leaves_nothing(
    kept: Kept, blobs: FileBlobs, archive: Path, moment: float
) -> None:
    def stop(fraction: float) -> None:
        if fraction >= moment:
            raise Cancelled

    with pytest.raises(Cancelled):
        write_backup(kept[0], blobs, archive, report=stop)
    assert list(archive.parent.iterdir()) == []


def test_a_full_disk_while_backing_up(
    kept: Kept, blobs: FileBlobs, archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_number: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_backup(kept[0], blobs, archive)
    assert list(archive.parent.iterdir()) == []


def test_a_failing_restoration_leaves_the_records(
    kept: Kept, blobs: FileBlobs, archive: Path
) -> None:
    records, where = kept
    write_backup(records, blobs, archive)
    records.append(records.reed("R 1").uuid, [said("newer")])
    before = content(records)

    def fail(point: str) -> None:
        if point == "restore:before-database":
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises((OSError, CannotWrite), match="No space left"):
        restore_backup(archive, where, blobs, overwrite=True, failpoint=fail)
    assert content(records) == before


def test_a_database_in_use_is_waited_for_but_not_for_ever(
    sqlite_records: SqlRecords,
    blobs: FileBlobs,
    archive: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("crowlight.store.snapshot.WAIT", 0.3)
    fill(sqlite_records, blobs)
    write_backup(sqlite_records, blobs, archive)
    before = content(sqlite_records)
    path = sqlite_records.database.path
    assert path is not None
    with closing(sqlite3.connect(path)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(CannotWrite, match="another program"):
            restore_backup(archive, path, blobs, overwrite=True)
    assert content(sqlite_records) == before


DYING = """
import os, sys
from pathlib import Path
from crowlight.store import FileBlobs, restore_backup

archive, where, blobs, moment = sys.argv[1:]

def die(point):
    if point == moment:
        os._exit(41)

restore_backup(Path(archive), where, FileBlobs(Path(blobs)), overwrite=True, failpoint=die)
"""


@pytest.mark.parametrize("moment", ["checked", "before-database", "after-database"])
def test_the_process_ends_while_restoring(
    kept: Kept, blobs: FileBlobs, archive: Path, moment: str
) -> None:
    records, where = kept
    write_backup(records, blobs, archive)
    old = content(records)
    records.append(records.reed("R 1").uuid, [said("newer")])
    newer = content(records)
    done = subprocess.run(
        [
            *(sys.executable, "-c", DYING),
            *(str(archive), where, str(blobs.folder), f"restore:{moment}"),
        ]
    )
    assert done.returncode == 41
    assert content(records) == (old if moment == "after-database" else newer)


def test_a_backup_can_be_copied_about(
    kept: Kept, empty: str, blobs: FileBlobs, archive: Path
) -> None:
    records, _ = kept
    write_backup(records, blobs, archive)
    moved = Path(shutil.copy(archive, archive.with_name("copy of all (2).zip")))
    restore_backup(moved, empty, blobs)
    with open_records(empty, records.clock) as again:
        assert content(again) == content(records)
