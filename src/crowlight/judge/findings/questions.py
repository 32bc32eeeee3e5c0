"""Words against recording: what does not agree is asked about, not decided."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from crowlight.errors import InputError
from crowlight.judge.findings.evidence import Known
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.signs import SIGNS
from crowlight.judge.findings.where import REED

__all__ = ["Question", "question_texts", "questions"]

#: How many standard uncertainties beyond nothing count as saying otherwise: nine times in ten.
_PROVEN = 1.2816
#: From here on a sign counts as there, and from one minus this as not.
_THERE = 0.9


@dataclass(frozen=True, slots=True)
class Question:
    """Two pieces of evidence that disagree.

    Parameters
    ----------
    code, text : str
        Name and English source sentence with ``%(value)s``.
    codes : tuple of str
        The two signs or quantities; neither counts until it is answered.
    value, uncertainty : float or None
        Of the quantity, in its own unit.
    """

    code: str
    text: str
    codes: tuple[str, str]
    value: float | None = None
    uncertainty: float | None = None


@dataclass(frozen=True, slots=True)
class _Pair:
    code: str
    text: str
    says: str
    other: str
    measured: bool
    wanted: bool  # above, or there


@cache
def _pairs() -> tuple[_Pair, ...]:
    text = (files("crowlight.judge.findings") / "questions.toml").read_text(encoding="utf-8")
    pairs: list[_Pair] = []
    for row in tomllib.loads(text)["question"]:
        measured = "measure" in row
        other = row["measure"] if measured else row["sign"]
        if row["says"] not in SIGNS or other not in (MEASURES if measured else SIGNS):
            msg = f"question {row['code']!r}: {row['says']!r} or {other!r} is not known"
            raise InputError(msg)
        wanted = row["side"] == "above" if measured else row["there"]
        pairs.append(_Pair(row["code"], row["text"], row["says"], other, measured, wanted))
    return tuple(pairs)


def questions(known: Known) -> tuple[Question, ...]:
    """Return what must be asked before anything is decided.

    Parameters
    ----------
    known : Known
        All that is known of the reed.

    Returns
    -------
    tuple of Question
        In the order of the data file.
    """
    found: list[Question] = []
    for pair in _pairs():
        said = SIGNS[pair.says].of(known, REED)
        if said is None or said < _THERE:
            continue
        ask = _against_measure if pair.measured else _against_sign
        question = ask(known, pair)
        if question is not None:
            found.append(question)
    return tuple(found)


def question_texts() -> tuple[str, ...]:
    """Return the English sentences of all questions."""
    return tuple(pair.text for pair in _pairs())


def _against_measure(known: Known, pair: _Pair) -> Question | None:
    measure = MEASURES[pair.other]
    found = measure.of(known, REED)
    if found is None or not found.tells:
        return None
    beyond = found.value if pair.wanted else -found.value
    if not (beyond > 0 and beyond >= _PROVEN * found.uncertainty):
        return None
    return Question(
        pair.code,
        pair.text,
        (pair.says, pair.other),
        found.value / measure.scale,
        found.uncertainty / measure.scale,
    )


def _against_sign(known: Known, pair: _Pair) -> Question | None:
    q = SIGNS[pair.other].of(known, REED)
    if q is None or (q < _THERE if pair.wanted else q > 1 - _THERE):
        return None
    return Question(pair.code, pair.text, (pair.says, pair.other))
