"""``crowlight calibrate``: questions, ranges before and after."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from crowlight.bench.kinds import Described, ForceTest
from crowlight.wiring import open_desk

ROWS = [
    f"{blade},{tip},{side * out},{thick}"
    for blade in ("marked", "plain")
    for tip, out, thick in ((1, 2.5, 0.08), (3, 2.5, 0.12), (6, 2, 0.42), (9, 2, 0.44))
    for side in (-1, 0, 1)
]
TABLE = "\n".join(
    [
        "# reed: Gull 7",
        "# length_mm: 70.2",
        "# thread_top_mm: 47",
        "# state: wet",
        "blade,from_tip_mm,across_mm,thickness_mm",
        *ROWS,
    ]
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with open_desk(tmp_path) as desk:
        desk.import_table(TABLE.encode(), name="gull.csv")
        desk.write("Gull 7", Described(style="long"))
        # 90 g by the standard gravity of CGPM 1901
        desk.write("Gull 7", ForceTest(force=90e-3 * 9.80665, uncertainty=0.03))
    return tmp_path


def test_a_force_test_narrows_the_cane(crowlight: Callable, folder: Path) -> None:
    done = crowlight("--folder", folder, "calibrate", "Gull 7", "--json")
    assert done.status == 0, done.err
    found = json.loads(done.out)
    assert found["used"] is True
    assert found["questions"] == []
    assert [d["kind"] for d in found["data"]] == ["force"]
    cane = found["quantities"]["cane_across"]
    assert cane["unit"] == "GPa"
    before, after = (cane[k]["high"] / cane[k]["low"] for k in ("prior", "posterior"))
    assert after < before
    told = crowlight("--folder", folder, "calibrate", "Gull 7").out
    assert "force test: 90 ± 3 g for 0.10 mm" in told
    assert "seen only together: error of the model of the force test" in told


def test_a_reed_without_style_is_asked_about(crowlight: Callable, tmp_path: Path) -> None:
    with open_desk(tmp_path) as desk:
        desk.import_table(TABLE.encode(), name="gull.csv")
    done = crowlight("--folder", tmp_path, "calibrate", "Gull 7")
    assert done.status != 0
    assert "needs the scrape style" in done.err
