"""A plan as plain data: dicts, lists, texts and numbers, as a page or a file is made from."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from crowlight.judge.findings import catalogue
from crowlight.plan.cut.advise import Option, Plan
from crowlight.plan.cut.expecting import Expected
from crowlight.plan.cut.options import Act
from crowlight.plan.cut.rules import Barred
from crowlight.plan.cut.said import Said, sentences

__all__ = ["as_data", "how_much", "say", "where"]

Translate = Callable[[str], str]
WriteNumber = Callable[[float, int], str]


def _same(text: str) -> str:
    return text


def _plain(value: float, digits: int) -> str:
    return f"{value:.{digits}f}"


def _text(table: str, code: str, translate: Translate) -> str:
    return translate(sentences()[table][code])


def _length(value: float, digits: int, number: WriteNumber) -> str:
    return f"{number(value * 1e3, digits)}\N{NO-BREAK SPACE}mm"


def where(act: Act, *, translate: Translate = _same) -> str:
    """Return where an act is done; empty for what is done to no place.

    Examples
    --------
    >>> from crowlight.plan.cut import Part
    >>> from crowlight.reed import Blade
    >>> where(Act("scrape", "dust-corner", "tip", Part.LEFT_CORNER, (Blade.MARKED,)))
    'marked blade, tip, left corner as seen'
    """
    if not act.cuts:
        return ""
    blades = "both" if len(act.blades) == 2 else act.blades[0].value
    words = [("blades", blades), ("zone", act.zone)]
    if act.kind == "scrape":
        words.append(("part", act.part.value))
    return ", ".join(_text(table, code, translate) for table, code in words)


def how_much(act: Act, *, translate: Translate = _same, number: WriteNumber = _plain) -> str:
    """Return how much of it; empty where there is no amount.

    Examples
    --------
    >>> how_much(Act("scrape", "dust-tip", "tip", strokes=2))
    '2 light strokes'
    """
    if act.kind == "clip":
        return _text("amount", "clip", translate) % {"length": _length(act.clip, 1, number)}
    if act.kind != "scrape":
        return ""
    code = "stroke" if act.strokes == 1 else "strokes"
    text = _text("amount", code, translate)
    return text % {"strokes": number(act.strokes, 0)} if code == "strokes" else text


def say(
    said: Said, table: str, *, translate: Translate = _same, number: WriteNumber = _plain
) -> str:
    r"""Return a code of ``"listen"`` or ``"stop"`` as a sentence with its numbers.

    Examples
    --------
    >>> say(Said("gap", {"gap": 2e-5}), "stop").replace("\N{NO-BREAK SPACE}", " ")
    'The difference is down to 0.02 mm.'
    """
    counts = ("strokes", "tries")
    digits = {"gap": 2, "length": 1}
    written = {
        name: number(value, 0) if name in counts else _length(value, digits[name], number)
        for name, value in said.numbers.items()
    }
    text = _text(table, said.code, translate)
    return text % written if written else text


def as_data(plan: Plan, *, translate: Translate = _same, number: WriteNumber = _plain) -> Any:
    """Return a plan as plain data, fit for JSON.

    Parameters
    ----------
    plan : Plan
        The plan.
    translate : callable
        From an English source sentence to the reader's language.
    number : callable
        From a number and its decimals to text.

    Returns
    -------
    dict
        ``options`` (each with kind, name, where, how much, expected, harm, basis), ``advised``,
        ``target``, ``distance``, ``named``, ``barred``, ``notes``. Shapes of cuts are left out.
    """
    return {
        "target": plan.source,
        "target_text": _text("source", plan.source.replace(" ", "-"), translate),
        "distance": None if math.isnan(plan.distance[1]) else list(plan.distance),
        "advised": plan.advised,
        "options": [_option(o, translate, number) for o in plan.options],
        "named": list(plan.named),
        "barred": [_barred(b, plan, translate) for b in plan.barred],
        "notes": [{"name": code, "text": _text("note", code, translate)} for code in plan.notes],
    }


def _option(o: Option, translate: Translate, number: WriteNumber) -> dict[str, Any]:
    act, texts = o.act, catalogue().cautions
    remedy = act.remedy
    title = _text("kind", act.kind, translate)
    if act.kind == "act" and remedy is not None:
        title = translate(remedy.title)

    def said(table: str, of: tuple[Said, ...]) -> list[dict[str, Any]]:
        return [
            {
                "name": s.code,
                "text": say(s, table, translate=translate, number=number),
                "numbers": dict(s.numbers),
            }
            for s in of
        ]

    return {
        "kind": act.kind,
        "name": act.code,
        "title": title,
        "where": where(act, translate=translate),
        "zone": act.zone or None,
        "part": act.part.value if act.kind == "scrape" else None,
        "blades": [b.value for b in act.blades],
        "oblique": act.oblique,
        "how_much": how_much(act, translate=translate, number=number),
        "strokes": act.strokes,
        "cane": list(o.cane),
        "clip": act.clip,
        "answers": list(act.answers),
        "expected": [_expected(e) for e in o.expected],
        "closer": o.gain,
        "better": o.better,
        "harm": o.harm.total,
        "harm_by": {"floor": o.harm.floor, "length": o.harm.length, "tear": o.harm.tear},
        "basis": list(o.harm_basis),
        "listen_for": said("listen", o.listen_for),
        "stop_when": said("stop", o.stop_when),
        "after": [
            {"name": code, "text": _text("check", code, translate)} for code in o.after_check
        ],
        "cane_left": [
            {"zone": c.zone, "blade": c.blade.value, "least": c.least, "strokes": c.strokes}
            for c in o.cane_left
        ],
        "cautions": [{"name": code, "text": translate(texts[code].text)} for code in o.cautions],
    }


def _expected(e: Expected) -> dict[str, Any]:
    share = [e.share_low, e.share_middle, e.share_high]
    return {
        "name": e.name,
        "unit": e.unit,
        "change": [e.low, e.middle, e.high],
        "share": None if math.isnan(e.share_middle) else share,
        "basis": list(e.basis),
        "without_own_cuts": None if e.raw is None else list(e.raw),
        "own_cuts": e.own_cuts,
    }


def _barred(b: Barred, plan: Plan, translate: Translate) -> dict[str, Any]:
    text = _text("barred", b.reason, translate)
    stops = {s.code: s.text for s in plan.stops}
    return {
        "name": b.code,
        "title": translate(catalogue().remedies[b.code].title),
        "reason": b.reason,
        "stop": b.stop or None,
        "text": text % {"stop": translate(stops[b.stop])} if b.stop else text,
    }
