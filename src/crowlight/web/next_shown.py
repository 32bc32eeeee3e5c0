"""What the next-cut screen shows of a reed, ready for its templates.

``pieces/next-cut.html`` draws the heart of it from a `NextShown`; other pages may include that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.state import ReedState
from crowlight.judge.findings import catalogue
from crowlight.report.held import Held
from crowlight.report.next_cut import BladeDrawn, cane_picture, cane_table
from crowlight.report.next_history import Best, Outcome, best_moment, last_outcome
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

__all__ = ["Check", "NextShown", "next_shown"]

Plain = Mapping[str, Any]

#: A sitting ends this long after the last cut (common practice, no source): after it, the knife
#: caution is shown again.
_SITTING = timedelta(hours=4)
#: Cautions shown once in a sitting; all others always.
_ONCE = ("knife", "dust", "clipping")
#: Cautions where a reed is somebody else's.
_HYGIENE = ("shared-mouth", "ask-owner")
#: Support from which a finding is named on the screen.
_NAMED = ("strong", "fair")
#: Support from which its evidence is laid out, and for how many findings at most.
_TOLD, _MOST_TOLD = (*_NAMED, "weak"), 8
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
    found : Outcome or None
        The last thing done, and what came of it.
    best : Best or None
        When the reed was liked best.
    """

    seq: int
    digest: str
    held: Held
    stops: list[Stopped]
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
    found: Outcome | None
    best: Best | None


def next_shown(
    plan: Plain,
    findings: Plain,
    *,
    digest: str,
    state: ReedState,
    drawn: BladeDrawn | None,
    held: Held,
    words: Words,
    now: datetime,
    stroke: tuple[float, str] | None = None,
    name: str = "next",
) -> NextShown:
    """Return what the screen shows.

    Parameters
    ----------
    plan, findings : mapping
        `crowlight.plan.cut.as_data` and `crowlight.judge.findings.as_data`, in the language of
        `words`.
    digest : str
        Of the advice.
    state : ReedState
        The reed.
    drawn : BladeDrawn or None
        Its blades; None if its style is not known.
    held : Held
        How it is held.
    words : Words
        The language.
    now : datetime
        The time.
    stroke : tuple of (float, str), optional
        Cane per light stroke [m] and what that rests on.
    name : str
        Prefix of the ids in pictures; must be unique on the page.
    """
    stops = stopped(findings)
    grave = any(s.grave for s in stops)
    seen = glance(plan, drawn, held=held, words=words, name=name, put_aside=grave)
    option = plan["options"][seen.index]
    left = option["cane_left"]
    rows = finding_rows(findings, held=held, words=words)
    notes = {n["name"]: n["text"] for n in plan["notes"]}
    parting = findings["parting"]
    told = [r for r in rows if r.code in _TOLD][: max(_MOST_TOLD, int(findings["shown"]))]
    found = last_outcome(state, words)
    measure = "measure-first" in notes or findings["answer"] == "cannot_tell"
    return NextShown(
        seq=state.seq,
        digest=digest,
        held=held,
        stops=stops,
        questions=[q["text"] for q in findings["questions"]],
        hygiene=_cautions(_HYGIENE, words),
        headline=_headline(findings, rows, words),
        measure_first=measure,
        glance=seen,
        cautions=_due(option, state, now) if seen.cuts else [],
        after=[] if grave else [a["text"] for a in option["after"]],
        answer=findings["answer_text"],
        target=words.say(mark("Compared with %(target)s."), target=plan["target_text"]),
        common=basis_said(["common practice"], words),
        findings=told,
        others=_others(rows, told),
        shown=min(int(findings["shown"]), len(told)),
        parting=Check(parting["text"], "", check_address(parting["name"])) if parting else None,
        checks=_checks(findings, words),
        options=option_rows(plan, held=held, words=words),
        barred=plan["barred"],
        notes=[t for c, t in notes.items() if c != "measure-first"],
        cane_rows=cane_table(left, words),
        cane_picture=cane_picture(left, drawn, held=held, words=words, name=f"{name}-cane")
        if drawn is not None and left
        else "",
        cane_said=_cane_said(stroke, words),
        found=found if found is not None and _worth_telling(found, now) else None,
        best=best_moment(state, words),
    )


def _headline(findings: Plain, rows: Sequence[FindingRow], words: Words) -> str:
    first = next(iter(findings["findings"]), None)
    if findings["answer"] != "findings" or first is None or first["support"] not in _NAMED:
        return "" if findings["answer"] == "findings" else str(findings["answer_text"])
    row = rows[0]
    if not row.place:
        return words.say(
            mark("%(finding)s (%(support)s evidence)"), finding=row.title, support=row.support
        )
    return words.say(
        mark("%(place)s: %(finding)s (%(support)s evidence)"),
        place=row.place[:1].upper() + row.place[1:],
        finding=row.title,
        support=row.support,
    )


def _others(rows: Sequence[FindingRow], told: Sequence[FindingRow]) -> list[FindingRow]:
    """Return the findings that are not laid out, each once, at its likeliest place."""
    seen = {r.name for r in told}
    out: list[FindingRow] = []
    for row in rows:
        if row.name not in seen:
            seen.add(row.name)
            out.append(row)
    return out


def _worth_telling(found: Outcome, now: datetime) -> bool:
    return found.advised or bool(found.result) or now - found.entry.happened_at < _RECENT


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


def _cane_said(stroke: tuple[float, str] | None, words: Words) -> str:
    if stroke is None:
        return words(mark("Light strokes left above the floors, 95\N{NO-BREAK SPACE}% sure"))
    size, basis = stroke
    return words.say(
        mark("Light strokes of %(size)s left above the floors, 95 %% sure (stroke: %(basis)s)"),
        size=words.mm(size, 3),
        basis=basis_said([basis], words),
    )
