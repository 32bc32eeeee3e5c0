"""What the entries of a posted reed say: what is allowed, where it is, what may be done, when.

Nothing here computes or asks anyone. What was never said is *unknown*, and unknown means asking.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from uuid import UUID, uuid5

from crowlight.bench.advice_kinds import Advised, Trials, Wish
from crowlight.bench.kinds import Cut, Rest
from crowlight.bench.ports import Entry
from crowlight.bench.state import current
from crowlight.bench.workshop_kinds import (
    Allowed,
    Consent,
    FollowUp,
    Intake,
    Minutes,
    Outcome,
    Played,
    Stage,
    StageName,
)

__all__ = [
    "FOLLOW_UP",
    "GONE",
    "KINDS_LOOKED_AT",
    "Posting",
    "Reason",
    "Reminder",
    "Work",
    "allowed_of",
    "open_questions",
    "posting_of",
    "reminders_of",
    "work_of",
]

#: Kinds of entry a queue needs; the readings themselves are not among them.
KINDS_LOOKED_AT = frozenset(
    model.kind
    for model in (
        Intake, Consent, Stage, Minutes, Outcome, Played, FollowUp, Rest, Cut, Wish, Trials, Advised
    )
) | {"readings", "clip", "treated", "withdrawn"}  # fmt: skip
#: A reed is left to settle in a new place for so long before it is cut, and a performance nearer
#: than this allows no knife (common practice, no source).
SETTLING = timedelta(hours=24)
#: A player is asked so long after a reed was posted (common practice, no source).
FOLLOW_UP = timedelta(days=14)
#: Hours of playing from which a reed is taken for worn, and for worn out (common practice).
WORN, WORN_OUT = 10 * 3600.0, 20 * 3600.0
#: Stages in which a reed has left the workshop.
GONE = frozenset({"posted", "follow-up", "done", "sold"})
_SPACE = UUID("2f3a7c1e-0d5b-5a63-9d0f-6f0e3a7b9c21")


class Work(StrEnum):
    """What a posted reed is sorted to."""

    RETIRE = "retire"
    ASK_FIRST = "ask-first"
    NO_KNIFE = "no-knife"
    LIGHT_WORK = "light-work"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why: a code, what it argues for, and a number where there is one (hours)."""

    code: str
    work: Work
    hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reminder:
    """Something due on a day: ``deadline``, ``follow-up``, ``rest-over`` or ``stage-until``.

    `uuid` stays the same for the same reed and thing, so that calendars move an event instead of
    showing it twice.
    """

    uuid: UUID
    code: str
    day: date
    stage: StageName | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Posting:
    """Where a posted reed is.

    Parameters
    ----------
    intake : Intake
        As it was last written down.
    came : datetime
        When it came in.
    stage : str
        Where it has got to; waiting, if nobody said.
    since : datetime
        Since when.
    until : date or None
        When that ends, or is due.
    allowed : mapping of str to str
        What the player allows: ``play``, ``clean``, ``cut``, ``break``.
    attention : float
        Sum of the minutes written down [s].
    costs : mapping of str to float
        Sum of costs by currency.
    played : float or None
        How long it was played, as far as anybody said [s].
    outcome : Outcome or None
        How it ended.
    work : Work
        What it is sorted to.
    reasons : tuple of Reason
        All that argue, those for `work` first.
    reminders : tuple of Reminder
        What is due, in order of days.
    questions : tuple of str
        What was not said and has to be asked.
    """

    intake: Intake
    came: datetime
    stage: StageName
    since: datetime
    until: date | None
    allowed: Mapping[str, Allowed]
    attention: float
    costs: Mapping[str, float]
    played: float | None
    outcome: Outcome | None
    work: Work
    reasons: tuple[Reason, ...]
    reminders: tuple[Reminder, ...]
    questions: tuple[str, ...]

    @property
    def here(self) -> bool:
        """Whether it is still in the workshop."""
        return self.stage not in GONE


def allowed_of(entries: Iterable[Entry]) -> Mapping[str, Allowed] | None:
    """Return what the player of a posted reed allows; None for a reed that was not posted.

    The intake counts, and after it every answer to a question; a wish that says whether what lasts
    is allowed is such an answer about cutting, and one that is not sure asks anew.
    """
    return _allowed(current(entries))


