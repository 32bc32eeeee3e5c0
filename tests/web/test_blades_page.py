"""The page of the blades: outputs with ranges, pictures, and cuts one thinks of."""

from __future__ import annotations

import json
import re
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.canned_models import VALUES, CannedJobs, leverage

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Described, Opening
from crowlight.plan.cut import StrokeSize
from crowlight.wiring import open_desk

TABLE = """\
# reed: Gull 7
# length_mm: 70.2
# thread_top_mm: 47
# state: wet
blade,from_tip_mm,across_mm,thickness_mm
marked,1,-2.5,0.19
plain,1,-2.5,0.07
marked,6,0,0.46
"""


@pytest.fixture
def jobs() -> CannedJobs:
    return CannedJobs()


@pytest.fixture
def desk(tmp_path: Path, jobs: CannedJobs) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=jobs) as opened:
        yield opened


@pytest.fixture
def pages(site: Any) -> tuple[Any, str]:
    """Pages over canned answers, and the address of a reed."""
    reed = site.import_table(TABLE)
    site.desk.write("Gull 7", Described(style="long"))
    return site, reed


def seen(page: Any) -> str:
    """Return the text of a page, blanks as one."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page.text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).replace("\N{NO-BREAK SPACE}", " ")


def test_each_output_stands_with_range_what_it_rests_on_and_mesh_error(pages):
    site, reed = pages
    page = site.get(f"{reed}/blades")
    told = seen(page)
    assert page.text.count("Error of the mesh") >= len(VALUES)
    assert "pressure that closes it kPa 7.64 6.11 to 9.55 opening at rest 60 %" in told
    assert "(from drawn reeds)" in told
    assert "Physics; 90 % ranges" in told
    assert "+1.1 %" in told


def test_the_page_says_what_modes_are_not_and_where_makers_disagree(pages):
    site, reed = pages
    told = seen(site.get(f"{reed}/blades"))
    assert "Modes are never the pitch of the crow" in told
    assert "Where this disagrees with common practice" in told
    assert "its first mode rises" in told
    assert "a canned note" in told


def test_an_opening_nobody_measured_is_said_to_be_the_usual_one(pages):
    site, reed = pages
    assert "The opening was not measured" in seen(site.get(f"{reed}/blades"))
    site.desk.write("Gull 7", Opening(height=0.7e-3))
    assert "The opening was not measured" not in seen(site.get(f"{reed}/blades"))


def test_pictures_are_named_and_carry_signed_numbers(pages):
    site, reed = pages
    text = site.get(f"{reed}/blades").text
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    maps = re.findall(r'<svg class="reed map".*?</svg>', text, flags=re.DOTALL)
    assert len(maps) == 2 * 2 + 2
    for drawn in maps:
        assert "<title" in drawn
        assert "<desc" in drawn
        assert len(re.findall(r'class="over"', drawn)) >= 12
    assert re.search(r'class="over"[^>]*>\N{MINUS SIGN}1\.0<', maps[0])
    assert re.search(r'class="over"[^>]*>\+0\.2<', maps[0])


@pytest.mark.parametrize("picture", ["opening", "profile"])
def test_charts_are_svg_that_may_run_nothing(pages, picture):
    site, reed = pages
    answer = site.get(f"{reed}/blades/{picture}.svg?dark=1")
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.text.startswith("<svg")
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_the_curve_is_there_as_a_table(pages):
    site, reed = pages
    told = seen(site.get(f"{reed}/blades"))
    assert "The curve in numbers" in told
    assert "7.6 kPa Area, mm² 0.33 Range, mm² 0.26 to 0.39" in told
    assert re.search(r"Error of the mesh: .{0,120}pressure that closes it \+1\.1 %", told)


def test_an_estimate_is_the_sum_of_effects_times_change(pages, jobs):
    site, reed = pages
    page = site.get(f"{reed}/blades?zone=heart&depth=2&blade=marked&side=both&ask=quick")
    # 20 µm off two sides of one blade, 1 % for every 10 µm of a side
    told = seen(page)
    assert re.search(r"pressure that closes it kPa Before 7\.64 .* After 7\.33", told)
    assert "\N{MINUS SIGN}4.0 %" in told
    assert "what-if" not in [task for task, _ in jobs.asked]


def test_a_full_solve_gives_the_change_a_range_of_its_own(pages, jobs):
    site, reed = pages
    told = seen(site.get(f"{reed}/blades?zone=heart&depth=1,5&clip=0.2&blade=both&ask=full"))
    assert "Solved in full, before and after." in told
    assert "\N{MINUS SIGN}4.5 % \N{MINUS SIGN}6.0 to \N{MINUS SIGN}3.0" in told
    assert told.count("direction open") == 14  # hidden in all rows but one
    assert "solved with a canned note" in told
    (cut,) = [inputs["cut"] for task, inputs in jobs.asked if task == "what-if"]
    assert (cut.zone, cut.blade, cut.depth, cut.clip) == ("heart", None, 1.5e-5, 2e-4)


def test_a_scrape_below_the_floor_is_warned_of(pages):
    site, reed = pages
    deep = seen(site.get(f"{reed}/blades?zone=tip&depth=2&blade=plain&ask=quick"))
    assert "Too deep: on the plain blade a tenth of this zone has 0.012 mm" in deep
    assert "Too deep" not in seen(site.get(f"{reed}/blades?zone=tip&depth=1&ask=quick"))


@pytest.mark.parametrize(
    ("asked", "why", "kept"),
    [
        ("zone=heart&depth=thin", "“thin” is not a number", 'value="thin"'),
        ("zone=heart&depth=300", "300 is outside 0 to 20 hundredths", 'value="300"'),
        ("zone=heart&depth=-1", "-1 is outside 0 to 20", 'value="-1"'),
        ("zone=beak&depth=1", "no such zone", 'value="1"'),
        ("clip=9", "9 is outside 0 to 2 mm", 'value="9"'),
        ("zone=&depth=2", "Nothing would be cut", 'value="2"'),
    ],
)
def test_what_cannot_be_cut_comes_back_as_typed_with_the_question(pages, asked, why, kept):
    site, reed = pages
    page = site.get(f"{reed}/blades?{asked}&ask=quick", 422)
    assert why in seen(page)
    assert kept in page.text
    assert 'role="alert"' in page.text


def test_the_panel_gets_every_effect_once_and_lines_of_a_full_solve(pages):
    site, reed = pages
    page = site.get(f"{reed}/blades")
    (found,) = re.findall(r'<script type="application/json" id="levers">(.*?)</script>', page.text)
    sent = json.loads(found)
    assert [o["name"] for o in sent["outputs"]] == list(VALUES)
    assert sent["levers"][0]["slopes"] == list(leverage().levers[0].slopes)
    answer = site.get(f"{reed}/blades/what-if.json?zone=heart&depth=2&blade=both&side=left")
    rows = {r["name"]: r for r in answer.json()["rows"]}
    assert rows["closing_pressure"]["change"] == "\N{MINUS SIGN}4.5 %"
    assert rows["tilt"]["open_sign"]
    refused = site.get(f"{reed}/blades/what-if.json?zone=heart&depth=99", 422)
    assert "outside 0 to 20" in refused.json()["troubles"][0]


def test_the_panel_at_rest_is_solved_warm_and_told_how_exactly(pages, jobs):
    site, reed = pages
    answer = site.get(f"{reed}/blades/warm.json?zone=heart&depth=2&blade=both&side=left").json()
    rows = {r["name"]: r["change"] for r in answer["rows"]}
    assert rows["closing_pressure"] == "\N{MINUS SIGN}4.3 %"
    assert rows["stiffness"] == "\N{ALMOST EQUAL TO} \N{MINUS SIGN}4.0 %"
    assert "areas within 0.014 mm², closing pressure within 0.4 %" in answer["how"]
    assert answer["notes"] == ["warmed with a canned note"]
    asked = [task for task, _ in jobs.asked]
    assert "warm" in asked
    assert "what-if" not in asked
    refused = site.get(f"{reed}/blades/warm.json?zone=heart&depth=99", 422)
    assert "outside 0 to 20" in refused.json()["troubles"][0]
    assert (
        "Solved in full" in site.get(f"{reed}/blades/what-if.json?zone=heart&depth=2").json()["how"]
    )


def test_while_it_computes_the_page_says_how_far_and_looks_again_without_a_script(pages, jobs):
    site, reed = pages
    jobs.held = threading.Event()
    site.client.app.state.running.patience = 0.5
    page = site.get(f"{reed}/blades", 202)
    assert '<meta http-equiv="refresh"' in page.text
    assert 'value="0.40"' in page.text
    assert page.headers["progress"] == "0.40"
    site.get(f"{reed}/blades", 202)
    assert [task for task, _ in jobs.asked] == ["mechanics"]  # asked twice, computed once
    jobs.held.set()
    until = time.monotonic() + 60
    while (status := site.client.get(f"{reed}/blades").status_code) == 202:
        assert time.monotonic() < until
    assert status == 200


def test_a_newer_question_cancels_the_one_it_replaces(pages, jobs):
    site, reed = pages
    site.get(f"{reed}/blades")
    jobs.held = threading.Event()
    site.client.app.state.running.patience = 0.5
    site.get(f"{reed}/blades/what-if.json?zone=heart&depth=2", 202)
    site.get(f"{reed}/blades/what-if.json?zone=heart&depth=3", 202)
    old, new = jobs.jobs[-2:]
    assert (old.cancelled, new.cancelled) == (True, False)
    jobs.held.set()


def test_a_reed_without_an_answer_says_why(site):
    page = site.get(f"{site.import_table(TABLE)}/blades", 422)
    assert "needs the scrape style" in seen(page)
    site.get("/reeds/00000000-0000-0000-0000-000000000000/blades", 404)


def test_the_reed_page_leads_to_blades_and_journey(pages):
    site, reed = pages
    text = site.get(reed).text
    assert f'href="{reed}/blades"' in text
    assert f'href="{reed}/journey"' in text


@pytest.mark.parametrize(
    ("count", "name"), [("tip", "tip"), ("rim", "bottom rim"), ("thread", "thread top")]
)
def test_pictures_count_positions_as_the_user_chose(pages, count, name):
    site, reed = pages
    site.send("/settings", {"count_from": count})
    page = site.get(f"{reed}/blades")
    axes = re.findall(r">(mm from the [a-z ]+)</text>", page.text)
    assert len(axes) == 6  # two effects and what a thumb feels, of both blades
    assert set(axes) == {f"mm from the {name}"}
    # the canned stroke tells most 2 mm from a tip at 70.2 mm, tied to 47 mm
    where = {"tip": "2.0", "rim": "68.2", "thread": "21.2"}[count]
    assert f"by most at {where} mm from the {name}." in seen(page)


def test_cane_left_is_counted_in_the_strokes_of_whoever_made_the_reed(pages, monkeypatch):
    site, reed = pages
    usual = seen(site.get(f"{reed}/blades"))
    assert "Light strokes of 0.003 mm each (stroke: common practice" in usual
    learned = StrokeSize(0.006e-3, 0.2, "your data")
    monkeypatch.setattr("crowlight.bench.modelling.Models._strokes", lambda *_: learned)
    own = seen(site.get(f"{reed}/blades"))
    assert "Light strokes of 0.006 mm each (stroke: your data)" in own
    assert "marked blade 4 " in usual
    assert "marked blade 2 " in own


def test_one_stroke_is_foreseen_by_the_map_of_what_a_stroke_does(pages, jobs):
    site, reed = pages
    asked = f"{reed}/blades?ask=quick&blade=marked&from_tip=5&across=0.5&depth=2"
    told = seen(site.get(asked))
    # canned: a stroke of a hundredth changes these by a share of their value; two, by twice that
    assert "Estimate" in told
    # what has no map is not known, and no share of anything
    assert "not known" in told
    assert not re.search(r"–\s%", told)
    wrong = site.client.get(f"{reed}/blades?ask=quick&from_tip=99&depth=1")
    assert wrong.status_code == 422
    assert "is outside 0 to" in wrong.text
    beside = site.client.get(f"{reed}/blades?ask=quick&from_tip=5&across=9&depth=1")
    assert beside.status_code == 422
    assert "is beside the blade" in beside.text
    both = site.client.get(f"{reed}/blades?ask=quick&zone=tip&from_tip=5&depth=1")
    assert both.status_code == 422
    assert "not both" in both.text
