"""An advice as lines of text, for a terminal; and as plain data, for a file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from crowlight.bench.counsel import Counsel
from crowlight.bench.desk import LIKED
from crowlight.bench.outcomes import BestMoment
from crowlight.bench.posted import Owed
from crowlight.judge.findings import as_data as findings_data
from crowlight.judge.findings import catalogue
from crowlight.plan.cut import as_data as plan_data
from crowlight.report.finding import zone_name
from crowlight.report.next_history import best_said
from crowlight.report.next_screen import stopped
from crowlight.report.next_why import basis_said, chance_said, expected_rows
from crowlight.report.words import Words, in_locale, literal, mark

__all__ = ["ASKS", "NOTES", "advice_line", "advice_plain", "advice_text"]

Plain = Mapping[str, Any]

#: What else is to be said of an advice, by its notes.
NOTES: Mapping[str, str] = {
    "no-style": mark("Its scrape style is not stated: there is no map, and so no cut is planned."),
    "no-readings": mark("Nobody gauged it wet: no cut is planned."),
    "few-readings": mark("Too few wet readings for a map: no cut is planned."),
    "refused": mark("Its readings cannot be mapped:"),
    "carried": mark("Cuts since the last readings are taken off by their strokes, with doubt."),
    "unplaced-cut": mark("A cut since the last readings does not say how much or where."),
    "liked": mark("It is liked as it is, and nothing is named wrong."),
    "ask-again": mark("Words and taps are older than what helped since: play it again."),
    "gauge-could-change": mark("Three points with the gauge could change what is advised."),
    "outside": mark("The blade model has no answer for this shape; thickness alone counts."),
}
#: What to do first with a posted reed, by what a cut of it waits for.
ASKS: Mapping[Owed, str] = {
    "ask": mark("Ask the player before any cut"),
    "no": mark("Leave it uncut: its player said no"),
    "away": mark("It has left the workshop: nothing to do to it here"),
}
#: What shapes the opening without a knife.
_SHAPING = frozenset({"mandrel", "squeeze-sides", "squeeze-flat"})
#: Outputs told in a terminal, in this order.
_TOLD = ("rest_height", "closing_pressure", "compliance", "unevenness", "tilt", "separation")


def advice_plain(
    counsel: Counsel,
    best: BestMoment | None = None,
    *,
    owed: Owed = "",
    words: Words | None = None,
) -> dict[str, Any]:
    """Return an advice as plain data, fit for JSON: SI units, sentences in one language.

    Parameters
    ----------
    counsel : Counsel
        The advice.
    best : BestMoment, optional
        When the reed was liked best.
    owed : {"", "ask", "no", "away"}
        What a cut of a posted reed waits for.
    words : Words, optional
        The language; English if not given.

    Returns
    -------
    dict
        ``findings`` (each with name, support, for, against), ``options`` (each with kind, where,
        how_much, expected, harm, basis), ``advised``, ``stops``, ``questions``, ``next`` and more;
        see `crowlight.judge.findings.as_data` and `crowlight.plan.cut.as_data`.
    """
    words = words or in_locale("en")
    found = findings_data(counsel.findings, translate=words, number=words.number)
    plan = plan_data(counsel.plan, translate=words, number=words.number)
    low, high = counsel.strokes.interval()
    return {
        "reed": counsel.name,
        "digest": counsel.digest,
        "owed": owed or None,
        **found,
        **plan,
        "liked": counsel.liked or None,
        "blades": counsel.blades,
        "outputs": {
            name: {"unit": now.unit, "low": now.low, "middle": now.middle, "high": now.high}
            for name, now in counsel.now.items()
        },
        "strokes": {
            "median": counsel.strokes.median,
            "low": low,
            "high": high,
            "basis": counsel.strokes.basis,
            "cuts": counsel.strokes.cuts,
        },
        "cane_left": [
            {"zone": c.zone, "blade": c.blade.value, "least": c.least, "strokes": c.strokes}
            for c in counsel.cane_left
        ],
        "best_moment": None if best is None else _best_plain(best),
        "notes": [
            *plan["notes"],
            *({"name": n, "text": _note(n, counsel, words)} for n in counsel.notes),
        ],
    }


def _best_plain(best: BestMoment) -> dict[str, Any]:
    return {
        "entry": best.entry,
        "at": best.at.isoformat(),
        "grade": best.grade,
        "words": best.words,
        "grade_now": best.latest_grade,
        "strokes_since": dict(best.strokes),
        "clipped_since": best.clipped,
        "opening_change": best.opening,
        "length_change": best.length,
        "thinner_by": best.thinner,
        "deeds_since": best.deeds,
    }


def _note(code: str, counsel: Counsel, words: Words) -> str:
    text = words(NOTES.get(code, code))
    return f"{text} {counsel.refused}".strip() if code == "refused" else text


# --- for a terminal -------------------------------------------------------------------------------


def advice_text(
    counsel: Counsel,
    best: BestMoment | None = None,
    *,
    owed: Owed = "",
    words: Words | None = None,
) -> str:
    """Return an advice as text: what to do in three lines, then why, then what else.

    Parameters
    ----------
    counsel : Counsel
        The advice.
    best : BestMoment, optional
        When the reed was liked best.
    owed : {"", "ask", "no", "away"}
        What a cut of a posted reed waits for.
    words : Words, optional
        The language; English if not given.
    """
    words = words or in_locale("en")
    data = advice_plain(counsel, best, owed=owed, words=words)
    option = data["options"][data["advised"]]
    lines = [literal(counsel.name)]
    lines += [f"! {words(ASKS[owed])}"] if owed else []
    lines += [f"! {s.text}" for s in stopped(data) if not (owed and s.code == "ask-owner")]
    lines += [f"? {q['text']}" for q in data["questions"]]
    if owed != "away":
        lines += ["", *_three(option, counsel, words)]
    lines += [f"  {_label(mark('Take care'), words)} {c['text']}" for c in _cautions(data, option)]
    lines += ["", *_findings(data, words)]
    lines += ["", *_expected(option, words)]
    lines += _others(data, words)
    lines += ["", *_cane(data, words)]
    if best is not None and (best.deeds or (best.grade or 0) >= LIKED):
        lines.append(_best(best, words))
    lines.append(_target(counsel, data, words))
    lines += [f"- {n['text']}" for n in data["notes"]]
    return "\n".join(lines)


def advice_line(counsel: Counsel, *, words: Words | None = None) -> str:
    """Return what to do next in one line: where and how much, and what it answers.

    Parameters
    ----------
    counsel : Counsel
        The advice.
    words : Words, optional
        The language; English if not given.
    """
    words = words or in_locale("en")
    data = advice_plain(counsel, words=words)
    option = data["options"][data["advised"]]
    why = _why(option, words).rstrip(".")
    line = f"{_label(mark('Next'), words)} {_act(option)}"
    return f"{line} ({why})" if why else line


def _label(text: str, words: Words) -> str:
    return words.say(mark("%(label)s:"), label=words(text))


def _act(option: Plain) -> str:
    """Return what an option is, where and how much."""
    title = str(option["title"]).rstrip(".")
    parts = [option["where"] or "", option["how_much"] or ""]
    said = ", ".join(p for p in parts if p)
    return said if option["kind"] in ("scrape", "clip") else title


def _three(option: Plain, counsel: Counsel, words: Words) -> list[str]:
    """Return the three lines: where and how much, what to listen for, when to stop."""
    act = _act(option)
    if option["kind"] == "scrape":
        low, middle, high = (words.number(v * 1e3, 3) for v in option["cane"])
        text = mark("about %(middle)s mm, %(low)s to %(high)s, by %(basis)s")
        basis = basis_said([counsel.strokes.basis], words)
        said = words.say(text, middle=middle, low=low, high=high, basis=basis)
        act = f"{act} ({said})"
    lines = [f"{_label(mark('Next'), words)} {act}"]
    if why := _why(option, words):
        lines.append(f"{_label(mark('Because'), words)} {why}")
    listen = [s["text"] for s in option["listen_for"]]
    stop = [s["text"] for s in option["stop_when"]]
    remedy = catalogue().remedies.get(option["name"])
    if option["kind"] == "act" and remedy is not None:
        lines.append(f"{_label(mark('Expect'), words)} {words(remedy.effect)}")
        listen, stop = [], [words(remedy.stop)]
    if listen:
        lines.append(f"{_label(mark('Listen for'), words)} {' '.join(listen)}")
    if stop:
        lines.append(f"{_label(mark('Stop when'), words)} {' / '.join(stop)}")
    if after := [c["text"] for c in option["after"]]:
        lines.append(f"{_label(mark('Afterwards'), words)} {' '.join(after)}")
    return lines


def _why(option: Plain, words: Words) -> str:
    """Return what an option answers: findings, or an opening that is not what is wanted."""
    found = catalogue().findings
    titles = [words(found[code].title) for code in option["answers"][:2] if code in found]
    if not titles and option["name"] in _SHAPING:
        return words(mark("The opening is not what is wanted."))
    return "; ".join(titles)


def _cautions(data: Plain, option: Plain) -> list[Plain]:
    """Return cautions of the reed, of the act, and of the finding that is named first."""
    named = data["findings"][: data["shown"]][:1]
    every = [*data["cautions"], *option["cautions"]]
    for f in named:
        if f["support"] in ("strong", "fair") and f["group"] in ("damage", "not-the-reed", "leak"):
            every += f["cautions"]
    seen: dict[str, Plain] = {c["name"]: c for c in every}
    return list(seen.values())


def _findings(data: Plain, words: Words) -> list[str]:
    """Return the first two findings with their evidence, and the check that parts them."""
    shown = data["findings"][: data["shown"]]
    named = [f for f in shown if f["support"] in ("strong", "fair")]
    lines = [data["answer_text"]]
    if data["answer"] != "findings":
        lines += _looked(data, words)
        return lines
    for f in shown:
        place = f", {f['place']}" if f["blade"] or f["side"] else ""
        likely = words.say(
            mark("%(support)s, %(likely)s, range %(low)s to %(high)s"),
            support=f["support_text"],
            likely=chance_said(f["probability"], words),
            low=chance_said(f["probability_low"], words),
            high=chance_said(f["probability_high"], words),
        )
        lines.append(f"* {f['title']}{place} ({likely}; {f['basis']})")
        lines += [f"    + {e['text']}" for e in f["for"][:3]]
        lines += [f"    − {e['text']}" for e in f["against"][:2]]
        if f in named:
            lines.append(f"    {f['advice']}")
    if data["parting"] is not None and len(shown) > 1:
        lines.append(f"{_label(mark('To tell them apart'), words)} {data['parting']['text']}")
    elif data["next"]:
        lines.append(f"{_label(mark('Look at next'), words)} {data['next'][0]['text']}")
    return lines


def _looked(data: Plain, words: Words) -> list[str]:
    """Return what to look at first where nothing is named."""
    if data["answer"] == "no_finding":
        return []
    checks = [c["text"] for c in data["next"][:3]]
    return [f"{_label(mark('Look at next'), words)} {' '.join(checks)}"] if checks else []


def _expected(option: Plain, words: Words) -> list[str]:
    """Return what is expected of the advised option, as ranges with their basis."""
    rows = {r.name: r for r in expected_rows(option["expected"], words)}
    lines: list[str] = []
    if option["kind"] in ("scrape", "clip", "rest"):
        for name in _TOLD:
            row = rows.get(name)
            if row is not None and not _nothing(option, name):
                how = row.share or row.change
                lines.append(f"  {row.label}: {how} [{row.basis}]")
                if row.without:
                    text = mark("    without your cuts: %(range)s")
                    lines.append(words.say(text, range=row.without))
    if lines:
        lines.insert(0, _label(mark("Expected, nine times in ten"), words))
    if option["kind"] in ("scrape", "clip"):
        text = mark(
            "Closer to what is wanted: %(chance)s likely; lasting harm: %(harm)s (%(basis)s)."
        )
        lines.append(
            words.say(
                text,
                chance=chance_said(option["better"], words),
                harm=chance_said(option["harm"], words),
                basis=basis_said(option["basis"], words),
            )
        )
    return lines


def _nothing(option: Plain, name: str) -> bool:
    """Whether an output changes by less than half a per cent either way: nothing to speak of."""
    told = next(e for e in option["expected"] if e["name"] == name)
    ends = told["share"] or (told["change"] if told["unit"] == "1" else None)
    return ends is not None and max(abs(ends[0]), abs(ends[2])) < 0.005


def _others(data: Plain, words: Words) -> list[str]:
    """Return the other options in a line each, and what is not offered and why."""
    lines = [_label(mark("Or"), words)]
    for i, option in enumerate(data["options"]):
        if i == data["advised"]:
            continue
        cuts = option["kind"] in ("scrape", "clip")
        harm = words.say(mark("harm %(chance)s"), chance=chance_said(option["harm"], words))
        listen = " ".join(s["text"] for s in option["listen_for"][:1])
        said = "; ".join(p for p in (_act(option), harm if cuts else "", listen) if p)
        lines.append(f"  {i}. {said}")
    lines += [f"  – {b['title'].rstrip('.')}: {b['text']}" for b in data["barred"]]
    return lines


def _cane(data: Plain, words: Words) -> list[str]:
    """Return cane left in light strokes, and the zones where none is sure to be left."""
    left: Iterable[Plain] = data["cane_left"]
    by_zone: dict[str, list[str]] = {}
    none: dict[str, list[str]] = {}
    for c in left:
        blade = words(mark("marked")) if c["blade"] == "marked" else words(mark("plain"))
        if c["strokes"]:
            said = f"{blade} {words.number(c['strokes'], 0)}"
            by_zone.setdefault(c["zone"], []).append(said)
        else:
            none.setdefault(c["zone"], []).append(blade)
    lines: list[str] = []
    if by_zone:
        zones = "; ".join(f"{zone_name(z, words)} {', '.join(s)}" for z, s in by_zone.items())
        label = _label(mark("Cane left at the thinnest places, in light strokes, 95 % sure"), words)
        lines.append(f"{label} {zones}.")
    if none:
        zones = "; ".join(
            zone_name(z, words) if len(s) == 2 else f"{zone_name(z, words)} ({s[0]})"
            for z, s in none.items()
        )
        lines.append(f"{_label(mark('None that is sure'), words)} {zones}.")
    return lines


def _best(best: BestMoment, words: Words) -> str:
    said = best_said(best, words)
    if said.now and (best.grade is None or best.latest_grade == best.grade):
        text = mark("It was never liked better than it is now (%(how)s).")
        return words.say(text, how=said.said)
    gone = "; ".join(said.gone) or words(mark("nothing that was measured"))
    text = mark("Liked best at entry %(entry)s, %(at)s (%(how)s); gone since: %(gone)s.")
    return words.say(text, entry=said.entry, at=words.moment(said.at), how=said.said, gone=gone)


def _target(counsel: Counsel, data: Plain, words: Words) -> str:
    name = f" ({literal(counsel.liked)})" if counsel.liked else ""
    return f"{_label(mark('Compared with'), words)} {data['target_text']}{name}."
