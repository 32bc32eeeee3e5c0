"""The bench: reeds in turn, one thing to do, kept on the server, and undone by an entry."""

from __future__ import annotations

import html
import re
from types import SimpleNamespace
from uuid import uuid4

import httpx
import pytest
from tests.next_plans import AdviceJobs
from tests.web.conftest import Browser, Site, fields_of, styled_table

from crowlight.bench.kinds import Described, Withdrawn
from crowlight.bench.sittings import MOST_REEDS, Step
from crowlight.report.sitting import STEPS, WHY
from crowlight.web import create_app
from crowlight.web.bench_choice import OFFERED
from crowlight.web.routes import sitting
from crowlight.wiring import open_desk


def doing(page: httpx.Response) -> str:
    """Return what a page says is to be done."""
    (said,) = re.findall(r'class="hand-do">([^<]+)<', page.text)
    return html.unescape(said)


def in_hand(page: httpx.Response) -> str:
    (said,) = re.findall(r'class="hand-reed">.*?<bdi>([^<]+)</bdi></a>', page.text, re.S)
    return said


def tiles(page: httpx.Response) -> list[str]:
    found = re.findall(r'<a class="tile".*?</a>', page.text, re.S)
    return [re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", t)).strip() for t in found]


def lay(site: Site, *names: str) -> list[str]:
    """Begin a sitting; return the uuids of its reeds."""
    reeds = [site.add_reed(n).rsplit("/", 1)[1] for n in names]
    answer = site.send("/bench", {"reed": reeds})
    assert (answer.status_code, answer.headers["location"]) == (303, "/bench")
    return reeds


def send(site: Site, path: str, reed: str, **fields: object) -> httpx.Response:
    """Send one form of the bench."""
    token = fields_of(site.get("/bench"))["token"]
    return site.client.post(
        path, data={"token": token, "uuid": str(uuid4()), "reed": reed} | fields
    )


def written(site: Site, reed: str) -> list[str]:
    return [e.payload.kind for e in site.desk.records.entries(site.desk.records.reed(reed).uuid)]


def test_every_step_and_reason_has_words():
    assert set(STEPS) == set(Step)
    assert all(s.name and s.asks for s in STEPS.values())
    assert all(said or why == "chosen" for why, said in WHY.items())


def test_a_sitting_is_chosen_from_the_latest_reeds(site):
    assert "There is no reed yet" in site.get("/bench").text
    lay(site, "Tern", "Gull")
    assert [t.split()[0] for t in tiles(site.get("/bench"))] == ["Tern", "Gull"]


def test_a_sitting_holds_one_to_eight_reeds(site):
    reeds = [site.add_reed(f"R {n}").rsplit("/", 1)[1] for n in range(MOST_REEDS + 1)]
    for wanted in ([], reeds):
        answer = site.send("/bench", {"reed": wanted})
        assert answer.status_code == 422
        assert "tick 1 to 8" in answer.text
    assert site.send("/bench", {"reed": reeds[:MOST_REEDS]}).status_code == 303
    answer = send(site, "/bench/add", reeds[-1])
    assert answer.status_code == 422
    assert "take one away first" in answer.text
    assert send(site, "/bench/away", reeds[0]).status_code == 303
    assert send(site, "/bench/add", reeds[-1]).status_code == 303
    assert in_hand(site.get("/bench")) == f"R {MOST_REEDS}"


def test_what_was_ticked_stays_ticked_when_something_is_wrong(site):
    reeds = [site.add_reed(f"R {n}").rsplit("/", 1)[1] for n in range(MOST_REEDS + 1)]
    answer = site.send("/bench", {"reed": reeds})
    assert answer.text.count(" checked") == MOST_REEDS + 1


def test_the_way_of_a_reed_by_taps(site):
    (reed,) = lay(site, "Tern")
    site.desk.write("Tern", Described(thread_colour="dark red", cork_number="7"))
    assert doing(site.get("/bench")) == "Soak it"
    send(site, "/bench/write/wetting", reed, how="soaked")
    assert doing(site.get("/bench")) == "Look it through against the light"
    send(site, "/bench/write/trials", reed, looked="True")
    send(site, "/bench/write/trials", reed, leaks="yes")
    assert doing(site.get("/bench")) == "Seal it before anything else"
    send(site, "/bench/write/treated", reed, what="seal")
    assert doing(site.get("/bench")) == "One slow swell: than before it is"
    done = site.desk.records.entries(site.desk.records.reed(reed).uuid)[-1]
    send(site, "/bench/write/after-check", reed, result="better", follows=str(done.uuid))
    send(site, "/bench/write/trials", reed, leaks="no")
    send(site, "/bench/write/trials", reed, swell_begins="low", crow_speaks="yes")
    send(site, "/bench/write/playing-test", reed, tongues_cleanly="yes")
    assert doing(site.get("/bench")) == "Measure it"
    send(site, "/bench/pass", reed, step="measure")
    assert doing(site.get("/bench")) == "What next?"
    send(site, "/bench/pass", reed, step="decide")
    assert doing(site.get("/bench")) == "What was taken off?"
    send(site, "/bench/write/cut", reed, zone="tip", blades="marked", strokes="2")
    assert doing(site.get("/bench")) == "One slow swell: than before it is"
    (tile,) = tiles(site.get("/bench"))
    assert tile == "7 dark red Tern next: Check wet 0 min · last: Cut"
    assert written(site, reed)[1:] == [
        "wetting", "trials", "trials", "treated", "after-check", "trials", "trials",
        "playing-test", "cut",
    ]  # fmt: skip


def test_a_flow_may_be_entered_at_any_step(site):
    (reed,) = lay(site, "Tern")
    for step in Step:
        page = site.get(f"/bench?reed={reed}&step={step.value}")
        assert "By itself the next step would be" in page.text or step is Step.LOOK
        assert f'aria-current="step">{STEPS[step].name}<' in page.text
    assert doing(site.get(f"/bench?reed={reed}&step=nonsense")) == "Soak it"


def test_a_reload_or_another_device_goes_on_where_it_was(site):
    tern, gull = lay(site, "Tern", "Gull")
    send(site, "/bench/pass", gull, step="look")
    page = site.get("/bench")
    assert (in_hand(page), doing(page)) == ("Gull", doing(site.get(f"/bench?reed={gull}")))
    there = Site(Browser(create_app(site.desk)), site.desk)
    assert tiles(there.get("/bench")) == tiles(page)
    assert in_hand(there.get("/bench")) == "Gull"
    assert in_hand(there.get(f"/bench?reed={tern}")) == "Tern"


def test_two_windows_lose_no_step_gone_past(site, monkeypatch):
    (reed,) = lay(site, "Tern")
    records = site.desk.records
    before = records.open_sitting()
    send(site, "/bench/pass", reed, step="look")
    with monkeypatch.context() as patched:
        # the other window read the sitting before this one wrote
        patched.setattr(records, "open_sitting", lambda: before)
        send(site, "/bench/pass", reed, step="seal")
    assert records.open_sitting().reeds[0].passed == {"look": 0, "seal": 0}


def test_undo_is_an_entry_that_withdraws_the_last(site):
    (reed,) = lay(site, "Tern")
    assert "Undo" not in site.get("/bench").text
    send(site, "/bench/write/wetting", reed, how="soaked")
    page = site.get("/bench")
    assert "Last written down:" in page.text
    (entry,) = site.desk.records.entries(site.desk.records.reed(reed).uuid)
    assert str(entry.uuid) in page.text
    assert send(site, "/bench/undo", reed, entry=str(entry.uuid)).status_code == 303
    kept = site.desk.records.entries(site.desk.records.reed(reed).uuid)
    assert isinstance(kept[-1].payload, Withdrawn)
    assert kept[-1].replaces == entry.uuid
    assert doing(site.get("/bench")) == "Soak it"
    again = send(site, "/bench/undo", reed, entry=str(entry.uuid))
    assert again.status_code == 409
    assert send(site, "/bench/undo", reed, entry="none").status_code == 422


def test_a_double_tap_writes_once(site):
    (reed,) = lay(site, "Tern")
    sent = {"uuid": str(uuid4()), "how": "soaked"}
    for _ in range(2):
        assert send(site, "/bench/write/wetting", reed, **sent).status_code == 303
    assert written(site, reed) == ["wetting"]


def test_what_was_wrong_is_asked_about_and_stays_typed(site):
    (reed,) = lay(site, "Tern")
    answer = send(site, "/bench/write/cut", reed, step="cut", zone="tip", blades="marked",
                  strokes="two")  # fmt: skip
    assert answer.status_code == 422
    assert "is not a number" in answer.text
    assert 'value="two"' in answer.text
    assert written(site, reed) == []


@pytest.mark.parametrize("path", ["/bench/pass", "/bench/undo", "/bench/write/wetting"])
def test_forms_of_the_bench_need_their_token(site, path):
    (reed,) = lay(site, "Tern")
    answer = send(site, path, reed, token="0" * 64, step="look", how="soaked")
    assert answer.status_code == 403
    assert written(site, reed) == []


def test_strange_requests_are_answered_kindly(site):
    (reed,) = lay(site, "Tern")
    assert send(site, "/bench/pass", reed, step="dance").status_code == 422
    assert send(site, "/bench/write/dance", reed).status_code == 404
    assert send(site, "/bench/write/wetting", str(uuid4()), how="soaked").status_code == 404
    assert site.get(f"/bench?reed={uuid4()}").status_code == 200
    assert site.get("/bench?reed=%3Cscript%3E").status_code == 200


def test_ending_leaves_what_was_written(site):
    (reed,) = lay(site, "Tern")
    send(site, "/bench/write/wetting", reed, how="soaked")
    assert send(site, "/bench/end", reed).status_code == 303
    assert "Which reeds lie here today" in site.get("/bench").text
    assert written(site, reed) == ["wetting"]
    token = fields_of(site.get("/bench"))["token"]
    late = site.client.post("/bench/pass", data={"token": token, "reed": reed, "step": "look"})
    assert late.status_code == 303


@pytest.mark.parametrize(
    ("first", "address", "asks"),
    [(True, "readings", True), (True, "write/trials", False), (False, "readings", False)],
)
def test_an_advice_asks_for_the_gauge_if_that_would_tell_most(first, address, asks):
    shown = SimpleNamespace(measure_first=first, checks=[SimpleNamespace(address=address)])
    assert sitting._Advice(shown=shown).asks_gauge is asks
    assert not sitting._Advice().asks_gauge


def test_the_gauge_comes_before_a_decision_where_the_advice_lacks_it(tmp_path, monkeypatch):
    with open_desk(tmp_path / "advised", jobs=AdviceJobs()) as desk:
        site = Site(Browser(create_app(desk)), desk)
        reed = site.import_table(styled_table("Tern")).rsplit("/", 1)[1]
        site.send("/bench", {"reed": [reed]})
        for step in ("look", "seal", "crow", "play"):
            send(site, "/bench/pass", reed, step=step)
        assert doing(site.get("/bench")) == "What next?"
        monkeypatch.setattr(sitting._Advice, "asks_gauge", True)
        page = site.get("/bench")
        assert doing(page) == "Measure it"
        assert "A reading could change what to do." in page.text
        assert "What next?" not in page.text
        send(site, "/bench/pass", reed, step="measure")
        assert doing(site.get("/bench")) == "What next?"


def test_a_reed_that_does_not_lie_here_is_never_mistaken_for_the_one_that_does(site: Site):
    """Whoever comes from another reed's page is told which one is in hand, and can lay theirs."""
    lay(site, "Gull 7")
    other = site.add_reed("Ruff").rsplit("/", 1)[1]
    page = site.get(f"/bench?reed={other}&step=cut")
    assert in_hand(page) == "Gull 7"
    assert "<bdi>Ruff</bdi> does not lie on the bench." in page.text
    assert "By itself the next step would be" not in page.text  # `cut` was meant for the other
    assert f'value="{other}"><button class="primary" type="submit">Lay it here' in page.text
    send(site, "/bench/add", other)
    page = site.get(f"/bench?reed={other}")
    assert in_hand(page) == "Ruff"
    assert "does not lie on the bench" not in page.text


def test_a_full_bench_says_so_to_one_more(site: Site):
    lay(site, *(f"Reed {n}" for n in range(MOST_REEDS)))
    other = site.add_reed("Ruff").rsplit("/", 1)[1]
    page = site.get(f"/bench?reed={other}")
    assert "does not lie on the bench" in page.text
    assert f"{MOST_REEDS} reeds lie here already" in page.text
    assert "Lay it here" not in page.text


def test_the_reed_somebody_came_from_is_ticked_however_long_the_list(site: Site):
    first = site.add_reed("Gull 7").rsplit("/", 1)[1]
    for n in range(OFFERED):
        site.add_reed(f"Reed {n}")
    page = site.get(f"/bench?reed={first}")
    assert fields_of(page)["reed"] == [first]
    assert "checked" not in site.get("/bench").text
    assert site.get("/bench?reed=nothing").status_code == 200
