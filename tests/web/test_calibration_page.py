"""The page of what was learned: questions first, ranges before and after, the force test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.canned_models import CannedJobs
from tests.cli.test_calibrating import TABLE

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Cut, Described, ForceTest
from crowlight.reed import Blade
from crowlight.wiring import open_desk


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=CannedJobs()) as opened:
        yield opened


@pytest.fixture
def reed(site: Any) -> str:
    path = site.import_table(TABLE)
    site.desk.write("Gull 7", Described(style="long"))
    return path


def told(site: Any, path: str) -> str:
    site.desk.models.calibrated("Gull 7")  # kept now, so that the page need not wait
    return site.get(f"{path}/calibration").text


def test_a_force_test_is_shown_before_and_after(site, reed):
    site.desk.write("Gull 7", ForceTest(force=90e-3 * 9.80665, uncertainty=0.03))
    page = told(site, reed)
    assert "force test: <strong>90 ± 3 g for 0.10 mm</strong>" in page
    assert "physics and your data" in page
    assert "Questions first" not in page
    assert "cane stiffness across the fibres" in page
    assert page.index("Seen only together") > page.index("Before and after your data")
    jobs = site.desk.jobs
    site.desk.models.blades("Gull 7")
    asked = dict(jobs.asked)["mechanics"]
    assert asked["learned"].data == ("force",)
    site.desk.write("Gull 7", Cut(zone="tip", blades=tuple(Blade)))
    site.desk.models.blades("Gull 7")
    assert "learned" not in jobs.asked[-1][1]


def test_questions_come_first_and_the_models_wait(site, reed):
    entry = site.desk.write("Gull 7", ForceTest(force=4.0, uncertainty=0.05)).entries[0]
    page = told(site, reed)
    assert page.index("Questions first") < page.index("Your data")
    assert "the force test is much more than this map and usual cane give" in page
    assert f'href="{reed}#entry-{entry.seq}"' in page
    assert f'id="entry-{entry.seq}"' in site.get(reed).text
    site.desk.models.blades("Gull 7")
    assert "learned" not in site.desk.jobs.asked[-1][1]


def test_without_data_the_usual_ranges_stand_and_the_how_to_is_there(site, reed):
    page = told(site, reed)
    assert "the usual ranges stand" in page
    assert "The force test, in ten minutes" in page
    assert "Take care." in page
    drawing = site.get(f"{reed}/calibration/force-test.svg")
    assert drawing.headers["content-type"] == "image/svg+xml"
    assert "<title" in drawing.text


def test_a_reed_the_model_cannot_answer_for_says_why(site):
    path = site.import_table(TABLE)
    page = site.get(f"{path}/calibration", 422)
    assert "needs the scrape style" in page.text
    assert "The force test, in ten minutes" in page.text
