"""Looking back at two moments, and looking into the opening as it closes."""

from __future__ import annotations

import html
import itertools
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.canned_models import CannedJobs, shown
from tests.web.conftest import Browser, Site, styled_table

from crowlight.bench.kinds import Clip, Cut, Lengths, Opening, ReadingsTaken
from crowlight.bench.ports import Heard
from crowlight.reed import Blade
from crowlight.report.closing import closing_steps
from crowlight.web import create_app
from crowlight.wiring import open_desk


def cut(site: Site) -> str:
    """Return a reed that was measured, cut by two hundredths at the marked tip, and measured."""
    reed = site.import_table(styled_table("Tern"))
    before = [t.reading for t in site.desk.sheet("Tern").state.readings]
    site.desk.write("Tern", Lengths(overall=70.2e-3, thread_top=47e-3))
    site.desk.write("Tern", Opening(height=0.6e-3))
    site.desk.write("Tern", Cut(zone="tip", blades=(Blade.MARKED,)))
    tip = {r.place for r in before if r.place.along > 66e-3 and r.place.blade is Blade.MARKED}
    after = tuple(
        replace(r, thickness=r.thickness - 0.03e-3 if r.place in tip else r.thickness)
        for r in before
    )
    site.desk.write("Tern", ReadingsTaken(), readings=after)
    site.desk.write("Tern", Opening(height=0.9e-3))
    return reed


def sound(site: Site, level: float, name: str = "Tern") -> None:
    t = np.arange(48_000) / 48_000
    wav = site.desk.sounds.to_wav(Heard(sound=level * np.sin(2 * np.pi * 523 * t), rate=48_000))
    site.desk.keep_recording(name, wav, name="a.wav", sound_of="crow")