def _allowed(counting: Sequence[Entry]) -> Mapping[str, Allowed] | None:
    allowed: dict[str, Allowed] | None = None
    for e in counting:
        match e.payload:
            case Intake() as p:
                allowed = {
                    "play": p.may_play,
                    "clean": p.may_clean,
                    "cut": p.may_cut,
                    "break": p.may_break,
                }
            case Consent(to=to, answer="yes" | "no" as answer) if allowed is not None:
                allowed[to] = answer
            case Wish(may_cut="yes" | "no" as answer) if allowed is not None:
                allowed["cut"] = answer
            case Wish(may_cut="unsure") if allowed is not None:
                allowed["cut"] = "ask"
            case _:
                pass
    return allowed


def posting_of(reed: UUID, entries: Iterable[Entry], now: datetime) -> Posting | None:
    """Return where a posted reed is; None for a reed that was not posted.

    Parameters
    ----------
    reed : UUID
        The reed.
    entries : iterable of Entry
        At least those of `KINDS_LOOKED_AT`.
    now : datetime
        The time, with its zone.
    """
    counting = current(entries)
    allowed = _allowed(counting)
    arrival = next((e for e in reversed(counting) if isinstance(e.payload, Intake)), None)
    if allowed is None or arrival is None:
        return None
    intake = arrival.payload
    assert isinstance(intake, Intake)  # noqa: S101  (as just chosen)
    stage, since, until = "waiting", arrival.happened_at, None
    attention, costs = 0.0, dict[str, float]()
    played, outcome = intake.played, None
    for e in counting:
        match e.payload:
            case Stage() as p:
                stage, since, until = p.stage, e.happened_at, p.until
            case Minutes() as p:
                attention += p.duration or 0.0
                if p.cost is not None:
                    costs[p.currency] = costs.get(p.currency, 0.0) + p.cost
            case Played() as p if e.happened_at >= arrival.happened_at:
                played = (played or 0.0) + p.duration
            case FollowUp(played=float() as told):
                played = told
            case Outcome() as p:
                outcome = p
            case _:
                pass
    reasons = _reasons(counting, arrival, allowed, played, outcome, now)
    return Posting(
        intake=intake,
        came=arrival.happened_at,
        stage=stage,
        since=since,
        until=until,
        allowed=allowed,
        attention=attention,
        costs=costs,
        played=played,
        outcome=outcome,
        work=work_of(reasons),
        reasons=reasons,
        reminders=reminders_of(reed, counting, intake, stage, since, until),
        questions=open_questions(intake, allowed),
    )


_ORDER = tuple(Work)  # what weighs most comes first


def work_of(reasons: Sequence[Reason]) -> Work:
    """Return what the weightiest reason argues for; light work needs one too."""
    return min((r.work for r in reasons), key=_ORDER.index, default=Work.NO_KNIFE)


