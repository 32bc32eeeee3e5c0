"""The command line counts positions as it is told."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

TABLE = """\
# reed: Fulmar 3
# length_mm: 70.2
# thread_top_mm: 47
# state: wet
blade,from_tip_mm,across_mm,thickness_mm
marked,3,-2,0.24
marked,3,2,0.10
"""
COUNTS = {
    "tip": "3.0\u00a0mm from the tip",
    "rim": "67.2\u00a0mm from the bottom rim",
    "thread": "20.2\u00a0mm from the thread top",
}


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "fulmar.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_a_table_the_kept_reed_and_its_report_count_alike(
    crowlight: Callable, table: Path, tmp_path: Path
) -> None:
    assert crowlight("import", table).status == 0
    for code, said in COUNTS.items():
        from_table = crowlight("assess", table, "--from", code)
        assert from_table.status == 0, from_table.err
        assert said in from_table.out
        assert crowlight("assess", "Fulmar 3", "--from", code).out == from_table.out
        page = tmp_path / f"{code}.html"
        assert crowlight("report", "Fulmar 3", "--to", page, "--from", code).status == 0
        written = page.read_text(encoding="utf-8")
        assert f"{said}, 2.0\u00a0mm from the centreline" in written
    assert crowlight("assess", table).out == crowlight("assess", table, "--from", "tip").out


def test_the_uncertainty_in_the_head_of_a_table_is_carried(
    crowlight: Callable, table: Path
) -> None:
    table.write_text("# length_uncertainty_mm: 0.4\n" + TABLE, encoding="utf-8")
    assert "±0.40\u00a0mm from the length" in crowlight("assess", table).out
    assert "±" not in crowlight("assess", table, "--from", "rim").out.splitlines()[1]


def test_another_count_is_refused_with_those_there_are(crowlight: Callable, table: Path) -> None:
    refused = crowlight("assess", table, "--from", "heel")
    assert refused.status == 2
    for code in COUNTS:
        assert code in refused.err


def test_two_moments_are_compared_in_the_same_count(crowlight: Callable, table: Path) -> None:
    assert crowlight("import", table).status == 0
    again = table.with_name("again.csv")
    again.write_text(TABLE.replace("0.24", "0.20"), encoding="utf-8")
    assert crowlight("import", again).status == 0
    last = crowlight("compare", "Fulmar 3", 0, 99).err
    (count,) = re.findall(r"\(nothing yet\) to (\d+)", last)
    middle = int(count) // 2
    for code, said in COUNTS.items():
        found = crowlight("compare", "Fulmar 3", middle, count, "--from", code)
        assert said.replace("\u00a0mm", "0 mm") in found.out, found
    assert (
        crowlight("compare", "Fulmar 3", middle, count).out
        == crowlight("compare", "Fulmar 3", middle, count, "--from", "tip").out
    )