def text(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


# --- looking back ---------------------------------------------------------------------------------


def test_the_timeline_has_every_moment_and_its_pictures(site):
    reed = cut(site)
    page = site.get(f"{reed}/back").text
    numbers = re.findall(r'<li value="(\d+)">', page)
    assert numbers == sorted(numbers, key=int, reverse=True)
    pictures = re.findall(r'src="([^"]+/back/\d+/marked\.svg)"', page)
    assert len(pictures) == 2
    for address in pictures:
        svg = site.get(address)
        assert svg.headers["content-type"].startswith("image/svg+xml")
        assert "sandbox" in svg.headers["content-security-policy"]
        assert "<style>" in svg.text
    first = next(e.seq for e in site.desk.sheet("Tern").entries if not e.readings)
    site.get(f"{reed}/back/{first}/marked.svg", 404)


def test_two_moments_are_compared_with_intervals(site):
    reed = cut(site)
    page = site.get(f"{reed}/back").text
    pair = re.findall(r'<option value="(\d+)" selected', page)
    told = text(site.get(f"{reed}/back?before={pair[0]}&after={pair[1]}").text)
    # two openings known to 0.05 mm each: +0.30 ± 1.96 · 0.0707
    opening = "Opening Before 0.60 mm After 0.90 mm Change +0.30 mm +0.16 to +0.44"
    assert opening in told
    assert re.search(r"Change −0\.030.mm −0\.0\d\d to −0\.0\d\d", told)
    assert "After less before" not in told
    assert "marked blade: after less before" in told
    assert re.search(r"places read at both", told)


def test_a_measured_clip_is_sure_and_two_ruler_lengths_are_not(site):
    reed = site.add_reed("Tern")
    site.desk.write("Tern", Lengths(overall=70.2e-3))
    site.desk.write("Tern", Clip(amount=0.2e-3, against="stop"))
    clipped = text(site.get(f"{reed}/back?before=1&after=2").text)
    assert "Length Before 70.20 mm After 70.00 mm Change −0.20 mm" in clipped
    assert "cannot be told" not in clipped
    site.desk.write("Tern", Lengths(overall=69.8e-3))
    ruler = text(site.get(f"{reed}/back?before=1&after=3").text)
    # two lengths known to 0.25 mm each: ± 1.96 · 0.354
    assert "Length Before 70.20 mm After 69.80 mm Change −0.40 mm −1.09 to +0.29" in ruler
    assert "cannot be told" in ruler


def test_the_order_of_the_two_does_not_matter(site):
    reed = cut(site)
    last = site.desk.records.reed("Tern").seq
    one = text(site.get(f"{reed}/back?before=1&after={last}").text)
    other = text(site.get(f"{reed}/back?before={last}&after=1").text)
    assert f"Entry {last} against entry 1" in one
    assert f"Entry {last} against entry 1" in other


@pytest.mark.parametrize("query", ["before=x&after=2", "before=2&after=2", "before=1&after=999"])
def test_moments_there_are_not_are_answered_kindly(site, query):
    reed = cut(site)
    answer = site.client.get(f"{reed}/back?{query}")
    assert answer.status_code in {404, 422}
    assert 'role="alert"' in answer.text


def test_a_reed_without_entries_has_nothing_to_look_back_at(site):
    assert "Nothing written down yet." in site.get(f"{site.add_reed()}/back").text


def test_positions_follow_the_count_that_was_chosen(site):
    reed = cut(site)
    before, last = re.findall(r'<option value="(\d+)" selected', site.get(f"{reed}/back").text)
    for count, name in (("rim", "bottom rim"), ("thread", "thread top"), ("tip", "tip")):
        page = site.get(f"{reed}/back?before={before}&after={last}&from={count}").text
        assert f"mm from the {name}</text>" in page


def test_sounds_are_played_equally_loud_and_blind_on_request(site):
    reed = cut(site)
    before = site.desk.records.reed("Tern").seq + 1
    sound(site, 0.5)
    sound(site, 0.25)
    address = f"{reed}/back?before={before}&after={before + 1}"
    page = site.get(address).text
    assert re.findall(r'data-volume="([\d.]+)"', page) == ["0.500", "1.000"]  # 6 dB apart
    uuids = re.findall(r"/sounds/([0-9a-f-]{36})/sound\.flac", page)
    orders = set()
    for _ in range(20):
        blind = site.get(f"{address}&blind=1").text
        assert "Before</h4>" not in blind
        order = re.search(r'name="order" value="(\d)"', blind)[1]
        shown_uuids = re.findall(r"/sounds/([0-9a-f-]{36})/sound\.flac", blind)
        assert shown_uuids == (uuids[::-1] if order == "1" else uuids)
        orders.add(order)
    assert orders == {"0", "1"}  # by chance once in 2**19
    for order, said, told in (
        ("1", "A", "You found the later one better."),
        ("0", "A", "You found the earlier one better."),
        ("0", "B", "You found the later one better."),
        ("0", "same", "You heard no difference."),
    ):
        answer = text(site.get(f"{address}&blind=1&order={order}&said={said}").text)
        assert f"{'A' if order == '1' else 'B'} was the later one. {told}" in answer


# --- the opening closing --------------------------------------------------------------------------


@pytest.fixture
def modelled(tmp_path: Path) -> Iterator[Site]:
    with open_desk(tmp_path / "modelled", jobs=CannedJobs()) as desk:
        yield Site(Browser(create_app(desk)), desk)


def heights(path: str) -> np.ndarray:
    return np.array([float(p.split()[1]) for p in path[1:].split("L")])


def test_steps_start_at_rest_pass_playing_and_never_let_blades_through_one_another():
    # sides that close before the middle: beyond playing pressure they would pass through
    lens = np.array(shown().profile_rest[0])
    rest, playing = tuple((lens + 0.1e-3).tolist()), tuple((0.8 * lens + 0.02e-3).tolist())
    found = replace(shown(), profile_rest=(rest, rest), profile_playing=(playing, playing))
    steps = closing_steps(found, 20)
    gaps = [heights(s.plain) - heights(s.marked) for s in steps]
    assert all(g.min() >= -0.11 for g in gaps)  # paths are written to a tenth of a unit
    middles = [g.max() for g in gaps]
    assert all(a >= b - 0.11 for a, b in itertools.pairwise(middles))
    assert steps[0].height == found.heights[0]
    assert middles[0] == pytest.approx(2 * max(rest) * 1e3 * 42.0 * 2.5, abs=0.2)
    assert min(gaps[0]) > 0
    assert min(gaps[-1]) < 0.11  # the sides touch
    assert steps[-1].pressure == found.pressures[-1]


def test_the_page_has_stills_steps_and_both_blades(modelled: Site):
    reed = modelled.import_table(styled_table("Tern"))
    page = modelled.get(f"{reed}/closing").text
    assert len(re.findall(r'class="reed closing"', page)) == 7
    steps = json.loads(re.search(r'id="steps">(.*?)</script>', page, re.S)[1])
    assert len(steps) == 41
    assert steps[0]["pressure"] == "0.0"
    assert "The opening was not measured." in page


def test_a_reed_without_a_map_says_why(site: Site):
    site.get(f"{site.add_reed()}/closing", 422)
