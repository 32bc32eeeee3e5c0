"""Reports and messages sound for all; names, order, hostile words. See also `test_all_pages`."""

from __future__ import annotations

import itertools
import re

import pytest
from playwright.sync_api import Page, expect
from tests.lit_pictures import file_of, light
from tests.soundness import faults

from crowlight.bench.workshop_kinds import Intake
from crowlight.report import report_html

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def report(filled, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the address of a saved report: served, it runs no script, not even axe's."""
    file = tmp_path_factory.mktemp("report") / "gull.html"
    file.write_text(report_html(filled.desk.sheet("Gull 7")), encoding="utf-8")
    return file.as_uri()


def check(page: Page) -> None:
    """Assert what holds for every page, as it stands now."""
    # open what is folded away: it counts as well
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert faults(page) == []
    assert_no_sideways_scroll(page)


def assert_no_sideways_scroll(page: Page) -> None:
    wide, seen = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= seen, f"{page.url} is {wide} wide on a screen of {seen}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 640, 1440])
def test_the_report_is_sound(window, report, width, scheme):
    page = window(width, scheme)
    page.goto(report)
    check(page)


@pytest.mark.parametrize("width", [360, 1440])
def test_the_empty_list_and_forms_with_messages_are_sound(window, empty, width):
    page = window(width, "dark")
    page.goto(empty.address)
    check(page)
    page.goto(f"{empty.address}/reeds/new")
    page.get_by_role("button", name="Add the reed").click()
    expect(page.get_by_role("alert")).to_contain_text("1 to 100")
    check(page)


def test_every_stop_of_the_tab_key_has_a_name_and_order_is_reading_order(window, filled):
    page = window()
    page.goto(f"{filled.address}{filled.reed}/readings")
    stops: list[tuple[str, float]] = []
    for _ in range(60):
        page.keyboard.press("Tab")
        name, top = page.evaluate(
            """() => { const e = document.activeElement;
                 const label = e.getAttribute('aria-label') ?? e.labels?.[0]?.innerText
                   ?? e.innerText ?? '';
                 return [e === document.body ? 'END' : label.trim(),
                         e.getBoundingClientRect().top + scrollY]; }"""
        )
        if name == "END":
            break
        stops.append((name, top))
    names = [name for name, _ in stops]
    assert all(names), names
    assert names[0] == "To the content"
    rows = [n for n in names if n.startswith("Row ")]
    assert rows[:5] == [
        "Row 1, position, mm",
        "Row 1, side",
        "Row 1, distance from the centreline, mm",
        "Row 1, thickness, mm",
        "Row 2, position, mm",
    ]
    assert names[-4:] == ["More rows", "Write them down", "Leave", "Measure"]
    tops = [top for _, top in stops[1:]]
    assert all(b >= a - 60 for a, b in itertools.pairwise(tops)), stops


def test_the_pictures_are_named_for_those_who_do_not_see_them(window, filled):
    page = window()
    page.goto(filled.address + filled.reed)
    page.get_by_text("Single points", exact=True).click()
    for name in (
        "marked blade, seen facing it, tip up",
        "plain blade, seen facing it, tip up",
        "marked blade against plain blade, as seen facing the marked one, tip up",
    ):
        picture = page.get_by_role("img", name=name)
        expect(picture).to_be_visible()
        expect(picture).to_have_accessible_description(pattern("were not measured"))
    for name, told in (
        ("thickness of the marked blade", "standard uncertainty from"),
        ("marked blade less plain blade, as seen facing the marked one", "can be told"),
    ):
        picture = page.get_by_role("img", name=name)
        expect(picture).to_have_accessible_description(pattern(told))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sections_are_loaded_in_the_colours_of_the_page(window, filled, scheme):
    page = window(360, scheme)
    page.goto(filled.address + filled.reed)
    picture = page.get_by_role("img", name="Sections of the plain blade")
    picture.scroll_into_view_if_needed()
    expect(picture).to_have_js_property("complete", value=True)
    assert picture.evaluate("(e) => e.naturalWidth") > 100
    assert ("dark=1" in picture.evaluate("(e) => e.currentSrc")) is (scheme == "dark")


def pattern(text: str) -> re.Pattern[str]:
    return re.compile(re.escape(text))


def test_tables_keep_their_roles_on_a_phone(window, filled):
    page = window(360)
    page.goto(filled.address + filled.reed)
    page.get_by_text("Single points", exact=True).click()
    page.get_by_text("All differences with their intervals").click()
    table = page.get_by_role("table", name="Marked blade: left less right")
    expect(table.get_by_role("row")).to_have_count(5)
    expect(table.get_by_role("columnheader")).to_have_count(4)
    expect(table.get_by_role("rowheader").first).to_contain_text("1.0")


def test_hostile_text_does_nothing(window, filled):
    page = window()
    page.goto(filled.address + filled.reed)
    expect(page).to_have_title(pattern("Gull 7"))
    expect(page.get_by_text("<script>document.title='taken'</script>")).to_be_visible()
    expect(page.get_by_text("[U+202E]right to left[U+202C]")).to_be_visible()
    page.goto(filled.address)
    expect(page.get_by_role("link", name="<b>Tern</b>")).to_be_visible()


def test_nothing_is_asked_of_any_other_machine(window, filled):
    page = window()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in ("/", "/import", filled.reed, f"{filled.reed}/readings", "/settings", "/bench"):
        page.goto(filled.address + path)
    assert asked
    assert [a for a in asked if not a.startswith((filled.address, "data:"))] == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_report_prints_within_the_page(window, report, paper):
    page = window()
    page.goto(report)
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == "light"
    # the width of the page less its margins, at 96 dpi
    width = {"A4": 210.0, "Letter": 215.9}[paper] - 26.0
    page.set_viewport_size({"width": int(width / 25.4 * 96), "height": 1000})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    data = page.pdf(format=paper, prefer_css_page_size=False)
    assert data.startswith(b"%PDF")
    assert 1 <= data.count(b"/Type /Page\n") <= 7


def test_what_is_unsound_is_found(window):
    """A page made wrong on purpose: a picture without words, and grey on grey."""
    page = window()
    page.set_content(
        "<html lang=en><title>x</title><main><h1>x</h1><img src='data:,'>"
        "<p style='color: #999; background: #aaa'>grey</p></main>"
    )
    found = faults(page)
    assert {line.split(":")[0] for line in found} >= {"image-alt", "color-contrast"}
    assert all("image-alt" not in line for line in faults(page, ("color-contrast",)))


def test_small_links_that_do_something_are_tall_enough_for_a_wet_thumb(window, own):
    own.desk.write("Gull 7", Intake(complaint="It buzzes."))
    own.desk.light.keep("Gull 7", file_of(light()))
    page = window(390, is_mobile=True)
    page.goto(f"{own.address}{own.reed}/arrival")
    box = page.get_by_role("link", name="withdraw against the light").bounding_box()
    assert box
    assert box["height"] >= 44
