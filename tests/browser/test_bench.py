"""The bench in a real browser: gauges that type, fingers, keys, and a server that goes away."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.conftest import Served

from crowlight.bench.kinds import Described, Lengths
from crowlight.bench.ports import Entry
from crowlight.reed import Blade, Place
from crowlight.reed.styles import style

pytestmark = pytest.mark.browser

LONG = style("long").placed(70.2e-3)


def known(served: Served, *names: str) -> list[str]:
    """Add reeds whose points are known; return their addresses."""
    found = []
    for number, name in enumerate(names):
        reed = served.desk.add_reed(name)
        described = Described(style="long", thread_colour="dark red", cork_number=str(number + 1))
        served.desk.write(reed.uuid, described)
        served.desk.write(reed.uuid, Lengths(overall=70.2e-3, thread_top=47e-3))
        found.append(f"/reeds/{reed.uuid}")
    return found


def taken(served: Served, name: str) -> list[Entry]:
    """Return the entries with readings of a reed."""
    entries = served.desk.records.entries(served.desk.records.reed(name).uuid)
    return [e for e in entries if e.readings]


def begin(page: Page, served: Served, *names: str) -> None:
    page.goto(f"{served.address}/bench")
    for name in names:
        page.get_by_role("checkbox", name=re.compile(rf"\b{name}\b")).check()
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("navigation", name="Reeds on the bench")).to_be_visible()


def true_values(page: Page) -> list[str]:
    """Return what a gauge would show at the points of a round, in order [mm]."""
    values = page.locator("#f-visit option").evaluate_all("(all) => all.map((o) => o.value)")
    found = []
    for value in values:
        _, along, across, _ = value.split(",")
        found.append(f"{float(LONG.thickness(float(along), float(across))) * 1e3:.2f}")
    return found


# --- readings on a drawn blade --------------------------------------------------------------------


def test_a_gauge_that_types_at_once_loses_and_merges_nothing(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")
    values = true_values(page)
    assert len(values) == 18
    page.locator("#f-thickness").focus()
    page.keyboard.type("".join(f"{v}\n" for v in values))  # no pause between keys
    expect(page.locator("#now")).to_have_text("All points of this round are read.")
    expect(page.locator(".sending")).to_have_text("all sent")
    entries = taken(own, "Stint")
    assert [f"{e.readings[0].thickness * 1e3:.2f}" for e in entries] == values
    places = [e.readings[0].place for e in entries]
    wanted = [Place(Blade.MARKED, round(p.along, 7), round(p.across, 7)) for p in LONG.quick]
    assert places[:8] == wanted
    assert [e.readings[0].repeat for e in entries] == [0] * 16 + [1, 1]


def test_readings_wait_while_the_server_is_away_and_survive_a_reload(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")

    def gone(route: Route) -> None:
        if route.request.method == "POST":
            route.abort()
        else:
            route.continue_()

    page.route("**/measure", gone)
    page.locator("#f-thickness").focus()
    page.keyboard.type("0.08\n0.09\n0.10\n")
    expect(page.locator(".sending")).to_have_text("3 waiting to be sent")
    expect(page.locator("#now")).to_contain_text("5.2")  # the fourth point
    page.reload()
    expect(page.locator(".sending")).to_have_text("3 waiting to be sent")
    expect(page.locator("#now")).to_contain_text("5.2")
    assert taken(own, "Stint") == []
    page.unroute("**/measure")
    page.keyboard.type("0.11\n")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator(".sending")).to_have_text("all sent")
    found = sorted(round(e.readings[0].thickness * 1e3, 3) for e in taken(own, "Stint"))
    assert found == [0.08, 0.09, 0.1, 0.11]


def test_a_reply_that_is_lost_writes_no_reading_twice(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")
    lost: list[str] = []

    def swallow(route: Route) -> None:
        if route.request.method == "POST" and not lost:
            answer = route.fetch(headers=route.request.all_headers())
            lost.append(f"{answer.status} {answer.text()[:300]}")  # it arrives, its answer never
            route.abort()
        else:
            route.continue_()

    page.route("**/measure", swallow)
    page.locator("#f-thickness").focus()
    page.keyboard.type("0.08\n")
    for _ in range(100):
        if lost:
            break
        page.wait_for_timeout(50)
    assert len(taken(own, "Stint")) == 1, lost
    expect(page.locator(".sending")).to_have_text("1 waiting to be sent")
    page.keyboard.type("0.09\n")
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator(".sending")).to_have_text("all sent")
    assert len(taken(own, "Stint")) == 2


def test_what_is_in_doubt_keeps_its_point_and_is_asked_about(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")
    page.locator("#f-thickness").focus()
    page.keyboard.type("46\n0.09\n")
    box = page.locator(".in-doubt")
    expect(box).to_contain_text("Thicker than a blade is: 46")
    expect(page.locator(".sending")).to_have_text("all sent")
    (entry,) = taken(own, "Stint")
    assert entry.readings[0].place.across == 0  # the second point: the first is being asked about
    # hundredths or micrometres: both would be a blade, so both are offered and none is guessed
    expect(box.get_by_role("button", name="It is 0.046")).to_be_visible()
    box.get_by_role("button", name="It is 0.460").click()
    expect(box).to_be_hidden()
    expect(page.locator(".count-read")).to_have_text("2")
    expect(page.locator(".sending")).to_have_text("all sent")
    first = taken(own, "Stint")[-1].readings[0]
    assert first.thickness == pytest.approx(0.46e-3)
    assert first.place.across < 0


def test_one_stop_of_the_tab_key_per_blade_and_arrows_inside(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")
    stops = page.locator(".entry-blade [tabindex='0']")
    expect(stops).to_have_count(2)
    for blade in ("marked", "plain"):
        group = page.get_by_role("group", name=f"{blade} blade: points to measure")
        buttons = group.get_by_role("button")
        expect(buttons).to_have_count(8)
        names = [b.get_attribute("aria-label") for b in buttons.all()]
        assert len(set(names)) == 8
        side = r"(centreline|\d\.\d\smm (left|right))"
        told = re.compile(rf"{blade} blade, \d+\.\d\smm from the tip, {side}")
        assert all(told.fullmatch(n or "") for n in names), names
    plain = page.get_by_role("group", name="plain blade").get_by_role("button")
    plain.first.focus()
    page.keyboard.press("ArrowRight")
    expect(plain.nth(1)).to_be_focused()
    page.keyboard.press("End")
    expect(plain.nth(7)).to_be_focused()
    page.keyboard.press("ArrowUp")
    expect(plain.nth(6)).to_be_focused()
    # digits jump to the field, and the reading belongs to the point that had the focus
    page.keyboard.type("0.40\n")
    expect(page.locator(".sending")).to_have_text("all sent")
    place = taken(own, "Stint")[0].readings[0].place
    wanted = LONG.quick[6]
    assert (place.blade, place.across) == ("plain", round(wanted.across, 7))
    expect(plain.nth(6)).to_have_attribute("aria-label", re.compile(r": 0\.40$"))


@pytest.mark.parametrize("tip", ["up", "down", "right", "left"])
def test_a_tap_anywhere_adds_a_place_however_the_reed_is_held(window, own, tip):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick&tip={tip}")
    said = {"up": "Tip up", "down": "Tip down"}.get(tip, f"Tip to the {tip}")
    expect(page.locator(".drawn-note")).to_contain_text(said)
    svg = page.get_by_role("group", name="plain blade")
    # between two known points: a third of the way from 2C to 3R
    spots = svg.locator(".pt .spot")
    a, b = spots.nth(3).bounding_box(), spots.nth(4).bounding_box()
    box = svg.bounding_box()
    assert a
    assert b
    assert box
    x = (2 * a["x"] + b["x"]) / 3 + a["width"] / 2 - box["x"]
    y = (2 * a["y"] + b["y"]) / 3 + a["height"] / 2 - box["y"]
    svg.click(position={"x": x, "y": y})
    expect(page.locator("#now")).to_contain_text("plain blade")
    page.keyboard.type("0.33\n")
    expect(page.locator(".sending")).to_have_text("all sent")
    place = taken(own, "Stint")[0].readings[0].place
    one, other = LONG.quick[3], LONG.quick[4]
    assert place.along == pytest.approx((2 * one.along + other.along) / 3, abs=0.08e-3)
    assert place.across == pytest.approx((2 * one.across + other.across) / 3, abs=0.08e-3)
    # and a tap beside a point chooses that point
    svg.click(position={"x": a["x"] + a["width"] / 2 - box["x"] + 6,
                        "y": a["y"] + a["height"] / 2 - box["y"] + 5})  # fmt: skip
    expect(svg.get_by_role("button")).to_have_count(9)


def test_map_and_sections_come_while_one_measures(window, own):
    (reed,) = known(own, "Stint")
    page = window()
    page.goto(f"{own.address}{reed}/measure?round=quick")
    expect(page.locator("#live")).to_contain_text("six points of each blade")
    values = true_values(page)
    page.locator("#f-thickness").focus()
    page.keyboard.type("".join(f"{v}\n" for v in values))
    picture = page.get_by_role("img", name="thickness of the marked blade")
    expect(picture).to_be_visible(timeout=30_000)


def test_a_telephone_shows_the_blade_that_is_measured(window, own):
    (reed,) = known(own, "Stint")
    page = window(360, has_touch=True)
    page.goto(f"{own.address}{reed}/measure?round=quick")
    marked = page.get_by_role("group", name="marked blade")
    expect(marked).to_be_visible()
    expect(page.locator(".blades-drawn figure").nth(1)).to_be_hidden()
    hit = marked.locator(".hit").first.bounding_box()
    assert hit
    assert min(hit["width"], hit["height"]) >= 24
    page.locator("#f-thickness").focus()
    page.keyboard.type("0.1\n" * 8)
    expect(page.get_by_role("group", name="plain blade")).to_be_visible()


# --- the sitting ----------------------------------------------------------------------------------


def test_space_and_page_down_go_on_but_never_take_a_key_from_a_control(window, own):
    known(own, "Stint", "Knot")
    page = window()
    begin(page, own, "Stint", "Knot")
    heading = page.locator(".hand-do")
    expect(heading).to_have_text("Soak it")
    page.locator("main").focus()
    page.keyboard.press("Space")
    expect(heading).to_contain_text("does it hold")
    page.locator("main").focus()
    page.keyboard.press("PageDown")
    expect(heading).to_contain_text("Crow it")
    page.locator("main").focus()
    page.keyboard.press("Space")
    expect(heading).to_have_text("Play it: six taps")
    # on an answer the space bar ticks it, in a field it is a character
    page.get_by_role("radio", name="yes").first.focus()
    page.keyboard.press("Space")
    expect(page.get_by_role("radio", name="yes").first).to_be_checked()
    expect(heading).to_have_text("Play it: six taps")
    page.goto(f"{page.url.split('?')[0]}?step=cut")
    page.get_by_label("Light strokes").focus()
    page.keyboard.press("Space")
    expect(heading).to_have_text("What was taken off?")
    page.get_by_text("Reeds on the bench, keys and voice").focus()
    page.keyboard.press("Space")
    expect(page.get_by_role("button", name="End the sitting")).to_be_visible()


def test_nothing_is_said_aloud_unless_it_is_wished(window, own):
    known(own, "Stint")
    page = window()
    spy = """(() => { globalThis.said = [];
        SpeechSynthesis.prototype.speak = (u) => globalThis.said.push(u.text); })()"""
    page.add_init_script(spy)
    begin(page, own, "Stint")
    assert page.evaluate("said") == []
    page.goto(f"{own.address}/settings")
    page.get_by_role("group", name="Say aloud").get_by_role("radio", name="yes").check()
    page.get_by_role("button", name="Keep these").click()
    page.goto(f"{own.address}/bench")
    assert page.evaluate("said") == ["Stint. Soak it"]


def test_settings_are_taken_over_by_name_on_another_device(window, own):
    page = window()
    page.goto(f"{own.address}/settings")
    page.get_by_label("A new name").fill("Ann")
    page.get_by_role("button", name="That is me").click()
    expect(page.get_by_text("under the name Ann")).to_be_visible()
    page.get_by_role("group", name="Light or dark").get_by_role("radio", name="dark").check()
    page.get_by_role("button", name="Keep these").click()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    there = window(360)
    there.goto(f"{own.address}/settings")
    expect(there.locator("html")).to_have_attribute("data-theme", "system")
    there.get_by_label("Name", exact=True).select_option(label="Ann")
    there.get_by_role("button", name="That is me").click()
    expect(there.locator("html")).to_have_attribute("data-theme", "dark")
    dark = there.evaluate("getComputedStyle(document.body).backgroundColor")
    assert dark == "rgb(21, 25, 26)"


@pytest.mark.parametrize("motion", ["no-preference", "reduce"])
def test_the_opening_moves_by_slider_and_by_itself_only_where_motion_is_welcome(
    window, modelled, motion
):
    page = window(reduced_motion=motion)
    page.goto(f"{modelled.address}{modelled.reed}/closing")
    height = page.locator(".at-height")
    expect(height).to_have_text("0.70")
    page.get_by_role("slider", name="Pressure from outside").press("End")
    expect(height).to_have_text("0.07")
    play = page.get_by_role("button", name="Let it close")
    if motion == "reduce":
        expect(play).to_be_hidden()
        return
    play.click()
    expect(play).to_have_attribute("aria-pressed", "true")
    expect(height).to_have_text("0.07")
    expect(play).to_have_attribute("aria-pressed", "false")