def _reasons(
    counting: Sequence[Entry],
    arrival: Entry,
    allowed: Mapping[str, Allowed],
    played: float | None,
    outcome: Outcome | None,
    now: datetime,
) -> tuple[Reason, ...]:
    intake = arrival.payload
    assert isinstance(intake, Intake)  # noqa: S101  (the caller's own choice)
    since = [e for e in counting if e.happened_at >= arrival.happened_at]
    look = {seen for e in since if isinstance(e.payload, Trials) for seen in e.payload.look}
    kinds = {e.payload.kind for e in since}
    measured = "readings" in kinds
    advice = _advised(since)
    settled = (now - arrival.happened_at) >= SETTLING
    # a day that has passed forbids nothing: the player waits
    today, tomorrow = (t.astimezone().date() for t in (now, now + SETTLING))
    soon = intake.deadline is not None and today <= intake.deadline <= tomorrow
    broken = outcome is not None and outcome.outcome != "sellable"
    cracked = look & {"crack-thread", "crack-tip", "crack-scrape", "splinter"}
    hours = None if played is None else played / 3600.0
    worn, worn_out = (played is not None and played >= limit for limit in (WORN, WORN_OUT))
    frail = worn and not worn_out  # it may split under the knife
    cut = allowed["cut"]
    tests: tuple[tuple[str, Work, bool, float | None], ...] = (
        ("broke", Work.RETIRE, broken, None),
        ("cracked", Work.RETIRE, bool(cracked), None),
        ("mould", Work.RETIRE, "mould" in look, None),
        ("worn-out", Work.RETIRE, worn_out, hours),
        ("may-cut", Work.ASK_FIRST, cut in {"unknown", "ask"}, None),
        ("may-break", Work.ASK_FIRST, frail and allowed["break"] in {"unknown", "ask"}, hours),
        ("no-complaint", Work.ASK_FIRST, not intake.complaint, None),
        ("cut-refused", Work.NO_KNIFE, cut == "no", None),
        ("break-refused", Work.NO_KNIFE, frail and allowed["break"] == "no", hours),
        ("deadline", Work.NO_KNIFE, soon, None),
        ("settling", Work.NO_KNIFE, not settled, None),
        ("not-measured", Work.NO_KNIFE, not measured, None),
        ("clean-first", Work.NO_KNIFE, worn and not _cleaned(since), hours),
        ("advice-waits", Work.NO_KNIFE, advice in {"leave", "rest", "act"}, None),
        ("advice-cuts", Work.LIGHT_WORK, advice in {"scrape", "clip"}, None),
        ("measured", Work.LIGHT_WORK, measured and advice is None, None),
    )
    held = [Reason(code=c, work=w, hours=h) for c, w, holds, h in tests if holds]
    return tuple(sorted(held, key=lambda r: _ORDER.index(r.work)))


def _advised(since: Sequence[Entry]) -> str | None:
    """Return the kind of thing that was advised last, if nothing was cut since."""
    for e in reversed(since):
        if e.payload.kind in {"cut", "clip"}:
            return None
        if isinstance(e.payload, Advised):
            return e.payload.options[e.payload.advised].kind
    return None


def _cleaned(since: Sequence[Entry]) -> bool:
    return any(getattr(e.payload, "what", "") == "clean" for e in since)


def open_questions(intake: Intake, allowed: Mapping[str, Allowed]) -> tuple[str, ...]:
    """Return what was not said and has to be asked, by code."""
    tests = (
        ("may-play", allowed["play"] in {"unknown", "ask"}),
        ("may-clean", allowed["clean"] in {"unknown", "ask"}),
        ("may-cut", allowed["cut"] in {"unknown", "ask"}),
        ("may-break", allowed["break"] in {"unknown", "ask"}),
        ("allergies", not intake.allergies),
        ("complaint", not intake.complaint),
        ("altitude", intake.altitude is None and intake.place is None),
        ("afterwards", intake.afterwards == "ask"),
    )
    return tuple(code for code, holds in tests if holds)


def reminders_of(
    reed: UUID,
    counting: Sequence[Entry],
    intake: Intake,
    stage: StageName,
    since: datetime,
    until: date | None,
) -> tuple[Reminder, ...]:
    """Return what is due for a reed, in order of days; nothing once it is done.

    A stage of resting and a rest that was written down are one rest: it is over when both are.
    """
    if stage in {"done", "sold"}:
        return ()

    def due(code: str, day: date, name: StageName | None = None) -> Reminder:
        return Reminder(uuid=uuid5(_SPACE, f"{reed} {code}"), code=code, day=day, stage=name)

    found: list[Reminder] = []
    if stage in {"posted", "follow-up"}:
        found.append(due("follow-up", until or (since + FOLLOW_UP).astimezone().date()))
    else:
        if intake.deadline is not None:
            found.append(due("deadline", intake.deadline))
        rest = next((e for e in reversed(counting) if e.payload.kind in {"rest", "cut"}), None)
        if rest is not None and isinstance(rest.payload, Rest) and rest.payload.duration:
            moment = rest.happened_at + timedelta(seconds=rest.payload.duration)
            end = moment.astimezone().date()
            if until is not None and stage == "resting":
                until = max(until, end)
            else:
                found.append(due("rest-over", end))
        if until is not None:
            found.append(due("stage-until", until, stage))
    return tuple(sorted(found, key=lambda r: (r.day, r.code)))
