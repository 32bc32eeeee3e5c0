"""Export, backup and restore through the command line."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

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
