"""The one screen in a real browser: sound, large, reachable by keyboard, turned as it is held."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Served, serving
from tests.next_plans import AdviceJobs
from tests.soundness import faults

from crowlight.bench.advice_kinds import AfterCheck, Guess
from crowlight.bench.kinds import Cut, PlayingTest, Verdict
from crowlight.reed import Blade

pytestmark = pytest.mark.browser


@pytest.fixture
def jobs() -> AdviceJobs:
    return AdviceJobs()


@pytest.fixture
def advised(tmp_path: Path, jobs: AdviceJobs) -> Iterator[Served]:
    """Pages over the advice of a made-up reed."""
    with serving(tmp_path / "advised", filled=True, jobs=jobs) as served:
        yield served


def visit(page: Page, served: Served, path: str = "/next") -> None:
    page.goto(served.address + served.reed + path)
    expect(page.get_by_role("progressbar")).to_have_count(0)


def check(page: Page, *, opened: bool = True) -> None:
    """Assert what holds for every page, on a phone and on a screen, by day and by night."""
    if opened:
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    for width, scheme in itertools.product((360, 1440), ("light", "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # no fading halves
        assert faults(page) == [], f"{width} {scheme}"
        wide, seen = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )
        assert wide <= seen, f"{page.url} is {wide} wide on a screen of {seen}"


@pytest.mark.parametrize(
    ("about", "head"),
    [
        ("heart", "Marked blade, heart"),
        ("splinter", "Put it aside"),
        ("others", "Leave it as it is"),
        ("unmeasured", "Measure, photograph"),
        ("clip-only", "Both blades, tip edge"),
    ],
)
def test_the_screen_is_sound_whatever_it_says(window, advised, jobs, about, head):
    jobs.about = about
    advised.desk.write("Gull 7", Verdict(grade=3, words="sings"))
    advised.desk.write("Gull 7", Cut(zone="tip", blades=(Blade.PLAIN,), strokes=2))
    page = window()
    visit(page, advised)
    expect(page.locator(".glance-where")).to_contain_text(head)
    check(page, opened=about == "heart")  # what is behind it is alike


def test_the_pages_around_it_are_sound(window, advised):
    last = advised.desk.write("Gull 7", Cut(zone="tip", blades=(Blade.PLAIN,), strokes=2))
    page = window()
    for path in (
        "/next?tip=left",
        "/next?tip=up&guess=yes",
        "/next/other?guess=no",
        f"/next/after?follows={last.entries[0].uuid}",
        "/play",
    ):
        visit(page, advised, path)
        check(page)


@pytest.mark.parametrize("path", ["/next", "/next?tip=right", "/next/other", "/play"])
def test_at_twice_the_size_nothing_scrolls_sideways(window, advised, path):
    # half the width in CSS pixels is what a zoom of 200 % leaves of 1280
    page = window(640)
    visit(page, advised, path)
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("path", ["/next", "/next?guess=yes", "/next/other?guess=no", "/play"])
def test_what_is_pressed_is_large_enough_and_has_a_name(window, advised, path):
    page = window(360)
    visit(page, advised, path)
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    wrong = page.evaluate(
        """() => [...document.querySelectorAll(
             'main button, main .button, main select, main summary, main input:not([type=hidden])')]
           .filter((e) => e.checkVisibility({visibilityProperty: true}))
           .map((e) => [e, (e.closest('label.option') ?? e).getBoundingClientRect(),
             e.getAttribute('aria-label') ?? e.labels?.[0]?.innerText ?? e.innerText])
           .filter(([, r, name]) => r.height < 44 || r.width < 24 || !name?.trim())
           .map(([e, r]) => `${e.outerHTML.slice(0, 90)} ${r.width}x${r.height}`)"""
    )
    assert wrong == []


def test_the_three_buttons_are_the_largest_and_follow_each_other(window, advised):
    page = window()
    visit(page, advised)
    names = ("Did it", "Did something else", "Rest it")
    boxes = [
        page.get_by_role(role, name=name, exact=True).bounding_box()
        for role, name in zip(("button", "link", "button"), names, strict=True)
    ]
    assert all(b is not None and b["height"] >= 60 for b in boxes)
    page.get_by_role("textbox", name="light strokes").focus()
    order = []
    for _ in names:
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.innerText.trim()"))
    assert tuple(order) == names


def test_the_words_are_read_at_arms_length_and_fit_the_first_screen(window, advised):
    page = window(1440)
    visit(page, advised)
    sizes = page.evaluate(
        """['.glance-where', '.glance-told dd', '.glance-picture svg', '.glance-acts .primary']
           .map((s) => document.querySelector(s))
           .map((e) => [parseFloat(getComputedStyle(e).fontSize),
                        e.getBoundingClientRect().bottom])"""
    )
    assert sizes[0][0] >= 32
    assert sizes[1][0] >= 22
    assert all(bottom <= 900 for _, bottom in sizes)


@pytest.mark.parametrize(
    ("tip", "where"), [("up", "top"), ("down", "bottom"), ("right", "right"), ("left", "left")]
)
def test_the_patch_turns_with_the_reed(window, advised, jobs, tip, where):
    jobs.about = "corner"
    page = window()
    visit(page, advised, f"/next?tip={tip}")
    blade, thread = page.evaluate(
        """['.blade', '.thread'].map((s) => {
             const r = document.querySelector(`.glance-picture ${s}`).getBoundingClientRect();
             return [(r.left + r.right) / 2, (r.top + r.bottom) / 2]; })"""
    )
    away = {
        "top": thread[1] - blade[1],
        "bottom": blade[1] - thread[1],
        "right": blade[0] - thread[0],
        "left": thread[0] - blade[0],
    }
    assert away[where] > 50
    picture = page.locator(".glance-picture svg")
    expect(picture).to_have_accessible_name("Both blades as you hold them")


def test_the_picture_tells_its_patch_to_those_who_do_not_see_it(window, advised):
    page = window()
    visit(page, advised)
    picture = page.get_by_role("img", name="Both blades as you hold them").first
    expect(picture).to_have_accessible_description(
        "Tip up, facing each blade. Shaded: marked blade, heart, all over."
    )


def test_a_hasty_double_tap_writes_once(window, advised):
    page = window(360)
    visit(page, advised)
    page.get_by_role("button", name="Did it").dblclick()
    expect(page.get_by_role("heading", name="One slow swell from nothing")).to_be_visible()
    page.get_by_role("button", name="better").click()
    expect(page.get_by_role("heading", name="What came of the last one")).to_be_visible()
    kinds = [e.payload for e in advised.desk.sheet("Gull 7").state.entries]
    assert sum(isinstance(p, Cut) for p in kinds) == 1
    assert sum(isinstance(p, AfterCheck) for p in kinds) == 1


def test_the_check_after_a_cut_outlives_a_reload(window, advised):
    page = window()
    visit(page, advised)
    page.get_by_role("button", name="Did it").click()
    expect(page.get_by_role("heading", name="One slow swell from nothing")).to_be_visible()
    page.wait_for_url(lambda url: "done=" not in url)
    page.reload()
    page.get_by_role("button", name="worse").click()
    expect(page.get_by_text("Written down.")).to_be_visible()
    assert isinstance(advised.desk.sheet("Gull 7").entries[-1].payload, AfterCheck)


def test_the_whole_way_goes_without_scripts(window, advised):
    page = window(java_script_enabled=False)
    visit(page, advised)
    page.get_by_role("textbox", name="light strokes").fill("2")
    page.get_by_role("button", name="Did it").click()
    page.get_by_role("button", name="the same").click()
    page.get_by_role("link", name="Did something else").click()
    page.get_by_label("Where").select_option("tip")
    page.get_by_label("plain blade").check()
    page.get_by_label("Light strokes at each place").fill("1")
    page.get_by_role("button", name="Write it down").first.click()
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("status").first).to_contain_text("Withdrawn")
    cuts = [e for e in advised.desk.sheet("Gull 7").state.entries if isinstance(e.payload, Cut)]
    assert [c.payload.strokes for c in cuts] == [2]  # pyright: ignore[reportAttributeAccessIssue]  # cuts


def test_tapping_the_drawn_blade_fills_in_the_fields_and_shows_where(window, advised):
    page = window()
    visit(page, advised, "/next/other")
    piece = page.locator("[data-blade=plain][data-zone=tip][data-part=right-corner]")
    piece.click()
    expect(page.get_by_label("Where")).to_have_value("tip")
    expect(page.get_by_label("Which part of it")).to_have_value("right-corner")
    expect(page.get_by_label("plain blade")).to_be_checked()
    expect(page.get_by_label("marked blade")).not_to_be_checked()
    expect(page.locator(".picked")).to_have_count(1)
    page.get_by_label("marked blade").check()
    expect(page.locator(".picked")).to_have_count(2)
    page.get_by_label("Which part of it").select_option("corners")
    expect(page.locator(".picked")).to_have_count(4)
    page.get_by_label("Light strokes at each place").fill("2")
    page.get_by_role("button", name="Write it down").first.click()
    expect(page.get_by_role("heading", name="One slow swell from nothing")).to_be_visible()
    cut = advised.desk.sheet("Gull 7").state.entries[-1].payload
    assert isinstance(cut, Cut)
    assert (cut.zone, cut.part, cut.strokes) == ("tip", "corners", 2)


def test_what_was_typed_for_something_else_survives_a_reload(window, advised):
    page = window()
    visit(page, advised, "/next/other")
    page.get_by_label("Where").select_option("heart")
    page.get_by_label("Light strokes at each place").fill("3")
    page.reload()
    expect(page.get_by_label("Where")).to_have_value("heart")
    expect(page.get_by_label("Light strokes at each place")).to_have_value("3")


def test_the_guess_comes_before_the_advice(window, advised, jobs):
    page = window()
    visit(page, advised, "/next?guess=yes")
    expect(page.get_by_role("heading", name="Your guess first")).to_be_visible()
    page.locator("[data-blade=marked][data-zone=heart][data-part=whole]").click()
    page.get_by_role("button", name="That is my guess").click()
    expect(page.get_by_text("You guessed: marked blade, heart, all over.")).to_be_visible()
    expect(page.locator(".glance-where")).to_contain_text("Marked blade, heart, all over")
    guesses = [
        e.payload
        for e in advised.desk.sheet("Gull 7").state.entries
        if isinstance(e.payload, Guess)
    ]
    assert len(guesses) == 1


def test_six_taps_on_a_phone(window, advised):
    page = window(360)
    visit(page, advised, "/play")
    for group in page.get_by_role("group").all():
        group.get_by_text("no", exact=True).click()
    page.get_by_role("button", name="Write it down").click()
    expect(page.get_by_role("status").first).to_have_text("Written down.")
    (test,) = [
        e.payload
        for e in advised.desk.sheet("Gull 7").state.entries
        if isinstance(e.payload, PlayingTest)
    ]
    assert set(test.model_dump().values()) == {"no"}


def test_why_opens_by_keyboard(window, advised):
    page = window()
    visit(page, advised)
    summary = page.locator("summary", has_text=re.compile("^Why"))
    summary.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What may be wrong")).to_be_visible()
    expect(page.get_by_role("heading", name="Cane left")).to_be_visible()
