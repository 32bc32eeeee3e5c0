"""Readings typed in rows, and tables imported through the browser."""

from __future__ import annotations

import pytest

from crowlight.bench.kinds import Lengths
from crowlight.reed import Blade, CaneState, Place
from crowlight.web.readings_form import MOST_ROWS, ROWS

from .conftest import TABLE, fields_of


def row(number: int, along: str, side: str, out: str, thickness: str) -> dict[str, str]:
    return {
        f"along-{number}": along,
        f"side-{number}": side,
        f"out-{number}": out,
        f"thickness-{number}": thickness,
    }


COMMON = {"blade": "marked", "state": "wet", "gauge": "dial", "origin": "rim"}


def kept(site):
    return [t.reading for t in site.desk.sheet("Gull 7").state.readings]


def test_rows_become_readings(site):
    path = site.add_reed()
    answer = site.send(
        f"{path}/readings",
        {
            **COMMON,
            "minutes": "4",
            **row(0, "67,2", "left", "2", "0,12"),
            **row(1, "67.2", "right", "2", ".11"),
            **row(2, "64", "centre", "", "0.46 mm"),
            **row(5, "67.2", "left", "2", "0.125"),
        },
    )
    assert answer.status_code == 303, answer.text
    found = kept(site)
    assert [r.place for r in found] == [
        Place(Blade.MARKED, 0.0672, -0.002),
        Place(Blade.MARKED, 0.0672, 0.002),
        Place(Blade.MARKED, 0.064, 0.0),
        Place(Blade.MARKED, 0.0672, -0.002),
    ]
    assert [r.thickness for r in found] == [0.12e-3, 0.11e-3, 0.46e-3, 0.125e-3]
    assert [r.repeat for r in found] == [0, 0, 0, 1]
    assert {r.state for r in found} == {CaneState.WET}
    assert {r.minutes_wet for r in found} == {4.0}
    assert "left against right" in site.get(path).text


def test_positions_from_the_tip_use_the_length(site):
    path = site.add_reed()
    site.desk.write("Gull 7", Lengths(overall=0.0702, thread_top=0.047))
    page = site.get(f"{path}/readings")
    assert fields_of(page)["origin"] == ["tip"]
    assert fields_of(page)["tip-length"] == ["70.2"]
    more = {**COMMON, "origin": "tip", **row(0, "3", "left", "2", "0.12")}
    assert site.send(f"{path}/readings", more, page=page).status_code == 303
    entry = site.desk.sheet("Gull 7").entries[-1]
    assert entry.readings[0].place.along == pytest.approx(0.0672)
    assert (entry.payload.origin, entry.payload.origin_length) == ("tip", 0.0702)
    assert entry.payload.origin_uncertainty > 0


