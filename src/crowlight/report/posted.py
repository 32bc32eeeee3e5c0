"""The queue of posted reeds in words: where they are, what may be done, what has to be asked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from crowlight.bench.posted import Queued
from crowlight.bench.posting import Posting, Reason, Work
from crowlight.bench.workshop_kinds import Intake
from crowlight.report.journey_rows import CLIMATES
from crowlight.report.letter_text import day_said
from crowlight.report.posted_words import CONSENT_TO, STAGES, air_said
from crowlight.report.reminders import reminder_said
from crowlight.report.words import Words, literal, mark

__all__ = [
    "WORK",
    "asked_said",
    "hall_said",
    "paid_said",
    "queue_plain",
    "queue_text",
    "reason_said",
]

#: What a reed is sorted to.
WORK: Mapping[Work, str] = {
    Work.RETIRE: mark("retire"),
    Work.ASK_FIRST: mark("ask first"),
    Work.NO_KNIFE: mark("no knife"),
    Work.LIGHT_WORK: mark("light work"),
}
_REASONS: Mapping[str, str] = {
    "broke": mark("It broke or was given up."),
    "cracked": mark("It is cracked or splintered: nothing that loads it, and no playing."),
    "mould": mark("Mould was seen: do not play or scrape it."),
    "worn-out": mark("Played for %(hours)s hours: worn out (common practice)."),
    "may-cut": mark("Whether it may be cut was not said."),
    "may-break": mark("Played for %(hours)s hours: may the risk be taken that it splits?"),
    "no-complaint": mark("What is wrong was not said."),
    "cut-refused": mark("The player does not want it cut."),
    "break-refused": mark("Played for %(hours)s hours: it may split; that must not be risked."),
    "deadline": mark("It is needed within a day: only what can be undone."),
    "settling": mark("It came less than a day ago: let it settle first."),
    "not-measured": mark("It was not measured since it came."),
    "clean-first": mark("Played for %(hours)s hours: clean it and listen again first."),
    "advice-waits": mark("The advice for it is no cut."),
    "advice-cuts": mark("The advice for it is a light cut."),
    "measured": mark("It is measured and may be cut: look at what differs."),
}
_QUESTIONS: Mapping[str, str] = {
    "may-play": mark("May it be played here?"),
    "may-clean": mark("May it be cleaned?"),
    "may-cut": mark("May it be cut?"),
    "may-break": mark("May it be put at risk?"),
    "allergies": mark("Allergies: ask, do not guess."),
    "complaint": mark("What is wrong, in the player's own words?"),
    "altitude": mark("How high is the place where it is played?"),
    "afterwards": mark("If it cannot be saved: send it back or throw it away?"),
}


def reason_said(reason: Reason, words: Words) -> str:
    """Return why a reed is sorted as it is."""
    return words.say(_REASONS[reason.code], hours=words.number(reason.hours, 0))


def asked_said(code: str, words: Words) -> str:
    """Return what has to be asked."""
    return words(_QUESTIONS[code])


def paid_said(posting: Posting, words: Words) -> str:
    """Return minutes and costs of a reed; empty if none were written down."""
    parts: list[str] = []
    if posting.attention:
        minutes = words.number(posting.attention / 60.0, 0)
        parts.append(words.say(mark("%(minutes)s min"), minutes=minutes))
    parts += [f"{words.number(sum_, 2)} {code}".strip() for code, sum_ in posting.costs.items()]
    return ", ".join(parts)


def hall_said(intake: Intake, words: Words) -> str:
    """Return the air of the hall a reed is wanted for; empty if nobody said anything of it."""
    measured = air_said(intake.hall_temperature, intake.hall_humidity, words)
    if measured or not intake.season:
        return measured
    usual = words(CLIMATES.get(intake.season, intake.season))
    return words.say(mark("not measured; usual: %(climate)s"), climate=usual)


def queue_text(queue: Iterable[Queued], words: Words) -> str:
    """Return the queue as text."""
    lines: list[str] = []
    for q in queue:
        p = q.posting
        head = f"{literal(q.reed.name)}: {words(STAGES[p.stage])}"
        head += f"; {words(WORK[p.work])}" if p.here else ""
        lines.append(head + (f" ({literal(q.player.name)})" if q.player else ""))
        lines += [f"  - {reason_said(r, words)}" for r in p.reasons if p.here]
        asked = " ".join(asked_said(code, words) for code in p.questions)
        if asked:
            lines.append(f"  {words(mark('Ask:'))} {asked}")
        lines += [
            f"  {day_said(r.day, words)}: {reminder_said(r, q.reed.name, words)}"
            for r in p.reminders
        ]
    return "\n".join(lines) or words(mark("No posted reeds."))


def queue_plain(queue: Iterable[Queued]) -> list[dict[str, Any]]:
    """Return the queue as plain values; lengths of time in seconds."""
    return [
        {
            "reed": q.reed.name,
            "uuid": str(q.reed.uuid),
            "player": q.player.name if q.player else None,
            "came": q.posting.came.isoformat(),
            "stage": q.posting.stage,
            "until": q.posting.until.isoformat() if q.posting.until else None,
            "work": q.posting.work.value,
            "reasons": [r.code for r in q.posting.reasons],
            "allowed": {k: q.posting.allowed[k] for k in CONSENT_TO},
            "ask": list(q.posting.questions),
            "attention_s": q.posting.attention,
            "costs": dict(q.posting.costs),
            "played_s": q.posting.played,
            "due": [{"what": r.code, "day": r.day.isoformat()} for r in q.posting.reminders],
        }
        for q in queue
    ]
