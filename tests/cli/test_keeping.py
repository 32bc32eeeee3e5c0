"""Export, backup and restore through the command line."""

import csv
import errno
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from crowlight.bench.desk import Desk
from crowlight.bench.ports import NewReed
from crowlight.errors import NotFound
from crowlight.store import SqlRecords

TABLE = """\
# reed: =HYPERLINK("x")
blade,from_rim_mm,across_mm,thickness_mm
marked,67,-2,0.14
marked,67,2,0.10
"""


@pytest.fixture
def kept(crowlight: Callable, tmp_path: Path) -> Callable:
    path = tmp_path / "t.csv"
    path.write_text(TABLE, encoding="utf-8")
    assert crowlight("import", path).status == 0
    return crowlight


def test_export_is_everything_and_runs_nothing(kept: Callable, tmp_path: Path) -> None:
    to = tmp_path / "out"
    done = kept("export", to)
    assert done.status == 0, done.err
    with (to / "reading.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(r["thickness [m]"]) for r in rows] == pytest.approx([0.14e-3, 0.10e-3])
    with (to / "reed.csv").open(encoding="utf-8-sig", newline="") as file:
        (reed,) = csv.DictReader(file)
    # a spreadsheet must not take the name for a formula
    assert reed["name"].endswith('=HYPERLINK("x")')
    assert not reed["name"].startswith("=")
    assert kept("export", to).status == 1  # never over what is there


def test_backup_comes_back(kept: Callable, tmp_path: Path) -> None:
    file = tmp_path / "all.crowlight"
    before = kept("reeds").out
    assert kept("backup", file).status == 0
    refused = kept("restore", file)
    assert refused.status == 1
    assert "--replace" in refused.err or "already" in refused.err
    done = kept("--folder", tmp_path / "other", "restore", file)
    assert done.status == 0, done.err
    assert kept("--folder", tmp_path / "other", "reeds").out == before
    assert kept("restore", file, "--replace").status == 0
    assert kept("reeds").out == before


def test_a_damaged_backup_changes_nothing(kept: Callable, tmp_path: Path) -> None:
    file = tmp_path / "all.crowlight"
    kept("backup", file)
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 0xFF
    file.write_bytes(data)
    before = kept("reeds").out
    done = kept("restore", file, "--replace")
    assert done.status == 1
    assert "Traceback" not in done.err
    assert kept("reeds").out == before


def test_a_reed_added_by_another_import_meanwhile_is_taken(
    crowlight: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "t.csv"
    path.write_text(TABLE, encoding="utf-8")
    find = SqlRecords.reed

    def late(records: SqlRecords, key: Any) -> Any:
        try:
            return find(records, key)
        except NotFound:
            records.add_reed(NewReed(uuid=uuid4(), name=str(key)))
            raise

    monkeypatch.setattr(SqlRecords, "reed", late)
    done = crowlight("import", path)
    assert done.status == 0, done.err
    assert "2 readings" in done.out
    assert "new reed" not in done.out
    assert len(crowlight("reeds").out.splitlines()) == 1


def test_a_fault_says_what_stays_kept(
    crowlight: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Desk, "import_table", fails)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    path = tmp_path / "t.csv"
    path.write_text(TABLE, encoding="utf-8")
    done = crowlight("import", path)
    assert done.status == 70
    # several tables are several writes: it may not be said that nothing was written
    assert "Nothing" not in done.err
    assert "whole or not at all" in done.err
    (told,) = tmp_path.glob("crowlight-*.txt")
    assert str(told) in done.err
    assert "ZeroDivisionError" in told.read_text(encoding="utf-8")


def test_a_fault_with_a_full_temporary_folder_is_told(
    crowlight: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Desk, "import_table", fails)
    monkeypatch.setattr(tempfile, "NamedTemporaryFile", full)
    path = tmp_path / "t.csv"
    path.write_text(TABLE, encoding="utf-8")
    done = crowlight("import", path)
    assert done.status == 70
    assert "No space left" in done.err
    assert "test_keeping.py" in done.err  # where it happened
    assert "Traceback" not in done.err


ENDED = """
import signal, time
from crowlight.store import backup

def ends(*_):
    signal.raise_signal(signal.SIGTERM)
    time.sleep(1)

backup._add_blobs = ends
from crowlight.cli import main
main()
"""


def test_a_backup_ended_from_outside_leaves_nothing(kept: Callable, tmp_path: Path) -> None:
    to = tmp_path / "to"
    to.mkdir()
    done = subprocess.run([sys.executable, "-c", ENDED, "backup", str(to / "all.crowlight")])
    assert done.returncode == 143
    assert list(to.iterdir()) == []  # neither half a backup nor a copy of the records
