"""A judgement as lines of text, for a terminal."""

from __future__ import annotations

from crowlight.bench.assess import Assessment, Judged
from crowlight.judge import Comparison, Outcome
from crowlight.report.counting import Counting
from crowlight.report.drying import drift_said
from crowlight.report.finding import difference_of, interval_of, more, not_mapped, what
from crowlight.report.words import Words, in_locale, literal, mark

__all__ = ["assessment_text"]


def assessment_text(
    assessment: Assessment, *, words: Words | None = None, counting: Counting | None = None
) -> str:
    """Return a judgement as text.

    Parameters
    ----------
    assessment : Assessment
        The judgement.
    words : Words, optional
        The language; English if not given.
    counting : Counting, optional
        What positions are counted from; the tip if its place is known, else the rim.

    Returns
    -------
    str
        What differs, one line each, and how many comparisons were made.
    """
    words = words or in_locale("en")
    counting = counting or Counting.of(assessment)
    lines = [literal(assessment.name), counting.note(words)]
    for group in assessment.groups:
        lines.append("")
        lines += _mapped(group, words) if group.mapped else _points(group, counting, words)
        if group.drift:
            lines.append(drift_said(group.drift, words))
    return "\n".join(lines)


def _heading(group: Judged, made: int, words: Words) -> str:
    return (
        f"{words.group(group.state)}: "
        + words.count("%(num)s reading", "%(num)s readings", len(group.readings))
        + ", "
        + words.count("%(num)s comparison", "%(num)s comparisons", made)
    )


def _mapped(group: Judged, words: Words) -> list[str]:
    if group.mapped is None:
        return []
    geometry = group.mapped.geometry
    made = [f for f in geometry.findings if f.decision.outcome is not Outcome.NOT_MEASURED]
    lines = [_heading(group, len(made), words)]
    if not geometry.differing():
        lines.append(words(mark("No difference the gauge can see.")))
    lines += [
        f"- {what(f, words)}: {more(f, words)}, {difference_of(f, words, signed=False)} "
        f"({interval_of(f, words)})"
        for f in geometry.differing()
    ]
    return lines


def _points(group: Judged, counting: Counting, words: Words) -> list[str]:
    comparisons = group.differences.comparisons
    made = [c for c in comparisons if c.decision.outcome is not Outcome.NOT_MEASURED]
    differ = [c for c in made if c.decision.outcome is Outcome.DIFFERS]
    lines = [_heading(group, len(made), words)]
    if not made:
        lines.append(words(mark("Nothing can be compared: no two matching points.")))
    elif not differ:
        lines.append(words(mark("No difference the gauge can see.")))
    lines.extend(_line(c, counting, words) for c in differ)
    if missing := len(comparisons) - len(made):
        lines.append(
            words.count(
                "%(num)s pair has only one point measured.",
                "%(num)s pairs have only one point measured.",
                missing,
            )
        )
    if group.not_mapped:
        lines.append(not_mapped(group.not_mapped, words))
    return lines


def _line(c: Comparison, counting: Counting, words: Words) -> str:
    d = c.decision
    place = counting.where(c.along, words)
    aside = words.say(mark("%(value)s from the centreline"), value=words.mm(c.across, 1))
    return (
        f"- {words.whose(c)}, {place}, {aside}: {words.thicker(c)}, "
        f"{words.thick(abs(d.value), 3)} ({words.span(d.low, d.high)})"
    )
