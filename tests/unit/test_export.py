"""Everything a user owns, written for other programs."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crowlight.errors import CannotWrite, Conflict, NotFound
from crowlight.files.export import cell, write_export

DIGEST, OTHER = "a" * 64, "b" * 64
ROWS: list[tuple[str, Mapping[str, Any]]] = [
    ("maker", {"uuid": "u1", "name": "=HYPERLINK(1)", "hand": ""}),
    ("maker", {"uuid": "u2", "name": 'Zoë, "Ann"\nTwo', "hand": "left"}),
    ("entry", {"uuid": "e1", "seq": 1, "payload": {"digest": DIGEST, "original": OTHER}}),
    ("entry", {"uuid": "e2", "seq": 2, "payload": {"digest": DIGEST, "settings": {"gain": 0.1}}}),
    ("reading", {"entry": "e1", "thickness": 0.46e-3, "across": -1e-3 / 3, "minutes_wet": None}),
]


def table(folder: Path, name: str) -> list[list[str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def test_every_table_comes_as_csv_and_json(tmp_path: Path) -> None:
    done = write_export(iter(ROWS), tmp_path / "mine")
    assert done.rows == {"maker": 2, "entry": 2, "reading": 1}
    names = ["entry", "maker", "reading"]
    assert sorted(p.name for p in done.path.iterdir()) == sorted(
        f"{n}.{end}" for n in names for end in ("csv", "json")
    )
    for name in names:
        exact = json.loads((done.path / f"{name}.json").read_text(encoding="utf-8"))
        assert (exact["format"], exact["version"], exact["table"]) == ("crowlight export", 1, name)
        assert exact["rows"] == [row for table_name, row in ROWS if table_name == name]
    assert [p.name for p in tmp_path.iterdir()] == ["mine"]


def test_columns_say_their_unit_and_numbers_are_exact(tmp_path: Path) -> None:
    done = write_export(ROWS, tmp_path / "mine")
    head, row = table(done.path, "reading")
    assert head == ["entry", "thickness [m]", "across [m]", "minutes_wet [min]"]
    assert [float(n) for n in row[1:3]] == [0.46e-3, -1e-3 / 3]
    assert row[3] == ""
    units = json.loads((done.path / "reading.json").read_text())["units"]
    assert units == {"thickness": "m", "across": "m", "minutes_wet": "min"}


def test_text_survives_and_formulas_do_not_run(tmp_path: Path) -> None:
    done = write_export(ROWS, tmp_path / "mine")
    assert table(done.path, "maker")[1:] == [
        ["u1", "'=HYPERLINK(1)", ""],
        ["u2", 'Zoë, "Ann"\nTwo', "left"],
    ]


@pytest.mark.parametrize(
    "text", ["=1", "+1", "-1", "@a", "\ta", "\ra", "\na", "\uff1d1", "\uff0b", "\uff0d3", "\uff20"]
)
def test_a_text_that_a_spreadsheet_would_run(text: str) -> None:
    # OWASP, "CSV Injection": the characters that begin a formula.
    assert cell(text) == f"'{text}"


@given(st.floats(allow_nan=False, allow_infinity=False) | st.integers())
def test_numbers_are_untouched(number: float) -> None:
    out = io.StringIO()
    csv.writer(out).writerow([cell(number)])
    assert type(number)(out.getvalue()) == number


@given(st.text())
def test_no_cell_ever_begins_a_formula(text: str) -> None:
    assert not str(cell(text)).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert str(cell(text)).removeprefix("'") == text.removeprefix("'")


def test_a_payload_is_json_in_its_cell(tmp_path: Path) -> None:
    done = write_export(ROWS, tmp_path / "mine")
    assert json.loads(table(done.path, "entry")[2][2]) == ROWS[3][1]["payload"]


def test_a_zip_archive_holds_the_same(tmp_path: Path) -> None:
    folder = write_export(ROWS, tmp_path / "mine", blob=lambda d: d.encode()).path
    packed = write_export(ROWS, tmp_path / "mine.ZIP", blob=lambda d: d.encode()).path
    with zipfile.ZipFile(packed) as archive:
        assert archive.testzip() is None
        found = {name: archive.read(name) for name in archive.namelist()}
    there = {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }
    assert found == there


def test_sounds_and_pictures_come_along(tmp_path: Path) -> None:
    def blob(digest: str) -> bytes:
        if digest == OTHER:
            raise NotFound
        return b"sound"

    done = write_export(ROWS, tmp_path / "mine", blob=blob)
    assert (done.blobs, done.missing) == (1, (OTHER,))
    assert (done.path / "sounds-and-pictures" / DIGEST).read_bytes() == b"sound"


def test_what_is_there_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "notes").write_text("mine")
    for target in (tmp_path, tmp_path / "notes"):
        with pytest.raises(Conflict, match="is there already; choose another name"):
            write_export(ROWS, target)
    assert (tmp_path / "notes").read_text() == "mine"
    (tmp_path / "empty").mkdir()
    assert write_export(ROWS, tmp_path / "empty").rows["maker"] == 2


def test_a_failure_leaves_nothing(tmp_path: Path) -> None:
    def rows() -> Any:
        yield ROWS[0]
        raise OSError(28, "No space left on device")

    with pytest.raises(CannotWrite, match=r"could not be written .No space left"):
        write_export(rows(), tmp_path / "mine")
    assert list(tmp_path.iterdir()) == []


def test_nothing_to_export(tmp_path: Path) -> None:
    done = write_export([], tmp_path / "mine")
    assert done.rows == {}
    assert list(done.path.iterdir()) == []
