"""A workshop's figures as rows, as text for a terminal, and as plain numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from crowlight.batch.figures import Figures, Group, Question, Rate, Share
from crowlight.bench.workshop_kinds import MAKING
from crowlight.report.posted_words import STAGES
from crowlight.report.words import Words, literal, mark

__all__ = [
    "figures_plain",
    "figures_text",
    "life_said",
    "question_said",
    "rate_said",
    "share_said",
    "stages_said",
]

_HOUR, _MINUTE = 3600.0, 60.0


def share_said(share: Share, words: Words) -> str:
    """Return a share with its interval: so many of so many, per cent."""
    if not share.of:
        return words(mark("nothing noted yet"))
    return words.say(
        mark("%(count)s of %(of)s, %(value)s %% (%(low)s to %(high)s)"),
        count=share.count,
        of=share.of,
        value=words.number(100.0 * share.value, 0),
        low=words.number(100.0 * share.low, 0),
        high=words.number(100.0 * share.high, 0),
    )


def stages_said(figures: Figures, words: Words) -> list[tuple[str, str]]:
    """Return each stage of making and the share of reeds that reached it from the one before."""
    said: list[tuple[str, str]] = []
    for i, (code, share) in enumerate(zip(MAKING, figures.stages, strict=False)):
        # before the first stage there is none: so many reeds, of themselves
        first = words.count("%(num)s reed", "%(num)s reeds", share.count)
        said.append((words(STAGES[code]), share_said(share, words) if i else first))
    return said


def rate_said(rate: Rate | None, words: Words, *, unit: str, scale: float = 1.0) -> str:
    """Return what a sellable reed takes, with its interval."""
    if rate is None:
        return words(mark("nothing noted yet"))
    value, low = words.number(rate.value / scale, 1), words.number(rate.low / scale, 1)
    if math.isinf(rate.high):
        return words.say(mark("%(value)s %(unit)s, one reed only"), value=value, unit=unit)
    return words.say(
        mark("%(value)s %(unit)s (%(low)s to %(high)s), %(reeds)s reeds, %(good)s sellable"),
        value=value,
        unit=unit,
        low=low,
        high=words.number(rate.high / scale, 1),
        reeds=rate.reeds,
        good=rate.sellable,
    )


def life_said(figures: Figures, words: Words) -> str:
    """Return how long reeds live."""
    life = figures.life
    if life is None:
        return words(mark("nothing noted yet"))
    counted = words.say(
        mark("%(reeds)s reeds, %(ended)s of them at their end"), reeds=life.reeds, ended=life.ended
    )
    if math.isinf(life.median):
        said = words.say(
            mark("more than half are still played; %(counted)s"),
            counted=counted,
        )
        return f"{said[:1].upper()}{said[1:]}"
    high = words(mark("not known yet"))
    if math.isfinite(life.median_high):
        high = words.number(life.median_high / _HOUR, 1)
    return words.say(
        mark("half last %(median)s hours or more (%(low)s to %(high)s); %(counted)s"),
        median=words.number(life.median / _HOUR, 1),
        low=words.number(life.median_low / _HOUR, 1),
        high=high,
        counted=counted,
    )


def question_said(question: Question, words: Words) -> str:
    """Return how many more reeds would settle which of two makes more good ones."""
    names = {"first": literal(question.first), "second": literal(question.second)}
    if question.each is None:
        return words.say(
            mark("%(first)s and %(second)s look alike; no number of reeds would settle it."),
            **names,
        )
    return words.say(
        mark(
            "Whether %(first)s makes more good reeds than %(second)s would be settled by "
            "%(each)s graded reeds of each, if the shares are as they look now: %(one)s more of "
            "the first and %(other)s of the second."
        ),
        each=question.each,
        one=question.more[0],
        other=question.more[1],
        **names,
    )


def figures_text(figures: Figures, words: Words) -> str:
    """Return the figures as lines of text, for a terminal."""
    lines = [f"{figures.reeds} reeds"]
    lines += [f"  {name:12} {said}" for name, said in stages_said(figures, words)]
    lines.append(f"  sellable     {share_said(figures.sellable, words)}")
    lines.append("grades 1 to 5: " + ", ".join(map(str, figures.grades)))
    lines += [
        f"  rejected, {literal(r) or '-'}: {share_said(s, words)}" for r, s in figures.reasons
    ]
    lines.append(
        "per sellable reed: " + rate_said(figures.seconds, words, unit="minutes", scale=_MINUTE)
    )
    lines += [f"per sellable reed: {rate_said(r, words, unit=c)}" for c, r in figures.cost]
    lines.append(f"life: {life_said(figures, words)}")
    for title, groups in (("cane", figures.canes), ("shape", figures.shapes)):
        lines += [
            f"{title} {literal(g.name)}: good {share_said(g.good, words)}; "
            f"sellable {share_said(g.sellable, words)}"
            for g in groups
        ]
    lines += [question_said(q, words) for q in figures.questions]
    return "\n".join(lines)


def _share(share: Share) -> dict[str, Any]:
    return {
        "count": share.count,
        "of": share.of,
        "low": round(share.low, 6),
        "high": round(share.high, 6),
    }


def _rate(rate: Rate | None, scale: float = 1.0) -> dict[str, Any] | None:
    if rate is None:
        return None
    return {
        "value": round(rate.value / scale, 4),
        "low": round(rate.low / scale, 4),
        "high": round(rate.high / scale, 4) if math.isfinite(rate.high) else None,
        "reeds": rate.reeds,
        "sellable": rate.sellable,
    }


def _groups(groups: Sequence[Group]) -> list[dict[str, Any]]:
    return [
        {"name": g.name, "good": _share(g.good), "sellable": _share(g.sellable)} for g in groups
    ]


def figures_plain(figures: Figures) -> dict[str, Any]:
    """Return the figures as plain values: minutes, hours, shares with their intervals."""
    life = figures.life
    return {
        "reeds": figures.reeds,
        "stages": {c: _share(s) for c, s in zip(MAKING, figures.stages, strict=False)},
        "sellable": _share(figures.sellable),
        "grades": list(figures.grades),
        "rejected": [{"reason": r, **_share(s)} for r, s in figures.reasons],
        "minutes_per_sellable": _rate(figures.seconds, _MINUTE),
        "cost_per_sellable": {c: _rate(r) for c, r in figures.cost},
        "life": None
        if life is None
        else {
            "reeds": life.reeds,
            "ended": life.ended,
            "hours": [round(t / _HOUR, 3) for t in life.times],
            "alive": [round(a, 6) for a in life.alive],
            "median_hours": round(life.median / _HOUR, 3) if math.isfinite(life.median) else None,
        },
        "cane": _groups(figures.canes),
        "shape": _groups(figures.shapes),
        "questions": [
            {"first": q.first, "second": q.second, "reeds_of_each": q.each, "more": list(q.more)}
            for q in figures.questions
        ],
    }
