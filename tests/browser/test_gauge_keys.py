"""Gauges that type like a keyboard: every reading arrives once, alone and in order."""

from __future__ import annotations

import random
import re

import pytest
from playwright.sync_api import Page

pytestmark = pytest.mark.browser

_ATTACH = """
async ([source, inside, unit]) => {
  const { attachGauge } = await import(source);
  const place = document.createElement(inside ? 'input' : 'div');
  if (inside) place.type = 'text'; else place.tabIndex = 0;
  place.id = 'gauge';
  place.ariaLabel = 'gauge';
  const after = document.createElement('button');
  after.id = 'after';
  document.querySelector('main').append(place, after);
  place.focus();
  window.kept = [];
  window.asked = [];
  window.gauge = attachGauge(place, {
    unit,
    onReading: (r) => window.kept.push([r.n, r.mm]),
    onDoubt: (d) => window.asked.push([d.n, d.text, d.mm, d.guess, d.why]),
  });
}
"""


@pytest.fixture
def attached(window, empty):
    def attach(*, inside: bool = True, unit: str = "mm") -> Page:
        page = window()
        page.goto(empty.address)
        version = page.locator("link[rel=stylesheet]").get_attribute("href").rsplit("/", 1)[0]
        page.evaluate(_ATTACH, [f"{version}/gauge-keys.js", inside, unit])
        return page

    return attach


def bursts(count: int, seed: int) -> tuple[str, list[float]]:
    """Return what a gauge types for many readings, and the readings [mm]."""
    rng = random.Random(seed)  # noqa: S311  (made-up readings, no secret)
    typed, values = [], []
    for _ in range(count):
        hundredths = rng.randrange(3, 95)
        values.append(hundredths / 100)
        text = f"{hundredths / 100:.2f}".replace(".", rng.choice(".,"))
        typed.append(text + rng.choice("\n\t"))
    return "".join(typed), values


@pytest.mark.parametrize("inside", [True, False])
def test_readings_one_after_the_other_are_kept_in_order(attached, inside):
    """As fast as keys of the browser itself can be pressed; see below for a gap of none."""
    page = attached(inside=inside)
    typed, values = bursts(250, 8)
    for number in re.findall(r"[\d.,]+[\n\t]", typed):
        page.keyboard.type(number[:-1])
        page.keyboard.press({"\n": "Enter", "\t": "Tab"}[number[-1]])
    kept = page.evaluate("window.kept")
    assert [n for n, _ in kept] == list(range(250))
    assert [mm for _, mm in kept] == values
    assert page.evaluate("[window.asked.length, window.gauge.pending]") == [0, ""]


def test_a_thousand_readings_within_one_task_are_kept_in_order(attached):
    """Nothing else of the page runs between the keys: a gap of exactly none."""
    page = attached(inside=False)
    typed, values = bursts(1000, 9)
    page.evaluate(
        """(typed) => { const place = document.getElementById('gauge');
             for (const c of typed) {
               const key = { '\\n': 'Enter', '\\t': 'Tab' }[c] ?? c;
               place.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true })); } }""",
        typed,
    )
    assert [mm for _, mm in page.evaluate("window.kept")] == values


READ = [
    ("mm", "0.42", 0.42),
    ("mm", "0,42", 0.42),
    ("mm", ",42", 0.42),
    ("mm", "+0.420", 0.42),
    ("mm", "0.42 mm", 0.42),
    ("mm", "420 um", 0.42),
    ("um", "420", 0.42),
    ("um", "0,42mm", 0.42),
    ("hundredth", "42", 0.42),
    ("hundredth", "42,5", 0.425),
]
DOUBTED = [
    ("mm", "42", 42, None, "too-thick"),  # 0.42 mm in hundredths, 0.042 mm in micrometres
    ("mm", "420", 420, 0.42, "too-thick"),
    ("hundredth", "0.42", 0.0042, 0.42, "too-thin"),
    ("mm", "0.00", 0, None, "too-thin"),
    ("mm", "-0.42", -0.42, 0.42, "negative"),
    ("mm", "0.420.43", None, None, "two-numbers"),
    ("mm", "0.42 0.43", None, None, "two-numbers"),
    ("mm", "1,234.5", None, None, "two-numbers"),
    ("mm", "0E42", None, None, "two-numbers"),
    ("mm", "0.4x", None, None, "two-numbers"),
    ("mm", "4x", None, None, "not-a-number"),
    ("mm", "9999999999999", 9999999999999, None, "too-thick"),
]


