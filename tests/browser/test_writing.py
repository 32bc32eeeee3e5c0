"""Writing at the bench: by form, with and without scripts, in two windows, across a reload."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser


def type_reading(page: Page, row: int, *values: str) -> None:
    along, side, out, thickness = values
    page.get_by_label(f"Row {row}, position, mm").fill(along)
    page.get_by_label(f"Row {row}, side").select_option(side)
    page.get_by_label(f"Row {row}, distance from the centreline, mm").fill(out)
    page.get_by_label(f"Row {row}, thickness, mm").fill(thickness)


@pytest.mark.parametrize("scripts", [True, False])
def test_from_nothing_to_a_judged_reed(window, empty, scripts):
    page = window(360, java_script_enabled=scripts)
    page.goto(empty.address)
    page.get_by_role("link", name="Add a reed").last.click()
    page.get_by_label("Name").fill("Plover 1")
    page.get_by_role("button", name="Add the reed").click()
    expect(page.get_by_role("heading", name="Plover 1")).to_be_visible()
    for blade, left in (("marked", "0,60"), ("plain", "0,42")):
        page.get_by_role("link", name="Readings").first.click()
        page.get_by_text(blade, exact=True).first.click()
        type_reading(page, 1, "62", "left", "2", left)
        type_reading(page, 2, "62", "right", "2", "0.42")
        page.get_by_role("button", name="Write them down").click()
        expect(page.get_by_role("status").first).to_contain_text("Written down.")
    expect(page.get_by_text("differ by more than the gauge can tell")).to_be_visible()
    expect(page.get_by_text("left thicker").first).to_be_visible()


def test_a_bad_value_is_shown_and_the_message_leads_to_it(window, own):
    page = window(360)
    page.goto(f"{own.address}{own.reed}/write/lengths")
    page.get_by_label("Overall length").fill("2.76")
    page.get_by_role("button", name="Write it down").click()
    alert = page.get_by_role("alert")
    expect(alert).to_be_focused()
    expect(alert).to_contain_text("type 70.1 mm")
    field = page.get_by_label("Overall length")
    expect(field).to_have_value("2.76")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(field).to_have_accessible_description(re.compile("read in inches"))
    alert.get_by_role("link").click()
    expect(field).to_be_focused()


def test_enter_in_a_row_goes_on_and_sends_nothing(window, own):
    page = window()
    before = own.desk.sheet("Gull 7").reed.seq
    page.goto(f"{own.address}{own.reed}/readings")
    page.get_by_label("Row 1, position, mm").fill("3")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Row 1, side")).to_be_focused()
    page.get_by_label("Row 8, thickness, mm").fill("0.12")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Row 16, thickness, mm")).to_be_visible()
    expect(page.get_by_label("Row 8, thickness, mm")).to_have_value("0.12")
    expect(page.get_by_label("Row 2, position, mm")).to_be_focused()
    assert own.desk.sheet("Gull 7").reed.seq == before


def test_enter_without_scripts_sends_nothing_either(window, own):
    page = window(java_script_enabled=False)
    before = own.desk.sheet("Gull 7").reed.seq
    page.goto(f"{own.address}{own.reed}/readings")
    page.get_by_label("Row 1, position, mm").fill("3")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Row 16, thickness, mm")).to_be_visible()
    expect(page.get_by_label("Row 1, position, mm")).to_have_value("3")
    assert own.desk.sheet("Gull 7").reed.seq == before


def test_two_windows_on_one_reed(window, own):
    first, second = window(), window()
    for page in (first, second):
        page.goto(f"{own.address}{own.reed}/write/note")
        page.get_by_label("In your words").fill("typed here")
    first.get_by_role("button", name="Write it down").click()
    expect(first.get_by_role("status").first).to_contain_text("Written down.")
    second.get_by_role("button", name="Write it down").click()
    expect(second.get_by_role("alert")).to_contain_text("Something else was written down")
    expect(second.get_by_label("In your words")).to_have_value("typed here")
    second.get_by_role("button", name="Write it down").click()
    expect(second.get_by_role("status").first).to_contain_text("Written down.")


def test_what_is_typed_survives_a_reload_until_it_is_written(window, own):
    page = window()
    page.goto(f"{own.address}{own.reed}/readings")
    page.get_by_text("plain", exact=True).first.click()
    type_reading(page, 2, "3", "left", "2", "0,12")
    page.reload()
    expect(page.get_by_label("Row 2, thickness, mm")).to_have_value("0,12")
    expect(page.get_by_label("Row 2, side")).to_have_value("left")
    expect(page.get_by_role("radio", name="plain")).to_be_checked()
    expect(page.get_by_text("What you typed here before is back")).to_be_visible()
    page.get_by_role("button", name="Write them down").click()
    expect(page.get_by_role("status").first).to_contain_text("Written down.")
    page.goto(f"{own.address}{own.reed}/readings")
    expect(page.get_by_label("Row 2, thickness, mm")).to_have_value("")


def test_sixteen_typed_rows_survive_a_reload(window, own):
    page = window()
    page.goto(f"{own.address}{own.reed}/readings")
    page.get_by_role("button", name="More rows").click()
    type_reading(page, 15, "3", "right", "2", "0.13")
    page.goto(f"{own.address}{own.reed}/readings")
    expect(page.get_by_label("Row 15, thickness, mm")).to_have_value("0.13")


def test_a_draft_can_be_dropped(window, own):
    page = window()
    page.goto(f"{own.address}{own.reed}/write/note")
    page.get_by_label("In your words").fill("never mind")
    page.reload()
    page.get_by_role("button", name="Start afresh").click()
    expect(page.get_by_label("In your words")).to_have_value("")


def test_a_table_is_imported_through_the_browser(window, empty, tmp_path):
    from .conftest import table

    file = tmp_path / "gull.csv"
    file.write_text(table().replace("0.08", "8"), encoding="utf-8")
    page = window()
    page.goto(f"{empty.address}/import")
    page.get_by_label("CSV or TSV file").set_input_files(file)
    page.get_by_role("button", name="Import").click()
    expect(page.get_by_role("alert")).to_contain_text("nothing of the table was kept")
    expect(page.get_by_text("line 7:")).to_be_visible()
    file.write_text(table(), encoding="utf-8")
    page.get_by_label("CSV or TSV file").set_input_files(file)
    page.get_by_role("button", name="Import").click()
    expect(page.get_by_role("heading", name="Gull 7")).to_be_visible()
    expect(page.get_by_role("status").first).to_contain_text("Table imported.")


def test_a_report_is_saved_as_one_file(window, own, tmp_path):
    page = window()
    page.goto(own.address + own.reed)
    with page.expect_download() as saving:
        page.get_by_role("link", name="Report as a file").click()
    assert saving.value.suggested_filename == "Gull-7.html"
    saving.value.save_as(tmp_path / "gull.html")
    page.goto((tmp_path / "gull.html").as_uri())
    expect(page.get_by_role("heading", name="Gull 7")).to_be_visible()
    expect(page.get_by_text("Invented data.")).to_be_visible()
