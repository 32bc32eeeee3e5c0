"""The pages of the models in a real browser: sound for all, and live where scripts run."""

from __future__ import annotations

import re
import threading

import pytest
from playwright.sync_api import Page, expect
from tests.soundness import faults

from crowlight.bench.kinds import Described

pytestmark = pytest.mark.browser

TRIP = "home_name=Saltmarsh&home_altitude=5&to_name=Highfold&to_altitude=2100&made=blank&ask=1"
PAGES = [
    "/blades?zone=heart&depth=2&ask=quick",
    "/blades?zone=heart&depth=9&clip=9&ask=full",
    f"/journey?{TRIP}",
    "/journey?home_altitude=9000&ask=1",
]


def check(page: Page) -> None:
    """Assert what holds for every page, as it stands now."""
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.evaluate("document.querySelectorAll('img').forEach((i) => { i.loading = 'eager'; })")
    page.wait_for_load_state("networkidle")
    assert faults(page) == []
    wide, seen, broken = page.evaluate(
        """[document.documentElement.scrollWidth, document.documentElement.clientWidth,
            [...document.images].filter((i) => !i.naturalWidth).map((i) => i.currentSrc)]"""
    )
    assert wide <= seen, f"{page.url} is {wide} wide on a screen of {seen}"
    assert broken == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_each_page_is_sound(window, modelled, width, scheme):
    page = window(width, scheme)
    for path in PAGES:
        page.goto(modelled.address + modelled.reed + path)
        expect(page.get_by_role("progressbar")).to_have_count(0)
        check(page)


def test_what_is_pressed_is_large_enough_and_has_a_name(window, modelled):
    page = window(360)
    for path in PAGES:
        page.goto(modelled.address + modelled.reed + path)
        expect(page.get_by_role("progressbar")).to_have_count(0)
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        wrong = page.evaluate(
            """() => [...document.querySelectorAll(
                 'button, .button, select, input:not([type=hidden]), summary')]
               .filter((e) => e.checkVisibility({visibilityProperty: true}))
               .map((e) => [e, (e.closest('label.option') ?? e).getBoundingClientRect(),
                 e.getAttribute('aria-label') ?? e.labels?.[0]?.innerText ?? e.innerText])
               .filter(([, r, name]) => r.height < 44 || r.width < 24 || !name?.trim())
               .map(([e, r]) => `${e.outerHTML.slice(0, 80)} ${r.width}x${r.height}`)"""
        )
        assert wrong == [], path


def test_pictures_have_names(window, modelled):
    page = window()
    page.goto(f"{modelled.address}{modelled.reed}/blades")
    for name in (
        "marked blade: what a stroke at each place does to: pressure that closes it",
        "plain blade: how far it gives where a thumb presses",
    ):
        expect(page.get_by_role("img", name=name)).to_be_visible()
    expect(page.get_by_role("img", name=re.compile("^Curve of the opening"))).to_have_count(1)


def closing(page: Page) -> str:
    row = page.locator("[data-output=closing_pressure]")
    return row.locator(".change").inner_text()


def test_the_panel_sums_while_the_slider_moves_and_solves_at_rest(window, modelled, canned):
    page = window()
    page.goto(f"{modelled.address}{modelled.reed}/blades")
    panel = page.locator(".foreseen")
    expect(panel).to_be_hidden()
    page.get_by_label("Scrape").select_option("heart")
    canned.held = threading.Event()  # nothing is solved before it is let go
    slider = page.get_by_role("slider", name="Cane off, slider")
    slider.fill("1.5")
    expect(panel).to_be_visible()
    # 15 µm off both sides of both blades, 1 % for every 10 µm of a side
    assert closing(page) == "\N{MINUS SIGN}6.0 %"
    expect(page.get_by_label("Cane off hundredths of a mm")).to_have_value("1.5")
    slider.fill("2")
    assert closing(page) == "\N{MINUS SIGN}8.0 %"
    expect(page.locator(".how")).to_contain_text("Estimate")
    expect(page.locator(".how")).to_have_text("Estimate; solving …")
    canned.held.set()
    expect(page.locator(".how")).to_contain_text(
        "areas within 0.014 mm², closing pressure within 0.4 %"
    )
    assert closing(page) == "\N{MINUS SIGN}4.3 %"
    expect(panel.locator(".notice")).to_have_text("warmed with a canned note")
    expect(panel.locator(".caution")).to_have_text([re.compile("^Too deep: on the")] * 2)
    assert "what-if" not in [task for task, _ in canned.asked]
    canned.held = threading.Event()  # else the next answer may be there before anybody looks
    slider.fill("0.5")
    assert closing(page) == "\N{MINUS SIGN}2.0 %"
    expect(panel.locator(".notice, .caution")).to_have_count(0)
    canned.held.set()


