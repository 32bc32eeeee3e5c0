"""A quick look at three reeds in rotation, every action counted at a stated time.

From the water to the next cut: look over, seal, one swell, six taps, 18 readings of the gauge, the
advice. Nothing sleeps: the script acts as fast as the pages let it, and the time is that of a hand,
by the seconds below (common practice, no source; a gauge point with remounting is the slowest).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect
from tests.next_plans import AdviceJobs

from crowlight.bench.advice_kinds import Trials
from crowlight.bench.kinds import Cut, Described, Lengths, PlayingTest, Wetting
from crowlight.reed.styles import style

from .conftest import Served, serving

pytestmark = pytest.mark.browser

LONG = style("long").placed(70.2e-3)
#: Seconds of each action.
SECONDS = {
    "tap": 2.0,
    "point": 5.0,  # set the foot, read, let the gauge type
    "look": 5.0,  # both blades against the light
    "seal": 4.0,  # stop the bottom, draw the air out
    "swell": 6.0,
    "read": 3.0,  # what to do, at arm's length
}
LIMIT = 180.0
NAMES = ("Knot", "Ruff", "Stint")


@pytest.fixture
def bench(tmp_path) -> Iterator[Served]:
    with serving(tmp_path, filled=False, jobs=AdviceJobs()) as served:
        for number, name in enumerate(NAMES):
            reed = served.desk.add_reed(name)
            told = Described(style="long", thread_colour="blue", cork_number=str(number + 1))
            served.desk.write(reed.uuid, told)
            served.desk.write(reed.uuid, Lengths(overall=70.2e-3, thread_top=47e-3))
        yield served


class Hand:
    """Acts for a maker and counts what it does with each reed."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.reed = ""
        self.done: dict[str, Counter[str]] = {name: Counter() for name in NAMES}

    def count(self, action: str) -> None:
        self.done[self.reed][action] += 1

    def take(self, reed: str) -> None:
        """Take a reed in hand, by its tile; the tap counts for it."""
        if self.reed == reed:
            return
        self.reed = reed
        self.tap("link", re.compile(rf"\b{reed}\b"), within=self.page.locator(".tiles"))

    def tap(self, role: str, name: str | re.Pattern[str], within=None) -> None:
        (within or self.page).get_by_role(role, name=name).first.click()
        self.count("tap")

    def says(self, text: str) -> None:
        expect(self.page.locator(".hand-do")).to_contain_text(text)

    def seconds(self, reed: str) -> float:
        return sum(SECONDS[action] * n for action, n in self.done[reed].items())


def test_three_reeds_in_turn_take_less_than_three_minutes_each(window, bench):
    page = window(390, has_touch=True)
    hand = Hand(page)
    page.goto(f"{bench.address}/bench")
    for name in NAMES:
        page.get_by_role("checkbox", name=re.compile(name)).check()
        hand.reed = name
        hand.count("tap")
    page.get_by_role("button", name="Begin").click()
    hand.count("tap")
    hand.reed = ""
    expect(page.locator(".tile")).to_have_count(3)

    for name in NAMES:
        hand.take(name)
        hand.says("Soak it")
        hand.tap("button", "Soaked")
        hand.says("against the light")
    for name in NAMES:
        hand.take(name)
        hand.says("against the light")
        hand.count("look")
        hand.tap("button", "Looked through")
        hand.says("does it hold")
        hand.count("seal")
        hand.tap("button", "It holds")
        hand.says("one slow swell")
        hand.count("swell")
        hand.tap("button", "the high octave")
        hand.says("six taps")
        answers = {}
        for number, question in enumerate(page.locator(".taps fieldset").all()):
            answer = ("yes", "no", "not sure")[number % 3]
            question.get_by_role("radio", name=answer, exact=True).check()
            hand.count("tap")
            answers[number] = answer
        hand.tap("button", "Write it down")
        hand.says("Measure it")
    sent: dict[str, list[str]] = {}
    for name in NAMES:
        hand.take(name)
        hand.tap("link", "Quick look")
        sent[name] = measured(hand)
        hand.tap("link", "To the bench")
        hand.says("What next?")
    for name in NAMES:
        hand.take(name)
        expect(page.locator(".glance-where")).to_be_visible(timeout=20_000)
        hand.count("read")
        hand.tap("button", "Did it")
        hand.says("One slow swell")

    for name in NAMES:
        assert hand.done[name]["point"] == 18
        assert hand.seconds(name) < LIMIT, hand.done[name]
        assert_kept(bench, name, sent[name])


def measured(hand: Hand) -> list[str]:
    """Let a gauge type the readings of a quick look; return them."""
    page = hand.page
    expect(page.locator("#f-thickness")).to_be_focused()
    values = []
    for visit in page.locator("#f-visit option").evaluate_all("(all) => all.map((o) => o.value)"):
        _, along, across, _ = visit.split(",")
        values.append(f"{float(LONG.thickness(float(along), float(across))) * 1e3:.2f}")
    for value in values:
        page.keyboard.type(f"{value}\n")
        hand.count("point")
    expect(page.locator("#now")).to_have_text("All points of this round are read.")
    expect(page.locator(".sending")).to_have_text("all sent")
    return values


def assert_kept(bench: Served, name: str, sent: list[str]) -> None:
    """Assert that nothing was lost, doubled or put elsewhere."""
    entries = bench.desk.records.entries(bench.desk.records.reed(name).uuid)
    readings = [e.readings[0] for e in entries if e.readings]
    assert [f"{r.thickness * 1e3:.2f}" for r in readings] == sent
    assert [r.repeat for r in readings] == [0] * 16 + [1, 1]
    places = {(r.place.blade, r.place.along, r.place.across) for r in readings}
    assert len(places) == 16
    kinds = Counter(type(e.payload) for e in entries)
    assert (kinds[Wetting], kinds[Trials], kinds[PlayingTest], kinds[Cut]) == (1, 3, 1, 1)
    (played,) = [e.payload for e in entries if isinstance(e.payload, PlayingTest)]
    answers = list(played.model_dump().values())
    assert answers == ["yes", "no", "unsure", "yes", "no", "unsure"]
