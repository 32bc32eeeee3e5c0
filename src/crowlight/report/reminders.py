"""Reminders as a file for calendars: iCalendar, RFC 5545, one all-day event each.

Escaping and folding are icalendar's; the same reminder keeps its UID, so that a calendar that reads
the file again moves an event and does not show it twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

from crowlight import __version__
from crowlight.bench.posted import Queued
from crowlight.bench.posting import Reminder
from crowlight.errors import NotFound
from crowlight.report.posted_words import STAGES
from crowlight.report.words import Words, literal, mark

__all__ = ["MEDIA_TYPE", "calendar", "reminder_said"]

MEDIA_TYPE = "text/calendar; charset=utf-8"
_SAID: Mapping[str, str] = {
    "deadline": mark("Needed back: %(reed)s"),
    "follow-up": mark("Ask how it plays: %(reed)s"),
    "rest-over": mark("Rest is over: %(reed)s"),
    "stage-until": mark("Last day of “%(stage)s”: %(reed)s"),
}


def reminder_said(reminder: Reminder, reed: str, words: Words) -> str:
    """Return what is due, in a few words."""
    stage = words(STAGES[reminder.stage]) if reminder.stage else ""
    said = words.say(_SAID[reminder.code], reed=literal(reed), stage=stage)
    return said[:1].upper() + said[1:]


def calendar(queue: Iterable[Queued], *, now: datetime, words: Words) -> bytes:
    """Return the reminders of a queue as an iCalendar file.

    Parameters
    ----------
    queue : iterable of Queued
        Posted reeds.
    now : datetime
        The time, with its zone.
    words : Words
        The language.

    Returns
    -------
    bytes
        The file: UTF-8, lines end with CR LF and are folded after 75 octets.

    Raises
    ------
    NotFound
        If nothing is due: a calendar must hold something (RFC 5545, section 3.6).
    """
    from icalendar import Calendar, Event  # only those who export need it loaded

    due = [(q, r) for q in queue for r in q.posting.reminders]
    if not due:
        raise NotFound(words(mark("Nothing is due, so there is nothing for a calendar.")))
    made = Calendar()
    made.add("prodid", f"-//crowlight//crowlight {__version__}//{words.locale.language.upper()}")
    made.add("version", "2.0")
    for queued, reminder in due:
        event = Event()
        event.add("uid", f"{reminder.uuid}@crowlight.invalid")
        event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
        event.add("dtstart", reminder.day)
        event.add("dtend", reminder.day + timedelta(days=1))
        event.add("summary", reminder_said(reminder, queued.reed.name, words))
        if queued.posting.intake.complaint:
            event.add("description", literal(queued.posting.intake.complaint))
        event.add("transp", "TRANSPARENT")
        made.add_component(event)
    return made.to_ical()
