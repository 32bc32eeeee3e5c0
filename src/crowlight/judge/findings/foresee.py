"""What to look at next: how much each check will tell, before it is made.

The information of a check about one finding is the mutual information of the two: by how many bits
the entropy of "has it, has it not" will shrink on average. A check that answers several things
about a finding counts the most telling one; over the findings it is summed, as if they were
independent, which overstates checks that tell the same of many. What belongs to a family that was
looked at already counts with the family's tempering.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from crowlight.judge.findings.finding import Catalogue, Check, Finding, Item
from crowlight.judge.findings.measures import MEASURES
from crowlight.judge.findings.odds import (
    TEMPER,
    graded_information,
    probability,
    sign_information,
)
from crowlight.judge.findings.weigh import Belief, Case

__all__ = ["Next", "Parting", "next_checks", "parting"]

#: Findings less likely than this are not worth a check.
_WORTH = 0.01


@dataclass(frozen=True, slots=True)
class Next:
    """A check that has not been made.

    Parameters
    ----------
    code, title : str
        Name and English source sentence.
    bits : float
        Information over all findings [bit].
    minutes : float
        How long it takes.
    about : tuple of str
        The findings it tells most about.
    """

    code: str
    title: str
    bits: float
    minutes: float
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Parting:
    """The check that parts the two likeliest findings.

    Parameters
    ----------
    first, second : str
        The two.
    code, title : str
        Name of the check and English source sentence.
    bits : float
        Information about which of the two it is, if it is one of them [bit].
    named : bool
        Whether the catalogue names this check for the two.
    """

    first: str
    second: str
    code: str
    title: str
    bits: float
    named: bool


def next_checks(
    beliefs: Sequence[tuple[Case, Belief]], catalogue: Catalogue, *, spare: bool
) -> tuple[Next, ...]:
    """Return the checks still open, most information per minute first.

    Parameters
    ----------
    beliefs : sequence of (Case, Belief)
        All findings as they stand.
    catalogue : Catalogue
        For the checks.
    spare : bool
        Whether the reed must not be bent, blown or wetted.
    """
    p: list[float] = []
    items: list[Item] = []
    owners: list[tuple[str, int]] = []
    share: list[float] = []
    for index, (case, belief) in enumerate(beliefs):
        chance = probability(belief.log_odds)
        if chance < _WORTH:
            continue
        looked = {w.family for w in belief.evidence}
        for item in belief.open:
            if item.kind != "sign" or not item.code.startswith("word-"):
                p.append(chance)
                items.append(item)
                owners.append((case.finding.code, index))
                share.append(TEMPER if item.family in looked else 1.0)
    if not items:
        return ()
    bits = _information(np.array(p), items) * np.array(share)
    told: dict[str, list[int]] = defaultdict(list)
    for i, item in enumerate(items):
        told[item.code].append(i)
    found = (
        _next(check, told, bits, owners)
        for check in catalogue.checks.values()
        if not (spare and check.loads)
    )
    rated = [n for n in found if n.bits > 1e-6]
    return tuple(sorted(rated, key=lambda n: (-n.bits / n.minutes, n.code)))


def _information(p: np.ndarray, items: Sequence[Item]) -> np.ndarray:
    graded = np.array([item.kind == "measure" for item in items])
    if_so = np.array([item.if_so for item in items])
    otherwise = np.array([item.otherwise for item in items])
    bits = sign_information(p, if_so, otherwise)
    if graded.any():
        distance = np.array([_distance(item) for item in items])
        bits[graded] = graded_information(p[graded], distance[graded])
    return bits


def _distance(item: Item, other: Item | None = None) -> float:
    """How far the finding shifts a quantity, in standard deviations of a usual measurement."""
    if item.kind != "measure":
        return 0.0
    usual = MEASURES[item.code].usual * MEASURES[item.code].scale
    shift = item.shift - (other.shift if other else 0.0)
    spread = max(item.spread, other.spread) if other else item.spread
    return abs(shift) / math.hypot(spread, usual)


def _next(
    check: Check,
    told: Mapping[str, Sequence[int]],
    bits: np.ndarray,
    owners: Sequence[tuple[str, int]],
) -> Next:
    best: dict[tuple[str, int], float] = {}
    for code in check.tells:
        for i in told.get(code, ()):
            best[owners[i]] = max(best.get(owners[i], 0.0), float(bits[i]))
    of: dict[str, float] = defaultdict(float)
    for (code, _), value in sorted(best.items()):
        of[code] += value
    about = sorted(of, key=lambda code: (-of[code], code))[:3]
    return Next(check.code, check.title, math.fsum(best.values()), check.minutes, tuple(about))


def parting(
    first: tuple[Case, Belief],
    second: tuple[Case, Belief],
    catalogue: Catalogue,
    *,
    spare: bool,
) -> Parting | None:
    """Return the open check that tells two findings apart, if there is one.

    The one the catalogue names for the two comes first, if nothing of it was done yet; else the one
    with the most information about which it is, supposing it is one of them.
    """
    a, b = first[0].finding, second[0].finding
    weight_a, weight_b = probability(first[1].log_odds), probability(second[1].log_odds)
    p = weight_a / (weight_a + weight_b)
    share = _shares(first[1], second[1])
    weighed = {w.code for w in (*first[1].evidence, *second[1].evidence)}
    named = [f.rivals[g.code] for f, g in ((a, b), (b, a)) if g.code in f.rivals]
    best: tuple[bool, float, str] | None = None
    for check in catalogue.checks.values():
        if spare and check.loads:
            continue
        codes = check.tells & set(share)
        bits = max((share[code] * _apart(p, a, b, code) for code in codes), default=0.0)
        rank = (check.code in named and not check.tells & weighed, bits, check.code)
        if bits > 1e-6 and (best is None or (rank[:2] > best[:2])):
            best = rank
    if best is None:
        return None
    check = catalogue.checks[best[2]]
    return Parting(a.code, b.code, check.code, check.title, best[1], best[0])


def _shares(first: Belief, second: Belief) -> dict[str, float]:
    """Return what is open of either, with the share it counts when its family was looked at."""
    looked = {w.family for w in (*first.evidence, *second.evidence)}
    return {
        item.code: TEMPER if item.family in looked else 1.0 for item in (*first.open, *second.open)
    }


def _apart(p: float, a: Finding, b: Finding, code: str) -> float:
    """Information of one sign or quantity about which of two findings it is [bit]."""
    in_a, in_b = _of(a.evidence, code), _of(b.evidence, code)
    if in_a is None:
        in_a, in_b, p = in_b, in_a, 1 - p
    if in_a is None:
        return 0.0
    if in_a.kind == "measure":
        return float(graded_information(p, _distance(in_a, in_b)))
    against = in_b.if_so if in_b is not None else in_a.otherwise
    return float(sign_information(p, in_a.if_so, against))


def _of(items: Iterable[Item], code: str) -> Item | None:
    return next((item for item in items if item.code == code), None)
