"""Readings on a drawn blade, each an entry of its own."""

from __future__ import annotations

import html
import re
from uuid import uuid4

import pytest
from tests.web.conftest import fields_of, styled_table

from crowlight.bench.kinds import Described, Lengths, ReadingsTaken, Withdrawn
from crowlight.reed import CaneState
from crowlight.reed.styles import style


def known(site, name: str = "Tern") -> str:
    """Add a reed whose points are known."""
    reed = site.add_reed(name)
    site.desk.write(name, Described(style="long"))
    site.desk.write(name, Lengths(overall=70.2e-3, thread_top=47e-3))
    return reed


def opened(site, reed: str, kind: str = "quick") -> str:
    """Return the address of a round that was begun."""
    answer = site.client.get(f"{reed}/measure?round={kind}")
    assert answer.status_code == 303
    return answer.headers["location"]


def kept(site, name: str = "Tern"):
    return site.desk.records.entries(site.desk.records.reed(name).uuid)


def readings(site, name: str = "Tern"):
    return site.desk.sheet(name).state.readings


def test_a_round_has_an_address_of_its_own_that_a_reload_keeps(site):
    reed = known(site)
    address = opened(site, reed)
    assert re.search(r"round=quick&seed=\d+&burst=[0-9a-f-]{36}$", address)
    first, again = site.get(address).text, site.get(address).text
    visits = re.findall(r'<option value="(marked|plain),', first)
    assert visits == ["marked"] * 8 + ["plain"] * 8 + visits[16:]
    assert first.count("(again)") == 2
    assert re.findall(r"\d+\. [^<]+\(again\)", first) == re.findall(r"\d+\. [^<]+\(again\)", again)
    assert opened(site, reed) != address


def test_readings_go_on_at_the_next_point_without_a_script(site):
    address = opened(site, known(site))
    places = []
    for value in ("0.08", "0,09", "0.1 mm"):
        page = site.get(address)
        places.append(re.search(r'id="now"[^>]*>([^<]+)<', page.text)[1])
        answer = site.send(address.split("?")[0], {"thickness": value}, page=page)
        assert (answer.status_code, answer.headers["location"]) == (303, address)
    assert len(set(places)) == 3
    assert [round(t.reading.thickness * 1e3, 3) for t in readings(site)] == [0.08, 0.09, 0.1]
    assert {e.payload.kind for e in kept(site)[2:]} == {"readings"}
    long = style("long").placed(70.2e-3)
    wanted = [(round(p.along, 7), round(p.across, 7)) for p in long.quick[:3]]
    assert [(t.reading.place.along, t.reading.place.across) for t in readings(site)] == wanted


def test_readings_of_a_round_belong_together_and_say_where_their_order_came_from(site):
    address = opened(site, known(site))
    for _ in range(3):
        site.send(address.split("?")[0], {"thickness": "0.1"}, page=site.get(address))
    payloads = [e.payload for e in kept(site)[2:]]
    assert all(isinstance(p, ReadingsTaken) for p in payloads)
    assert len({p.burst for p in payloads}) == 1
    seed = re.search(r"seed=(\d+)", address)[1]
    assert {p.source for p in payloads} == {f"quick round {seed}"}
    assert len({t.together for t in readings(site)}) == 1
    sheet = site.desk.sheet("Tern")
    assert site.desk.reed_inputs(sheet.reed, sheet.state)["sittings"] == (3,)


def test_a_whole_quick_look_repeats_two_points_on_another_mounting(site):
    address = opened(site, known(site))
    for _ in range(18):
        site.send(address.split("?")[0], {"thickness": "0.4"}, page=site.get(address))
    assert "All points of this round are read." in site.get(address).text
    found = [t.reading for t in readings(site)]
    assert [r.repeat for r in found] == [0] * 16 + [1, 1]
    assert [r.seating for r in found] == [0] * 16 + [1, 1]
    assert {r.state for r in found} == {CaneState.WET}


def test_sending_twice_writes_once_also_after_later_readings(site):
    address = opened(site, known(site))
    page = site.get(address)
    first = {**fields_of(page), "thickness": "0.1"}
    post = address.split("?")[0]
    assert site.client.post(post, data=first).status_code == 303
    other = {**first, "uuid": str(uuid4()), "thickness": "0.11"}
    assert site.client.post(post, data=other).status_code == 303
    # the reply to the first was lost, and it is sent again after the second of the same place
    assert site.client.post(post, data=first).status_code == 303
    assert [(r.reading.thickness, r.reading.repeat) for r in readings(site)] == [
        (pytest.approx(0.1e-3), 0),
        (pytest.approx(0.11e-3), 1),
    ]


def test_a_repeat_out_of_range_is_asked_about_and_kept(site):
    address = opened(site, known(site))
    page = site.get(address)
    for value in ("0.10", "0.20"):
        site.client.post(
            address.split("?")[0],
            data={**fields_of(page), "uuid": str(uuid4()), "thickness": value},
        )
    shown = site.get(address).text
    assert "Read these once more?" in shown
    assert "0.100\u00a0mm · 0.200\u00a0mm" in shown
    assert "Read these once more?" in site.get(address.replace("/measure", "/measure/live")).text
    assert len(readings(site)) == 2


@pytest.mark.parametrize(
    ("value", "said"),
    [("0.4.5", "is not a number"), ("46", "above 1.5 mm"), ("0.016", "if it was read in inches")],
)
def test_what_is_in_doubt_is_asked_about_and_stays_typed(site, value, said):
    address = opened(site, known(site))
    answer = site.send(address.split("?")[0], {"thickness": value}, page=site.get(address))
    assert answer.status_code == 422
    assert said in answer.text
    assert f'value="{value}"' in answer.text
    assert readings(site) == ()


