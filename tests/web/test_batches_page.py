"""The pages of batches and of the workshop's figures."""

from __future__ import annotations

import gzip
import re

from tests.batch_reeds import make_batch, tips

from crowlight.bench.kinds import Described
from crowlight.bench.workshop_kinds import Outcome, ShapedWith, Stage

HOSTILE = '<script>alert(1)</script>" =1+1 \u202etxt'


def test_a_batch_tells_its_habit_and_shows_every_reed(site) -> None:
    maker = site.desk.people.add_maker("Ann", hand="left")
    amounts = [22e-6, 25e-6, 28e-6, 31e-6, 34e-6, 37e-6, 40e-6]
    batch = make_batch(
        site.desk,
        "May",
        faults=[tips(a) for a in amounts],
        grades=[5, 5, 4, 4, 3, 2, 1],
        maker=maker.uuid,
    )
    assert f"/batches/{batch}" in site.get("/batches").text
    page = site.get(f"/batches/{batch}").text
    assert "the right side, as you see it, is thinner than the left on both blades" in page
    assert "You hold the knife in the left hand: this is the side of the hand that holds" in page
    assert "Reeds that have more of it got lower grades" in page
    assert page.count('class="reed small"') == 7
    assert page.count("data:image/png;base64,") == 14
    assert "A split test for the next batch" in page
    assert "tip/seen" in page
    assert "never causes" in page
    assert "18 more reeds are needed" not in page
    chart = site.get(f"/batches/{batch}/chart/tip-thickness.svg")
    assert chart.headers["content-type"] == "image/svg+xml"
    site.get(f"/batches/{batch}/chart/nothing.svg", 404)
    chosen = site.get(f"/batches/{batch}?chart=tip-length").text
    assert "Control chart: length of the tip" in chosen
    told = site.get(f"/batches/{batch}/batch.json").json()
    assert told["steady"]["consistent"][0]["pattern"] == "hand"
    # twenty kilobytes for seven reeds: sixty stay below the first page's hundred
    assert len(gzip.compress(page.encode())) < 20_000


def test_names_are_printed_as_they_are(site) -> None:
    batch = make_batch(
        site.desk,
        HOSTILE,
        faults=[()] * 2,
        names=[HOSTILE, "Other"],
        more=[(ShapedWith(tool=HOSTILE), Outcome(outcome="broke", reason=HOSTILE)), ()],
    )
    for path in (f"/batches/{batch}", "/batches", "/figures"):
        page = site.get(path).text
        assert "<script>alert" not in page
        assert "\u202e" not in page
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert site.get(f"/batches/{batch}/batch.json").json()["reeds"][0]["name"] == HOSTILE


def test_reeds_without_a_map_say_why(site) -> None:
    batch = site.desk.people.add_batch("Bare")
    for name in ("Never measured", "No style"):
        site.desk.add_reed(name, batch=batch.uuid)
    site.import_table(reed="No style")
    site.desk.write("Never measured", Described(style="long"))
    page = site.get(f"/batches/{batch.uuid}").text
    assert "no readings" in page
    assert "write down the scrape style" in page
    assert "; 6 more are needed" in page


def test_an_empty_batch_and_one_that_is_not_there(site) -> None:
    batch = site.desk.people.add_batch("Empty")
    page = site.get(f"/batches/{batch.uuid}").text
    assert "No reed is of this batch yet." in page
    site.get("/batches/6f1b0bb0-0000-4000-8000-000000000000", 404)
    site.get("/batches/none", 404)
    assert "0 reeds" in site.get("/batches").text


def test_the_figures_page_says_what_is_not_noted(site) -> None:
    page = site.get("/figures").text
    assert "nothing noted yet" in page
    site.desk.add_reed("A")
    site.desk.write("A", Stage(stage="finished"))
    site.desk.write("A", Outcome(outcome="sellable"))
    page = site.get("/figures").text
    assert "1 of 1, 100 % (21 to 100)" in page
    told = site.get("/figures.json").json()
    assert told["stages"]["finished"]["count"] == 1
    assert told["stages"]["sold"]["count"] == 0
    assert told["minutes_per_sellable"] is None


def test_no_script_and_no_style_stand_in_the_page(site) -> None:
    batch = make_batch(site.desk, "Plain", faults=[()] * 2)
    page = site.get(f"/batches/{batch}").text
    assert not re.findall(r"<script(?![^>]*src=)", page)
    assert 'style="' not in page
