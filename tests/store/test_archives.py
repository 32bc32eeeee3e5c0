"""Archives that are damaged, foreign, or made to do harm."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from tests.filled_records import content, fill

from crowlight.bench.ports import Clock
from crowlight.errors import NewerDatabase, RecordsError
from crowlight.store import (
    FileBlobs,
    SqlRecords,
    open_records,
    restore_backup,
    write_backup,
)

Kept = tuple[SqlRecords, str]


# --- archives that are not right ------------------------------------------------------------------


def rewritten(archive: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    """Write the archive anew with changed parts: as somebody might who means harm."""
    with zipfile.ZipFile(archive) as file:
        parts = {name: file.read(name) for name in file.namelist()}
    change(parts)
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name, data)


def drop_a_blob(parts: dict[str, bytes]) -> None:
    del parts[next(name for name in parts if name.startswith("blobs/"))]


def add_a_part(parts: dict[str, bytes]) -> None:
    parts["../../outside"] = b"x"


def change_the_database(parts: dict[str, bytes]) -> None:
    name = next(name for name in parts if name.startswith("database/") and parts[name])
    parts[name] = parts[name][:-1] + bytes([parts[name][-1] ^ 1])


def change_a_blob(parts: dict[str, bytes]) -> None:
    name = next(name for name in parts if name.startswith("blobs/") and parts[name])
    parts[name] = parts[name][:-1] + b"!"


def manifest(**changes: object) -> Callable[[dict[str, bytes]], None]:
    def change(parts: dict[str, bytes]) -> None:
        given = json.loads(parts["manifest.json"])
        parts["manifest.json"] = json.dumps(given | changes).encode()

    return change


def escaping_part(parts: dict[str, bytes]) -> None:
    given = json.loads(parts["manifest.json"])
    name = next(name for name in parts if name.startswith("blobs/"))
    parts["blobs/../../x"] = parts.pop(name)
    given["parts"]["blobs/../../x"] = given["parts"].pop(name)
    parts["manifest.json"] = json.dumps(given).encode()


def no_manifest(parts: dict[str, bytes]) -> None:
    del parts["manifest.json"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (drop_a_blob, "does not hold what its manifest says"),
        (add_a_part, "does not hold what its manifest says"),
        (change_the_database, "has changed since it was made"),
        (change_a_blob, "has changed since it was made"),
        (escaping_part, "is not as its manifest says"),
        (no_manifest, "its manifest cannot be read"),
        (manifest(format="other"), "its format is 'other'"),
        (manifest(version=2), "made by a later crowlight"),
        pytest.param(manifest(parts=[]), "its manifest cannot be read", id="parts"),
        (manifest(parts={}), "its manifest contradicts itself"),
        pytest.param(manifest(database={}), "its manifest cannot be read", id="database"),
        (
            manifest(database={"kind": "x", "revision": "0001", "columns": {}}),
            "unknown kind 'x'",
        ),
    ],
)
def test_an_archive_that_is_not_right_changes_nothing(
    kept: Kept,
    blobs: FileBlobs,
    archive: Path,
    tmp_path: Path,
    change: Callable[[dict[str, bytes]], None],
    message: str,
) -> None:
    records, where = kept
    write_backup(records, blobs, archive)
    rewritten(archive, change)
    before = content(records)
    new_blobs = FileBlobs(tmp_path / "new blobs")
    with pytest.raises(RecordsError, match=message):
        restore_backup(archive, where, new_blobs, overwrite=True)
    assert content(records) == before
    assert not new_blobs.folder.exists()


def test_a_database_part_of_rubbish(
    kept: Kept, blobs: FileBlobs, archive: Path, tmp_path: Path
) -> None:
    """The digests agree, and yet it is no database: still nothing is changed."""
    records, where = kept
    write_backup(records, blobs, archive)

    def rubbish(parts: dict[str, bytes]) -> None:
        given = json.loads(parts["manifest.json"])
        for name in ("database/reeds.sqlite", "database/reed.copy"):
            if name in parts:
                parts[name] = b"SQLite format 3\x00\tR 1\n" * 300
                given["parts"][name] = {
                    "bytes": len(parts[name]),
                    "sha256": hashlib.sha256(parts[name]).hexdigest(),
                }
        parts["manifest.json"] = json.dumps(given).encode()

    rewritten(archive, rubbish)
    before = content(records)
    with pytest.raises(RecordsError, match=r"the database in the backup is damaged|cannot be used"):
        restore_backup(archive, where, FileBlobs(tmp_path / "new"), overwrite=True)
    assert content(records) == before


def test_a_damaged_byte_anywhere_is_noticed(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path, tmp_path: Path
) -> None:
    fill(sqlite_records, blobs)
    write_backup(sqlite_records, blobs, archive)
    good = archive.read_bytes()
    with zipfile.ZipFile(archive) as file:
        spans = [
            (info.header_offset + 30 + len(info.filename), info.compress_size)
            for info in file.infolist()
        ]
    places = [start + 20 + size * k // 7 for start, size in spans for k in range(7) if size > 60]
    assert len(places) > 20
    new = tmp_path / "new" / "reeds.sqlite"
    for place in places:
        archive.write_bytes(good[:place] + bytes([good[place] ^ 0x55]) + good[place + 1 :])
        with pytest.raises(RecordsError, match="damaged or not ours"):
            restore_backup(archive, new, FileBlobs(tmp_path / "new"))
    for length in (0, 10, len(good) // 2, len(good) - 1):
        archive.write_bytes(good[:length])
        with pytest.raises(RecordsError, match="damaged or not ours"):
            restore_backup(archive, new, FileBlobs(tmp_path / "new"))
    assert not new.parent.exists()
    archive.write_bytes(good)
    restore_backup(archive, new, FileBlobs(tmp_path / "new"))


def test_no_archive_there(tmp_path: Path, blobs: FileBlobs) -> None:
    with pytest.raises(RecordsError, match=r"cannot be read .No such file"):
        restore_backup(tmp_path / "none.zip", tmp_path / "reeds.sqlite", blobs)


def test_a_backup_of_a_later_version(
    kept: Kept, empty: str, blobs: FileBlobs, archive: Path
) -> None:
    records, _ = kept
    write_backup(records, blobs, archive)

    def later(parts: dict[str, bytes]) -> None:
        given = json.loads(parts["manifest.json"])
        given["database"]["revision"] = "0999"
        parts["manifest.json"] = json.dumps(given).encode()

    rewritten(archive, later)
    with pytest.raises(NewerDatabase, match="was made by a later crowlight"):
        restore_backup(archive, empty, blobs)


def test_over_the_database_of_a_later_version(
    sqlite_records: SqlRecords, blobs: FileBlobs, archive: Path, tmp_path: Path, clock: Clock
) -> None:
    fill(sqlite_records, blobs)
    write_backup(sqlite_records, blobs, archive)
    later = tmp_path / "later.sqlite"
    open_records(later, clock).close()
    with closing(sqlite3.connect(later)) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '0999'")
        raw.commit()
    before = later.read_bytes()
    with pytest.raises(NewerDatabase, match="later crowlight"):
        restore_backup(archive, later, blobs, overwrite=True)
    assert later.read_bytes() == before


def test_the_other_kind_of_database(
    kept: Kept, blobs: FileBlobs, archive: Path, tmp_path: Path
) -> None:
    records, _ = kept
    write_backup(records, blobs, archive)
    other = "postgresql://maker@/x" if records.database.path else str(tmp_path / "x.sqlite")
    with pytest.raises(
        RecordsError, match=r"is of a (sqlite|postgresql) database; restore it into"
    ):
        restore_backup(archive, other, blobs)
    assert not (tmp_path / "x.sqlite").exists()