def test_positions_from_the_thread(site):
    path = site.add_reed()
    typed = {
        **COMMON,
        "origin": "thread",
        "thread-length": "47",
        **row(0, "3", "left", "2", "0.52"),
    }
    assert site.send(f"{path}/readings", typed).status_code == 303
    assert kept(site)[0].place.along == pytest.approx(0.050)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (row(0, "67", "left", "2", "-0.12"), "must be above 0 mm; check the zero"),
        (row(0, "67", "left", "2", "0.005"), "if it was read in inches"),
        (row(0, "67", "left", "2", "46"), "was the point left out?"),
        (row(0, "2.64", "left", "2", "0.46"), "were these inches"),
        (row(0, "670", "left", "2", "0.46"), "check which end"),
        (row(0, "67", "left", "22", "0.46"), "off the blade"),
        (row(0, "67", "", "2", "0.46"), "on which side?"),
        (row(0, "67", "centre", "2", "0.46"), "not at the centre"),
        (row(0, "67", "left", "-2", "0.46"), "choose left or right"),
        (row(0, "67", "left", "2", ""), "thickness is missing"),
        (row(0, "", "left", "2", "0.46"), "position is missing"),
        (row(0, "67", "left", "", "0.46"), "from the centreline is missing"),
        (row(0, "67", "left", "2", "o.46"), "“o.46” is not a number"),
        ({}, "No reading is filled in"),
        ({"blade": None, **row(0, "67", "left", "2", "0.46")}, "Choose the blade"),
        ({"origin": "tip", **row(0, "3", "left", "2", "0.46")}, "Overall length is needed"),
        (
            {"origin": "tip", "tip-length": "2.76", **row(0, "3", "left", "2", "0.46")},
            "if it was read in inches, type 70.1 mm",
        ),
        (
            {"origin": "thread", **row(0, "3", "left", "2", "0.46")},
            "Top of the thread is needed",
        ),
        ({"minutes": "-1", **row(0, "67", "left", "2", "0.46")}, "between 0 min and"),
        ({"gauge": "thumb", **row(0, "67", "left", "2", "0.46")}, "&#39;thumb&#39; is not known"),
    ],
)
def test_a_bad_row_is_named_and_everything_typed_stays(site, changes, said):
    path = site.add_reed()
    typed = {**COMMON, **row(3, "60,5", "right", "1,5", "0,47"), **changes}
    if not changes:
        typed |= row(3, "", "", "", "")
    answer = site.send(f"{path}/readings", typed)
    assert answer.status_code == 422
    assert said in answer.text
    back = fields_of(answer)
    assert back["thickness-3"] == [typed["thickness-3"]]
    assert all(back[k] == [v] for k, v in changes.items() if v and k in back and k != "gauge")
    assert kept(site) == []


def test_all_bad_rows_are_told_at_once(site):
    path = site.add_reed()
    typed = {
        **COMMON,
        **row(0, "67", "left", "2", "9"),
        **row(1, "67", "right", "2", "x"),
        **row(2, "67", "centre", "", "0.4"),
    }
    text = site.send(f"{path}/readings", typed).text
    assert "Row 1: thickness = 9 mm" in text
    assert "Row 2, thickness: “x”" in text
    assert "Row 3" not in text.split("</form>")[0].split('<table class="rows"')[0]
    assert 'href="#f-thickness-0"' in text
    assert 'id="f-thickness-0"' in text


def test_more_rows_keep_what_is_typed_and_are_the_answer_to_enter(site):
    path = site.add_reed()
    page = site.get(f"{path}/readings")
    # the first button of a form is the one that Enter presses
    assert page.text.index('name="more"') < page.text.index('name="send"')
    typed = {**COMMON, **row(7, "67", "left", "2", "0.4"), "more": "1"}
    answer = site.send(f"{path}/readings", typed, page=page)
    assert answer.status_code == 200
    back = fields_of(answer)
    assert back["thickness-7"] == ["0.4"]
    assert f"thickness-{2 * ROWS - 1}" in back
    assert kept(site) == []
    assert "rows" in back
    assert f'name="thickness-{MOST_ROWS}"' not in site.get(f"{path}/readings?rows=99999").text


def test_a_correction_starts_from_what_was_written(site):
    path = site.import_table()
    entry = next(e for e in site.desk.sheet("Gull 7").entries if e.readings)
    answer = site.client.get(f"{path}/entries/{entry.uuid}/correct")
    address = answer.headers["location"]
    page = site.get(address)
    back = fields_of(page)
    assert back["along-0"] == ["1"]
    assert (back["side-0"], back["out-0"], back["thickness-0"]) == (["left"], ["2.5"], ["0.19"])
    answer = site.send(address, {"thickness-0": "0,08"}, page=page)
    assert answer.status_code == 303, answer.text
    new = site.desk.sheet("Gull 7").entries[-1]
    assert new.replaces == entry.uuid
    assert new.readings[0].thickness == pytest.approx(0.08e-3)
    assert new.payload.source == "gull.csv"
    # what was not changed is exactly what it was
    assert new.readings[1:] == entry.readings[1:]
    assert new.readings[0].place == entry.readings[0].place


