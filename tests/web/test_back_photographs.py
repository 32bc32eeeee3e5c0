"""Photographs when looking back: in the timeline, and two moments side by side."""

from __future__ import annotations

import html
import re
from datetime import timedelta

from tests.pictures import PLACE, jpeg, png

from crowlight.bench.kinds import Note
from crowlight.bench.ports import Entry

from .conftest import Site

HOSTILE = '"><script>alert(1)</script>'


def _reed(site: Site, *shows: str, remark: str = "") -> tuple[str, list[Entry]]:
    """Return a reed with a note and these photographs, a day between each two."""
    path, now = site.add_reed("Tern"), site.desk.clock.now()
    site.desk.write("Tern", Note(text="begun"))
    kept = [
        site.desk.posted.keep_photo(
            "Tern",
            png(8 + n, 6),
            shows=what,
            remark=remark,
            at=now - timedelta(days=len(shows) - n),
        ).entries[0]
        for n, what in enumerate(shows)
    ]
    return path, kept


def _side_by_side(page: str) -> list[list[str]]:
    """Return the photographs of each pair that is set side by side."""
    pairs = re.findall(r'<div class="before-after side-by-side">(.*?)</div>', page, re.S)
    return [re.findall(r'href="[^"]*/photos/([^"]+)"', pair) for pair in pairs]


def test_the_timeline_shows_each_photograph_with_its_day_and_what_it_is_of(site: Site):
    path, (whole, tip) = _reed(site, "whole", "tip", remark=HOSTILE)
    page = site.get(f"{path}/back").text
    for entry in (whole, tip):
        assert f'<a class="shot" href="{path}/photos/{entry.uuid}">' in page
        assert f'src="{path}/photos/{entry.uuid}?small=1"' in page
    told = [
        html.unescape(t) for t in re.findall(r'<img src="[^"]*/photos/[^>]*alt="([^"]*)"', page)
    ]
    day = re.findall(r"<time [^>]*>([^<]+)</time>", page)[0]
    assert told[0].startswith("the tip, ")
    assert html.unescape(day) in told[0]
    assert told[1].startswith("the whole reed, ")
    assert HOSTILE in told[0]
    assert "<script>alert" not in page


def test_a_small_photograph_is_a_jpeg_without_its_place(site: Site):
    path = site.add_reed("Tern")
    kept = site.desk.posted.keep_photo("Tern", jpeg(width=1600, height=800), shows="tip").entries[0]
    full = site.get(f"{path}/photos/{kept.uuid}")
    small = site.get(f"{path}/photos/{kept.uuid}?small=1")
    assert small.headers["content-type"] == "image/jpeg"
    assert "sandbox" in small.headers["content-security-policy"]
    assert len(small.content) < len(full.content)
    assert PLACE not in small.content


def test_two_moments_set_photographs_of_the_same_thing_side_by_side(site: Site):
    path, (one, tip, two) = _reed(site, "whole", "tip", "whole")
    page = site.get(f"{path}/back?before={one.seq}&after={two.seq}").text
    assert _side_by_side(page) == [[str(one.uuid), str(two.uuid)]]
    # photographs of different things that were chosen themselves stand first
    page = site.get(f"{path}/back?before={tip.seq}&after={two.seq}").text
    assert _side_by_side(page) == [
        [str(tip.uuid), str(two.uuid)],
        [str(one.uuid), str(two.uuid)],
    ]


def test_without_two_photographs_nothing_is_set_side_by_side(site: Site):
    path, (one, two) = _reed(site, "whole", "whole")
    # before the first photograph, and with the second withdrawn
    assert _side_by_side(site.get(f"{path}/back?before=1&after={two.seq}").text) == []
    site.desk.withdraw("Tern", two.uuid)
    last = site.desk.records.reed("Tern").seq
    page = site.get(f"{path}/back?before={one.seq}&after={last}").text
    assert _side_by_side(page) == []
    assert f"/photos/{two.uuid}" not in page
    assert f"/photos/{one.uuid}" in page
