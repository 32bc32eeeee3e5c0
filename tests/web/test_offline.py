"""What the pages' scripts rely on: the service worker, replies that tell where to go, times."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

from crowlight.web import create_app

from .conftest import Browser, fields_of

THEN = {"crowlight-then": "1"}


def test_the_service_worker_is_served_for_the_whole_site_and_always_asked_for_anew(site):
    answer = site.get("/sw.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert answer.headers["service-worker-allowed"] == "/"
    assert "worker-src 'self'" in site.get("/").headers["content-security-policy"]


def test_the_service_worker_changes_with_the_scripts_and_its_frame_is_there(site):
    text = site.get("/sw.js").text
    version = re.findall(r'const VERSION = "(\w+)"', text)[0]
    page = site.get("/").text
    assert f"/static/{version}/pages.css" in page
    frame = re.findall(r'"(/static/[^"]+)"', text)
    assert f"/static/{version}/pages.css" in frame
    assert all(f"/static/{version}/" in address for address in frame)
    assert set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page)) <= set(frame)
    for address in frame:
        site.get(address)


def test_every_page_says_what_waits_and_carries_the_script(site):
    reed = site.add_reed()
    for path in ("/", "/waiting", reed, f"{reed}/write/note", f"{reed}/record"):
        text = site.get(path).text
        assert "offline.js" in text
        assert 'id="unsent"' in text


def test_a_script_that_sends_a_form_is_told_where_it_leads(site):
    reed = site.add_reed()
    page = site.get(f"{reed}/write/note")
    sent = {**fields_of(page), "text": ["as typed"]}
    answer = site.client.post(f"{reed}/write/note", data=sent, headers=THEN)
    assert answer.status_code == 200
    assert answer.json() == {"then": f"{reed}?done=written&form=note"}
    assert "location" not in answer.headers
    assert answer.headers["content-type"] == "application/json"
    plain = site.client.post(f"{reed}/write/note", data=sent)
    assert plain.status_code == 303
    assert plain.headers["location"] == f"{reed}?done=written&form=note"
    assert len(site.desk.sheet("Gull 7").entries) == 1


def test_a_script_whose_form_is_refused_gets_the_page_that_says_why(site):
    reed = site.add_reed()
    page = site.get(f"{reed}/write/note")
    answer = site.client.post(f"{reed}/write/note", data=fields_of(page), headers=THEN)
    assert answer.status_code == 422
    assert 'id="troubles"' in answer.text


def test_after_a_new_start_the_answer_carries_the_token_to_send_again_with(site):
    reed = site.add_reed()
    sent = {**fields_of(site.get(f"{reed}/write/note")), "text": ["as typed"]}
    site.client.app = create_app(site.desk)
    answer = site.client.post(f"{reed}/write/note", data=sent, headers=THEN)
    assert answer.status_code == 403
    token = re.findall(r'name="token" value="(\w+)"', answer.text)[0]
    assert token != sent["token"][0]
    again = site.client.post(f"{reed}/write/note", data={**sent, "token": token}, headers=THEN)
    assert again.status_code == 200
    assert len(site.desk.sheet("Gull 7").entries) == 1


@pytest.mark.parametrize("zone", [UTC, None])
def test_what_had_to_wait_happened_when_it_was_typed(site, zone):
    reed = site.add_reed()
    typed_at = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=3)
    text = typed_at.isoformat().replace("+00:00", "Z" if zone else "")
    sent = site.send(f"{reed}/write/note", {"text": "at the bench", "made_at": text})
    assert sent.status_code == 303
    (entry,) = site.desk.sheet("Gull 7").entries
    if zone is None:  # could be any time: the server's own counts
        assert entry.happened_at > typed_at + timedelta(hours=2)
    else:
        assert entry.happened_at == typed_at


@pytest.mark.parametrize("text", ["", "yesterday", "9" * 400, "2126-01-01T00:00:00Z"])
def test_a_time_that_cannot_be_is_not_believed(site, text):
    reed = site.add_reed()
    assert site.send(f"{reed}/write/note", {"text": "x", "made_at": text}).status_code == 303
    (entry,) = site.desk.sheet("Gull 7").entries
    assert abs(entry.happened_at - datetime.now(UTC)) < timedelta(minutes=1)


def test_sending_again_later_with_its_time_writes_once(site):
    reed = site.add_reed()
    sent = {**fields_of(site.get(f"{reed}/write/note")), "text": ["x"]}
    assert site.client.post(f"{reed}/write/note", data=sent).status_code == 303
    again = {**sent, "made_at": ["2026-01-01T00:00:00Z"]}
    assert site.client.post(f"{reed}/write/note", data=again).status_code == 303
    assert len(site.desk.sheet("Gull 7").entries) == 1


def test_the_moments_of_a_reply_come_for_what_is_sent_only(desk):
    passed: list[str] = []
    browser = Browser(create_app(desk, failpoint=passed.append))
    browser.get("/")
    browser.get("/reeds/new")
    assert passed == []
    browser.post("/reeds/new", data={"name": "Tern", "uuid": str(uuid4())})
    assert passed == ["reply:before", "reply:after"]