def test_a_correction_can_state_what_holds_for_all_rows(site):
    path = site.import_table()
    entry = next(e for e in site.desk.sheet("Gull 7").entries if e.readings)
    address = f"{path}/readings?corrects={entry.uuid}"
    assert site.send(address, {"state": "dry"}).status_code == 303
    assert {r.state for r in kept(site)} == {CaneState.DRY}


def test_too_many_readings_for_a_form_are_sent_to_the_table(site):
    rows = "\n".join(f"marked,{30 + 0.2 * i:.1f},0,0.4" for i in range(MOST_ROWS + 1))
    path = site.import_table("# reed: Gull 7\nblade,from_rim_mm,across_mm,thickness_mm\n" + rows)
    entry = site.desk.sheet("Gull 7").entries[-1]
    page = site.get(f"{path}/readings?corrects={entry.uuid}", 422).text
    assert f"{MOST_ROWS + 1} readings" in page
    assert "import it again" in page


def test_two_windows_of_readings(site):
    path = site.add_reed()
    first, second = (site.get(f"{path}/readings") for _ in range(2))
    typed = {**COMMON, **row(0, "67", "left", "2", "0.4")}
    assert site.send(f"{path}/readings", typed, page=first).status_code == 303
    assert site.send(f"{path}/readings", typed, page=first).status_code == 303
    assert len(kept(site)) == 1
    answer = site.send(f"{path}/readings", {**typed, "thickness-0": "0.41"}, page=second)
    assert answer.status_code == 409
    assert fields_of(answer)["thickness-0"] == ["0.41"]
    assert site.send(f"{path}/readings", {}, page=answer).status_code == 303
    assert [r.repeat for r in kept(site)] == [0, 1]


# --- tables ---------------------------------------------------------------------------------------


def send_table(site, text: bytes | str, name: str = "gull.csv", **fields: str):
    hidden = fields_of(site.get("/import"))
    data = {k: v[0] for k, v in hidden.items()} | fields
    return site.client.post("/import", data=data, files={"table": (name, text)})


def test_a_table_is_imported_once(site):
    answer = send_table(site, TABLE)
    assert answer.status_code == 303
    page = site.get(answer.headers["location"]).text
    assert "Table imported." in page
    assert "9 readings" in page
    again = send_table(site, TABLE)
    assert "imported before" in site.get(again.headers["location"]).text
    assert len(kept(site)) == 9


def test_a_table_with_a_bad_line_is_refused_whole(site):
    bad = TABLE.replace("0.44\nmarked,6,0", "44\nmarked,6,0").replace(
        "plain,6,0,0.46", "plain,6,0,"
    )
    answer = send_table(site, bad, reed="Gull 7")
    assert answer.status_code == 422
    assert "line 10:" in answer.text
    assert "2 lines are wrong" in answer.text
    assert fields_of(answer)["reed"] == ["Gull 7"]
    assert "No reeds yet" in site.get("/").text


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00\x01\x02",
        b"PK\x03\x04rubbish",
        b"a,b\n1,2\n",
        b"blade;x\n\x07",
        b"\xff\xfe",
    ],
)
def test_a_file_that_is_no_table_is_refused_with_a_reason(site, data):
    answer = send_table(site, data, reed="Gull 7")
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "Traceback" not in answer.text


def test_no_file_is_asked_for(site):
    answer = site.send("/import", {"reed": "Gull 7"})
    assert answer.status_code == 422
    assert "Choose a file" in answer.text


def test_a_table_without_a_reed_is_asked_for_one(site):
    answer = send_table(site, TABLE.replace("# reed: Gull 7\n", ""))
    assert answer.status_code == 422
    assert "does not say which reed" in answer.text


def test_the_import_page_knows_the_reed_it_was_opened_from(site):
    uuid = site.add_reed("Plover").removeprefix("/reeds/")
    assert fields_of(site.get(f"/import?reed={uuid}"))["reed"] == ["Plover"]
