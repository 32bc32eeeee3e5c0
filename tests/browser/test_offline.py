"""Writing while the server does not answer: nothing lost, nothing twice, refusals in sight."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect
from tests.server_process import Server
from tests.soundness import faults

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Note, ReadingsTaken
from crowlight.wiring import open_desk
from crowlight.wiring.failpoints import ENDED

from .conftest import until_kept

pytestmark = pytest.mark.browser


def notes(desk: Desk) -> list[str]:
    entries = desk.records.entries(desk.records.reed("Gull 7").uuid)
    return [e.payload.text for e in entries if isinstance(e.payload, Note)]


def write(page: Page, text: str) -> None:
    page.get_by_label("In your words").fill(text)
    page.get_by_role("button", name="Write it down").click()


def at_hand(page: Page, address: str) -> None:
    """Look at a reed until its pages are kept in the browser."""
    page.goto(address)
    until_kept(page, urlsplit(address).path + "/write/note")


@pytest.fixture
def first(own) -> int:
    """How many notes the reed has before the test."""
    return len(notes(own.desk))


def test_what_is_written_offline_is_sent_later_once_and_in_order(window, own, first):
    page = window()
    at_hand(page, own.address + own.reed)
    page.context.set_offline(True)
    page.get_by_text("More", exact=True).click()
    page.get_by_role("link", name="Note", exact=True).click()
    kept = page.get_by_role("status").filter(has_text="Crowlight does not answer")
    expect(kept).to_be_visible()
    write(page, "first, offline")
    expect(page.get_by_text("Kept on this device.")).to_be_visible()
    page.get_by_role("button", name="Write another").click()
    write(page, "second, offline")
    expect(page.get_by_text("2 entries wait to be sent.")).to_be_visible()
    page.reload()  # nothing hangs on the page that was open
    write(page, "third, from the page as it was kept")
    expect(page.get_by_text("3 entries wait to be sent.")).to_be_visible()
    assert len(notes(own.desk)) == first
    page.context.set_offline(False)
    expect(page.locator("#unsent")).to_have_text(re.compile("^(?!.*wait)"))
    written = ["first, offline", "second, offline", "third, from the page as it was kept"]
    assert notes(own.desk)[first:] == written
    entries = own.desk.records.entries(own.desk.records.reed("Gull 7").uuid)
    times = [e.happened_at for e in entries if isinstance(e.payload, Note)][first:]
    assert times == sorted(times)
    assert all(e.recorded_at > e.happened_at for e in entries[-3:])


def test_a_refused_entry_stays_in_sight_with_its_reason(window, own, first):
    page = window(360)
    at_hand(page, own.address + own.reed)
    page.goto(f"{own.address}{own.reed}/write/lengths")
    page.context.set_offline(True)
    page.get_by_label("Overall length").fill("2.76")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_text("1 entry waits to be sent.")).to_be_visible()
    page.context.set_offline(False)
    expect(page.get_by_text("1 entry was refused.")).to_be_visible(timeout=20_000)
    page.goto(own.address)
    page.get_by_role("link", name="Look at them").click()
    item = page.locator(".unsent-list > li")
    expect(item).to_have_count(1)
    expect(item).to_contain_text("type 70.1 mm")
    expect(item.get_by_role("heading")).to_have_text("Lengths: Gull 7")
    expect(item.locator("dl")).to_contain_text(re.compile("Overall length.*2.76"))
    expect(item.get_by_role("button", name="Send it all the same")).to_be_hidden()
    item.get_by_role("button", name="Open it in its form").click()
    field = page.get_by_label("Overall length")
    expect(field).to_have_value("2.76")
    field.fill("70.1")
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_role("status").filter(has_text="Written down.")).to_be_visible()
    expect(page.locator("#unsent")).to_be_hidden()


def test_what_somebody_else_wrote_in_between_is_not_passed_over(window, own, first):
    page = window()
    at_hand(page, own.address + own.reed)
    page.goto(f"{own.address}{own.reed}/write/note")
    page.context.set_offline(True)
    write(page, "mine")
    expect(page.get_by_text("1 entry waits to be sent.")).to_be_visible()
    own.desk.write("Gull 7", Note(text="somebody else's"))
    page.context.set_offline(False)
    expect(page.get_by_text("1 entry was refused.")).to_be_visible(timeout=20_000)
    page.get_by_role("link", name="Look at them").click()
    item = page.locator(".unsent-list > li")
    expect(item).to_contain_text("Something else was written down")
    assert notes(own.desk)[first:] == ["somebody else's"]
    item.get_by_role("button", name="Send it all the same").click()
    expect(item).to_have_count(0)
    expect(page.get_by_text("Nothing waits.")).to_be_visible()
    assert notes(own.desk)[first:] == ["somebody else's", "mine"]


def test_what_waits_can_be_dropped_after_a_second_word(window, own, first):
    page = window()
    at_hand(page, own.address + own.reed)
    page.goto(f"{own.address}{own.reed}/write/note")
    page.context.set_offline(True)
    write(page, "never mind")
    page.get_by_role("link", name="Look at them").click()
    item = page.locator(".unsent-list > li")
    expect(item).to_contain_text("never mind")
    item.get_by_role("button", name="Drop it", exact=True).click()
    item.get_by_role("button", name="Drop it for good").click()
    expect(item).to_have_count(0)
    page.context.set_offline(False)
    page.goto(own.address)
    expect(page.locator("#unsent")).to_be_hidden()
    assert len(notes(own.desk)) == first


def test_a_page_that_is_not_kept_says_so(window, own):
    page = window()
    at_hand(page, own.address + own.reed)
    page.context.set_offline(True)
    page.goto(f"{own.address}/reeds/new")
    expect(page.get_by_text("This page is not kept on this device.")).to_be_visible()
    page.goto(own.address)
    expect(page.get_by_role("heading", name="Gull 7")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_the_pages_of_what_waits_are_sound_for_all(window, own, width, scheme):
    page = window(width, scheme)
    at_hand(page, own.address + own.reed)
    page.goto(f"{own.address}{own.reed}/write/note")
    page.context.set_offline(True)
    write(page, "a word " * 30)
    expect(page.get_by_text("Kept on this device.")).to_be_visible()
    for again in (False, True):
        if again:
            page.get_by_role("link", name="Look at them").click()
            expect(page.locator(".unsent-list > li")).to_have_count(1)
        assert faults(page) == []
        wide, seen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= seen
        small = page.evaluate(
            """() => [...document.querySelectorAll('main :is(button, .button, summary, a, select),'
                 + ' .unsent a')]
               .filter((e) => e.checkVisibility({visibilityProperty: true}))
               .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
               .filter(([, r]) => r.height < 44 || r.width < 24)
               .map(([t, r]) => `${t} ${r.height}`)"""
        )
        assert small == []


# --- a server that really ends ------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    with open_desk(tmp_path / "real") as desk:
        desk.add_reed("Gull 7")
    return tmp_path / "real"


def kept_in(folder: Path) -> tuple[str, list[str], int]:
    with open_desk(folder) as desk:
        reed = desk.records.reed("Gull 7").uuid
        entries = desk.records.entries(reed)
        taken = sum(len(e.readings) for e in entries if isinstance(e.payload, ReadingsTaken))
        return f"/reeds/{reed}", notes(desk), taken


@pytest.mark.parametrize("moment", ["records:before-commit", "records:after-commit"])
def test_a_server_that_ends_while_it_writes_gets_the_entry_once(window, folder, moment):
    reed, _, _ = kept_in(folder)
    page = window()
    with Server(folder, end_at=[moment]) as server:
        page.goto(f"{server.address}{reed}/write/note")
        write(page, "typed once")
        expect(page.get_by_text("Kept on this device.")).to_be_visible()
        assert notes_in(folder) == (["typed once"] if "after" in moment else [])
        server.revive()
        expect(page.locator("#unsent")).to_be_hidden(timeout=20_000)
        assert server.ends == [ENDED]
    assert notes_in(folder) == ["typed once"]


def notes_in(folder: Path) -> list[str]:
    return kept_in(folder)[1]


def test_a_new_start_of_the_server_asks_for_nothing_to_be_sent_again(window, folder):
    reed, _, _ = kept_in(folder)
    page = window()
    with Server(folder) as server:
        page.goto(f"{server.address}{reed}/readings")
        page.get_by_text("marked", exact=True).first.click()
        for name, value in (("position", "62"), ("thickness", "0.42")):
            page.get_by_label(f"Row 1, {name}, mm").fill(value)
        page.get_by_label("Row 1, side").select_option("centre")
        server.kill()
        server.revive()
        page.get_by_role("button", name="Write them down").click()
        expect(page.get_by_text("Written down.")).to_be_visible(timeout=30_000)
    assert kept_in(folder)[2] == 1


def test_an_older_page_is_used_as_of_what_was_written_since(window, own, first):
    """A form kept before the last entry has seen that entry, if this browser wrote it."""
    page = window()
    at_hand(page, own.address + own.reed)
    page.goto(f"{own.address}{own.reed}/write/note")
    write(page, "online")
    expect(page.get_by_text("Written down.")).to_be_visible()
    page.context.set_offline(True)
    page.goto(f"{own.address}{own.reed}/write/note")
    write(page, "offline")
    expect(page.get_by_text("1 entry waits to be sent.")).to_be_visible()
    page.context.set_offline(False)
    expect(page.locator("#unsent")).to_have_text(re.compile("^(?!.*(wait|refused))"))
    assert notes(own.desk)[first:] == ["online", "offline"]
