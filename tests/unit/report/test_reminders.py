"""Reminders as iCalendar: read back, folded and escaped as RFC 5545 says."""

from __future__ import annotations

from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from icalendar import Calendar

from crowlight.bench.ports import Entry, Reed
from crowlight.bench.posted import Queued
from crowlight.bench.posting import Reminder, posting_of
from crowlight.bench.workshop_kinds import Intake
from crowlight.errors import NotFound
from crowlight.report.reminders import calendar, reminder_said
from crowlight.report.words import in_locale

NOW = datetime(2026, 3, 5, 10, 30, 15, 250_000, tzinfo=UTC)
REED = UUID(int=7)


def _queue(name: str = "Gull 7", complaint: str = "") -> list[Queued]:
    intake = Intake(complaint=complaint, deadline=date(2026, 3, 31))
    entry = Entry(
        uuid=UUID(int=8), payload=intake, happened_at=NOW, reed=REED, seq=1, recorded_at=NOW
    )
    posting = posting_of(REED, [entry], NOW)
    assert posting is not None
    reed = Reed(uuid=REED, name=name, created_at=NOW, seq=1)
    return [Queued(reed=reed, player=None, posting=posting)]


def _made(**more: str) -> bytes:
    return calendar(_queue(**more), now=NOW, words=in_locale("en"))


def _unfolded(data: bytes) -> list[str]:
    # RFC 5545, 3.1: a line is continued by CR LF and one white space
    return data.decode().replace("\r\n ", "").split("\r\n")


def test_an_event_says_what_is_due_on_which_day():
    lines = _unfolded(_made())
    assert lines[0] == "BEGIN:VCALENDAR"
    assert "VERSION:2.0" in lines  # 3.7.4: required, and PRODID (3.7.3)
    assert any(line.startswith("PRODID:-//crowlight//") for line in lines)
    # 3.6.1: UID and DTSTAMP are needed; an all-day event has DATE values, DTEND not included
    assert "DTSTART;VALUE=DATE:20260331" in lines
    assert "DTEND;VALUE=DATE:20260401" in lines
    assert "DTSTAMP:20260305T103015Z" in lines
    assert "SUMMARY:Needed back: Gull 7" in lines
    assert sum(line.startswith("UID:") for line in lines) == 1
    assert lines[-2:] == ["END:VCALENDAR", ""]


def test_a_stage_that_ends_is_told_so_on_any_day():
    """The page of the reed lists it before and after that day as well."""
    due = Reminder(uuid=REED, code="stage-until", day=date(2026, 3, 20), stage="resting")
    said = reminder_said(due, "Gull 7", in_locale("en"))
    assert said == "Last day of “resting”: Gull 7"


def test_the_same_reminder_keeps_its_uid():
    one, two = (Calendar.from_ical(_made(complaint=text)) for text in ("a", "b"))
    assert one.walk("VEVENT")[0]["UID"] == two.walk("VEVENT")[0]["UID"]


@pytest.mark.parametrize(
    "text",
    [
        "a, b; c \\ d",
        "two\nlines",
        "BEGIN:VEVENT\r\nUID:x\nEND:VEVENT",
        "END:VCALENDAR",
        'quote " and : colon',
        "Ÿ" * 200,
        "漢字" * 60 + "😀" * 40,
        "=HYPERLINK(1)",
        "\u202etxet",
    ],
)
def test_hostile_text_stays_text(text):
    data = _made(name=text.replace("\n", " ").replace("\r", " ")[:100], complaint=text)
    for line in data.split(b"\r\n"):
        assert len(line) <= 75  # 3.1: octets, without the line break
        line.decode()  # folded between characters, not within one
    assert b"\n" not in data.replace(b"\r\n", b"")
    read = Calendar.from_ical(data)
    (event,) = read.walk("VEVENT")
    shown = text.replace("\r\n", "\n").replace("\u202e", "[U+202E]")
    assert str(event["DESCRIPTION"]) == shown
    assert len(read.subcomponents) == 1


def test_text_is_escaped_as_in_the_standard():
    # RFC 5545, 3.3.11, the example: backslash, comma, semicolon and line break
    complaint = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    escaped = "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    assert f"DESCRIPTION:{escaped}" in _unfolded(_made(complaint=complaint))
    assert "DESCRIPTION:a\\, b\\; c\\\\d" in _unfolded(_made(complaint="a, b; c\\d"))


def test_a_calendar_must_hold_something():
    with pytest.raises(NotFound, match="Nothing is due"):
        calendar([], now=NOW, words=in_locale("en"))
