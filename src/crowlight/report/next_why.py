"""Behind the one screen: every option with its ranges, the evidence, what to look at next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from crowlight.judge.findings import Where, place
from crowlight.plan.cut.said import sentences
from crowlight.reed import Blade, Side
from crowlight.report.blade_rows import SIGNED, decimals_of
from crowlight.report.blades import OUTPUT_WORDS, SHOWN_UNITS
from crowlight.report.held import Held, Tip
from crowlight.report.next_cut import where_held
from crowlight.report.words import Words, mark

__all__ = [
    "ExpectedRow",
    "FindingRow",
    "OptionRow",
    "basis_said",
    "chance_said",
    "check_address",
    "expected_rows",
    "finding_rows",
    "option_rows",
    "output_name",
]

Plain = Mapping[str, Any]

#: Where what a check finds is written down, below a reed's own address.
_ADDRESSES: Mapping[str, str] = {
    "swell": "sounds",
    "notes": "sounds",
    "peep": "sounds",
    "taps": "play",
    "threshold": "write/crow-start",
    "opening": "write/opening",
    "lengths": "write/lengths",
    "gauge-tip": "readings",
    "gauge-blend": "readings",
    "gauge-hearts": "readings",
    "gauge-back": "readings",
    "gauge-bark": "readings",
    "cane-book": "write/described",
    "width": "write/described",
    "tie": "write/described",
    "places": "write/climate",
    "diary": "write/wetting",
    "control-reed": "write/trials",
    "other-oboe": "write/trials",
    "other-player": "write/trials",
    "pop-test": "write/trials",
    "bubbles": "write/trials",
    "look": "write/trials",
    "re-soak-trial": "write/trials",
    "dry-trial": "write/trials",
    "pinch": "write/trials",
}


@dataclass(frozen=True, slots=True)
class ExpectedRow:
    """A predicted change: what, its range, the same as a share, what it rests on.

    `without` is the range as the model alone tells it, where own cuts put it right; else empty.
    """

    name: str
    label: str
    change: str
    share: str
    basis: str
    open_sign: bool
    without: str = ""


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One option, in words.

    Parameters
    ----------
    index : int
        Which of the plan's.
    kind, title, where, how_much : str
        What, where, how much.
    advised : bool
        Whether it is the advised one.
    closer : str
        How likely it brings the reed closer to what is wanted; empty where nobody can say.
    expected : tuple of ExpectedRow
        Predicted changes.
    harm : str
        The chance of lasting harm, and of what.
    harm_basis : str
        Where that comes from.
    listen, stop, after, cautions : tuple of str
        Sentences.
    cane_left : tuple of mapping
        As in the plan.
    """

    index: int
    kind: str
    title: str
    where: str
    how_much: str
    advised: bool
    closer: str
    expected: tuple[ExpectedRow, ...]
    harm: str
    harm_basis: str
    listen: tuple[str, ...]
    stop: tuple[str, ...]
    after: tuple[str, ...]
    cautions: tuple[str, ...]
    cane_left: tuple[Plain, ...]


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One finding, in words.

    Parameters
    ----------
    name, title, place, group : str
        What it is, where, and what it belongs to.
    code, support : str
        Its support, as a code and in a word.
    likely : str
        Its probability with its range, per cent.
    pro, con : tuple of str
        Evidence for and against, the heaviest first.
    causes, remedies, cautions : tuple of str
        As the catalogue says.
    advice, basis : str
        What is usually done; where the finding comes from.
    """

    name: str
    title: str
    place: str
    group: str
    code: str
    support: str
    likely: str
    pro: tuple[str, ...]
    con: tuple[str, ...]
    causes: tuple[str, ...]
    remedies: tuple[str, ...]
    cautions: tuple[str, ...]
    advice: str
    basis: str


def basis_said(codes: Iterable[str], words: Words) -> str:
    """Return what a prediction rests on."""
    names = sentences()["basis"]
    return "; ".join(words(names.get(c.replace(" ", "-"), c)) for c in codes)


def chance_said(chance: float, words: Words) -> str:
    """Return a probability in per cent, as finely as it deserves.

    Examples
    --------
    >>> from crowlight.report.words import in_locale
    >>> [chance_said(p, in_locale("en")).replace(chr(160), " ") for p in (0.0, 0.004, 0.137, 0.995)]
    ['below 1 %', 'below 1 %', '14 %', 'above 99 %']
    """
    if chance < 0.01:
        return words(mark("below 1\N{NO-BREAK SPACE}%"))
    if chance > 0.99:
        return words(mark("above 99\N{NO-BREAK SPACE}%"))
    return f"{words.number(100 * chance, 0)}\N{NO-BREAK SPACE}%"


def output_name(name: str, words: Words) -> str:
    """Return what an output of the blade model is called."""
    return words(OUTPUT_WORDS.get(name, name))


def expected_rows(expected: Iterable[Plain], words: Words) -> tuple[ExpectedRow, ...]:
    """Return predicted changes as ranges in the units of the bench.

    Parameters
    ----------
    expected : iterable of mapping
        ``expected`` of an option: name, unit, change (5, 50, 95 %), share, basis; where own cuts
        put it right, ``without_own_cuts`` and ``own_cuts``.
    words : Words
        The language.
    """
    rows: list[ExpectedRow] = []
    for e in expected:
        name = e["name"]
        unit, factor = SHOWN_UNITS.get(name, (e["unit"], 1.0))
        low, _, high = (float(v) * factor for v in e["change"])
        signed = name in SIGNED
        after = "" if unit == "1" else f"\N{NO-BREAK SPACE}{unit}"
        share = e.get("share")
        shares = "" if share is None or signed else _shares(share[0], share[2], words)
        digits = _decimals(low, high)
        change = _between(low, high, digits, words) + after
        nothing = round(low, digits) == 0.0 == round(high, digits)
        if nothing:
            change, shares = words(mark("next to nothing")), ""
        rows.append(
            ExpectedRow(
                name=name,
                label=output_name(name, words),
                change=change,
                share=f"{shares}\N{NO-BREAK SPACE}%" if shares else "",
                basis=_rests_on(e, words),
                open_sign=low < 0.0 < high and not nothing,
                without=_without(e.get("without_own_cuts"), factor, digits, words, after),
            )
        )
    return tuple(rows)


def _rests_on(e: Plain, words: Words) -> str:
    """Return what a prediction rests on, and how many own cuts put it right."""
    said = basis_said(e["basis"], words)
    cuts = e.get("own_cuts") or 0
    return words.say(mark("%(basis)s (%(cuts)s cuts)"), basis=said, cuts=cuts) if cuts else said


def _without(
    raw: Iterable[float] | None, factor: float, digits: int, words: Words, after: str
) -> str:
    """Return the range as the model alone tells it."""
    if raw is None:
        return ""
    low, _, high = (float(v) * factor for v in raw)
    if round(low, digits) == 0.0 == round(high, digits):
        return words(mark("next to nothing"))
    return _between(low, high, digits, words) + after


def _decimals(low: float, high: float) -> int:
    """Return decimals that leave two figures of the larger end of a range, three at most."""
    return min(decimals_of(max(abs(low), abs(high)), 2), 3)


def _shares(low: float, high: float, words: Words) -> str:
    digits = 0 if max(abs(low), abs(high)) >= 0.1 else 1
    return _between(100 * low, 100 * high, digits, words)


def _between(low: float, high: float, digits: int, words: Words) -> str:
    return words.say(
        mark("%(low)s to %(high)s"),
        low=words.number(low, digits, signed=True),
        high=words.number(high, digits, signed=True),
    )


def option_rows(plan: Plain, *, held: Held, words: Words) -> list[OptionRow]:
    """Return every option of a plan, the advised one first.

    Parameters
    ----------
    plan : mapping
        `crowlight.plan.cut.as_data`, in the language of `words`.
    held : Held
        How the reed is held.
    words : Words
        The language.
    """
    rows = [_option(i, o, plan, held, words) for i, o in enumerate(plan["options"])]
    return sorted(rows, key=lambda r: not r.advised)


def _option(index: int, o: Plain, plan: Plain, held: Held, words: Words) -> OptionRow:
    harms = (
        ("floor", mark("crossing a floor %(chance)s")),
        ("length", mark("ending too short %(chance)s")),
        ("tear", mark("a tear %(chance)s")),
    )
    by = [
        words.say(text, chance=chance_said(o["harm_by"][name], words))
        for name, text in harms
        if o["harm_by"][name] > 0.0
    ]
    harm = chance_said(o["harm"], words) if o["harm"] > 0.0 else words(mark("none expected"))
    if len(by) > 1:
        harm = f"{harm} ({', '.join(by)})"
    elif by:
        harm = by[0]
    return OptionRow(
        index=index,
        kind=o["kind"],
        title=o["title"],
        where=where_held(o, held, words),
        how_much=o["how_much"],
        advised=index == plan["advised"],
        closer=chance_said(o["better"], words) if o["kind"] in ("scrape", "clip") else "",
        expected=() if o["kind"] == "leave" else expected_rows(o["expected"], words),
        harm=harm,
        harm_basis=basis_said(o["basis"], words),
        listen=tuple(s["text"] for s in o["listen_for"]),
        stop=tuple(s["text"] for s in o["stop_when"]),
        after=tuple(s["text"] for s in o["after"]),
        cautions=tuple(c["text"] for c in o["cautions"]),
        cane_left=tuple(o["cane_left"]),
    )


def finding_rows(findings: Plain, *, held: Held, words: Words) -> list[FindingRow]:
    """Return the findings in their order, sides named as the reed is held.

    Parameters
    ----------
    findings : mapping
        `crowlight.judge.findings.as_data`, in the language of `words`.
    held : Held
        How the reed is held.
    words : Words
        The language.
    """
    return [_finding(f, held, words) for f in findings["findings"]]


def _finding(f: Plain, held: Held, words: Words) -> FindingRow:
    where = Where(Blade(f["blade"]) if f["blade"] else None, Side(f["side"]) if f["side"] else None)
    was, now = place(where, translate=words), _place(where, held, words)

    def told(evidence: Iterable[Plain]) -> tuple[str, ...]:
        # the only place a sentence of evidence names is the finding's own
        return tuple(str(e["text"]).replace(was, now) for e in evidence)

    likely = words.say(
        mark("%(likely)s, range %(low)s to %(high)s"),
        likely=chance_said(f["probability"], words),
        low=chance_said(f["probability_low"], words),
        high=chance_said(f["probability_high"], words),
    )
    return FindingRow(
        name=f["name"],
        title=f["title"],
        place=now if f["blade"] or f["side"] else "",
        group=f["group_text"],
        code=f["support"],
        support=f["support_text"],
        likely=likely,
        pro=told(f["for"]),
        con=told(f["against"]),
        causes=tuple(f["causes"]),
        remedies=tuple(r["text"] for r in f["remedies"]),
        cautions=tuple(c["text"] for c in f["cautions"]),
        advice=f["advice"],
        basis=f["basis"],
    )


def _place(where: Where, held: Held, words: Words) -> str:
    """Return the name of a place, its side as the reed is held."""
    if where.side is None or held.tip is Tip.UP:
        return place(where, translate=words)
    side = held.side(where.side, words)
    if where.blade is None:
        return words.say(mark("%(side)s side of both blades, as held"), side=side)
    blade = words.blade(where.blade)
    return words.say(mark("%(side)s side of the %(blade)s"), side=side, blade=blade)


def check_address(code: str) -> str:
    """Return where a check is written down, below a reed's own address; empty for nowhere."""
    return _ADDRESSES.get(code, "")
