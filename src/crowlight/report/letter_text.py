"""A letter to the player, drafted from the story of a reed: plain words, nothing made up.

Every sentence follows from an entry, from a judgement with its interval, or is said to be common
practice. What nobody wrote down is not in the letter: it is among the hints to whoever edits it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from babel.dates import format_date

from crowlight.bench.advice_kinds import Treated
from crowlight.bench.kinds import Clip, Cut
from crowlight.bench.ports import Entry
from crowlight.bench.recordings import summaries
from crowlight.bench.story import Story
from crowlight.bench.workshop_kinds import LETTER_PARTS, Consent, Outcome
from crowlight.report.finding import zone_name
from crowlight.report.letter_findings import (
    Change,
    capital,
    compared_said,
    found_said,
    named,
    one_change,
    sentence,
)
from crowlight.report.letter_journey import expected
from crowlight.report.posted_words import WHERE, air_said
from crowlight.report.words import Words, mark

__all__ = ["PARTS", "Draft", "day_said", "draft", "glossary"]

#: Headings of the parts of a letter; greeting and closing have none.
PARTS: Mapping[str, str] = {
    "greeting": "",
    "came": mark("How it came"),
    "found": mark("What I found"),
    "done": mark("What I did, and why"),
    "left-alone": mark("What I left alone"),
    "expect": mark("What to expect where you play"),
    "care": mark("The first week"),
    "try": mark("One thing to try"),
    "questions": mark("Questions to you"),
    "closing": "",
}
_KNIFE = mark(
    "Only with a sharp knife, the plaque (the thin plate that goes between the blades) seated, "
    "cutting away from you with the thumb behind the edge. Scrape wet and wipe, do not blow: cane "
    "dust is bad for the lungs."
)
_GLOSSARY: Mapping[str, str] = {
    mark("tip"): mark("the thinnest part, at the front, that starts the sound"),
    mark("corner"): mark("the outer ends of the tip"),
    mark("transition"): mark("the slope from the tip to the heart"),
    mark("heart"): mark("the thick middle that carries pitch and stability"),
    mark("windows"): mark("the hollows either side of the spine in the back"),
    mark("spine"): mark("the ridge along the centre"),
    mark("rails"): mark("the strips left at the edges"),
    mark("marked blade"): mark("the blade that bears a mark; the other one is the plain blade"),
    mark("opening"): mark("the gap between the blades at the tip, wet and at rest"),
    mark("crow"): mark("the sound of the reed alone, blown deep in the mouth without lip"),
    mark("cent"): mark("a hundredth of a semitone"),
    mark("staple"): mark("the metal tube the cane is tied on"),
    mark("plaque"): mark("the thin plate put between the blades for scraping"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A drafted letter.

    Parameters
    ----------
    parts : dict of str to str
        Words of each part: paragraphs apart by an empty line, items of a list begin with ``- ``.
    hints : tuple of str
        What whoever edits it should add or ask.
    change : Change or None
        What the drawing shows, if there is one.
    """

    parts: dict[str, str]
    hints: tuple[str, ...]
    change: Change | None


def day_said(day: date, words: Words) -> str:
    """Return a day in words."""
    return format_date(day, "long", locale=words.locale)


def draft(story: Story, *, words: Words, student: bool = False) -> Draft:
    """Draft a letter.

    Parameters
    ----------
    story : Story
        The reed.
    words : Words
        The language.
    student : bool
        Whether it goes to somebody who learns to make reeds: one observation, one exercise.
    """
    lost = _lost(story) is not None  # nothing is left to care for
    change = None if lost else one_change(story)
    to_try = _exercise(story, words) if student else _try(story, change, words)
    made = {
        "greeting": _greeting(story, words),
        "came": _came(story, words),
        "found": found_said(story, words, most=1 if student else 6),
        "done": "" if student and not story.work else _done(story, words),
        "left-alone": "" if student else _left_alone(story, words),
        "expect": "" if student or lost else "\n\n".join(expected(story, words)),
        "care": "" if lost else _care(story, words),
        "try": "" if lost and not student else to_try,
        "questions": "" if student else _questions(story, words),
        "closing": _closing(story, words),
    }
    return Draft(
        parts={part: made[part] for part in LETTER_PARTS if made[part]},
        hints=tuple(_hints(story, words)),
        change=change if story.uses_knife and not student else None,
    )


# --- the parts ------------------------------------------------------------------------------------


def _greeting(story: Story, words: Words) -> str:
    if story.player is None:
        return words(mark("Good day,"))
    return words.say(mark("Dear %(name)s,"), name=story.player.name)


