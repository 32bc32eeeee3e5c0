"""The user says what positions are counted from, and the pages keep to it."""

from __future__ import annotations

import re
from http.cookies import SimpleCookie

import pytest

from crowlight.bench.kinds import Described, Lengths
from crowlight.reed.styles import style
from crowlight.web.counted import COUNTED_FROM

#: Count, its name, and the place 1 mm from the tip of a reed of 70.2 mm tied to 47 mm.
COUNTS = [
    ("tip", "the tip", "1.0"),
    ("rim", "the bottom rim", "69.2"),
    ("thread", "the thread top", "22.2"),
]
SHIFTS = {"tip": "±0.25\u00a0mm from the length", "thread": "±0.25\u00a0mm from where the thread"}


def chosen(page: str) -> list[str]:
    return re.findall(r'aria-current="true">([^<]+)</a>', page)


def kept(answer) -> SimpleCookie:
    found = SimpleCookie()
    for header in answer.headers.get_list("set-cookie"):
        if header.startswith(f"{COUNTED_FROM}="):
            found.load(header)
    return found


def assert_counted(text: str, code: str, name: str, value: str) -> None:
    """Assert that differences, captions, scales and the note of a page count alike."""
    row = re.search(r'<tr role="row" class="row-differs">.*?</tr>', text, re.S)
    assert row is not None
    assert f'scope="row">{value}\u00a0mm<' in row[0]
    assert f"{value}\u00a0mm from {name}, 2.5\u00a0mm from the centreline" in text
    assert f">From {name}</th>" in text
    assert f">mm from {name}</text>" in text
    assert text.count(f"Positions are counted from {name}") == 1
    captions = re.findall(r'<span class="counting">\((.*?)\)</span></caption>', text)
    assert captions
    assert all(c.startswith(f"positions from {name}") for c in captions)
    assert all(SHIFTS.get(code, "") in c and ("±" in c) is (code in SHIFTS) for c in captions)
    for other in {n for _, n, _ in COUNTS} - {name}:
        assert f"mm from {other}</text>" not in text


@pytest.mark.parametrize(("code", "name", "value"), COUNTS)
def test_a_choice_holds_for_page_and_report_until_the_next(site, code, name, value):
    path = site.import_table()
    answer = site.get(f"{path}?from={code}")
    assert_counted(answer.text, code, name, value)
    cookie = kept(answer)[COUNTED_FROM]
    assert cookie.value == code
    assert cookie["samesite"].lower() == "lax"
    assert cookie["path"] == "/"
    assert int(cookie["max-age"]) == 365 * 24 * 3600
    # from now on without being asked
    page = site.get(path).text
    assert_counted(page, code, name, value)
    assert chosen(page) == [name]
    report = site.get(f"{path}/report").text
    assert_counted(report, code, name, value)
    assert f'<th scope="col">From {name}, mm</th>' in report
    assert re.search(rf"<td>marked</td><td>{re.escape(value)}</td><td>−2.5</td>", report)
    assert f"{path}/report?save=1&amp;from={code}" in page
    other = "rim" if code != "rim" else "tip"
    assert site.get(f"{path}/report?from={other}").text != report
    # a look at another count in a report is no choice
    assert chosen(site.get(path).text) == [name]


def test_from_the_tip_if_nobody_chose(site):
    answer = site.get(site.import_table())
    assert_counted(answer.text, *COUNTS[0])
    assert chosen(answer.text) == ["the tip"]
    assert not kept(answer)


@pytest.mark.parametrize("code", ["heel", "", "TIP", "<script>", "thread ", "\u0661"])
def test_a_strange_choice_counts_for_nothing(site, code):
    path = site.import_table()
    answer = site.client.get(path, params={"from": code})
    assert answer.status_code == 200
    assert chosen(answer.text) == ["the tip"]
    assert not kept(answer)


def test_a_strange_cookie_counts_for_nothing(site):
    path = site.import_table()
    for content in ("heel", "thread%0d", "1"):
        answer = site.client.get(path, headers={"cookie": f"{COUNTED_FROM}={content}"})
        assert answer.status_code == 200
        assert chosen(answer.text) == ["the tip"]
    answer = site.client.get(path, headers={"cookie": f"{COUNTED_FROM}=thread"})
    assert chosen(answer.text) == ["the thread top"]


def test_a_link_on_another_site_chooses_nothing(site):
    path = site.import_table()
    answer = site.client.get(f"{path}?from=rim", headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 200
    assert not kept(answer)
    assert chosen(site.get(path).text) == ["the tip"]


def test_what_is_not_known_falls_back_to_the_rim_and_says_why(site):
    head = "# reed: Short\n# length_mm: 70\nblade,from_tip_mm,across_mm,thickness_mm\n"
    path = site.import_table(f"{head}marked,1,-2.5,0.19\nmarked,1,2.5,0.07\n")
    page = site.get(f"{path}?from=thread").text
    assert "counted from the bottom rim: where the thread ends is not known." in page
    assert "69.0\u00a0mm from the bottom rim" in page
    assert chosen(page) == ["the thread top"]
    # and as soon as it is known, the choice holds
    site.desk.write("Short", Lengths(overall=70e-3, thread_top=47e-3))
    assert "22.0\u00a0mm from the thread top" in site.get(path).text


def test_an_earlier_moment_is_kept_when_the_count_is_changed(site):
    path = site.import_table()
    site.desk.write("Gull 7", Described(thread_colour="red"))
    page = site.get(f"{path}?at=2").text
    links = re.findall(r'href="([^"]+from=[^"]+)#differs"', page)
    assert links == [f"{path}?from={code}&amp;at=2" for code in ("tip", "rim", "thread")]
    assert "as it was after entry 2" in site.get(links[1].replace("&amp;", "&")).text


def test_a_changed_length_moves_every_position_from_the_tip_and_its_uncertainty(site):
    path = site.import_table()
    site.desk.write("Gull 7", Lengths(overall=70e-3, overall_uncertainty=0.1e-3, thread_top=47e-3))
    page = site.get(path).text
    # read 1 mm from a tip then at 70.2 mm: kept as 69.2 mm from the rim, which has not moved
    assert "0.8\u00a0mm from the tip" in page
    assert "±0.10\u00a0mm from the length" in page
    assert "69.2\u00a0mm from the bottom rim" in site.get(f"{path}?from=rim").text


def test_pictures_of_sections_carry_the_count(site):
    long = style("long").placed(0.0702)
    rows = ["# reed: Ruff", "# length_mm: 70.2", "# thread_top_mm: 47", "# state: wet"]
    rows += ["# style: long", "blade,from_rim_mm,across_mm,thickness_mm"]
    rows += [
        f"{b},{p.along * 1e3:.3f},{p.across * 1e3:.3f},"
        f"{float(long.thickness(p.along, p.across)) * 1e3:.3f}"
        for b in ("marked", "plain")
        for p in long.full
    ]
    path = site.import_table("\n".join(rows))
    site.get(f"{path}?from=thread")
    page = site.get(path).text
    addresses = re.findall(r'(?:src|srcset)="([^"]+/sections/[^"]+)"', page)
    assert len(addresses) == 4
    assert all(a.endswith("&amp;from=thread") for a in addresses)
    assert page.count(">mm from the thread top</text>") == 8  # five maps, three pictures of points
    svg = site.get(addresses[1].replace("&amp;", "&")).text
    assert "mm from the thread top" in svg
    assert "mm from the bottom rim" in site.get(f"{path}/sections/wet/plain.svg?from=rim").text
