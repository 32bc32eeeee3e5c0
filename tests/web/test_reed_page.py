"""The page of one reed, its report and its JSON."""

from __future__ import annotations

import re
from uuid import UUID, uuid4

import pytest

from crowlight.bench.kinds import Described, Lengths, Note, Opening
from crowlight.reed.styles import style

HOSTILE = "<script>alert(1)</script> & \"quoted\" 'x' \u202egnp.exe \u200f{{ 7*7 }}"


def test_differences_are_shown_as_value_interval_and_finding(site):
    page = site.get(site.import_table()).text
    for said in ("differs", "no difference the gauge can see", "not measured"):
        assert said in page
    row = re.search(r'<tr role="row" class="row-differs">.*?</tr>', page, re.S)
    assert row is not None
    assert "+0.120" in row[0]
    assert re.search(r"\+0\.0\d\d to \+0\.\d\d\d", row[0])
    assert "left thicker" in row[0]
    assert "1.0\u00a0mm" in row[0]


def test_the_pictures_have_names_and_ids_of_their_own(site):
    table = "".join(
        line
        for state in ("wet", "dry")
        for line in [
            f"marked,1,-2.5,0.1{len(state)},{state}\n",
            f"marked,1,2.5,0.07,{state}\n",
        ]
    )
    head = "# reed: Two\n# length_mm: 70\nblade,from_tip_mm,across_mm,thickness_mm,state\n"
    page = site.get(site.import_table(head + table)).text
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert page.count('role="img"') == 6
    for labelled in re.findall(r'aria-(?:labelled|described)by="([^"]+)"', page):
        assert set(labelled.split()) <= set(ids)
    assert "Wet and dry readings are never compared" in page


def test_hostile_text_is_printed_literally_everywhere(site):
    path = site.add_reed(HOSTILE)
    site.desk.write(HOSTILE, Note(text=HOSTILE))
    site.desk.write(HOSTILE, Lengths(overall=0.07))
    for address in ("/", path, f"{path}/report", f"{path}/write/note", f"{path}/readings"):
        text = site.get(address).text
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
        assert "{{ 7*7 }}" in text
        # what would turn the text round is made visible
        assert "\u202e" not in text
        assert "[U+202E]" in text


def test_the_log_strikes_out_what_no_longer_counts(site):
    path = site.add_reed()
    entry = site.desk.write("Gull 7", Opening(height=0.6e-3)).entries[0]
    answer = site.send(f"{path}/entries/{entry.uuid}/withdraw", {"reason": "wrong reed"})
    assert answer.headers["location"].startswith(f"{path}?done=withdrawn")
    page = site.get(answer.headers["location"]).text
    assert "<del>Opening</del>" in page
    assert "withdraws entry 1" in page
    assert "wrong reed" in page
    assert "Opening at rest" not in page
    # it cannot be withdrawn a second time from here
    assert f"/entries/{entry.uuid}/withdraw" not in page


def test_a_reed_can_be_seen_as_it_was(site):
    path = site.add_reed()
    site.desk.write("Gull 7", Opening(height=0.6e-3))
    site.desk.write("Gull 7", Opening(height=0.8e-3))
    then = site.get(f"{path}?at=1").text
    assert "as it was after entry 1" in then
    assert "0.60\u00a0mm" in then
    assert "0.80\u00a0mm" not in then
    assert "/write/" not in then
    assert "0.80\u00a0mm" in site.get(path).text


@pytest.mark.parametrize("at", ["x", "-1", "99999999999", "\u0661"])
def test_a_strange_moment_is_now(site, at):
    path = site.import_table()
    assert "as it was after" not in site.get(f"{path}?at={at}").text


def test_a_reed_that_is_not_there(site):
    for path in (f"/reeds/{uuid4()}", "/reeds/nonsense", "/nowhere", f"/reeds/{uuid4()}/report"):
        page = site.get(path, 404).text
        assert 'href="/"' in page
        assert "Traceback" not in page
    assert (
        site.client.get(f"/reeds/{uuid4()}/assessment.json")
        .headers["content-type"]
        .startswith("application/json")
    )


def test_invented_data_says_so(site):
    path = site.import_table(invented=True)
    for page in (path, f"{path}/report"):
        assert "Invented data." in site.get(page).text
    other = site.import_table("# reed: Real\n" + "\n".join(_rows()))
    assert "Invented" not in site.get(other).text


def _rows() -> list[str]:
    return ["blade,from_rim_mm,across_mm,thickness_mm", "marked,60,-2,0.4", "marked,60,2,0.4"]


def test_json(site):
    path = site.import_table()
    found = site.get(f"{path}/assessment.json").json()
    assert found["reed"] == "Gull 7"
    assert found["unit"] == "mm"
    assert found["groups"][0]["readings"] == 9
    site.get(f"{site.add_reed('empty')}/assessment.json", 404)


