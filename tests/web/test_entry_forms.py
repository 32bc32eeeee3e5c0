"""Forms for every kind of entry: what was typed is kept, whatever happens."""

from __future__ import annotations

from datetime import UTC, datetime
from uuid import UUID, uuid4

import pytest

from crowlight.bench.advice_kinds import AfterCheck, Guess, Treated, Trials, Wish
from crowlight.bench.kinds import (
    KINDS,
    Clip,
    CrowStart,
    Cut,
    ForceTest,
    Lengths,
    Note,
    Opening,
    Verdict,
)
from crowlight.bench.ports import OwnStyle
from crowlight.errors import CannotWrite
from crowlight.report.words import in_locale
from crowlight.web.fields import FORMS
from crowlight.web.typing_in import payload_of, typed_of

from .conftest import fields_of
from .workshop_full import WORKSHOP_FULL

ADVICE, DONE = UUID(int=1), UUID(int=2)
#: One full example of every kind, in SI units.
FULL = {
    "lengths": Lengths(overall=0.0702, overall_uncertainty=0.2e-3, thread_top=0.047),
    "opening": Opening(height=0.62e-3, uncertainty=0.03e-3),
    "note": Note(text="two\nlines"),
    "cut": Cut(
        zone="tip",
        blades=("marked", "plain"),
        sides=("left",),
        part="left-corner",
        direction="oblique",
        strokes=3,
        depth=2e-5,
        remark="x",
        advised=ADVICE,
        option=0,
    ),
    "clip": Clip(amount=0.2e-3, against="stop", advised=ADVICE, option=1),
    "wetting": KINDS["wetting"](how="soaked", duration=180.0),
    "rest": KINDS["rest"](duration=7200.0, advised=ADVICE),
    "knife": KINDS["knife"](what="sharpened"),
    "playing-test": KINDS["playing-test"](
        low_soft_attack="yes",
        slurred_octaves="no",
        high_notes_hold="unsure",
        sags_when_lip_loosens="no",
        tongues_cleanly="yes",
        soft_to_loud="yes",
    ),
    "verdict": Verdict(words="dark, a little stuffy", grade=4),
    "travelled": KINDS["travelled"](
        effect="crow-pitch",
        found=45.0,
        accuracy=15.0,
        home_altitude=6.0,
        altitude=1850.0,
        remark="two days there",
    ),
    "climate": KINDS["climate"](temperature=294.65, humidity=0.45, pressure=101_300.0),
    "force-test": ForceTest(
        force=0.8825985,
        uncertainty=0.04903325,
        depth=0.11e-3,
        depth_uncertainty=0.01e-3,
        pad_from_tip=8.2e-3,
        pad_length=4e-3,
    ),
    "crow-start": CrowStart(pressure=4118.793, read_in="cmH2O", uncertainty=196.133),
    "wish": Wish(
        easy_resistant=-0.5,
        covered_bright=0.0,
        closed_open=1.0,
        uses_knife="no",
        others_reed="yes",
        may_cut="unsure",
        concert_in=36000.0,
    ),
    "trials": Trials(
        crow_speaks="yes",
        swell_begins="both",
        leaks="no",
        bubbles="none",
        looked=True,
        look=("nick", "film"),
        control_reed="fine",
        other_instrument="fails",
        other_player="fine",
        re_soaked="better",
        dried="same",
        pinched_sides="same",
    ),
    "guess": Guess(
        who="the student",
        does="scrape",
        zone="tip",
        part="corners",
        blades=("marked",),
        finding="one thick corner",
        remark="it looked dark",
    ),
    "treated": Treated(what="clean", remark="water", advised=ADVICE, option=2),
    "after-check": AfterCheck(follows=DONE, result="better", recording=UUID(int=3), remark="y"),
    "described": KINDS["described"](
        thread_colour="red",
        cork_number="7",
        style="long",
        cane={
            "diameter": 0.0102,
            "gouge_centre": 0.59e-3,
            "gouge_side": 0.44e-3,
            "hardness": 12.5,
            "hardness_device": "needle",
            "source": "a friend",
        },
        shape={"tip_width": 0.007, "waist_width": 0.0041},
        staple={"length": 0.047, "bore_top": 0.0025, "bore_bottom": 0.0048},
        tie_length=0.073,
        overlap=-0.1e-3,
    ),
    "split-test": KINDS["split-test"](test="tip/seen", made="changed", remark="right side first"),
    **WORKSHOP_FULL,
}


