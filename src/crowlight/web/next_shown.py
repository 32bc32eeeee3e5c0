"""What the next-cut screen shows of a reed, ready for its templates.

``pieces/next-cut.html`` draws the heart of it from a `NextShown`; other pages may include that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from crowlight.bench.advice_kinds import Guess
from crowlight.bench.counsel import Counsel
from crowlight.bench.desk import LIKED
from crowlight.bench.guesses import Scored
from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.outcomes import Changed, best_moment, changed_by
from crowlight.bench.payload import Followed
from crowlight.bench.posted import Owed
from crowlight.bench.state import ReedState
from crowlight.judge.findings import as_data as findings_data
from crowlight.judge.findings import catalogue
from crowlight.plan.cut import as_data as plan_data
from crowlight.report.advice import ASKS, NOTES
from crowlight.report.held import Held
from crowlight.report.next_cut import BladeDrawn, cane_picture, cane_table
from crowlight.report.next_history import (
    BestSaid,
    Came,
    ScoreRow,
    best_said,
    came_said,
    guess_said,
    score_rows,
)
from crowlight.report.next_screen import Glance, Stopped, glance, stopped
from crowlight.report.next_why import (
    FindingRow,
    OptionRow,
    basis_said,
    check_address,
    finding_rows,
    option_rows,
)
from crowlight.report.words import Words, mark

__all__ = ["Check", "NextShown", "headline_of", "next_shown"]

Plain = Mapping[str, Any]

#: A sitting ends this long after the last cut (common practice, no source): after it, the knife
#: caution is shown again.
_SITTING = timedelta(hours=4)
#: Cautions shown once in a sitting; all others always.
_ONCE = ("knife", "dust", "clipping")
#: Cautions where a reed is somebody else's.
_HYGIENE = ("shared-mouth", "ask-owner")
#: What takes cane.
_CUTS = ("scrape", "clip")
#: Support from which a finding is named on the screen.
_NAMED = ("strong", "fair")
#: Support from which its evidence is laid out, and for how many findings at most.
_TOLD, _MOST_TOLD = (*_NAMED, "weak"), 8
#: A best moment is one that somebody liked at least so well [grade].
_GOOD = 3
#: What was done without advice is asked about for so long.
_RECENT = timedelta(days=2)


@dataclass(frozen=True, slots=True)
class Check:
    """Something to look at: what, how long it takes, where it is written down."""

    text: str
    minutes: str
    address: str


@dataclass(frozen=True, slots=True)
class NextShown:
    """What the screen shows.

    Parameters
    ----------
    seq : int
        Number of the reed's latest entry it rests on.
    digest : str
        Of the advice; sent back with what was done.
    held : Held
        How the reed is held.
    stops : list of Stopped
        What is said before any advice.
    owed : {"", "ask", "no", "away"}
        What a cut of this reed waits for.
    questions : list of str
        Where words and measurement disagree.
    hygiene : list of str
        Cautions for somebody else's reed.
    headline : str
        The likeliest finding in a line; empty if none is named.
    measure_first : bool
        Whether too little is known, so that `checks` come before any advice.
    glance : Glance
        The one screen.
    cautions : list of str
        To be read before the knife.
    after : list of str
        Checks afterwards.
    answer, target, common : str
        What the findings come to; what the plan compares with; the words for common practice.
    findings : list of FindingRow
        Those something speaks for, in order; the first `shown` are shown.
    others : list of FindingRow
        What else was looked at, each finding once, at its likeliest place.
    shown : int
        How many are shown at once.
    parting : Check or None
        What tells the first two apart.
    checks : list of Check
        What to look at next.
    options : list of OptionRow
        All of them, the advised one first.
    barred : sequence of mapping
        What answers a finding but is not offered, and why.
    notes : list of str
        What else is to be said of the plan.
    cane_rows, cane_picture, cane_said
        Cane left, as rows, as an ``<svg>`` and in a caption.
    came : Came or None
        The last thing done, and what came of it.
    best : BestSaid or None
        When the reed was liked best.
    guessed : str
        The hunch before this advice; empty for none.
    scores : list of ScoreRow
        Hunches and advice over time; empty unless hunches are asked for.
    typed : mapping of str to sequence of str
        What was typed beside the buttons, where it is to be mended.
    """

    seq: int
    digest: str
    held: Held
    stops: list[Stopped]
    owed: Owed
    questions: list[str]
    hygiene: list[str]
    headline: str
    measure_first: bool
    glance: Glance
    cautions: list[str]
    after: list[str]
    answer: str
    target: str
    common: str
    findings: list[FindingRow]
    others: list[FindingRow]
    shown: int
    parting: Check | None
    checks: list[Check]
    options: list[OptionRow]
    barred: Sequence[Plain]
    notes: list[str]
    cane_rows: list[tuple[str, list[tuple[str, int | None]]]]
    cane_picture: str
    cane_said: str
    came: Came | None
    best: BestSaid | None
    guessed: str
    scores: list[ScoreRow]
    typed: Mapping[str, Sequence[str]]


def next_shown(
    counsel: Counsel,
    *,
    state: ReedState,
    held: Held,
    words: Words,
    now: datetime,
    typed: Mapping[str, Sequence[str]] | None = None,
    scored: Scored | None = None,
    owed: Owed = "",
    name: str = "next",
) -> NextShown:
    """Return what the screen shows.

    Parameters
    ----------
    counsel : Counsel
        What the tool says of the reed, from ``desk.advice.plan``.
    state : ReedState
        The reed.
    held : Held
        How it is held.
    words : Words
        The language.
    now : datetime
        The time.
    typed : mapping of str to sequence of str, optional
        What was typed beside the buttons, where it is to be mended.
    scored : Scored, optional
        Hunches and advice, where they are to be shown.
    owed : {"", "ask", "no", "away"}
        What a cut waits for, from ``desk.posted.owed``.
    name : str
        Prefix of the ids in pictures; must be unique on the page.
    """
    plan: Plain = plan_data(counsel.plan, translate=words, number=words.number)
    findings: Plain = findings_data(counsel.findings, translate=words, number=words.number)
    drawn = BladeDrawn(counsel.laid) if counsel.laid is not None else None
    stops = stopped(findings)
    grave = any(s.grave for s in stops)
    liked = _liked(plan, findings, state.grade) and not grave
    seen = glance(
        plan,
        drawn,
        held=held,
        words=words,
        name=name,
        index=_leave(plan) if liked else None,
        put_aside=grave,
        instead="" if liked else _instead(plan, owed, words),
    )
    option = plan["options"][seen.index]
    left = next(o for o in plan["options"] if o["kind"] == "leave")["cane_left"]
    rows = finding_rows(findings, held=held, words=words)
    notes = {n["name"]: n["text"] for n in plan["notes"]}
    parting = findings["parting"]
    told = [r for r in rows if r.code in _TOLD][: max(_MOST_TOLD, int(findings["shown"]))]
    changed = changed_by(state.entries, style_text=counsel.style_text)
    best = best_moment(state.entries)
    measure = "measure-first" in notes or findings["answer"] == "cannot_tell"
    return NextShown(
        seq=state.seq,
        digest=counsel.digest,
        held=held,
        stops=[s for s in stops if not (owed and s.code == "ask-owner")],
        owed=owed,
        questions=[q["text"] for q in findings["questions"]],
        hygiene=_cautions(_HYGIENE, words),
        headline=words(NOTES["liked"]) if liked else _headline(findings, rows, plan, seen, words),
        measure_first=measure and not liked and not seen.cuts,
        glance=seen,
        cautions=_due(option, state, now) if seen.cuts else [],
        after=[] if grave else [a["text"] for a in option["after"]],
        answer=findings["answer_text"],
        target=_target(counsel, plan, words),
        common=basis_said(["common practice"], words),
        findings=told,
        others=_others(rows, told),
        shown=min(int(findings["shown"]), len(told)),
        parting=Check(parting["text"], "", check_address(parting["name"])) if parting else None,
        checks=_checks(findings, words),
        options=option_rows({**plan, "advised": seen.index}, held=held, words=words),
        barred=plan["barred"],
        notes=[*(t for c, t in notes.items() if c != "measure-first"), *_notes(counsel, words)],
        cane_rows=cane_table(left, words),
        cane_picture=cane_picture(left, drawn, held=held, words=words, name=f"{name}-cane")
        if drawn is not None and left
        else "",
        cane_said=_cane_said(counsel, words),
        came=came_said(changed, words) if changed and _worth_telling(changed, now) else None,
        best=best_said(best, words) if best and (best.grade or _GOOD) >= _GOOD else None,
        guessed=_guessed(state, held, words),
        scores=score_rows(scored, words) if scored is not None else [],
        typed=typed or {},
    )


def headline_of(
    counsel: Counsel, *, held: Held, words: Words, grade: int | None = None, owed: Owed = ""
) -> tuple[str, str]:
    """Return the likeliest finding, and what to do next, each in a line.

    A reed that is liked and of which nothing is named wrong is left as it is.
    """
    plan: Plain = plan_data(counsel.plan, translate=words, number=words.number)
    findings: Plain = findings_data(counsel.findings, translate=words, number=words.number)
    rows = finding_rows(findings, held=held, words=words)
    grave = [s for s in stopped(findings) if s.grave]
    leave = _liked(plan, findings, grade) and not grave
    seen = glance(
        plan,
        None,
        held=held,
        words=words,
        index=_leave(plan) if leave else None,
        put_aside=bool(grave),
        instead="" if leave else _instead(plan, owed, words),
    )
    act = f"{seen.where}, {seen.how_much}" if seen.how_much else seen.where
    if leave:
        return words(NOTES["liked"]), act
    return grave[0].text if grave else _headline(findings, rows, plan, seen, words), act


def _liked(plan: Plain, findings: Plain, grade: int | None) -> bool:
    """Whether a reed is liked, nothing is named wrong, and nobody asked for another one."""
    named = any(f["support"] in _NAMED for f in findings["findings"])
    asked = plan["target"] in ("words", "loved reed")
    return (grade or 0) >= LIKED and not named and not asked


def _instead(plan: Plain, owed: Owed, words: Words) -> str:
    """Return what is said in place of a cut that its player has not agreed to; empty for none."""
    if not owed:
        return ""
    if owed == "away":
        return words(ASKS[owed])
    advised = plan["options"][plan["advised"]]["kind"]
    waits = advised == "leave" and any(b["stop"] == "ask-owner" for b in plan["barred"])
    return words(ASKS[owed]) if advised in _CUTS or waits else ""


def _leave(plan: Plain) -> int:
    return next(i for i, o in enumerate(plan["options"]) if o["kind"] == "leave")


def _target(counsel: Counsel, plan: Plain, words: Words) -> str:
    target = plan["target_text"]
    if counsel.liked and plan["target"] == "loved reed":
        target = f"{target} ({counsel.liked})"
    return words.say(mark("Compared with %(target)s."), target=target)


def _headline(
    findings: Plain, rows: Sequence[FindingRow], plan: Plain, seen: Glance, words: Words
) -> str:
    """Return what is likeliest wrong, and why something is advised where that is not the reason."""
    first = next(iter(findings["findings"]), None)
    if findings["answer"] == "findings" and first is not None and first["support"] in _NAMED:
        answers = plan["options"][seen.index]["answers"]
        told = _named_said(rows[0], words)
        other = next((r for r in rows if r.name in answers), None)
        if other is None or rows[0].name in answers:
            return told
        text = mark("%(first)s What to do is for: %(finding)s")
        return words.say(text, first=f"{told}.", finding=f"{_named_said(other, words)}.")
    if seen.cuts:
        text = mark("Nothing is named wrong. This is likely to bring it closer to %(target)s.")
        return words.say(text, target=plan["target_text"])
    return "" if findings["answer"] == "findings" else str(findings["answer_text"])


def _named_said(row: FindingRow, words: Words) -> str:
    what = f"{row.title}, {row.place}" if row.place else row.title
    text = mark("%(finding)s (%(support)s evidence)")
    return words.say(text, finding=what, support=row.support)


def _others(rows: Sequence[FindingRow], told: Sequence[FindingRow]) -> list[FindingRow]:
    """Return the findings that are not laid out, each once, at its likeliest place."""
    seen = {r.name for r in told}
    out: list[FindingRow] = []
    for row in rows:
        if row.name not in seen:
            seen.add(row.name)
            out.append(row)
    return out


def _worth_telling(changed: Changed, now: datetime) -> bool:
    told = changed.followed is not None or changed.result is not None
    return told or now - changed.done.happened_at < _RECENT


def _guessed(state: ReedState, held: Held, words: Words) -> str:
    """Return the hunch since the last thing was done."""
    for e in reversed(state.entries):
        if isinstance(e.payload, Guess):
            return guess_said(e.payload, held, words)
        if isinstance(e.payload, Followed):
            return ""
    return ""


def _checks(findings: Plain, words: Words) -> list[Check]:
    """Return what to look at: first what answers whether it is the reed at all."""
    every = {c["name"]: c for c in (*findings["gate"], *findings["next"])}
    return [
        Check(c["text"], words.number(c["minutes"], 1 if c["minutes"] < 1 else 0), check_address(n))
        for n, c in every.items()
    ]


def _due(option: Plain, state: ReedState, now: datetime) -> list[str]:
    """Return the cautions to be read before a cut.

    Those of knife, dust and clipping come at the first cut, and at the first clip, of a sitting.
    Whether it is the first is read from the log, so that no browser can lose it.
    """
    recent = [e.payload for e in state.entries if now - e.happened_at < _SITTING]
    cut = any(isinstance(p, (Cut, Clip)) for p in recent)
    clipped = any(isinstance(p, Clip) for p in recent)
    first_clip = option["kind"] == "clip" and not clipped
    return [
        c["text"] for c in option["cautions"] if c["name"] not in _ONCE or not cut or first_clip
    ]


def _cautions(codes: Sequence[str], words: Words) -> list[str]:
    return [words(catalogue().cautions[c].text) for c in codes]


def _notes(counsel: Counsel, words: Words) -> list[str]:
    said = [words(NOTES[code]) for code in counsel.notes if code in NOTES]
    if any(b.reason == "no-knife" for b in counsel.plan.barred):
        said.insert(0, words(mark("Whoever has this reed uses no knife: cuts are left out.")))
    return [*said, counsel.refused] if counsel.refused else said


def _cane_said(counsel: Counsel, words: Words) -> str:
    return words.say(
        mark("Light strokes of %(size)s left above the floors, 95 %% sure (stroke: %(basis)s)"),
        size=words.thick(counsel.strokes.median, 3),
        basis=basis_said([counsel.strokes.basis], words),
    )
