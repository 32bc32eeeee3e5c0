"""Weighing the evidence of one finding at one place."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crowlight.judge.findings.evidence import Known, Measured
from crowlight.judge.findings.finding import Finding, Item
from crowlight.judge.findings.measures import FROM_MODEL, MEASURES
from crowlight.judge.findings.odds import (
    LR_UNCERTAINTY,
    TEMPER,
    combined,
    count_weight,
    graded_weight,
    probability,
    sign_weight,
)
from crowlight.judge.findings.signs import SIGNS
from crowlight.judge.findings.where import REED, Where

__all__ = ["Belief", "Case", "Looked", "Weighed", "Witnesses"]

#: Standard deviation of the natural log of a prior odds: a factor of two either way.
PRIOR_UNCERTAINTY = math.log(2.0)
#: Half width of a belief's interval in standard deviations: 90 % if it were normal.
_HALF = 1.6449


@dataclass(frozen=True, slots=True)
class Looked:
    """What one piece of evidence says: a quantity, a sign's q, or a count out of so many."""

    measured: Measured | None = None
    q: float | None = None
    count: tuple[int, int] | None = None


class Witnesses:
    """What is known, asked by name and place; each question is worked out once.

    Parameters
    ----------
    known : Known
        All that is known of the reed.
    aside : collection of str
        Names that do not count for now, because they contradict each other.
    """

    def __init__(self, known: Known, aside: Collection[str] = ()) -> None:
        self._known = known
        self._aside = frozenset(aside)
        self._found: dict[tuple[str, Where], Looked | None] = {}

    def ask(self, item: Item, where: Where) -> Looked | None:
        """Return what a piece of evidence says at a place; None if it says nothing."""
        # signs and counts are about the whole reed
        at = where if item.kind == "measure" else REED
        key = (item.code, at)
        if key not in self._found:
            self._found[key] = None if item.code in self._aside else self._look(item, at)
        return self._found[key]

    def _look(self, item: Item, where: Where) -> Looked | None:
        if item.kind == "measure":
            measured = MEASURES[item.code].of(self._known, where)
            return Looked(measured=measured) if measured and measured.tells else None
        if item.kind == "sign":
            q = SIGNS[item.code].of(self._known, where)
            return None if q is None else Looked(q=q)
        count = self._known.trials.batch_alike
        return Looked(count=count) if count and count[1] else None


@dataclass(frozen=True, slots=True)
class Weighed:
    """One piece of evidence with what it counts.

    Parameters
    ----------
    code, kind, family : str
        As in `Item`.
    weight : float
        Natural log of its likelihood ratio, before its family is combined; positive speaks for.
    value, uncertainty : float or None
        Of a quantity, in `unit`.
    unit : str
        Unit of the two; empty for signs and counts.
    there : bool or None
        Of a sign: whether it is there.
    count : tuple of int or None
        Of a count: so many of so many.
    """

    code: str
    kind: str
    family: str
    weight: float
    value: float | None = None
    uncertainty: float | None = None
    unit: str = ""
    there: bool | None = None
    count: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Belief:
    """How far a finding is believed.

    Parameters
    ----------
    log_odds : float
        Natural log odds given all evidence.
    low, high : float
        Interval from the uncertainty of prior and likelihood ratios and from what was not measured
        and could still move the odds.
    prior : float
        Natural log odds before any evidence.
    evidence : tuple of Weighed
        What was weighed, heaviest first.
    open : tuple of Item
        What was not known.
    """

    log_odds: float
    low: float
    high: float
    prior: float
    evidence: tuple[Weighed, ...]
    open: tuple[Item, ...]


@dataclass(frozen=True)
class Case:
    """One finding at one place, ready to be weighed.

    Parameters
    ----------
    finding : Finding
        What.
    where : Where
        At which place.
    prior : float
        Natural log odds there.
    """

    finding: Finding
    where: Where
    prior: float

    @cached_property
    def unmeasured(self) -> dict[str, float]:
        """By family: how much not knowing it leaves open, a variance of the log odds.

        The variance of the weight of the family's most telling item as foreseen from the prior.
        """
        found: dict[str, float] = defaultdict(float)
        for item in self.finding.evidence:
            variance = _foreseen_variance(item, probability(self.prior))
            found[item.family] = max(found[item.family], variance)
        return dict(found)

    def weigh(self, witnesses: Witnesses) -> Belief:
        """Weigh the evidence."""
        evidence: list[Weighed] = []
        left: list[Item] = []
        families: dict[str, None] = {}
        for item in self.finding.evidence:
            looked = witnesses.ask(item, self.where)
            if looked is None:
                left.append(item)
                continue
            found = _weighed(item, looked)
            evidence.append(found)
            families[item.family] = None
        totals = [_total(w for w in evidence if w.family == family) for family in families]
        log_odds = math.fsum((self.prior, *totals))
        variance = math.fsum(
            (
                PRIOR_UNCERTAINTY**2,
                *((LR_UNCERTAINTY * total) ** 2 for total in totals),
                *(v for family, v in self.unmeasured.items() if family not in families),
            )
        )
        half = _HALF * math.sqrt(variance)
        evidence.sort(key=lambda w: (-abs(w.weight), w.code))
        return Belief(
            log_odds, log_odds - half, log_odds + half, self.prior, tuple(evidence), tuple(left)
        )


def _total(family: Iterable[Weighed]) -> float:
    """Combine a family; what the blade model makes of a thickness counts little beside it."""
    gauged: list[float] = []
    modelled: list[float] = []
    for w in family:
        (modelled if w.code in FROM_MODEL else gauged).append(w.weight)
    if not gauged:
        return combined(modelled)
    return combined(gauged) + TEMPER * math.fsum(modelled)


def _weighed(item: Item, looked: Looked) -> Weighed:
    if looked.measured is not None:
        m, measure = looked.measured, MEASURES[item.code]
        return Weighed(
            item.code,
            item.kind,
            item.family,
            graded_weight(
                m.value - measure.centre * measure.scale,
                m.uncertainty,
                item.shift,
                item.spread,
                item.cap,
            ),
            value=m.value / measure.scale,
            uncertainty=m.uncertainty / measure.scale,
            unit=measure.unit,
        )
    if looked.q is not None:
        weight = sign_weight(looked.q, item.if_so, item.otherwise)
        return Weighed(item.code, item.kind, item.family, weight, there=looked.q > 0.5)
    seen, of = looked.count or (0, 0)
    weight = count_weight(seen, of, item.if_so, item.otherwise, item.cap)
    return Weighed(item.code, item.kind, item.family, weight, count=(seen, of))


def _foreseen_variance(item: Item, p: float) -> float:
    """Variance of an item's weight before it is known, for a finding of probability `p`."""
    if item.kind == "measure":
        usual = MEASURES[item.code].usual * MEASURES[item.code].scale
        d = abs(item.shift) / math.hypot(item.spread, usual)
        x = np.linspace(-4.0, d + 4.0, 81)
        density = (1 - p) * np.exp(-0.5 * x * x) + p * np.exp(-0.5 * (x - d) ** 2)
        weight = np.clip(d * x - 0.5 * d * d, -math.log(item.cap), math.log(item.cap))
        mean = np.average(weight, weights=density)
        return float(np.average((weight - mean) ** 2, weights=density))
    there = p * item.if_so + (1 - p) * item.otherwise
    yes = sign_weight(1.0, item.if_so, item.otherwise)
    no = sign_weight(0.0, item.if_so, item.otherwise)
    return there * (1 - there) * (yes - no) ** 2
