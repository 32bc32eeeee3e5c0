"""After something was written down, the step after it is at hand."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.next_plans import AdviceJobs

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Described
from crowlight.bench.workshop_kinds import Intake
from crowlight.wiring import open_desk

from .conftest import TABLE, Site, fields_of


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=AdviceJobs()) as opened:
        yield opened


@pytest.fixture
def posted(site: Site, desk: Desk) -> str:
    address = site.import_table(TABLE)
    desk.write("Gull 7", Described(style="long"))
    desk.write("Gull 7", Intake(complaint="It buzzes.", may_cut="ask"))
    return address


def goes(site: Site, form: str, **fields: object) -> str:
    """Send a form; return where one goes from there, without what is said there."""
    answer = site.send(form, fields)
    assert answer.status_code == 303, answer.text
    assert "Written down." in site.get(answer.headers["location"]).text
    return re.sub(r"[?&]done=.*", "", answer.headers["location"])


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("climate", {"temperature": "21"}),
        ("lengths", {"overall": "71"}),
        ("opening", {"height": "0,9"}),
        ("described", {"style": "long"}),
        ("consent", {"to": "cut", "answer": "yes"}),
    ],
)
def test_what_is_done_on_arrival_leads_back_to_the_list(site, posted, kind, fields):
    (form,) = set(re.findall(rf'href="({posted}/write/{kind}[^"]*)"', arrival(site, posted)))
    assert f'href="{posted}/arrival">Leave' in site.get(form).text
    assert goes(site, form, **fields) == f"{posted}/arrival"
    assert goes(site, f"{posted}/write/{kind}", **fields) == posted


def arrival(site: Site, reed: str) -> str:
    return site.get(f"{reed}/arrival").text


def test_when_all_is_seen_and_measured_the_question_is_what_is_wrong(site: Site, posted: str):
    link = f'<a class="button" href="{posted}/next">What is wrong, and what to do next'
    assert link in arrival(site, posted)
    for kind, fields in (("climate", {"temperature": "21"}), ("opening", {"height": "0.9"})):
        site.send(f"{posted}/write/{kind}", fields)
    assert link in arrival(site, posted)  # photograph and crow are still to do


def test_an_error_on_the_way_does_not_lose_the_way(site: Site, posted: str):
    form = f"{posted}/write/opening?from=arrival"
    wrong = site.send(form, {"height": "9"})
    assert wrong.status_code == 422
    assert f'href="{posted}/arrival">Leave' in wrong.text


def test_no_address_from_outside_is_gone_to(site: Site, posted: str):
    form = f"{posted}/write/climate?from=//elsewhere"
    assert goes(site, form, temperature="21") == posted


def test_the_readings_on_arrival_are_taken_on_the_drawn_blades(site: Site, posted: str):
    assert f'href="{posted}/measure">Readings of both blades' in arrival(site, posted)
    assert f'href="{posted}/measure">' in site.get(f"{posted}/readings").text


def test_the_players_answer_leads_back_to_the_advice(site: Site, desk: Desk, posted: str):
    (form,) = set(re.findall(rf'href="({posted}/write/consent[^"]*)"', next_page(site, posted)))
    assert goes(site, form.replace("&amp;", "&"), to="cut", answer="yes") == f"{posted}/next"


def next_page(site: Site, reed: str) -> str:
    return site.get(f"{reed}/next").text


def test_the_players_answer_leads_back_to_the_bench(site: Site, posted: str):
    uuid = posted.rsplit("/", 1)[1]
    site.send("/bench", {"reed": [uuid]})
    page = site.get(f"/bench?reed={uuid}&step=cut").text
    (form,) = set(re.findall(rf'href="({posted}/write/consent[^"]*)"', page))
    form = form.replace("&amp;", "&")
    assert goes(site, form, to="cut", answer="yes") == f"/bench?reed={uuid}"


def test_after_measuring_the_question_is_what_is_wrong(site: Site, desk: Desk, posted: str):
    begun = site.client.get(f"{posted}/measure").headers["location"]
    page = site.get(begun)
    assert f'href="{posted}/next">What is wrong, and what to do next' in page.text
    assert f'href="{posted}/arrival#before">As it came' in page.text
    assert fields_of(page)
    own = site.add_reed("Ruff")
    desk.write("Ruff", Described(style="long"))
    site.send(f"{own}/write/lengths", {"overall": "71", "thread_top": "47"})
    page = site.get(site.client.get(f"{own}/measure").headers["location"])
    assert "As it came" not in page.text