@pytest.mark.parametrize("inside", [True, False])
def test_both_decimal_marks_and_all_units_are_read(attached, inside):
    page = attached(inside=inside)
    for unit, typed, _ in READ:
        page.evaluate("(unit) => { window.gauge.unit = unit; }", unit)
        page.keyboard.type(f"{typed}\n")
    assert page.evaluate("window.asked") == []
    assert page.evaluate("window.kept") == [[n, mm] for n, (_, _, mm) in enumerate(READ)]


@pytest.mark.parametrize("inside", [True, False])
def test_what_is_doubtful_is_held_and_asked_about(attached, inside):
    page = attached(inside=inside)
    for unit, typed, *_ in DOUBTED:
        page.evaluate("(unit) => { window.gauge.unit = unit; }", unit)
        page.keyboard.type(f"{typed}\n")
    assert page.evaluate("window.kept") == []
    told = [[n, typed, *rest] for n, (_, typed, *rest) in enumerate(DOUBTED)]
    assert page.evaluate("window.asked") == told
    assert page.evaluate("window.gauge.held.length") == len(DOUBTED)


def test_a_held_reading_keeps_its_place_when_it_is_settled(attached):
    page = attached()
    page.keyboard.type("0.41\n420\n0.43\n9\n")
    assert page.evaluate("window.kept") == [[0, 0.41], [2, 0.43]]
    page.evaluate("const [a, b] = window.gauge.held; a.accept(a.guess); a.accept(9); b.drop();")
    assert page.evaluate("window.kept") == [[0, 0.41], [2, 0.43], [1, 0.42]]
    assert page.evaluate("window.gauge.held") == []


def test_with_nothing_typed_the_keys_do_what_they_always_do(attached):
    page = attached()
    page.keyboard.type("0.42")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "gauge"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "after"
    page.keyboard.press("Shift+Tab")
    page.keyboard.type("0.4")
    page.keyboard.press("Shift+Tab")  # going back ends nothing
    assert page.evaluate("[window.kept.length, window.gauge.pending]") == [1, "0.4"]
    assert page.evaluate("window.gauge.finish()") is True
    assert page.evaluate("window.kept.at(-1)") == [1, 0.4]


def test_readings_that_come_in_one_piece_are_told_apart(attached):
    page = attached()
    page.evaluate(
        """() => { const data = new DataTransfer();
             data.setData('text', '0.41\\r\\n0,42\\n0.4');
             document.getElementById('gauge').dispatchEvent(
               new ClipboardEvent('paste', { clipboardData: data, bubbles: true })); }"""
    )
    page.keyboard.type("3\n")
    assert [mm for _, mm in page.evaluate("window.kept")] == [0.41, 0.42, 0.43]


def test_a_unit_can_be_changed_and_must_be_known(attached):
    page = attached()
    page.keyboard.type("0.42\n")
    page.evaluate("window.gauge.unit = 'um'")
    page.keyboard.type("430\n")
    assert [mm for _, mm in page.evaluate("window.kept")] == [0.42, 0.43]
    said = page.evaluate(
        "() => { try { window.gauge.unit = 'inch'; return ''; } catch (e) { return e.message; } }"
    )
    assert "inch is not one of mm,um,hundredth" in said


def test_a_field_inside_is_left_alone(attached):
    page = attached(inside=False)
    page.evaluate(
        """() => { const other = document.createElement('input'); other.ariaLabel = 'other';
             document.getElementById('gauge').append(other); other.focus(); }"""
    )
    page.keyboard.type("0.42\n")
    assert page.evaluate("window.kept") == []
    assert page.get_by_label("other").input_value() == "0.42"