#: What can be done without a knife, as it is told afterwards.
_TREATED: Mapping[str, str] = {
    "re-soak": mark("Soaked again as usual"),
    "dry": mark("Left to dry for a day"),
    "acclimatise": mark("Left to settle here"),
    "clean": mark("Cleaned"),
    "fit": mark("Staple and cork fitted"),
    "mandrel": mark("Put on the mandrel, to round the staple"),
    "squeeze-sides": mark("Squeezed at the sides, to open it"),
    "squeeze-flat": mark("Pressed flat, to close it"),
    "seal": mark("Sides sealed"),
    "cork": mark("Cork waxed or wound"),
    "wire": mark("Wire put on or set"),
    "compare": mark("Compared with a reed I know"),
    "record": mark("Measured and recorded"),
}


def _came(story: Story, words: Words) -> str:
    name, said = story.now.reed.name, list[str]()
    if story.posting is not None:
        day = day_said(story.posting.came.astimezone().date(), words)
        said.append(
            words.say(
                mark("Your reed, kept here as “%(reed)s”, came on %(day)s."), reed=name, day=day
            )
        )
    else:
        said.append(words.say(mark("This is about the reed “%(reed)s”."), reed=name))
    out = [" ".join(said)]
    intake = story.intake
    if intake and intake.complaint:
        out.append(words.say(mark("You wrote: “%(words)s”"), words=intake.complaint))
    state = story.arrival.state
    measured: list[str] = []
    if state.length is not None:
        known = state.length_uncertainty or 0.25e-3
        measured.append(
            words.say(
                mark("- Length %(length)s, give or take %(known)s."),
                length=words.mm(state.length, 1),
                known=words.mm(known, 2),
            )
        )
    if state.opening is not None:
        measured.append(
            words.say(
                mark("- Opening at the tip, wet and at rest: %(height)s, give or take %(known)s."),
                height=words.mm(state.opening.height, 2),
                known=words.mm(state.opening.uncertainty, 2),
            )
        )
    if story.crow_before:
        said_crow = crow_said(story.crow_before.heard, words)
        measured.append(words.say(mark("- Its crow %(sounds)s"), sounds=said_crow))
    if story.climate and (
        air := air_said(story.climate.temperature, story.climate.humidity, words)
    ):
        measured.append(words.say(mark("- The air in my workshop: %(air)s."), air=air))
    if measured:
        out.append(words(mark("Before I touched it I measured:")))
        out.append("\n".join(measured))
    return "\n\n".join(out)


def _done(story: Story, words: Words) -> str:
    ended = _ended(story, words)
    if not story.work:
        return ended or words(mark("I did nothing to it: it goes back as it came."))
    said = [e.payload for e in story.now.state.entries if isinstance(e.payload, Consent)]
    asked = [p.how for p in said if p.to == "cut" and p.answer == "yes"]
    answers = {p.answer for p in said if p.to == "cut"}
    out: list[str] = []
    if asked:
        how = f" ({asked[-1]})" if asked[-1] else ""
        out.append(words.say(mark("I asked before I cut, and you agreed%(how)s."), how=how))
    if "not-asked" in answers:
        out.append(words(mark("I cut it without having asked you.")))
    out.append("\n".join(f"- {_work_said(e, words)}" for e in story.work))
    if ended:
        out.append(ended)
    minutes = story.posting.attention / 60.0 if story.posting else 0.0
    if minutes:
        out.append(
            words.say(
                mark("It took %(minutes)s minutes of attention."), minutes=words.number(minutes, 0)
            )
        )
    if story.measured_again:
        out += compared_said(story, words)
    elif any(isinstance(e.payload, Cut) for e in story.work):
        out.append(
            words(
                mark(
                    "I did not measure the thickness again after the last stroke, so I cannot give "
                    "you numbers for how it is now."
                )
            )
        )
    if story.crow_after:
        said_crow = crow_said(story.crow_after.heard, words)
        out.append(words.say(mark("Now its crow %(sounds)s"), sounds=said_crow))
    return "\n\n".join(out)


def _lost(story: Story) -> Outcome | None:
    """Return how it ended, if it did not end well."""
    outcome = story.posting.outcome if story.posting else None
    return outcome if outcome is not None and outcome.outcome != "sellable" else None