def test_every_kind_with_a_form_has_an_example_here():
    assert set(FULL) == set(FORMS)
    formless = {"readings", "recording", "label", "control", "withdrawn", "advised"} | {
        "photo",
        "letter",
        "light",  # marked on its own page
    }
    assert set(KINDS) - set(FORMS) == formless


@pytest.mark.parametrize("kind", FULL)
def test_every_field_of_a_payload_has_a_field_in_its_form(kind):
    def names(model, before=""):
        for name, info in model.model_fields.items():
            if hasattr(info.annotation, "model_fields"):
                yield from names(info.annotation, f"{before}{name}.")
            else:
                yield before + name

    assert {f.name for f in FORMS[kind].fields} == set(names(KINDS[kind])) - {"profile"}


@pytest.mark.parametrize("kind", FULL)
def test_what_is_typed_becomes_the_payload_and_back(kind):
    typed = typed_of(kind, FULL[kind])
    payload, troubles = payload_of(kind, typed, words=in_locale("en"))
    assert troubles == []
    assert payload.model_dump_json() == _rounded(FULL[kind], payload)


def _rounded(expected, found) -> str:
    """Compare numbers to nine digits: typing passes through decimal text."""

    def near(a, b):
        if isinstance(a, dict):
            return {k: near(v, b[k]) for k, v in a.items()}
        return b if isinstance(a, float) and a == pytest.approx(b, rel=1e-9) else a

    return (
        type(expected)
        .model_validate(near(expected.model_dump(), found.model_dump()))
        .model_dump_json()
    )


@pytest.mark.parametrize("kind", FULL)
def test_each_form_writes_an_entry_and_corrects_it(site, kind):
    path = site.add_reed()
    page = site.get(f"{path}/write/{kind}")
    assert page.text.count("<h1") == 1
    answer = site.send(f"{path}/write/{kind}", typed_of(kind, FULL[kind]), page=page)
    assert answer.status_code == 303, answer.text
    assert "Written down." in site.get(answer.headers["location"]).text
    entry = site.desk.sheet("Gull 7").entries[-1]
    assert entry.payload.kind == kind
    again = site.get(f"{path}/entries/{entry.uuid}/correct")
    answer = site.send(f"{path}/entries/{entry.uuid}/correct", {}, page=again)
    assert answer.status_code == 303, answer.text
    new = site.desk.sheet("Gull 7").entries[-1]
    assert new.replaces == entry.uuid
    _, troubles = payload_of(kind, typed_of(kind, new.payload), words=in_locale("en"))
    assert troubles == []


@pytest.mark.parametrize(
    "kind", ["cut", "clip", "knife", "playing-test", "force-test", "crow-start"]
)
def test_where_work_can_hurt_the_form_says_so(site, kind):
    assert "Take care." in site.get(f"{site.add_reed()}/write/{kind}").text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("2.76", "2.76 mm must lie between 30 mm and 100 mm; if it was read in inches, type 70.1"),
        ("702", "decimal point in the right place"),
        ("-70", "-70 mm must lie between 30 mm and 100 mm"),
        ("7o", "“7o” is not a number"),
        ("70.2.1", "is not a number"),
        ("1,070.2", "is not a number"),
        ("nan", "is not a number"),
        ("1e99", "is not a number"),
        ("\u0667\u0660", "is not a number"),
        ("", "Overall length is empty"),
        ("9" * 400, "is not a number"),
    ],
)
def test_a_bad_length_names_value_unit_limit_and_remedy(site, typed, said):
    path = site.add_reed()
    answer = site.send(f"{path}/write/lengths", {"overall": typed, "thread_top": "47,25"})
    assert answer.status_code == 422
    assert said in answer.text
    assert 'aria-invalid="true"' in answer.text
    kept = fields_of(answer)
    assert kept["overall"] == [typed]
    assert kept["thread_top"] == ["47,25"]
    assert site.desk.sheet("Gull 7").entries == ()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        # 0.9 N is 91.77 g (standard gravity), 0.9 oz is 25.51 g (28.349523125 g, exact)
        ("0.9", "if it was read in newtons, type 91.77 g; if it was read in ounces, type 25.51 g"),
        ("900", "Force = 900 g must lie between 16 g and 800 g; is the decimal point"),
    ],
)
def test_a_force_in_another_unit_is_asked_about(site, typed, said):
    path = site.add_reed()
    answer = site.send(f"{path}/write/force-test", {"force": typed})
    assert answer.status_code == 422
    assert said in answer.text
    assert fields_of(answer)["force"] == [typed]


