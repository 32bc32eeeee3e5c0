"""Ranking what may be wrong with a reed.

Every finding is weighed by itself, as a yes-no question: prior odds times likelihood ratios, one
factor per family of evidence. Findings do not exclude each other; several may hold. What was not
measured leaves the odds where they are and widens their interval.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from crowlight.judge.findings.evidence import Known
from crowlight.judge.findings.finding import Catalogue, Finding
from crowlight.judge.findings.foresee import Next, Parting, next_checks, parting
from crowlight.judge.findings.load import catalogue
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.odds import log_odds
from crowlight.judge.findings.questions import Question, questions
from crowlight.judge.findings.stops import Stop, bars, settled, stops
from crowlight.judge.findings.weigh import Belief, Case, Weighed, Witnesses
from crowlight.judge.findings.where import PLACES, Where

__all__ = ["Conclusion", "Findings", "Ranked", "Support", "rank", "support"]

#: Families that must have been looked at before "no finding" may be said.
CORE = frozenset({"tip", "heart", "crow", "response"})
#: Families that come from the gauge.
GAUGED = frozenset({"tip", "blend", "heart", "back", "bark"})
#: Odds from which support is called fair, and from which at least weak.
_FAIR, _WEAK = 0.0, math.log(1 / 10)
#: Evidence that at least doubles or halves the odds speaks for or against.
_SPEAKS = math.log(2.0)


class Support(StrEnum):
    """How well a finding is supported, worst first."""

    UNLIKELY = "unlikely"
    CANNOT_TELL = "cannot_tell"
    WEAK = "weak"
    FAIR = "fair"
    STRONG = "strong"


class Conclusion(StrEnum):
    """What the ranking comes to."""

    FINDINGS = "findings"
    NO_FINDING = "no_finding"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class Ranked:
    """One finding at one place with its support.

    Parameters
    ----------
    finding : Finding
        What, with its causes, advice and basis.
    where : Where
        At which place.
    support : Support
        In one word.
    log_odds, low, high, prior : float
        As in `Belief`.
    for_, against : tuple of Weighed
        Evidence, heaviest first; what weighs nothing is in neither.
    unmeasured : tuple of str
        Signs and quantities that were not known.
    remedies : tuple of str
        What may be done now, most easily undone first.
    barred : tuple of (str, str)
        What may not be done now, and the stop that forbids it.
    cautions : tuple of str
        Codes, of the finding and of what may be done.
    """

    finding: Finding
    where: Where
    support: Support
    log_odds: float
    low: float
    high: float
    prior: float
    for_: tuple[Weighed, ...]
    against: tuple[Weighed, ...]
    unmeasured: tuple[str, ...]
    remedies: tuple[str, ...]
    barred: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Findings:
    """What may be wrong with a reed, and what to do before deciding.

    Parameters
    ----------
    answer : Conclusion
        What it comes to.
    ranked : tuple of Ranked
        All findings at all places: those with fair support or more by the order in which groups
        are asked about (is it the reed at all, may it be touched, was it wrong before the knife),
        then by odds.
    stops : tuple of Stop
        What is forbidden now.
    questions : tuple of Question
        What disagrees.
    gate : tuple of Next
        Checks still open that tell whether it is the reed at all and whether it may be judged or
        touched now, most information on that per minute first.
    next : tuple of Next
        All checks still open, most information per minute first.
    parting : Parting or None
        The check that parts the first finding from the likeliest other one that has support or is
        taken for it.
    cautions : tuple of str
        Cautions whatever is done: somebody else's reed, splinters, mould, long crowing.
    """

    answer: Conclusion
    ranked: tuple[Ranked, ...]
    stops: tuple[Stop, ...]
    questions: tuple[Question, ...]
    gate: tuple[Next, ...]
    next: tuple[Next, ...]
    parting: Parting | None
    cautions: tuple[str, ...]

    @property
    def shown(self) -> tuple[Ranked, ...]:
        """The two to show first; none when nothing has at least weak support."""
        return tuple(r for r in self.ranked if r.support in _NAMED)[:2]


_NAMED = (Support.WEAK, Support.FAIR, Support.STRONG)


@cache
def _cases() -> tuple[Case, ...]:
    return _cases_of(catalogue())


def _cases_of(of: Catalogue) -> tuple[Case, ...]:
    """Return every finding at every place, its prior odds shared among the places."""
    found: list[Case] = []
    for finding in of.findings.values():
        places = PLACES[finding.places]
        p = finding.prior_odds / (1 + finding.prior_odds) / len(places)
        found.extend(Case(finding, where, log_odds(p)) for where in places)
    return tuple(found)


def support(belief: Belief) -> Support:
    """Return a belief in one word.

    ``strong``: likely even at the low end of the interval, and at least three to one. ``fair``: at
    least as likely as not. ``weak``: the evidence at least doubled the odds, to one in ten or more.
    ``unlikely``: the evidence at least halved them, and not even the high end reaches one to one.
    ``cannot_tell``: everything else.
    """
    net = belief.log_odds - belief.prior
    if belief.log_odds >= _FAIR:
        sure = belief.low >= _FAIR and belief.log_odds >= math.log(3.0)
        return Support.STRONG if sure else Support.FAIR
    if net >= _SPEAKS and belief.log_odds >= _WEAK:
        return Support.WEAK
    if net <= -_SPEAKS and belief.high < _FAIR:
        return Support.UNLIKELY
    return Support.CANNOT_TELL


def rank(known: Known, *, of: Catalogue | None = None) -> Findings:
    """Rank what may be wrong with a reed.

    Parameters
    ----------
    known : Known
        All that is known of it.
    of : Catalogue, optional
        Findings to choose from; those that come with crowlight if not given.

    Returns
    -------
    Findings
        The ranking with evidence for and against, questions, stops and what to check next.

    Notes
    -----
    Within a family of evidence, the strongest item for and the strongest against count in full and
    the rest a quarter; families count as independent. Where words and measurements disagree,
    neither counts until the question is answered; thicknesses read in unlike wet states do not
    count at all.

    References
    ----------
    J. J. Deeks and D. G. Altman, Diagnostic tests 4: likelihood ratios, *BMJ* 329 (2004) 168, for
    prior odds times likelihood ratio.

    Examples
    --------
    >>> from crowlight.judge.findings.evidence import BladeKnown, Geometry, Measured
    >>> heavy = BladeKnown(heart=Measured(0.06e-3, 0.008e-3))
    >>> light = BladeKnown(heart=Measured(-0.02e-3, 0.008e-3))
    >>> found = rank(Known(geometry=Geometry(marked=heavy, plain=light)))
    >>> first = found.ranked[0]
    >>> first.finding.code, first.where.blade.value, first.support.value
    ('heart-heavier', 'marked', 'fair')
    """
    chosen = of or catalogue()
    asked = questions(known)
    aside = {code for question in asked for code in question.codes}
    if known.history.wet_states_alike == "no":
        aside.update(code for code, m in MEASURES.items() if m.family in GAUGED)
    witnesses = Witnesses(known, aside)
    cases = _cases() if of is None else _cases_of(chosen)
    beliefs = [(case, case.weigh(witnesses)) for case in cases]
    supports = [support(belief) for _, belief in beliefs]
    supported = [
        (case.finding, s is Support.STRONG)
        for (case, _), s in zip(beliefs, supports, strict=True)
        if s in (Support.FAIR, Support.STRONG)
    ]
    forbidden = stops(known, supported, asked=bool(asked))
    order = sorted(
        range(len(beliefs)),
        key=lambda i: _order(beliefs[i][0], beliefs[i][1], supports[i], leave=settled(known)),
    )
    spare = any("loads" in stop.kinds for stop in forbidden)
    return Findings(
        answer=_answer(beliefs, supports),
        ranked=tuple(
            _ranked(*beliefs[i], supports[i], forbidden=forbidden, of=chosen) for i in order
        ),
        stops=forbidden,
        questions=asked,
        gate=next_checks([b for b in beliefs if b[0].finding.group in _GATES], chosen, spare=spare),
        next=next_checks(beliefs, chosen, spare=spare),
        parting=_parting([beliefs[i] for i in order], chosen, spare=spare),
        cautions=_cautions(known),
    )


#: Groups to settle before any other: is it the reed at all, may it be judged or touched now?
_GATES = frozenset({"not-the-reed", "damage", "not-now"})
#: So much crowing without a pause asks for one [s] (our choice).
_LONG_CROWING = 45 * 60.0


def _cautions(known: Known) -> tuple[str, ...]:
    look = known.trials.look
    cracked = {"crack-thread", "crack-tip", "crack-scrape", "splinter"}
    now = {
        "shared-mouth": known.agreement.others_reed,
        "splinter": bool(cracked & look),
        "mould": "mould" in look,
        "hearing": (known.history.crowing or 0.0) >= _LONG_CROWING,
    }
    return tuple(code for code, holds in now.items() if holds)


#: Groups that come before the rest when they have fair support.
_FIRST = {
    "not-the-reed": 0,
    "damage": 1,
    "not-now": 2,
    "before-the-knife": 3,
}


def _order(
    case: Case, belief: Belief, s: Support, *, leave: Collection[str] = ()
) -> tuple[int, float, str, str, str]:
    named = s in (Support.FAIR, Support.STRONG)
    first = _FIRST.get(case.finding.group, len(_FIRST)) if named else len(_FIRST) + 1
    if not named and s is not Support.WEAK and not _points_to(case, belief):
        first += 1
    if named and case.finding.code in leave:
        first = len(_FIRST)  # settled here: the place explains no more than the reed may
    where = case.where
    # rounded, so that a tie is broken by name and not by the last digit of a sum
    odds = -round(belief.log_odds, 9)
    return first, odds, case.finding.code, where.blade or "", where.side or ""


def _points_to(case: Case, belief: Belief) -> bool:
    """Whether what tells most about a finding was looked at, and all speaks for it on balance."""
    if belief.log_odds <= belief.prior:
        return False
    telling = max(case.unmeasured.values(), default=0.0)
    looked = {w.family for w in belief.evidence}
    return any(case.unmeasured[family] >= telling for family in looked)


def _parting(
    ordered: Sequence[tuple[Case, Belief]], of: Catalogue, *, spare: bool
) -> Parting | None:
    """Part the first finding from the likeliest that has support too or is taken for it."""
    if not ordered or support(ordered[0][1]) not in _NAMED:
        return None
    first = ordered[0]
    one = first[0].finding
    for second in ordered[1:]:
        other = second[0].finding
        taken = other.code in one.rivals or one.code in other.rivals
        if other.code != one.code and (taken or support(second[1]) in _NAMED):
            return parting(first, second, of, spare=spare)
    return None


def _answer(beliefs: Sequence[tuple[Case, Belief]], supports: Sequence[Support]) -> Conclusion:
    if any(s in (Support.FAIR, Support.STRONG) for s in supports):
        return Conclusion.FINDINGS
    looked = {w.family for _, belief in beliefs for w in belief.evidence}
    return Conclusion.NO_FINDING if looked >= CORE else Conclusion.CANNOT_TELL


def _ranked(
    case: Case, belief: Belief, s: Support, *, forbidden: Sequence[Stop], of: Catalogue
) -> Ranked:
    allowed: list[str] = []
    barred: list[tuple[str, str]] = []
    for code in case.finding.remedies:
        remedy = of.remedies[code]
        stop = next((x for x in forbidden if bars(x, remedy)), None)
        if stop is None:
            allowed.append(code)
        else:
            barred.append((code, stop.code))
    cautions = dict.fromkeys(case.finding.cautions)
    for code in allowed:
        cautions.update(dict.fromkeys(of.remedies[code].cautions))
    return Ranked(
        finding=case.finding,
        where=case.where,
        support=s,
        log_odds=belief.log_odds,
        low=belief.low,
        high=belief.high,
        prior=belief.prior,
        for_=tuple(w for w in belief.evidence if w.weight > 0),
        against=tuple(w for w in belief.evidence if w.weight < 0),
        unmeasured=tuple(item.code for item in belief.open),
        remedies=tuple(allowed),
        barred=tuple(barred),
        cautions=tuple(cautions),
    )
