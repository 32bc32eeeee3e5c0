"""Posted reeds in the browser: taking in, queue, photographs, the gate before a cut, letters."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from uuid import uuid4

import pytest
from icalendar import Calendar
from tests.canned_models import CannedJobs
from tests.pictures import PLACE, jpeg, png

from crowlight.bench.kinds import Cut
from crowlight.bench.workshop_kinds import Consent, Intake, Letter, Stage
from crowlight.errors import CannotWrite
from crowlight.reed import Blade
from crowlight.web import create_app
from crowlight.web.security import POLICY_REPORT

from .conftest import Browser, Site, fields_of

HOSTILE = '"><script>alert(1)</script> =1+1; a,b\\c'
CUT = {"zone": "tip", "blades": ["marked"]}


def _post(site: Site, **more: object) -> str:
    intake = Intake.model_validate({"complaint": "It buzzes.", "may_cut": "unknown"} | more)
    return f"/reeds/{site.desk.posted.take_in('Sent 1', intake).uuid}"


def _take_in(site: Site, **changes: object):
    return site.send("/posted/new", {"name": "Sent 1", "complaint": "Too hard."} | changes)


# --- taking in ------------------------------------------------------------------------------------


def test_a_reed_is_taken_in_with_a_new_player_and_place(site: Site):
    answer = _take_in(
        site,
        player_name="Lene",
        player_contact="by post",
        uses_knife="no",
        place_name="The hall",
        altitude="1850",
        hall_temperature="18",
        hall_humidity="30",
        deadline="2026-04-02",
        may_cut="ask",
        age="12",
        played="4,5",
        staple="46 mm, brass",
        afterwards="discard",
    )
    assert answer.status_code == 303, answer.text
    page = site.get(answer.headers["location"])
    told = ("Taken in.", "Too hard.", "Lene", "The hall", "1,850 m", "4.5 h", "2026-04-02")
    for said in (*told, "18 °C and 30 % humidity", "12 d", "46 mm, brass", "throw it away"):
        assert said in page.text
    (queued,) = site.desk.posted.queue()
    assert queued.player.uses_knife is False
    assert queued.posting.intake.hall_humidity == pytest.approx(0.3)
    (place,) = site.desk.people.places()
    assert (place.name, place.altitude) == ("The hall", 1850.0)


def test_sending_it_twice_takes_it_in_once(site: Site):
    page = site.get("/posted/new")
    sent = {"name": "Sent 1", "complaint": "x", "player_name": "Lene", "place_name": "Hall"}
    for _ in range(2):
        assert site.send("/posted/new", sent, page=page).status_code == 303
    assert site.desk.records.reed("Sent 1").seq == 1
    assert len(site.desk.people.all()) == 1
    assert len(site.desk.people.places()) == 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": ""}, "Name is empty"),
        ({"altitude": "9000"}, "Altitude = 9000 m must lie between -500 m and 5500 m"),
        ({"deadline": "tomorrow"}, "“tomorrow” is no day; write it as year-month-day"),
        ({"place_name": "Hall"}, "A new place is somebody&#39;s"),
        ({"player": str(uuid4())}, "is not one of the choices"),
        ({"may_cut": "perhaps"}, "“perhaps” is not one of the choices"),
        ({"place": str(uuid4())}, "is not one of the choices"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_lost(site: Site, changes: dict, said: str):
    answer = _take_in(site, complaint="precious words", **changes)
    assert answer.status_code == 422
    assert said in answer.text
    assert fields_of(answer)["complaint"] == ["precious words"]
    assert site.desk.posted.queue() == ()
    assert site.desk.people.all() == ()


def test_a_name_that_is_taken_is_asked_about(site: Site):
    site.add_reed("Sent 1")
    answer = _take_in(site)
    assert answer.status_code == 409
    assert fields_of(answer)["complaint"] == ["Too hard."]


def test_nothing_is_assumed_to_be_allowed(site: Site):
    _take_in(site)
    (queued,) = site.desk.posted.queue()
    assert set(queued.posting.allowed.values()) == {"unknown"}


# --- the queue ------------------------------------------------------------------------------------


def test_the_queue_says_what_to_do_and_what_to_ask(site: Site):
    assert "None is here." in site.get("/posted").text
    _post(site, deadline="2026-04-02")
    page = site.get("/posted").text
    for said in (
        "ask first",
        "Whether it may be cut was not said.",
        "Allergies: ask",
        "2026-04-02",
    ):
        assert said in page
    site.desk.write("Sent 1", Stage(stage="done"))
    assert "Sent 1" not in site.get("/posted").text
    assert "Sent 1" in site.get("/posted?gone=1").text


def test_hostile_words_stay_words(site: Site):
    path = _post(site, complaint=HOSTILE, allergies=HOSTILE, deadline="2026-04-02")
    for address in ("/posted", f"{path}/arrival", path):
        page = site.get(address).text
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    made = Calendar.from_ical(site.get("/posted.ics").content)
    assert [str(e["DESCRIPTION"]) for e in made.walk("VEVENT")] == [HOSTILE]


def test_what_is_due_is_a_calendar(site: Site):
    site.get("/posted.ics", 404)
    _post(site, deadline="2026-04-02")
    answer = site.get("/posted.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert "attachment" in answer.headers["content-disposition"]
    (event,) = Calendar.from_ical(answer.content).walk("VEVENT")
    assert event["DTSTART"].dt == date(2026, 4, 2)


def test_labels_of_all_that_are_here(site: Site):
    site.get("/posted/labels.pdf", 422)
    _post(site)
    assert site.get("/posted/labels.pdf?paper=letter").content.startswith(b"%PDF")


# --- the gate before a cut ------------------------------------------------------------------------


def test_a_cut_is_asked_about_before_it_is_written(site: Site):
    path = _post(site)
    page = site.get(f"{path}/write/cut")
    assert "The player has not allowed a cut" in page.text
    answer = site.send(f"{path}/write/cut", CUT | {"remark": "precious"}, page=page)
    assert answer.status_code == 422
    assert "say whether they were asked" in answer.text
    assert fields_of(answer)["remark"] == ["precious"]
    assert site.desk.records.reed("Sent 1").seq == 1
    again = {"consent_answer": "yes", "consent_how": "by telephone"}
    assert site.send(f"{path}/write/cut", again, page=answer).status_code == 303
    kinds = [e.payload for e in site.desk.sheet("Sent 1").entries[1:]]
    assert kinds[0] == Consent(to="cut", answer="yes", how="by telephone")
    assert isinstance(kinds[1], Cut)
    assert "The player has not allowed a cut" not in site.get(f"{path}/write/cut").text
    assert site.send(f"{path}/write/clip", {"amount": "0.1"}).status_code == 303


def test_a_cut_made_without_asking_is_written_as_such(site: Site):
    path = _post(site, may_cut="no")
    sent = CUT | {"consent_answer": "not-asked"}
    assert site.send(f"{path}/write/cut", sent).status_code == 303
    assert site.desk.sheet("Sent 1").entries[1].payload.answer == "not-asked"
    assert "The player has not allowed a cut" in site.get(f"{path}/write/clip").text


def test_the_same_answer_sent_twice_is_written_once(site: Site):
    path = _post(site)
    page = site.get(f"{path}/write/cut")
    sent = CUT | {"consent_answer": "yes"}
    for _ in range(2):
        assert site.send(f"{path}/write/cut", sent, page=page).status_code == 303
    assert site.desk.records.reed("Sent 1").seq == 3


def test_an_own_reed_is_not_asked_about(site: Site):
    path = site.add_reed("Own")
    assert "has not allowed" not in site.get(f"{path}/write/cut").text
    assert site.send(f"{path}/write/cut", CUT).status_code == 303


def test_a_cut_can_be_corrected_without_asking_again(site: Site):
    path = _post(site)
    consent = Consent(to="cut", answer="not-asked")
    cut = Cut(zone="tip", blades=(Blade.MARKED,))
    site.desk.posted.write_with_consent("Sent 1", cut, consent, uuid=uuid4())
    entry = site.desk.sheet("Sent 1").entries[-1]
    assert entry.payload == cut
    answer = site.send(f"{path}/entries/{entry.uuid}/correct", {"strokes": "3"})
    assert answer.status_code == 303


# --- arrival --------------------------------------------------------------------------------------


def _send_photo(site: Site, path: str, data: bytes, **changes: str):
    page = site.get(f"{path}/arrival")
    fields = fields_of(page) | {"shows": "tip", "remark": "corner"} | changes
    return site.client.post(
        f"{path}/photos", data=fields, files={"photo": ("DSC.JPG", data, "text/html")}
    )


@pytest.mark.parametrize(("data", "media"), [(jpeg(), "image/jpeg"), (png(), "image/png")])
def test_a_photograph_is_kept_and_shown_without_its_place(site: Site, data: bytes, media: str):
    path = _post(site)
    answer = _send_photo(site, path, data)
    assert answer.status_code == 303, answer.text
    assert "Photograph kept." in site.get(answer.headers["location"].split("#")[0]).text
    (entry,) = site.desk.posted.photos("Sent 1")
    assert site.desk.blobs.get(entry.payload.digest) == data
    shown = site.get(f"{path}/photos/{entry.uuid}")
    assert shown.headers["content-type"] == media  # what it is, not what its name or sender said
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in shown.headers["content-security-policy"]
    assert PLACE not in shown.content
    assert "corner" in site.get(f"{path}/arrival").text
    site.get(f"{path}/photos/{uuid4()}", 404)


@pytest.mark.parametrize(
    ("data", "changes", "said"),
    [
        (b"<svg onload=alert(1)>", {}, "no picture of a kind that is shown here"),
        (b"", {}, "No photograph was chosen"),
        (jpeg()[:100], {}, "cut short or damaged"),
        (png(), {"shows": "nonsense"}, "Say what it shows."),
    ],
)
def test_what_is_no_photograph_is_refused(site: Site, data: bytes, changes: dict, said: str):
    path = _post(site)
    answer = _send_photo(site, path, data, **changes)
    assert answer.status_code == 422
    assert said in answer.text
    assert fields_of(answer)["remark"] == ["corner"]
    assert site.desk.posted.photos("Sent 1") == ()


def test_a_photograph_sent_twice_is_kept_once(site: Site):
    path = _post(site)
    fields = fields_of(site.get(f"{path}/arrival")) | {"shows": "tip"}
    for _ in range(2):
        answer = site.client.post(
            f"{path}/photos", data=fields, files={"photo": ("a.png", png(), "image/png")}
        )
        assert answer.status_code == 303
    assert len(site.desk.posted.photos("Sent 1")) == 1


def test_a_large_photograph_is_taken(site: Site):
    path = _post(site)
    large = png(1500, 1000).replace(b"IEND", b"IEND") + b"\0" * 3_000_000
    assert _send_photo(site, path, large).status_code == 303


def test_what_was_measured_before_any_touch_is_ticked(site: Site):
    path = _post(site, may_cut="yes")
    page = site.get(f"{path}/arrival").text
    assert page.count("step-open") == 7
    assert site.send(f"{path}/write/opening", {"height": "0.6"}).status_code == 303
    assert site.send(f"{path}/write/cut", CUT).status_code == 303
    assert site.send(f"{path}/write/lengths", {"overall": "70"}).status_code == 303
    page = site.get(f"{path}/arrival").text
    assert page.count("step-done") == 1  # the length came too late


def test_the_log_says_what_a_photograph_shows_and_how_a_letter_begins(site: Site):
    path = _post(site, place=str(uuid4()))
    _send_photo(site, path, png())
    site.desk.write("Sent 1", Letter(parts={"greeting": "Dear <i>Lene</i>,\nsecond line"}))
    page = site.get(path).text
    assert "the tip. corner" in page
    assert "Dear &lt;i&gt;Lene&lt;/i&gt;," in page
    assert "second line" not in page
    assert "Place:" not in page  # a uuid tells nobody anything


def test_an_own_reed_says_that_nothing_came_in(site: Site):
    path = site.add_reed("Own")
    assert "No intake was written down" in site.get(f"{path}/arrival").text


# --- letter and prints ----------------------------------------------------------------------------


@pytest.fixture
def quick(site: Site) -> Site:
    """Return the pages of the same records; the slow models answer at once."""
    desk = replace(site.desk, jobs=CannedJobs())
    return Site(Browser(create_app(desk)), desk)


def test_a_letter_is_drafted_edited_kept_and_sent(quick: Site):
    path = _post(quick)
    page = quick.get(f"{path}/letter")
    assert "You wrote: “It buzzes.”" in fields_of(page)["part-came"][0]
    assert "Nobody knows how high" in page.text  # a hint to whoever edits it
    changes = {"part-came": "I <b>changed</b> this.\n\n- one\n- two", "part-care": ""}
    answer = quick.send(f"{path}/letter", changes, page=page)
    assert answer.status_code == 303, answer.text
    again = quick.get(answer.headers["location"])
    assert "Letter kept as you edited it." in again.text
    assert fields_of(again)["part-came"] == [changes["part-came"]]
    assert fields_of(again)["part-care"] == [""]
    shown = quick.get(f"{path}/letter.html")
    assert "I &lt;b&gt;changed&lt;/b&gt; this." in shown.text
    assert shown.headers["content-security-policy"] == POLICY_REPORT
    for paper in ("a4", "letter"):
        made = quick.get(f"{path}/letter.pdf?paper={paper}")
        assert made.headers["content-type"] == "application/pdf"
        assert made.content.startswith(b"%PDF")
    fresh = quick.get(f"{path}/letter?fresh=1")
    assert "It buzzes" in fields_of(fresh)["part-came"][0]
    assert "Exercise:" in fields_of(quick.get(f"{path}/letter?student=1"))["part-try"][0]


def test_an_empty_letter_is_not_kept(quick: Site):
    path = _post(quick)
    page = quick.get(f"{path}/letter")
    blank = {name: "" for name in fields_of(page) if name.startswith("part-")}
    answer = quick.send(f"{path}/letter", blank, page=page)
    assert answer.status_code == 422
    assert "holds no words" in answer.text


@pytest.mark.parametrize("text", ["bell \x07", "x" * 10_001])
def test_what_cannot_be_kept_is_said_where_it_stands(quick: Site, text: str):
    path = _post(quick)
    page = quick.get(f"{path}/letter")
    answer = quick.send(f"{path}/letter", {"part-done": text}, page=page)
    assert answer.status_code == 422
    assert 'id="f-part-done-wrong"' in answer.text
    assert "It buzzes" in fields_of(answer)["part-came"][0]


def test_a_full_disk_loses_nothing_of_a_letter(quick: Site, monkeypatch: pytest.MonkeyPatch):
    path = _post(quick)
    page = quick.get(f"{path}/letter")

    def full(*_: object, **__: object) -> None:
        msg = "the disk is full"
        raise CannotWrite(msg)

    monkeypatch.setattr(type(quick.desk.records), "append", full)
    answer = quick.send(f"{path}/letter", {"part-done": "precious"}, page=page)
    assert answer.status_code == 503
    assert fields_of(answer)["part-done"] == ["precious"]


def test_prints(site: Site):
    path = site.import_table()
    page = site.get(f"{path}/prints").text
    assert "It takes a thickness map" in page
    assert "write it down under Description" in page
    assert site.get(f"{path}/prints.pdf?what=labels").content.startswith(b"%PDF")
    assert "has no thickness map to print" in site.get(f"{path}/prints.pdf", 422).text
    assert "cannot be printed" in site.get(f"{path}/prints.pdf?what=money", 422).text
    site.send(f"{path}/write/described", {"style": "long"})
    card = site.get(f"{path}/prints.pdf?what=card&paper=letter")
    assert card.content.startswith(b"%PDF")
    assert 'filename="card-Gull-7.pdf"' in card.headers["content-disposition"]