@pytest.mark.parametrize(
    ("typed", "unit", "pascals"),
    # NIST SP 811 (2008), appendix B.8: conventional centimetre of water 98.0665 Pa, mbar 100 Pa
    [
        ("42", "hPa", 4200.0),
        ("42", "mbar", 4200.0),
        ("42", "cmH2O", 4118.793),
        ("4,2", "kPa", 4200),
    ],
)
def test_a_pressure_is_typed_in_the_unit_named(site, typed, unit, pascals):
    path = site.add_reed()
    sent = {"pressure": typed, "read_in": unit, "uncertainty": ""}
    assert site.send(f"{path}/write/crow-start", sent).status_code == 303
    kept = site.desk.sheet("Gull 7").entries[-1].payload
    assert kept.pressure == pytest.approx(pascals)
    assert typed_of("crow-start", kept)["pressure"] == [typed.replace(",", ".")]


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("42", None, "The manometer shows is empty"),
        ("4.2", "hPa", "4.2 hPa must lie between 5 hPa and 150 hPa; does the manometer show kPa?"),
        ("42", "kPa", "42 kPa must lie between 0.5 kPa and 15 kPa; does the manometer show hPa"),
    ],
)
def test_a_pressure_in_no_unit_or_another_is_asked_about(site, typed, unit, said):
    path = site.add_reed()
    answer = site.send(f"{path}/write/crow-start", {"pressure": typed, "read_in": unit})
    assert answer.status_code == 422
    assert said in answer.text
    assert fields_of(answer)["pressure"] == [typed]
    assert site.desk.sheet("Gull 7").entries == ()


def test_a_spread_above_half_the_force_is_asked_about(site):
    answer = site.send(f"{site.add_reed()}/write/force-test", {"force": "90", "uncertainty": "60"})
    assert answer.status_code == 422
    assert "must be at most half the value" in answer.text


@pytest.mark.parametrize("typed", ["70,2", "70.2", " 70.2 mm ", "+70.2", "70.2\u00a0mm"])
def test_decimal_comma_or_point(site, typed):
    path = site.add_reed()
    assert site.send(f"{path}/write/lengths", {"overall": typed}).status_code == 303
    assert site.desk.sheet("Gull 7").state.length == pytest.approx(0.0702)


@pytest.mark.parametrize("text", ["bell \x07", "null \x00 byte", "escape \x1b[2J"])
def test_control_characters_are_named(site, text):
    path = site.add_reed()
    answer = site.send(f"{path}/write/note", {"text": text})
    assert answer.status_code == 422
    assert "control character U+00" in answer.text


@pytest.mark.parametrize("kind", ["climate", "verdict", "described"])
def test_a_form_that_says_nothing_is_not_written(site, kind):
    path = site.add_reed()
    blank = dict.fromkeys((f.name for f in FORMS[kind].fields), "")
    answer = site.send(f"{path}/write/{kind}", blank)
    assert answer.status_code == 422
    assert "Nothing is filled in" in answer.text


def test_a_choice_that_is_none_is_refused(site):
    path = site.add_reed()
    answer = site.send(f"{path}/write/wetting", {"how": "boiled"})
    assert answer.status_code == 422
    assert "“boiled” is not one of the choices" in answer.text


def test_a_style_there_are_no_figures_for_is_asked_about_and_kept_in_sight(site):
    path = site.add_reed()
    answer = site.send(f"{path}/write/described", {"style": "my <i>own</i>", "cork_number": "7"})
    assert answer.status_code == 422
    assert "“my &lt;i&gt;own&lt;/i&gt;” is not one of the choices" in answer.text
    assert fields_of(answer)["style"] == ["my <i>own</i>"]
    assert fields_of(answer)["cork_number"] == ["7"]


def test_two_windows_on_one_reed(site):
    path = site.add_reed()
    first, second = (site.get(f"{path}/write/note") for _ in range(2))
    assert site.send(f"{path}/write/note", {"text": "from one"}, page=first).status_code == 303
    answer = site.send(f"{path}/write/note", {"text": "from two"}, page=second)
    assert answer.status_code == 409
    assert "Something else was written down" in answer.text
    assert "from one" in answer.text
    assert fields_of(answer)["text"] == ["from two"]
    assert site.send(f"{path}/write/note", {}, page=answer).status_code == 303
    notes = [e.payload.text for e in site.desk.sheet("Gull 7").entries]
    assert notes == ["from one", "from two"]


def test_sending_twice_writes_once(site):
    path = site.add_reed()
    page = site.get(f"{path}/write/note")
    for _ in range(2):
        answer = site.send(f"{path}/write/note", {"text": "once"}, page=page)
        assert answer.status_code == 303
    assert len(site.desk.sheet("Gull 7").entries) == 1


