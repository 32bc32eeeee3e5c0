"""What entries about advice say in the log of a reed."""

from __future__ import annotations

from crowlight.bench.advice_kinds import Advised, Offered
from crowlight.bench.payload import Followed
from crowlight.judge.findings import catalogue
from crowlight.plan.cut import Act, Part, how_much, where
from crowlight.plan.cut.said import sentences
from crowlight.report.words import Words, mark

__all__ = ["advised_said", "followed_said", "offered_said"]


def offered_said(offered: Offered, words: Words) -> str:
    """Return an option in a few words: what, where and how much."""
    act = Act(
        offered.kind,
        offered.name,
        offered.zone,
        Part(offered.part or "whole"),
        offered.blades,
        offered.oblique,
        offered.strokes,
        offered.clip,
    )
    if offered.kind == "act":
        remedy = catalogue().remedies.get(offered.name)
        return words(remedy.title) if remedy else offered.name
    said = [words(sentences()["kind"][offered.kind])]
    said += [where(act, translate=words), how_much(act, translate=words, number=words.number)]
    return ", ".join(part for part in said if part)


def advised_said(payload: Advised, words: Words) -> str:
    """Return what was advised, in a few words."""
    return offered_said(payload.options[payload.advised], words)


def followed_said(payload: Followed, words: Words) -> str:
    """Return whether what was done is what was advised."""
    if payload.option is None:
        return words(mark("something else than was advised"))
    return words(mark("as was offered"))