def test_a_cut_is_solved_in_full_by_the_button_alone(window, modelled, canned):
    canned.held = None
    page = window()
    page.goto(f"{modelled.address}{modelled.reed}/blades")
    clip = page.get_by_role("slider", name="Clip, slider")
    clip.fill("0.2")
    expect(page.locator(".how")).to_contain_text("a clip is solved only in full")
    page.get_by_role("button", name="Solve in full").click()
    expect(page.locator(".how")).to_have_text("Solved in full, before and after.")
    assert closing(page) == "\N{MINUS SIGN}4.5 %"
    expect(page.locator(".foreseen .notice")).to_have_text("solved with a canned note")
    assert "ask=" not in page.url  # the page stayed, and so did what was typed


def test_the_browser_and_the_desk_foresee_the_same(window, modelled, canned):
    canned.held = None
    page = window()
    asked = "zone=tip&depth=1.3&blade=plain&side=left&back=0.9&clip=0.35"
    page.goto(f"{modelled.address}{modelled.reed}/blades?{asked}&ask=quick")

    def cells() -> list[str]:
        return page.locator(".foreseen tbody tr").all_inner_texts()

    by_desk = cells()
    canned.held = threading.Event()
    page.get_by_label("Cane off hundredths of a mm").fill("1.30")
    assert cells() == by_desk
    canned.held.set()


def test_a_page_that_waits_shows_its_answer_by_itself(window, modelled, canned):
    canned.held = threading.Event()
    page = window()
    page.goto(f"{modelled.address}{modelled.reed}/blades")
    expect(page.get_by_role("progressbar")).to_be_visible()
    check(page)
    canned.held.set()
    expect(page.get_by_role("heading", name="As it is now")).to_be_visible()


def test_without_scripts_the_waiting_page_and_the_form_still_work(window, modelled, canned):
    canned.held = threading.Event()
    page = window(java_script_enabled=False)
    page.goto(f"{modelled.address}{modelled.reed}/blades")
    expect(page.get_by_role("progressbar")).to_be_visible()
    canned.held.set()
    expect(page.get_by_role("heading", name="As it is now")).to_be_visible()
    page.get_by_label("Scrape").select_option("heart")
    page.get_by_label("Cane off hundredths of a mm").fill("2")
    page.get_by_role("button", name="Estimate").click()
    expect(page.locator(".foreseen")).to_be_visible()
    assert closing(page) == "\N{MINUS SIGN}8.0 %"
    expect(page.get_by_role("slider")).to_have_count(0)


def test_the_answer_of_a_journey_is_seen_on_a_telephone_without_scrolling(window, modelled, canned):
    """It stands below a long form: one goes there also after it was computed."""
    canned.held = threading.Event()
    page = window(390)
    page.goto(f"{modelled.address}{modelled.reed}/journey")
    page.locator("[name=home_altitude]").fill("5")
    page.locator("[name=to_altitude]").fill("2100")
    page.get_by_role("button", name="What changes").click()
    expect(page.get_by_role("progressbar")).to_have_count(1)
    canned.held.set()
    expect(page.get_by_role("heading", name="What to do")).to_be_in_viewport()


def test_a_long_thread_and_cork_leave_room_for_the_name(window, own):
    own.desk.write(
        "Gull 7", Described(thread_colour="darkredwithgold" * 4, cork_number="1234567890" * 3)
    )
    page = window(390, is_mobile=True)
    for path in ("/bench", own.reed, "/"):
        page.goto(own.address + path)
        wide, seen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= seen, f"{path} is {wide} wide"
    page.goto(own.address + own.reed)
    name = page.get_by_role("heading", level=1).bounding_box()
    assert name
    assert name["height"] < 60  # one line: the tag does not press it together


@pytest.mark.parametrize("path", ["/bench", "/"])
def test_a_short_thread_stands_on_one_line(window, own, path: str):
    own.desk.write("Gull 7", Described(thread_colour="violet", cork_number="14"))
    page = window(390, is_mobile=True)
    page.goto(own.address + path)
    for said in (".tag-number", ".tag-colour"):
        box = page.locator("main").locator(said).first.bounding_box()
        assert box
        assert box["height"] < 30
