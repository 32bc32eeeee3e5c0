"""The pages of batches: sound in both widths and colours, hostile names and all."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests.batch_reeds import make_batch, tips

from crowlight.bench.workshop_kinds import Outcome, ShapedWith, Stage

from .conftest import Served, serving
from .test_pages import assert_no_sideways_scroll, check

pytestmark = pytest.mark.browser

HOSTILE = "<script>document.title='taken'</script> \u202eright to left\u202c" + "x" * 40


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, list[str]]]:
    """Serve a batch with a habit, one reed of a hostile name and one without readings."""
    with serving(tmp_path_factory.mktemp("batch"), filled=False) as served:
        desk = served.desk
        maker = desk.people.add_maker("Ann", hand="right").uuid
        grades = [5, 4, 4, 3, 2, 2, 1]
        uuid = make_batch(
            desk,
            "May",
            faults=[tips(20e-6 + 3e-6 * i) for i in range(7)],
            grades=grades,
            names=[HOSTILE, *(f"May {i}" for i in range(2, 8))],
            maker=maker,
        )
        desk.add_reed("Never measured", batch=uuid)
        desk.write(HOSTILE, ShapedWith(tool=HOSTILE))
        desk.write(HOSTILE, Stage(stage="finished"))
        desk.write(HOSTILE, Outcome(outcome="given-up", reason=HOSTILE))
        assert desk.batches.of(uuid).found.steady.first is not None  # kept from now on
        yield served, ["/batches", f"/batches/{uuid}", "/figures"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_each_page_is_sound(window, batch, width, scheme):
    served, paths = batch
    page = window(width, scheme)
    for path in paths:
        page.goto(served.address + path)
        check(page)
        assert page.title() != "taken"


def test_at_200_percent_nothing_scrolls_sideways(window, batch):
    served, paths = batch
    page = window(320, device_scale_factor=2)
    for path in paths:
        page.goto(served.address + path)
        assert_no_sideways_scroll(page)


def test_the_chart_is_loaded_in_the_colours_of_the_page(window, batch):
    served, paths = batch
    page = window(1440, "dark")
    with page.expect_response(lambda r: "/chart/" in r.url) as loaded:
        page.goto(f"{served.address}{paths[1]}?chart=tip-length#chart")
        page.locator("#chart").scroll_into_view_if_needed()
    assert "tip-length.svg?dark" in loaded.value.url
    assert loaded.value.status == 200


def test_a_reed_is_opened_from_its_small_map(window, batch):
    served, paths = batch
    page = window()
    page.goto(served.address + paths[1])
    page.locator(".multiples a", has_text="May 3").click()
    assert page.locator("h1", has_text="May 3").count() == 1