def _ended(story: Story, words: Words) -> str:
    """Say honestly that a reed broke or was given up, where and why; else nothing."""
    outcome = _lost(story)
    if outcome is None:
        return ""
    if outcome.outcome == "given-up":
        text = words(mark("I gave it up: I could not make it play as it should."))
    elif outcome.where in {"", "not-known"}:
        text = words(mark("It broke."))
    else:
        text = words.say(mark("It broke %(where)s."), where=words(WHERE[outcome.where]))
    reason = f"{capital(words(outcome.reason)).rstrip('.')}." if outcome.reason else ""
    return " ".join(part for part in (text, reason, outcome.remark) if part)


def crow_said(heard: Mapping[str, Any], words: Words) -> str:
    """Say how a crow sounds, in plain words, to follow “its crow”."""
    found = summaries([heard])
    pitch, cents = (found[n].median if n in found else None for n in ("pitch_hz", "pitch_cents"))
    swell = heard.get("swell") or {}
    out: list[str] = []
    if pitch is None:
        out.append(words(mark("has no pitch that can be told.")))
    else:
        hertz = words.number(pitch, 0)
        if cents is None or abs(cents) < 1.0:
            out.append(words.say(mark("sounds at %(hertz)s Hz."), hertz=hertz))
        else:
            text = (
                mark("sounds at %(hertz)s Hz, %(cents)s cents higher than the C it is aimed at.")
                if cents > 0
                else mark(
                    "sounds at %(hertz)s Hz, %(cents)s cents lower than the C it is aimed at."
                )
            )
            out.append(words.say(text, hertz=hertz, cents=words.number(abs(cents), 0)))
    if swell.get("rattles"):
        out.append(words(mark("Blown harder, it begins to rattle.")))
    elif swell:
        out.append(words(mark("It does not rattle, as hard as I blew it.")))
    return " ".join(out)


def _work_said(entry: Entry, words: Words) -> str:
    match entry.payload:
        case Cut() as cut:
            both = words(mark("both blades"))
            blades = both if len(cut.blades) > 1 else " ".join(map(words.blade, cut.blades))
            text = words.say(
                mark("Knife: %(zone)s, %(blades)s"),
                zone=zone_name(cut.zone, words),
                blades=blades,
            )
            if cut.sides:
                sides = " + ".join(words.side(side) for side in cut.sides)
                text += words.say(mark(", %(sides)s as seen facing it"), sides=sides)
            if cut.strokes:
                text += words.count(", one light stroke", ", %(num)s light strokes", cut.strokes)
            return f"{text}. {cut.remark}".strip()
        case Clip() as clip:
            text = (
                words(mark("I clipped the tip."))
                if clip.amount is None
                else words.say(
                    mark("I clipped %(amount)s off the tip."), amount=words.mm(clip.amount, 1)
                )
            )
            return text
        case Treated() as treated:
            name = words(_TREATED.get(treated.what, treated.what))
            return f"{name}. {treated.remark}".strip()
        case _:
            return words.kind(entry.payload.kind)


def _left_alone(story: Story, words: Words) -> str:
    out: list[str] = []
    allowed = story.posting.allowed["cut"] if story.posting else "yes"
    cut = any(isinstance(e.payload, Cut | Clip) for e in story.work)
    if allowed == "no" and not cut:
        out.append(words(mark("You asked not to have it cut, so no knife touched it.")))
    elif allowed in {"unknown", "ask"} and not cut:
        out.append(
            words(
                mark("You had not said whether it may be cut, so no knife touched it; see below.")
            )
        )
    left = named(story.now) if story.work else []
    if left:
        out.append(words(mark("What still differs, and stays as it is:")))
        out.append("\n".join(f"- {sentence(f, words)}" for f in left[:4]))
    out.append(
        words(
            mark(
                "Cane that is gone does not come back: where one side is thinner, only the other "
                "can be brought to it, and each such step makes the reed softer. What does not "
                "disturb you is best left."
            )
        )
    )
    return "\n\n".join(out)


def _care(story: Story, words: Words) -> str:
    lines = [
        mark("Soak it two to five minutes; play it five to fifteen minutes a day at first."),
        mark("Let it dry between uses, in a case that lets air through; change between reeds."),
        mark("Judge it after three days, not in the first hour: cane changes after the knife."),
        mark("Rinse it after playing, and do not share it unwashed."),
        mark("Stop at dizziness, headache or pressure in the head; never force a reed."),
        mark("If the cane splits, stop playing it: splinters can cut the lip."),
    ]
    drier = (story.travel or {}).get("drier_by")
    if drier and drier["low"] > 0:
        lines.insert(1, mark("Where you play it is drier than here: soak a little more often."))
    if drier and drier["high"] < 0:
        lines.insert(1, mark("Where you play it is damper than here: soak a little less."))
    said = "\n".join(f"- {words(line)}" for line in lines)
    return f"{said}\n\n{words(mark('All of this is common practice.'))}"