def test_the_report_needs_nothing_else(site):
    path = site.import_table()
    shown = site.get(f"{path}/report")
    assert "script-src" not in shown.headers["content-security-policy"]
    assert "sandbox" in shown.headers["content-security-policy"]
    assert not re.search(r'(src|href)=["\'](?!#|data:)', shown.text)
    assert shown.text.count('<svg class="reed"') == 3
    assert "@page" in shown.text
    assert "knife" in shown.text
    saved = site.get(f"{path}/report?save=1")
    assert saved.headers["content-disposition"] == 'attachment; filename="Gull-7.html"'


def test_the_name_of_a_saved_report_is_safe(site):
    path = site.add_reed('../"; x\u00e9\u4e2d')
    disposition = site.get(f"{path}/report?save=1").headers["content-disposition"]
    assert disposition == 'attachment; filename="xe.html"'


def test_ten_thousand_readings_make_a_page(site):
    rows = [
        f"{blade},{50 + 0.04 * i:.2f},{side * 2},{0.3 + 0.0001 * (i % 7):.4f}"
        for i in range(500)
        for blade in ("marked", "plain")
        for side in (-1, 1)
        for _ in range(5)
    ]
    head = "# reed: Many\nblade,from_rim_mm,across_mm,thickness_mm\n"
    path = site.import_table(head + "\n".join(rows))
    page = site.get(path).text
    assert "10,000 readings" in page or "10000 readings" in page
    assert len(page) < 1_500_000


def standard_points(code: str = "long") -> str:
    """Return a table of the standard points of a style, its marked blade 0.08 mm thicker."""
    chosen = style(code).placed(0.0702)
    rows = [f"# reed: Mapped\n# length_mm: 70.2\n# style: {code}\n# state: wet"]
    rows.append("blade,from_rim_mm,across_mm,thickness_mm")
    for blade, more in (("marked", 0.08), ("plain", 0.0)):
        rows += [
            f"{blade},{p.along * 1e3:.2f},{p.across * 1e3:.2f},"
            f"{float(chosen.thickness(p.along, p.across)) * 1e3 + more:.3f}"
            for p in chosen.full
        ]
    return "\n".join(rows)


def test_a_map_is_shown_with_what_differs_and_what_to_measure_next(site):
    path = site.import_table(standard_points())
    page = site.get(path).text
    assert page.count('class="reed map"') == 5
    assert "heart, thickness" in page
    assert "marked thicker" in page
    assert "Where one more reading tells most" in page
    found = site.get(f"{path}/assessment.json").json()
    assert f"{found['differing']} of" in page
    report = site.get(f"{path}/report").text
    assert report.count('class="reed map"') == 5
    assert report.count("data:image/svg+xml;base64,") == 2


def test_sections_come_as_pictures_for_light_and_dark(site):
    path = site.import_table(standard_points())
    page = site.get(path).text
    addresses = re.findall(r'(?:src|srcset)="([^"]+/sections/[^"]+)"', page)
    assert len(addresses) == 4
    for address in addresses:
        answer = site.get(address.replace("&amp;", "&"))
        assert answer.headers["content-type"] == "image/svg+xml"
        assert answer.text.startswith("<svg")
    site.get(f"{path}/sections/dry/marked.svg", 404)
    site.get(f"{path}/sections/wet/nonsense.svg", 404)
    site.get(f"{site.add_reed('bare')}/sections/wet/marked.svg", 404)


def test_without_a_style_the_page_says_how_to_get_a_map(site):
    page = site.get(site.import_table()).text
    assert "write down the scrape style" in page
    assert 'class="reed map"' not in page


def test_a_style_nobody_knows_does_not_hide_the_reed(site):
    path = site.import_table()
    site.desk.write("Gull 7", Described(style="my own <i>curly</i> one"))
    page = site.get(path).text
    assert "my own &lt;i&gt;curly&lt;/i&gt; one" in page
    assert "/correct" in page
    site.get(f"{path}/report")
    site.get(f"{path}/write/described")


def test_a_reading_off_the_blade_can_be_seen_and_mended(site):
    path = site.import_table(standard_points() + "\nmarked,50,-4.9,0.5")
    page = site.get(path).text
    assert "No thickness map: " in page
    assert "mm across" in page
    assert "No thickness map: " in site.get(f"{path}/report").text
    entry = next(e for e in site.desk.records.entries(_uuid(path)) if e.readings)
    address = f"{path}/readings?corrects={entry.uuid}"
    last = len(entry.readings) - 1
    answer = site.send(address, {f"out-{last}": "1.5"})
    assert answer.status_code == 303
    assert 'class="reed map"' in site.get(path).text


def _uuid(path: str) -> UUID:
    return UUID(path.removeprefix("/reeds/"))
