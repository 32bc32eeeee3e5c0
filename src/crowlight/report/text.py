"""A judgement as lines of text, for a terminal."""

from __future__ import annotations

from crowlight.bench.assess import Assessment
from crowlight.judge import Comparison, Outcome
from crowlight.report.svg import where
from crowlight.report.words import Words, in_locale, literal, mark

__all__ = ["assessment_text"]


def assessment_text(assessment: Assessment, *, words: Words | None = None) -> str:
    """Return a judgement as text.

    Parameters
    ----------
    assessment : Assessment
        The judgement.
    words : Words, optional
        The language; English if not given.

    Returns
    -------
    str
        What differs, one line each, and how many comparisons were made.
    """
    words = words or in_locale("en")
    lines = [literal(assessment.name)]
    for group in assessment.groups:
        made = [
            c
            for c in group.differences.comparisons
            if c.decision.outcome is not Outcome.NOT_MEASURED
        ]
        differ = [c for c in made if c.decision.outcome is Outcome.DIFFERS]
        lines.append("")
        lines.append(
            f"{words.group(group.state)}: "
            + words.count("%(num)s reading", "%(num)s readings", len(group.readings))
            + ", "
            + words.count("%(num)s comparison", "%(num)s comparisons", len(made))
        )
        if not made:
            lines.append(words(mark("Nothing can be compared: no two matching points.")))
        elif not differ:
            lines.append(words(mark("No difference the gauge can see.")))
        lines.extend(_line(c, assessment.length, words) for c in differ)
        missing = len(group.differences.comparisons) - len(made)
        if missing:
            lines.append(
                words.count(
                    "%(num)s pair has only one point measured.",
                    "%(num)s pairs have only one point measured.",
                    missing,
                )
            )
    return "\n".join(lines)


def _line(c: Comparison, length: float | None, words: Words) -> str:
    d = c.decision
    place = where(words, c.along, length)
    aside = words.say(mark("%(value)s from the centreline"), value=words.mm(c.across, 1))
    return (
        f"- {words.whose(c)}, {place}, {aside}: {words.thicker(c)}, "
        f"{words.mm(abs(d.value), 3)} ({words.span(d.low, d.high)})"
    )
