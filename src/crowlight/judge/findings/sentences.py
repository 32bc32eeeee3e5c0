"""English source sentences of the findings, and the plain data a page or a file is made from.

The ranking itself returns codes and numbers. Whoever shows them passes a translation and a way to
write numbers; without them the English sentences stand as they are.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from crowlight.judge.findings.finding import SOURCES
from crowlight.judge.findings.foresee import Next
from crowlight.judge.findings.load import catalogue
from crowlight.judge.findings.odds import probability
from crowlight.judge.findings.questions import Question, question_texts
from crowlight.judge.findings.rank import Findings, Ranked
from crowlight.judge.findings.stops import stop_texts
from crowlight.judge.findings.weigh import Weighed
from crowlight.judge.findings.where import Where

__all__ = ["as_data", "ask", "place", "say", "source_sentences"]

Translate = Callable[[str], str]
WriteNumber = Callable[[float, int], str]

#: Decimals of numbers with a unit.
_DIGITS: Mapping[str, int] = {"mm": 3, "mm/mm": 2, "1": 2}
#: 0 °C [K].
_ICE = 273.15


@cache
def _sentences() -> Mapping[str, Mapping[str, Any]]:
    text = (files("crowlight.judge.findings") / "sentences.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _same(text: str) -> str:
    return text


def _plain(value: float, digits: int) -> str:
    return f"{value:.{digits}f}"


def place(where: Where, *, translate: Translate = _same) -> str:
    """Return the name of a place.

    Examples
    --------
    >>> from crowlight.reed import Side
    >>> place(Where(None, Side.LEFT))
    'left as seen on both blades'
    """
    key = f"{where.blade or 'both'}-{where.side or 'both'}"
    return translate(_sentences()["places"][key])


def say(
    evidence: Weighed,
    where: Where,
    *,
    translate: Translate = _same,
    number: WriteNumber = _plain,
) -> str:
    r"""Return a piece of evidence as a sentence with its numbers.

    Parameters
    ----------
    evidence : Weighed
        What to say.
    where : Where
        The place the finding is about.
    translate : callable
        From an English source sentence to the reader's language.
    number : callable
        From a number and its decimals to text.

    Examples
    --------
    >>> from crowlight.reed import Blade
    >>> found = Weighed("heart-excess-of-blade", "measure", "heart", 2.0, 0.07, 0.011, "mm")
    >>> say(found, Where(Blade.MARKED)).replace("\N{NO-BREAK SPACE}", " ")
    "heart of the marked blade against the other's: 0.070 mm ± 0.011 mm"
    """
    if evidence.count is not None:
        seen, of = (number(float(n), 0) for n in evidence.count)
        return translate(_sentences()["counts"][evidence.code]) % {"seen": seen, "of": of}
    if evidence.value is None:
        there, absent = _sentences()["signs"][evidence.code]
        return translate(there if evidence.there else absent)
    value, u = evidence.value, evidence.uncertainty or 0.0
    unit = {"1": "", "K": "°C"}.get(evidence.unit, evidence.unit)
    if evidence.unit == "K":
        value -= _ICE
    digits = _digits(evidence.code, evidence.unit, u)
    after = f"\N{NO-BREAK SPACE}{unit}" if unit else ""
    return translate(_sentences()["measures"][evidence.code]) % {
        "value": number(value, digits) + after,
        "uncertainty": number(u, digits) + after,
        "where": place(where, translate=translate),
    }


def _digits(code: str, unit: str, u: float) -> int:
    """Return how many decimals a number deserves, its uncertainty considered."""
    if code in {"clips", "strokes-since-sharpened"}:
        return 0
    digits = _DIGITS.get(unit, 0)
    return digits if unit != "mm" or u < 0.03 else digits - 1 - (u >= 0.3)


def ask(question: Question, *, translate: Translate = _same, number: WriteNumber = _plain) -> str:
    """Return a question with its number."""
    digits = 2 if question.codes[1] == "opening" else 0
    value = "" if question.value is None else number(question.value, digits)
    return translate(question.text) % {"value": value}


def as_data(
    findings: Findings, *, translate: Translate = _same, number: WriteNumber = _plain
) -> Any:
    """Return a ranking as plain data: dicts, lists, texts and numbers, fit for JSON.

    Parameters
    ----------
    findings : Findings
        The ranking.
    translate, number : callable
        As in `say`.

    Returns
    -------
    dict
        ``answer``, ``findings`` (each with name, support, for, against), ``stops``,
        ``questions``, ``gate``, ``next``, ``parting``, ``cautions``.
    """
    words = _sentences()
    return {
        "answer": findings.answer.value,
        "answer_text": translate(words["answers"][findings.answer.value]),
        "findings": [_ranked(r, translate, number) for r in findings.ranked],
        "shown": len(findings.shown),
        "stops": [
            {
                "name": s.code,
                "text": translate(s.text),
                "bars": list(s.kinds),
                "because": list(s.because),
            }
            for s in findings.stops
        ],
        "questions": [
            {
                "name": q.code,
                "text": ask(q, translate=translate, number=number),
                "between": list(q.codes),
            }
            for q in findings.questions
        ],
        "gate": [_check(n, translate) for n in findings.gate],
        "next": [_check(n, translate) for n in findings.next],
        "parting": None
        if findings.parting is None
        else {
            "between": [findings.parting.first, findings.parting.second],
            "name": findings.parting.code,
            "text": translate(findings.parting.title),
            "bits": findings.parting.bits,
        },
        "cautions": _cautions(findings.cautions, translate),
    }


def _check(check: Next, translate: Translate) -> dict[str, Any]:
    return {
        "name": check.code,
        "text": translate(check.title),
        "bits": check.bits,
        "minutes": check.minutes,
        "about": list(check.about),
    }


def _cautions(codes: Iterable[str], translate: Translate) -> list[dict[str, str]]:
    texts = catalogue().cautions
    return [{"name": code, "text": translate(texts[code].text)} for code in codes]


def _ranked(r: Ranked, translate: Translate, number: WriteNumber) -> dict[str, Any]:
    of, words = catalogue(), _sentences()

    def evidence(w: Weighed) -> dict[str, Any]:
        return {
            "name": w.code,
            "text": say(w, r.where, translate=translate, number=number),
            "times": math.exp(w.weight),
            "value": w.value,
            "uncertainty": w.uncertainty,
            "unit": w.unit,
        }

    return {
        "name": r.finding.code,
        "title": translate(r.finding.title),
        "advice": translate(r.finding.advice),
        "blade": r.where.blade.value if r.where.blade else None,
        "side": r.where.side.value if r.where.side else None,
        "place": place(r.where, translate=translate),
        "group": r.finding.group,
        "group_text": translate(words["groups"][r.finding.group]),
        "support": r.support.value,
        "support_text": translate(words["supports"][r.support.value]),
        "probability": probability(r.log_odds),
        "probability_low": probability(r.low),
        "probability_high": probability(r.high),
        "prior": probability(r.prior),
        "for": [evidence(w) for w in r.for_],
        "against": [evidence(w) for w in r.against],
        "unmeasured": list(r.unmeasured),
        "causes": [translate(c) for c in r.finding.causes],
        "remedies": [
            {"name": code, "text": translate(of.remedies[code].title)} for code in r.remedies
        ],
        "barred": [{"name": code, "stop": stop} for code, stop in r.barred],
        "cautions": _cautions(r.cautions, translate),
        "basis": translate(SOURCES[r.finding.basis]),
    }


def source_sentences() -> Iterator[str]:
    """Yield every English sentence of the findings, for the message catalogue."""
    of = catalogue()
    for f in of.findings.values():
        yield from (f.title, f.advice, *f.causes)
    for check in of.checks.values():
        yield check.title
    for remedy in of.remedies.values():
        yield from (remedy.title, remedy.effect, remedy.stop)
    for caution in of.cautions.values():
        yield caution.text
    yield from SOURCES.values()
    yield from stop_texts()
    yield from question_texts()
    for name, table in _sentences().items():
        for text in table.values():
            if name == "signs":
                yield from (t for t in text if t)
            else:
                yield text
