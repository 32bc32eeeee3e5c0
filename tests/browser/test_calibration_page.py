"""The page of what was learned, as a browser shows it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from crowlight.bench.kinds import ForceTest

from .conftest import until_seen
from .test_pages import check

pytestmark = pytest.mark.browser


def test_the_page_of_what_was_learned_is_sound(window, modelled):
    # a force far too large: the page shows a question as well
    modelled.desk.write("Gull 7", ForceTest(force=4.0, uncertainty=0.05))
    modelled.desk.models.calibrated("Gull 7")
    for scheme in ("light", "dark"):
        for width in (360, 1440):
            page = window(width, scheme)
            page.goto(f"{modelled.address}{modelled.reed}/calibration")
            expect(page.get_by_role("heading", name="Questions first")).to_be_visible()
            check(page)
            drawing = page.get_by_role("img", name="Side view")
            drawing.scroll_into_view_if_needed()
            expect(drawing).to_be_visible()
            until_seen(page)
            assert page.get_by_role("columnheader", name="After").count() == 1
