"""What to do with a reed nobody gauged: nothing that takes cane.

Findings from words, taps and looks still say what can be undone; measuring comes before any cut.
"""

from __future__ import annotations

import math
from collections.abc import Collection

from crowlight.judge.findings import Findings, catalogue
from crowlight.plan.cut.advise import AFTER, MOST, Option, Plan, named_of, resting
from crowlight.plan.cut.expecting import Expected, night
from crowlight.plan.cut.options import LEAVE, REST, Act, supported, without_knife
from crowlight.plan.cut.rules import Barred
from crowlight.plan.cut.said import after_checks, listen_for, stop_without_knife
from crowlight.plan.cut.weigh import Harm

__all__ = ["next_act"]

_NONE = (0.0, 0.0, 0.0)


def next_act(findings: Findings, *, done: Collection[str] = ()) -> Plan:
    """Plan what to do next with a reed without a thickness map.

    Parameters
    ----------
    findings : Findings
        What may be wrong with it, from what is known.
    done : collection of str
        Remedies already tried since something else changed, ``"rest"`` among them.

    Returns
    -------
    Plan
        Measuring, what can be undone, leaving and resting; never a cut. Its target is ``none`` and
        its distance not a number.

    Examples
    --------
    >>> from crowlight.judge.findings import Known, Playing, rank
    >>> plan = next_act(rank(Known(playing=Playing(words=frozenset({"closed"})))))
    >>> [o.act.code for o in plan.options][-3:]
    ['record', 'leave', 'rest']
    """
    gentle = without_knife(findings, done)  # what a stop forbids is no remedy of a finding
    measure = next((a for a in gentle if a.code == "record"), Act("act", "record"))
    first = [a for a in gentle if a.code not in AFTER and a.code != "record"]
    last = [a for a in gentle if a.code in AFTER]
    acts = [*first[: MOST - 1], measure, *last][:MOST]
    options = tuple(_option(a) for a in (*acts, LEAVE, REST))
    barred = dict.fromkeys(
        Barred(code, "not-measured")
        for r in supported(findings)
        for code in r.remedies
        if catalogue().remedies[code].cuts
    )
    named = named_of(findings)
    # what can be undone first, then the gauge; a reed that needs rest is gauged after it
    advised = len(options) - 1 if not first and resting(findings, done) else 0
    notes = {"measure-first": True, "no-finding": not named}
    return Plan(
        options=options,
        advised=advised,
        source="none",
        distance=(math.nan, math.nan, math.nan),
        named=named,
        barred=tuple(barred),
        stops=findings.stops,
        notes=tuple(code for code, holds in notes.items() if holds),
    )


def _option(act: Act) -> Option:
    remedy = act.remedy
    found = catalogue().findings
    named = [caution for code in act.answers for caution in found[code].cautions]
    expected: tuple[Expected, ...] = (night(),) if act.kind == "rest" else ()
    return Option(
        act=act,
        cane=_NONE,
        expected=expected,
        gain=0.0,
        better=0.5,
        worth=0.0,
        harm=Harm(),
        harm_basis=("common practice",),
        listen_for=listen_for(act),
        stop_when=stop_without_knife(act),
        after_check=after_checks(act, gauge_due=False),
        cane_left=(),
        cautions=tuple(dict.fromkeys((*(remedy.cautions if remedy else ()), *named))),
    )
