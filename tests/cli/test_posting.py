"""Posted reeds, letters and prints from the command line."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from icalendar import Calendar
from tests.pictures import png
from tests.posted_desk import text_of

from crowlight.bench.workshop_kinds import Consent, Intake, Letter, Stage
from crowlight.wiring import open_desk

HOSTILE = '#panic("x") =1+1 <script>\u202e'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    records = tmp_path / "records"
    with open_desk(records) as desk:
        intake = Intake.model_validate(
            {"complaint": HOSTILE, "deadline": "2026-04-02", "allergies": "=cmd|x"}
        )
        desk.posted.take_in("Sent 1", intake)
    return records


def test_the_queue_as_text_json_and_calendar(crowlight: Callable, folder: Path, tmp_path: Path):
    done = crowlight("posted")
    assert done.status == 0, done.err
    assert "Sent 1: waiting; ask first" in done.out
    assert "Whether it may be cut was not said." in done.out
    file = tmp_path / "due.ics"
    done = crowlight("posted", "--json", "--calendar", file)
    assert done.status == 0, done.err
    (one,) = json.loads(done.out)
    assert (one["reed"], one["work"]) == ("Sent 1", "ask-first")
    assert one["due"] == [{"what": "deadline", "day": "2026-04-02"}]
    (event,) = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    assert str(event["SUMMARY"]) == "Needed back: Sent 1"


def test_no_posted_reeds(crowlight: Callable):
    assert "No posted reeds." in crowlight("posted").out


def test_a_letter_as_text_pdf_and_html(crowlight: Callable, folder: Path, tmp_path: Path):
    done = crowlight("letter", "Sent 1", "--no-journey")
    assert done.status == 0, done.err
    assert "You wrote: “#panic" in done.out
    assert "to add: Nobody knows how high" in done.err
    pdf, page = tmp_path / "a.pdf", tmp_path / "a.html"
    done = crowlight(
        "letter", "Sent 1", "--no-journey", "--pdf", pdf, "--html", page, "--paper", "letter"
    )
    assert done.status == 0, done.err
    squeezed = text_of(pdf.read_bytes()).replace(" ", "")
    assert '#panic("x")=1+1<script>[U+202E]' in squeezed
    assert "<script>[" not in page.read_text(encoding="utf-8")


def test_a_letter_as_it_was_edited(crowlight: Callable, folder: Path):
    with open_desk(folder) as desk:
        desk.write("Sent 1", Letter(parts={"came": "Edited."}))
    done = crowlight("letter", "Sent 1", "--no-journey")
    assert (done.out.strip(), done.err) == ("Edited.", "")
    student = crowlight("letter", "Sent 1", "--no-journey", "--student")
    assert "Exercise:" in student.out


def test_labels_are_printed(crowlight: Callable, folder: Path, tmp_path: Path):
    file = tmp_path / "labels.pdf"
    done = crowlight("print", "labels", "Sent 1", "--to", file)
    assert done.status == 0, done.err
    assert "measure the ruler" in done.out
    assert "Sent 1" in text_of(file.read_bytes())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("letter", "Sent 1", "--paper", "a5"), "'a5' must be one of: a4, letter"),
        (("letter", "Nobody"), "Nobody"),
        (("print", "money", "Sent 1", "--to", "x.pdf"), "not 'money' on 'a4'"),
        (("print", "card", "Sent 1", "Sent 1", "--to", "x.pdf"), "one reed at a time"),
        (("print", "card", "Sent 1", "--to", "x.pdf"), "scrape style of 'Sent 1' is not known"),
        (("print", "blades", "Sent 1", "--to", "x.pdf"), "no thickness map to print"),
    ],
)
def test_what_cannot_be_done_is_said(crowlight: Callable, folder: Path, arguments, said):
    done = crowlight(*arguments[:-1], arguments[-1])
    assert done.status != 0
    assert said in done.err
    assert "Traceback" not in done.err


def test_an_export_guards_what_a_spreadsheet_would_run(
    crowlight: Callable, folder: Path, tmp_path: Path
):
    with open_desk(folder) as desk:
        desk.people.add_player("=cmd|' /C calc'!A1", contact="@SUM(1)")
        desk.add_reed("-2+3")
        photo = desk.posted.keep_photo("Sent 1", png(), shows="tip").entries[0].payload.digest
    out = tmp_path / "export"
    assert crowlight("export", out).status == 0
    assert (out / "sounds-and-pictures" / photo).read_bytes() == png()
    for table, wanted in (("player", "'=cmd|"), ("player", "'@SUM(1)"), ("reed", "'-2+3")):
        text = (out / f"{table}.csv").read_text(encoding="utf-8-sig")
        assert wanted in text
    cells = [
        cell
        for file in out.glob("*.csv")
        for line in csv.reader(file.read_text(encoding="utf-8-sig").splitlines(keepends=True))
        for cell in line
    ]
    assert any(c.startswith("'=cmd|") for c in cells)
    assert not [c for c in cells if c.startswith(("=", "@", "+"))]


def test_what_a_cut_waits_for_is_said_before_any_advice(crowlight: Callable, folder: Path):
    """Nobody asked; then its player said no; then it went home."""
    for write, owed, said in (
        (None, "ask", "! Ask the player before any cut"),
        (Consent(to="cut", answer="no"), "no", "! Leave it uncut: its player said no"),
        (Stage(stage="posted"), "away", "! It has left the workshop: nothing to do to it here"),
    ):
        if write is not None:
            with open_desk(folder) as desk:
                desk.write("Sent 1", write)
        done = crowlight("plan", "Sent 1")
        assert done.status == 0, done.err
        assert done.out.splitlines()[1] == said
        assert ("Next:" in done.out) == (owed != "away")
        assert json.loads(crowlight("plan", "Sent 1", "--json").out)["owed"] == owed