def _try(story: Story, change: Change | None, words: Words) -> str:
    if not story.uses_knife:
        return words(
            mark(
                "No knife is needed. Play the same slow swell on one low note on three days, and "
                "write down whether it starts at once: today's ear forgets yesterday's reed. Play "
                "a reed you know for comparison."
            )
        )
    if change is None:
        return words(
            mark(
                "Nothing to cut: no difference is left that I could name. Play it for a week "
                "before you decide anything."
            )
        )
    place = zone_name(change.zone, words)
    where = (
        words.say(
            mark("the %(zone)s of the %(blade)s"), zone=place, blade=words.blade(change.blade)
        )
        if change.side is None
        else words.say(
            mark("the %(side)s side of the %(zone)s of the %(blade)s, seen facing it with tip up"),
            side=words.side(change.side),
            zone=place,
            blade=words.blade(change.blade),
        )
    )
    return "\n\n".join(
        (
            words.say(
                mark(
                    "Only if something still disturbs you after a week: two light strokes on "
                    "%(where)s, the shaded part of the drawing. Then one slow swell: better, the "
                    "same or worse? If it is better, or after two such tries, stop."
                ),
                where=where,
            ),
            words(_KNIFE),
        )
    )


def _exercise(story: Story, words: Words) -> str:
    change = one_change(story)
    if change is None:
        return words(
            mark(
                "Exercise: hold the reed against a lamp and write down where each blade looks "
                "darkest at the tip. Do it again tomorrow without looking at your notes, and "
                "compare: that is how far your eye can be trusted."
            )
        )
    return words.say(
        mark(
            "Exercise: hold the reed against a lamp and look at the %(zone)s. Which part looks "
            "darker, and so thicker? Write it down before you look at the pictures below. Then do "
            "the same with your next three reeds before you scrape them, and bring the four notes."
        ),
        zone=zone_name(change.zone, words),
    )


_QUESTIONS: Mapping[str, str] = {
    "may-cut": mark("May I cut it, if it needs the knife?"),
    "may-break": mark("Old cane may split under the knife: may I risk it?"),
    "allergies": mark("Is there anything you do not bear, such as varnish, wax, glue or latex?"),
    "altitude": mark("How high above sea level do you play, and how dry is the hall?"),
    "complaint": mark("What disturbs you about it, in your own words?"),
    "afterwards": mark("If a reed cannot be saved, shall I send it back or throw it away?"),
}


def _questions(story: Story, words: Words) -> str:
    asked = [mark("How does it play where you are, after the first week?")]
    if story.posting:
        asked += [_QUESTIONS[q] for q in story.posting.questions if q in _QUESTIONS]
    said = "\n".join(f"- {words(text)}" for text in asked)
    return f"{said}\n\n{words(mark('The last page can be filled in and sent back.'))}"


def _closing(story: Story, words: Words) -> str:
    by = story.maker.name if story.maker else ""
    day = day_said(story.written_at.astimezone().date(), words)
    return "\n".join(p for p in (words(mark("With kind regards,")), by, day) if p)


# --- for whoever edits it -------------------------------------------------------------------------


def _hints(story: Story, words: Words) -> Iterator[str]:
    for e in story.work:
        if isinstance(e.payload, Cut) and not e.payload.remark:
            text = mark("No reason was written down for a cut (%(cut)s): say why.")
            yield words.say(text, cut=_work_said(e, words).rstrip(". "))
    if story.posting and not story.posting.intake.complaint:
        yield words(mark("The player's own words are missing from the intake."))
    if story.to is None:
        yield words(mark("Nobody knows how high and how dry the place is: nothing is foretold."))
    if story.player is not None and story.player.uses_knife is None:
        yield words(mark("Whether the player uses a knife is not known: none is offered."))
    if any(isinstance(e.payload, Cut) for e in story.work) and not story.measured_again:
        yield words(mark("It was not measured again after the last cut."))
    if story.work and story.crow_after is None:
        yield words(mark("There is no recording of its crow since the last work."))


def glossary(text: str, words: Words) -> Sequence[tuple[str, str]]:
    """Return the trade words of a letter with their meaning."""
    return [
        (words(term), words(meaning))
        for term, meaning in _GLOSSARY.items()
        if re.search(rf"\b{re.escape(words(term))}s?\b", text, re.IGNORECASE)
    ]
