"""From a table of readings to a judged reed, through the command line."""

import json
import math
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

TABLE = """\
# reed: Fulmar 3
# length_mm: 70.2
# state: wet
blade,from_tip_mm,across_mm,thickness_mm
marked,3,-2,0.24
marked,3,2,0.10
plain,3,-2,0.10
plain,3,2,0.11
marked,8,0,0.46
plain,8,0,0.47
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "fulmar.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_a_file_and_the_kept_reed_are_judged_alike(crowlight: Callable, table: Path) -> None:
    from_file = crowlight("assess", table, "--json")
    assert from_file.status == 0, from_file.err
    assert crowlight("import", table).status == 0
    kept = crowlight("assess", "Fulmar 3", "--json")
    assert json.loads(kept.out) == json.loads(from_file.out)
    found = json.loads(kept.out)
    assert found["unit"] == "mm"
    differing = [d for d in found["groups"][0]["differences"] if d["outcome"] == "differs"]
    assert found["differing"] == len(differing) > 0
    left_right = next(d for d in differing if d["pairing"] == "left-right")
    assert left_right["blade"] == "marked"
    assert math.isclose(left_right["difference_mm"], 0.14)
    assert math.isclose(left_right["from_tip_mm"], 3.0)
    assert left_right["low_mm"] > left_right["tolerance_mm"]


def test_plain_words_name_the_difference(crowlight: Callable, table: Path) -> None:
    said = crowlight("assess", table).out
    assert "0.140\N{NO-BREAK SPACE}mm" in said
    assert "marked" in said


def test_the_stated_uncertainty_of_the_length_is_kept(crowlight: Callable, table: Path) -> None:
    stated = TABLE.replace("# state", "# length_uncertainty_mm: 0.05\n# state")
    table.write_text(stated, encoding="utf-8")
    from_file = json.loads(crowlight("assess", table, "--json").out)
    crowlight("import", table)
    kept = json.loads(crowlight("assess", "Fulmar 3", "--json").out)
    assert kept["length_uncertainty_mm"] == from_file["length_uncertainty_mm"] == 0.05


def test_importing_twice_changes_nothing(crowlight: Callable, table: Path) -> None:
    assert "6 readings" in crowlight("import", table).out
    before = crowlight("assess", "Fulmar 3", "--json").out
    renamed = table.with_name("again.csv")
    renamed.write_text(TABLE.replace(",", ";").replace("0.", "0,"), encoding="utf-8")
    assert "nothing new" in crowlight("import", renamed).out
    assert crowlight("assess", "Fulmar 3", "--json").out == before


def test_a_bad_row_keeps_nothing(crowlight: Callable, table: Path) -> None:
    table.write_text(TABLE.replace("0.24", "-0.24"), encoding="utf-8")
    done = crowlight("import", table)
    assert done.status == 1
    assert "line 5: thickness = -0.24 mm must be above 0 mm; check the zero" in done.err
    assert "Traceback" not in done.err
    assert crowlight("reeds").out == ""


def test_an_unknown_reed_is_a_sentence_with_close_names(crowlight: Callable, table: Path) -> None:
    crowlight("import", table)
    done = crowlight("assess", "Fulmar 2")
    assert done.status == 1
    assert "Fulmar 3" in done.err
    assert "Traceback" not in done.err


def test_a_later_database_is_left_alone(crowlight: Callable, table: Path, tmp_path: Path) -> None:
    crowlight("import", table)
    path = tmp_path / "records" / "reeds.sqlite"
    with sqlite3.connect(path) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    database.close()
    done = crowlight("assess", "Fulmar 3")
    assert done.status == 1
    assert "later crowlight" in done.err


def test_a_folder_that_cannot_be_made(crowlight: Callable, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    done = crowlight("--folder", tmp_path / "file" / "records", "reeds")
    assert done.status == 1
    assert "cannot be made" in done.err
    assert "--folder" in done.err


def test_files_that_cannot_be_read(crowlight: Callable, tmp_path: Path) -> None:
    done = crowlight("import", tmp_path / "none.csv")
    assert done.status == 1
    assert "cannot be read" in done.err


def test_report_is_one_file(crowlight: Callable, table: Path, tmp_path: Path) -> None:
    crowlight("import", table)
    to = tmp_path / "reports" / "fulmar.html"
    assert crowlight("report", "Fulmar 3", "--to", to).status == 0
    page = to.read_text(encoding="utf-8")
    assert "<svg" in page
    assert "Fulmar 3" in page
    assert "<script" not in page
    assert not [part for part in ('src="http', 'href="http', "url(http") if part in page]


def test_verify_lists_published_cases(crowlight: Callable) -> None:
    done = crowlight("verify", "--json")
    assert done.status == 0
    checks = json.loads(done.out)
    assert len(checks) >= 3
    assert set(checks[0]) == {"name", "value", "expected", "tolerance", "unit", "source", "ok"}
    assert all(c["ok"] for c in checks)


def test_verify_fails_when_a_case_is_off(
    crowlight: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    from crowlight import checks

    off = checks.Check("one", 1.0, 2.0, 0.1, "1", "closed form")
    monkeypatch.setattr(checks, "all_cases", lambda: iter([off]))
    done = crowlight("verify")
    assert done.status == 1
    assert "FAIL one" in done.out


def test_a_fault_of_our_own_is_a_sentence_too(
    crowlight: Callable, monkeypatch: pytest.MonkeyPatch, table: Path
) -> None:
    from crowlight import wiring

    def broken(*_: object, **__: object) -> None:
        msg = "broken on purpose"
        raise RuntimeError(msg)

    monkeypatch.setattr(wiring, "assess_file", broken)
    done = crowlight("assess", table)
    assert done.status == 70
    assert "fault of its own (RuntimeError: broken on purpose)" in done.err
    assert "Traceback" not in done.err


def test_air_at_a_place(crowlight: Callable) -> None:
    found = json.loads(crowlight("air", "--altitude", 1000, "--json").out)
    # ISO 2533, 1000 m geometric: 89 876 Pa
    assert abs(found["pressure_pa"] - 89_876) < 1
    assert found["pressure_from"] == "altitude"
    assert found["density_kg_m3"] < 1.1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--altitude", 9000), "9000"),
        (("--altitude", 5, "--humidity", 120), "120|1.2"),
        (("--altitude", 5, "--temperature", 70), "Fahrenheit"),
    ],
)
def test_doubtful_air_is_asked_about(crowlight: Callable, arguments: tuple, said: str) -> None:
    done = crowlight("air", *arguments)
    assert done.status == 1
    assert any(part in done.err for part in said.split("|"))