def test_going_back_and_sending_something_else_asks(site):
    path = site.add_reed()
    page = site.get(f"{path}/write/note")
    site.send(f"{path}/write/note", {"text": "first"}, page=page)
    answer = site.send(f"{path}/write/note", {"text": "second thoughts"}, page=page)
    assert answer.status_code == 409
    assert "was sent before with something else in it" in answer.text
    assert fields_of(page)["uuid"][0] not in answer.text
    assert fields_of(answer)["text"] == ["second thoughts"]
    assert site.send(f"{path}/write/note", {}, page=answer).status_code == 303
    assert len(site.desk.sheet("Gull 7").entries) == 2


def test_correcting_what_another_window_corrected(site):
    path = site.add_reed()
    entry = site.desk.write("Gull 7", Note(text="a")).entries[0].uuid
    first, second = (site.get(f"{path}/entries/{entry}/correct") for _ in range(2))
    address = f"{path}/entries/{entry}/correct"
    assert site.send(address, {"text": "b"}, page=first).status_code == 303
    answer = site.send(address, {"text": "c"}, page=second)
    assert answer.status_code == 409
    assert fields_of(answer)["text"] == ["c"]


def test_a_full_disk_loses_nothing_typed(site, monkeypatch: pytest.MonkeyPatch):
    path = site.add_reed()
    page = site.get(f"{path}/write/note")

    def full(*_: object, **__: object) -> None:
        msg = "the disk is full"
        raise CannotWrite(msg)

    monkeypatch.setattr(type(site.desk.records), "append", full)
    answer = site.send(f"{path}/write/note", {"text": "precious"}, page=page)
    assert answer.status_code == 503
    assert "the disk is full" in answer.text
    assert fields_of(answer)["text"] == ["precious"]


def test_kinds_without_a_form_have_no_page(site):
    path = site.add_reed()
    for kind in ("recording", "readings", "withdrawn", "nonsense"):
        site.get(f"{path}/write/{kind}", 404)


def test_markup_in_a_field_comes_back_as_text(site):
    path = site.add_reed()
    answer = site.send(f"{path}/write/lengths", {"overall": '"><script>x</script>'})
    assert "<script>x" not in answer.text
    assert fields_of(answer)["overall"] == ['"><script>x</script>']


def test_own_styles_are_offered_and_kept(site):
    path = site.import_table()
    own = OwnStyle(
        uuid=uuid4(), name="my <curly> one", text="{}", created_at=datetime(2026, 3, 1, tzinfo=UTC)
    )
    site.desk.records.add_style(own)
    address = f"{path}/write/described"
    assert 'value="my &lt;curly&gt; one"' in site.get(address).text
    assert site.send(address, {"style": own.name}).status_code == 303
    assert site.desk.sheet("Gull 7").state.described.style == own.name


@pytest.mark.parametrize(
    ("kind", "fields", "said"),
    [
        ("opening", {"height": "0.0009"}, "0.0009 mm can hardly be meant; if it was read"),
        ("opening", {"height": "0,0012"}, "type 1.2 mm"),
        ("opening", {"height": "0.9", "uncertainty": "0.00005"}, "type 0.05 mm"),
        ("cut", {"zone": "tip", "blades": "marked", "depth": "0.00002"}, "type 0.02 mm"),
        ("clip", {"amount": "0.0005"}, "type 0.5 mm"),
        ("climate", {"humidity": "0,45"}, "if it was read in parts of one, type 45 %"),
        ("intake", {"hall_humidity": "0.3"}, "type 30 %"),
    ],
)  # fmt: skip
def test_a_number_too_small_to_be_meant_is_asked_about(site, kind, fields, said):
    path = site.add_reed()
    answer = site.send(f"{path}/write/{kind}", fields)
    assert answer.status_code == 422
    assert said in answer.text
    assert not site.desk.records.entries(site.desk.records.reed("Gull 7").uuid)


@pytest.mark.parametrize(
    ("kind", "fields"),
    [("opening", {"height": "0"}), ("opening", {"height": "0.02"}), ("climate", {"humidity": "0"}),
     ("clip", {"amount": "0.01"}), ("cut", {"zone": "tip", "blades": "marked", "depth": "0.001"})],
)  # fmt: skip
def test_a_small_number_that_can_be_meant_is_written_down(site, kind, fields):
    assert site.send(f"{site.add_reed()}/write/{kind}", fields).status_code == 303
