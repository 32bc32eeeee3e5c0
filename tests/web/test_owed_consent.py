"""A posted reed whose player has not agreed to a cut: asking comes first, whatever is advised."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.next_plans import AdviceJobs

from crowlight.bench.advice_kinds import Wish
from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Cut, Described, Withdrawn
from crowlight.bench.workshop_kinds import Consent, Intake, Stage
from crowlight.reed import Blade
from crowlight.wiring import open_desk

from .conftest import TABLE, Site, fields_of

ASK = "Its player has not agreed to a cut."
REFUSED = "Its player said no to a cut."


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path / "records", jobs=AdviceJobs()) as opened:
        yield opened


@pytest.fixture
def reed(site: Site, desk: Desk) -> str:
    """Return the address of a posted reed for which the plan would cut: nobody has asked yet."""
    address = site.import_table(TABLE)
    desk.write("Gull 7", Described(style="long"))
    desk.write("Gull 7", Intake(complaint="It buzzes.", may_cut="ask"))
    return address


def heading(page) -> str:
    (where,) = re.findall(r'<p class="glance-where" id="next-what">([^<]*)', page.text)
    return html.unescape(where)


def front(page) -> str:
    return page.text.partition('class="next-why"')[0]


def test_without_an_answer_the_screen_asks_and_offers_no_knife(site: Site, reed: str):
    page = site.get(f"{reed}/next")
    assert heading(page) == "Ask the player before any cut"
    assert ASK in front(page)
    assert f'class="button primary" href="{reed}/write/consent?to=cut&amp;from=next"' in front(page)
    assert f"{reed}/next/did" not in page.text
    assert 'name="strokes"' not in page.text
    assert 'class="act"' not in front(page)  # no patch is drawn
    assert f'href="{reed}/write/wish?from=next">The owner' not in page.text  # said once only


def test_after_a_no_the_screen_leaves_it_and_says_why(site: Site, desk: Desk, reed: str):
    desk.write("Gull 7", Consent(to="cut", answer="no"))
    page = site.get(f"{reed}/next")
    assert heading(page) == "Leave it uncut: its player said no"
    assert REFUSED in front(page)
    assert f"{reed}/next/did" not in page.text


def test_the_answer_is_asked_for_cutting_and_then_the_cut_is_advised(site: Site, reed: str):
    path = f"{reed}/write/consent?to=cut"
    assert fields_of(site.get(path))["to"] == ["cut"]
    sent = {"answer": "yes", "how": "by telephone"}
    assert site.send(path, sent).status_code == 303
    page = site.get(f"{reed}/next")
    assert heading(page).startswith("Marked blade, heart")
    assert f'action="{reed}/next/did"' in page.text
    assert ASK not in page.text


@pytest.mark.parametrize("given", ["nothing", "play", "hidden"])
def test_nothing_else_is_filled_in_by_an_address(site: Site, reed: str, given: str):
    found = fields_of(site.get(f"{reed}/write/consent?to={given}")).get("to")
    assert found == (["play"] if given == "play" else None)


def test_something_else_that_cuts_waits_for_the_player_as_well(site: Site, desk: Desk, reed: str):
    page = site.get(f"{reed}/next/other")
    assert ASK in page.text
    assert 'name="did" value="treated"' in page.text
    for kind in ("cut", "clip"):
        assert f'name="did" value="{kind}"' not in page.text
        assert f'href="{reed}/write/{kind}?from=next"' in page.text
    # a form that was open before is refused, and what was typed stands in it
    desk.write("Gull 7", Consent(to="cut", answer="yes"))
    open_before = site.get(f"{reed}/next/other")
    desk.write("Gull 7", Consent(to="cut", answer="no"))
    sent = {"did": "cut", "zone": "tip", "part": "whole", "blades": "plain", "strokes": "3"}
    answer = site.send(f"{reed}/next/other", sent | {"depth": "", "seen": ""}, page=open_before)
    assert answer.status_code in {409, 422}
    assert REFUSED in answer.text
    assert re.search(r'name="strokes" value="3"', answer.text)
    assert not any(isinstance(e.payload, Cut) for e in desk.sheet("Gull 7").entries)


def _lay(site: Site, reed: str) -> str:
    uuid = reed.rsplit("/", 1)[1]
    assert site.send("/bench", {"reed": [uuid]}).status_code == 303
    return uuid


def test_the_bench_asks_at_the_steps_of_deciding_and_cutting(site: Site, desk: Desk, reed: str):
    uuid = _lay(site, reed)
    decide = site.get(f"/bench?reed={uuid}&step=decide")
    assert heading(decide) == "Ask the player before any cut"
    assert f"/bench/reeds/{uuid}/next/did" not in decide.text
    cut = site.get(f"/bench?reed={uuid}&step=cut")
    assert re.search(r'class="hand-do">Ask the player before any cut<', cut.text)
    assert ASK in cut.text
    assert 'action="/bench/write/cut"' not in cut.text
    assert 'action="/bench/write/clip"' not in cut.text
    desk.write("Gull 7", Consent(to="cut", answer="yes"))
    cut = site.get(f"/bench?reed={uuid}&step=cut")
    assert 'action="/bench/write/cut"' in cut.text
    assert "agree" not in cut.text


def test_the_bench_never_names_a_cut_as_the_next_step(site: Site, desk: Desk, reed: str):
    uuid = _lay(site, reed)
    for step in ("look", "seal", "crow", "play", "measure", "decide"):
        page = site.get("/bench")
        sent = {"token": fields_of(page)["token"], "uuid": "", "reed": uuid, "step": step}
        site.client.post("/bench/pass", data=sent | {"uuid": fields_of(page)["uuid"]})
    assert 'class="hand-do">Lay it aside<' in site.get("/bench").text
    desk.write("Gull 7", Consent(to="cut", answer="yes"))
    assert 'class="hand-do">What was taken off?<' in site.get("/bench").text


def test_what_was_typed_at_the_bench_is_not_lost_by_a_no(site: Site, desk: Desk, reed: str):
    uuid = _lay(site, reed)
    page = site.get("/bench")
    sent = {"token": fields_of(page)["token"], "uuid": fields_of(page)["uuid"], "reed": uuid}
    sent |= {"step": "cut", "zone": "tip", "blades": "plain", "strokes": "3"}
    answer = site.client.post("/bench/write/cut", data=sent)
    assert answer.status_code == 422
    assert ASK in answer.text
    assert re.search(r'name="strokes"[^>]*value="3"', answer.text)


def test_the_page_of_the_reed_says_it_too(site: Site, reed: str):
    site.get(f"{reed}/next")  # computed now, and kept
    assert "Ask the player before any cut" in site.get(reed).text


def test_an_own_reed_is_advised_as_ever(site: Site, desk: Desk):
    address = site.import_table(TABLE.replace("Gull 7", "Own"))
    desk.write("Own", Described(style="long"))
    page = site.get(f"{address}/next")
    assert heading(page).startswith("Marked blade, heart")
    assert "agreed" not in page.text


@pytest.mark.parametrize(
    ("given", "owed"),
    [
        ((), "ask"),
        ((Consent(to="cut", answer="no"),), "no"),
        ((Consent(to="play", answer="yes"),), "ask"),
        ((Consent(to="cut", answer="not-asked"),), "ask"),
        ((Wish(may_cut="yes"),), ""),
        ((Consent(to="cut", answer="yes"), Wish(may_cut="unsure")), "ask"),
        # it was sent in again: what was allowed then does not hold now
        ((Consent(to="cut", answer="yes"), Intake(may_cut="unknown")), "ask"),
    ],
)
def test_what_a_cut_waits_for_is_told_alike_to_the_page_and_to_the_planner(
    desk: Desk, given: tuple[object, ...], owed: str
):
    from crowlight.bench.known import known_of
    from crowlight.judge.findings import rank

    desk.posted.take_in("Sent 1", Intake(may_cut="ask"))
    for payload in given:
        desk.write("Sent 1", payload)  # pyright: ignore[reportArgumentType]
    assert desk.posted.owed("Sent 1") == owed
    known = known_of(desk.sheet("Sent 1").state, at=desk.clock.now())
    assert ("ask-owner" in {s.code for s in rank(known).stops}) == bool(owed)


def test_a_reed_that_left_the_workshop_is_not_worked_on(site: Site, desk: Desk, reed: str):
    desk.write("Gull 7", Consent(to="cut", answer="yes"))
    assert f"{reed}/next/did" in site.get(f"{reed}/next").text
    desk.write("Gull 7", Stage(stage="posted"))
    page = site.get(f"{reed}/next")
    assert heading(page) == "It has left the workshop: nothing to do to it here"
    assert "This reed has left the workshop." in front(page)
    assert f'href="{reed}/write/stage?from=next"' in front(page)
    for act in ("did", "rest", "other"):
        assert f"{reed}/next/{act}" not in page.text
    assert "Rest it" not in page.text
    assert "Afterwards:" not in front(page)
    assert ASK not in page.text
    other = site.get(f"{reed}/next/other")
    assert 'name="did"' not in other.text
    assert f'href="{reed}/write/stage?from=next"' in other.text
    uuid = _lay(site, reed)
    for step in ("decide", "rest"):
        assert "Rest it" not in site.get(f"/bench?reed={uuid}&step={step}").text
    desk.write("Gull 7", Stage(stage="on-the-bench"))
    assert f"{reed}/next/did" in site.get(f"{reed}/next").text


def test_a_cut_taken_back_is_not_asked_about(site: Site, desk: Desk):
    address = site.import_table(TABLE.replace("Gull 7", "Own"))
    desk.write("Own", Cut(zone="tip", blades=(Blade.PLAIN,), strokes=2))
    cut = desk.sheet("Own").entries[-1].uuid
    path = f"{address}/next/after?follows={cut}"
    before = site.get(path)
    desk.write("Own", Withdrawn(), replaces=cut)
    assert "taken back" in site.get(path, status=404).text
    sent = {"result": "worse", "follows": str(cut)}
    kept = fields_of(before)
    hidden = {name: kept[name] for name in ("token", "uuid", "seen")}
    answer = site.client.post(path, data=sent | hidden)
    assert answer.status_code == 404
    assert "taken back" in answer.text
    assert desk.sheet("Own").entries[-1].payload.kind == "withdrawn"