def test_units_are_those_of_the_form_whatever_is_chosen_meanwhile(site):
    address = opened(site, known(site))
    site.send("/settings", {"unit": "hundredths"})
    page = site.get(address)
    assert 'name="unit" value="hundredths"' in page.text
    site.send("/settings", {"unit": "um"})
    site.send(address.split("?")[0], {"thickness": "46"}, page=page)
    assert readings(site)[0].reading.thickness == pytest.approx(0.46e-3)
    page = site.get(address)
    site.send(address.split("?")[0], {"thickness": "460"}, page=page)
    assert readings(site)[1].reading.thickness == pytest.approx(0.46e-3)


def test_a_tapped_place_is_kept_and_drawn(site):
    address = opened(site, known(site))
    extra = {"thickness": "0.3", "visit": "plain,0.0634,-0.0012,0"}
    site.send(address.split("?")[0], extra, page=site.get(address))
    place = readings(site)[0].reading.place
    assert (place.blade, place.along, place.across) == ("plain", 0.0634, -0.0012)
    assert "plain blade, 6.8\u00a0mm from the tip, 1.2\u00a0mm left: 0.30" in site.get(address).text


def test_points_are_named_as_the_reed_is_held_and_counted(site):
    reed = known(site)
    site.send("/settings", {"tip": "down", "count_from": "rim"})
    page = html.unescape(site.get(opened(site, reed)).text)
    assert "1. marked blade, 68.7\u00a0mm from the bottom rim, 2.4\u00a0mm right" in page
    assert "Tip down" in page
    taken = opened(site, reed)
    site.send(taken.split("?")[0], {"thickness": "0.1"}, page=site.get(taken))
    (entry,) = kept(site)[2:]
    assert entry.payload.origin == "rim"
    assert entry.readings[0].place.across < 0  # records keep the side facing the blade, tip up


def test_a_reading_is_taken_back_by_an_entry(site):
    address = opened(site, known(site))
    site.send(address.split("?")[0], {"thickness": "0.1"}, page=site.get(address))
    entry = kept(site)[-1]
    query = dict(p.split("=") for p in address.split("?")[1].split("&"))
    token = fields_of(site.get(address))["token"]
    data = {"token": token, "uuid": str(uuid4()), "entry": str(entry.uuid), **query}
    answer = site.client.post(f"{address.split('?')[0]}/undo", data=data)
    assert answer.status_code == 303
    assert isinstance(kept(site)[-1].payload, Withdrawn)
    assert kept(site)[-1].replaces == entry.uuid
    assert readings(site) == ()


def test_what_is_missing_is_asked_for_first(site):
    reed = site.add_reed("Tern")
    assert "not known yet" in site.get(opened(site, reed)).text
    site.desk.write("Tern", Described(style="long"))
    assert "Measure it first" in site.get(opened(site, reed)).text
    site.desk.write("Tern", Lengths(overall=50e-3))
    assert "does not fit style" in html.unescape(site.get(opened(site, reed)).text)


def test_strange_addresses_and_forms_are_answered_kindly(site):
    reed = known(site)
    assert site.client.get(f"{reed}/measure?round=dance&seed=-1").status_code == 303
    token = fields_of(site.get(opened(site, reed)))["token"]
    assert site.client.post(f"{reed}/measure", data={"token": token}).status_code == 422
    address = opened(site, reed)
    for visit in ("", "heel,1,2,3", "marked,x,0,0", "marked,0.06,0"):
        changes = {"visit": visit, "thickness": "0.4"}
        answer = site.send(address.split("?")[0], changes, page=site.get(address))
        assert answer.status_code == 422
        assert "Choose the point" in answer.text
    answer = site.send(address.split("?")[0], {"token": "0", "thickness": "0.4"},
                       page=site.get(address))  # fmt: skip
    assert answer.status_code == 403
    assert readings(site) == ()


def test_where_it_matters_most_comes_from_the_map(site):
    reed = site.import_table(styled_table())
    page = site.get(opened(site, reed, "next")).text
    assert page.count("<option value=") - page.count('<option value="">') >= 3
    assert len(re.findall(r'<option value="(?:marked|plain),', page)) == 3
    live = site.get(opened(site, reed, "next").replace("/measure?", "/measure/live?")).text
    assert "<svg" in live
    assert "<html" not in live


def test_readings_taken_one_by_one_are_put_together_in_the_log(site):
    reed = known(site)
    address = opened(site, reed)
    for value in ("0.08", "0.09", "0.10"):
        site.send(address.split("?")[0], {"thickness": value}, page=site.get(address))
    page = site.get(reed).text
    told = re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))
    assert "3–5 Readings: 3 taken one by one" in told
    assert "marked blade, 68.7 mm from the bottom rim, centreline: 0.090 mm" in told
    assert page.count('class="run"') == 1
    assert page.count('id="entry-') == 5


def test_a_corrected_reading_stays_with_those_it_was_taken_with(site):
    reed = known(site)
    address = opened(site, reed)
    for value in ("0.08", "0.90"):
        site.send(address.split("?")[0], {"thickness": value}, page=site.get(address))
    wrong = kept(site)[-1]
    answer = site.send(f"{reed}/readings?corrects={wrong.uuid}", {"thickness-0": "0.09"})
    assert answer.status_code == 303
    assert [round(t.reading.thickness * 1e3, 3) for t in readings(site)] == [0.08, 0.09]
    assert len({t.together for t in readings(site)}) == 1
