"""Marking a reed on its photograph against the light: by mouse, by key, by number."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect
from tests.lit_pictures import HIGH, MARKS, WIDE, file_of, light, thinner_left
from tests.soundness import faults

from crowlight.bench.light_kinds import LightMarks

from .conftest import Served, until_seen

pytestmark = pytest.mark.browser

POINTS = (MARKS.tip_left, MARKS.tip_right, MARKS.foot_right, MARKS.foot_left)
LABELS = ("Tip, left corner", "Tip, right corner", "Thread, right edge", "Thread, left edge")


def picture() -> bytes:
    return file_of(light(thickness=thinner_left(0.04e-3)), "JPEG", quality=92)


def click_all(page: Page) -> None:
    until_seen(page)
    box = page.locator(".light-mark img").bounding_box()
    assert box
    for x, y in POINTS:
        place = {"x": box["width"] * x / WIDE, "y": box["height"] * y / HIGH}
        page.locator(".light-mark").click(position=place)  # pyright: ignore[reportArgumentType]


def typed(page: Page, name: str) -> float:
    return float(page.locator(f"[name={name}]").input_value())


@pytest.mark.parametrize("width", [1440, 390])
def test_sent_marked_by_mouse_and_keys_and_answered(window, own: Served, width: int, tmp_path):
    (tmp_path / "reed.jpg").write_bytes(picture())
    page = window(width, "dark" if width == 390 else "light", reduced_motion="reduce")
    page.goto(f"{own.address}{own.reed}")
    page.get_by_role("link", name="Against the light").click()
    page.get_by_label("Photograph against the light").set_input_files(tmp_path / "reed.jpg")
    page.get_by_role("button", name="Keep it and mark it").click()
    expect(page.get_by_role("status").filter(has_text="Next:")).to_contain_text(LABELS[0])

    click_all(page)
    expect(page.locator(".light-status")).to_contain_text("All four are marked")
    assert typed(page, "tip_right_x") == pytest.approx(100 * MARKS.tip_right[0] / WIDE, abs=0.3)

    # a drag moves one point and no other
    handle = page.get_by_role("button", name=LABELS[2])
    other = typed(page, "tip_left_x")
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 20, y, steps=3)
    page.mouse.up()
    across = page.locator(".light-mark img").bounding_box()
    assert across
    dragged = 100 * MARKS.foot_right[0] / WIDE + 100 * 20 / across["width"]
    assert typed(page, "foot_right_x") == pytest.approx(dragged, abs=0.4)
    assert typed(page, "tip_left_x") == other

    # keys bring it back: one pixel of the photograph each, ten with Shift
    before = typed(page, "foot_right_x")
    handle.focus()
    page.keyboard.press("ArrowLeft")
    assert typed(page, "foot_right_x") == pytest.approx(before - 100 / WIDE, abs=2e-3)
    away = round((typed(page, "foot_right_x") - 100 * MARKS.foot_right[0] / WIDE) * WIDE / 100)
    for _ in range(away // 10):
        page.keyboard.press("Shift+ArrowLeft")
    for _ in range(away % 10):
        page.keyboard.press("ArrowLeft")
    assert typed(page, "foot_right_x") == pytest.approx(100 * MARKS.foot_right[0] / WIDE, abs=0.2)

    page.get_by_role("radio", name="marked blade").check()
    page.get_by_role("button", name="Which side lets more light through?").click()
    expect(page.locator(".summary")).to_contain_text("More light on the left: tip")
    assert page.locator(".light-drawn image").count() == 1
    assert page.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )
    assert faults(page) == []
    # what is left in the picture is there after a reload too, and in the records
    page.reload()
    expect(page.locator(".light-status")).to_contain_text("All four are marked")
    marks = own.desk.light.marked("Gull 7")
    assert marks is not None
    assert isinstance(marks.payload, LightMarks)
    assert marks.payload.facing == "marked"


def test_a_draft_of_the_marks_outlives_a_reload(window, own: Served):
    own.desk.light.keep("Gull 7", picture())
    page = window()
    page.goto(f"{own.address}{own.reed}/light")
    click_all(page)
    kept = typed(page, "foot_left_y")
    page.reload()
    assert typed(page, "foot_left_y") == kept
    expect(page.get_by_role("button", name=LABELS[3])).to_be_visible()


def test_marks_of_one_photograph_leave_the_draft_of_another(window, own: Served):
    first = own.desk.light.keep("Gull 7", picture()).uuid
    other = own.desk.light.keep("Gull 7", file_of(light())).uuid
    page = window()
    for photo in (first, other):
        page.goto(f"{own.address}{own.reed}/light?photo={photo}")
        click_all(page)
    page.get_by_role("button", name="Which side lets more light through?").click()
    expect(page.get_by_role("heading", name="What the photograph shows")).to_be_visible()
    page.goto(f"{own.address}{own.reed}/light?photo={first}")
    expect(page.locator(".light-status")).to_contain_text("All four are marked")
    assert typed(page, "tip_right_x") == pytest.approx(100 * MARKS.tip_right[0] / WIDE, abs=0.3)


def test_a_click_before_the_photograph_is_there_marks_nothing(window, own: Served):
    own.desk.light.keep("Gull 7", picture())
    page = window()
    page.route("**/light/*", lambda route: None if route.request.resource_type == "image"
               else route.continue_())  # fmt: skip
    page.goto(f"{own.address}{own.reed}/light", wait_until="domcontentloaded")
    expect(page.locator(".light-status")).to_contain_text(LABELS[0])
    page.locator(".light-mark").click(force=True)
    assert page.locator("[name=tip_left_x]").input_value() == ""


def test_without_scripts_the_points_are_typed(window, own: Served):
    own.desk.light.keep("Gull 7", picture())
    page = window(390, "light", java_script_enabled=False)
    page.goto(f"{own.address}{own.reed}/light")
    names = ("tip_left", "tip_right", "foot_right", "foot_left")
    for name, (x, y) in zip(names, POINTS, strict=True):
        page.locator(f"[name={name}_x]").fill(f"{100 * x / WIDE:.2f}")
        page.locator(f"[name={name}_y]").fill(f"{100 * y / HIGH:.2f}")
    page.get_by_role("button", name="Which side lets more light through?").click()
    expect(page.locator(".summary")).to_contain_text("More light on the left")


#: Corners of a reed that is small in its photograph: less than a finger apart on a telephone.
SMALL = ((40.0, 30.0), (46.0, 30.0), (45.0, 34.0), (41.0, 34.0))


def tap_small(page: Page) -> None:
    until_seen(page)
    picture_of = page.locator(".light-mark img")
    picture_of.scroll_into_view_if_needed()
    for across, down in SMALL:
        box = picture_of.bounding_box()
        assert box
        page.mouse.click(
            box["x"] + box["width"] * across / 100, box["y"] + box["height"] * down / 100
        )


def test_points_closer_than_a_finger_are_marked_and_dragged_one_by_one(window, own: Served):
    own.desk.light.keep("Gull 7", picture())
    page = window(390, "dark")
    page.goto(f"{own.address}{own.reed}/light")
    tap_small(page)
    expect(page.locator(".light-status")).to_contain_text("All four are marked")
    names = ("tip_left", "tip_right", "foot_right", "foot_left")
    for name, (across, down) in zip(names, SMALL, strict=True):
        assert typed(page, f"{name}_x") == pytest.approx(across, abs=0.4)
        assert typed(page, f"{name}_y") == pytest.approx(down, abs=0.4)

    handles = [page.get_by_role("button", name=label) for label in LABELS]
    boxes = [handle.bounding_box() for handle in handles]
    middles = [(b["x"] + b["width"] / 2, b["y"] + b["height"] / 2) for b in boxes if b]
    apart = [
        ((ax - bx) ** 2 + (ay - by) ** 2) ** 0.5
        for n, (ax, ay) in enumerate(middles)
        for bx, by in middles[n + 1 :]
    ]
    assert len(apart) == 6
    assert min(apart) >= 44

    # each is dragged by its own ring, by as much as the finger goes, and no other moves
    across_all = page.locator(".light-mark img").bounding_box()
    assert across_all
    for name, handle in zip(names, handles, strict=True):
        before = {n: (typed(page, f"{n}_x"), typed(page, f"{n}_y")) for n in names}
        box = handle.bounding_box()
        assert box
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x, y + 12, steps=4)
        page.mouse.up()
        for other in names:
            moved = 100 * 12 / across_all["height"] if other == name else 0.0
            assert typed(page, f"{other}_x") == pytest.approx(before[other][0], abs=0.01)
            assert typed(page, f"{other}_y") == pytest.approx(before[other][1] + moved, abs=0.05)


def test_a_trembling_tap_on_a_handle_moves_nothing(window, own: Served):
    own.desk.light.keep("Gull 7", picture())
    page = window(390)
    page.goto(f"{own.address}{own.reed}/light")
    click_all(page)
    before = typed(page, "foot_left_x")
    box = page.get_by_role("button", name=LABELS[3]).bounding_box()
    assert box
    page.mouse.move(box["x"] + 22, box["y"] + 22)
    page.mouse.down()
    page.mouse.move(box["x"] + 24, box["y"] + 23, steps=2)
    page.mouse.up()
    assert typed(page, "foot_left_x") == before
