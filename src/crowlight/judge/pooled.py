"""Thickness of zones compared from the paired readings themselves.

A thickness map knows what reeds of the style are like, and so draws a gross difference towards
none. Where a zone has pairs of readings at matching points, their weighted mean does not: it takes
the place of the map's answer for the evenness of that zone.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from crowlight.judge.decision import Outcome, decide, effective_dof
from crowlight.judge.differences import Comparison, Differences, Pairing
from crowlight.judge.geometry import Against, Finding, Geometry, Quantity
from crowlight.reed import Blade
from crowlight.reed.styles import Style

__all__ = ["Pooled", "from_pairs", "pooled_pairs"]

_AGAINST = {Pairing.LEFT_RIGHT: Against.SIDES, Pairing.MARKED_PLAIN: Against.BLADES}


@dataclass(frozen=True, slots=True)
class Pooled:
    """A weighted mean of the paired differences of one zone.

    Parameters
    ----------
    value, standard_uncertainty : float
        [m].
    dof : float
        Effective degrees of freedom.
    pairs : int
        How many pairs went in.
    """

    value: float
    standard_uncertainty: float
    dof: float
    pairs: int


def pooled_pairs(
    comparisons: Sequence[Comparison], zones: Style
) -> dict[tuple[Against, str, Blade | None], Pooled]:
    r"""Pool the paired differences of each zone.

    Parameters
    ----------
    comparisons : sequence of Comparison
        From `paired_differences`.
    zones : Style
        The style with its zones where they lie on this reed.

    Returns
    -------
    dict
        By what is compared, zone and blade (None between blades).

    Notes
    -----
    Weights are inverse to the variance of what a pair does not share with the others. What it
    shares, the seating of the mountings, is taken as one and the same for all of them:
    :math:`u^2 = \sum w_i^2 (u_i^2 - s_i^2) + (\sum w_i s_i)^2`, JCGM 100:2008 (GUM), equation 16.
    """
    groups: dict[tuple[Against, str, Blade | None], list[Comparison]] = defaultdict(list)
    for c in comparisons:
        if c.decision.outcome is Outcome.NOT_MEASURED:
            continue
        half = float(zones.outline.half_width(c.along))
        if not zones.thread_top <= c.along <= zones.length or c.across > half:
            continue
        zone = zones.zone_of(c.along, c.across)
        groups[_AGAINST[c.pairing], zone.name, c.blade].append(c)
    return {key: _pool(group) for key, group in groups.items()}


def _pool(group: Sequence[Comparison]) -> Pooled:
    own = [math.sqrt(max(c.decision.standard_uncertainty**2 - c.seating**2, 1e-18)) for c in group]
    total = math.fsum(1 / u**2 for u in own)
    weights = [1 / u**2 / total for u in own]
    parts = [(w * u, c.decision.dof) for w, u, c in zip(weights, own, group, strict=True)]
    parts.append((math.fsum(w * c.seating for w, c in zip(weights, group, strict=True)), math.inf))
    return Pooled(
        math.fsum(w * c.decision.value for w, c in zip(weights, group, strict=True)),
        math.sqrt(math.fsum(u * u for u, _ in parts)),
        effective_dof(parts),
        len(group),
    )


def from_pairs(geometry: Geometry, differences: Differences, zones: Style) -> Geometry:
    """Let paired readings speak for the evenness of zones that have them.

    Parameters
    ----------
    geometry : Geometry
        From the thickness map.
    differences : Differences
        From the readings of the same reed and state.
    zones : Style
        The style with its zones where they lie on this reed.

    Returns
    -------
    Geometry
        Thickness of zones between sides and blades from the pairs, the rest as it was; the
        evenness comparisons share the risk anew.
    """
    pooled = pooled_pairs(differences.comparisons, zones)

    def answer(f: Finding) -> Pooled | None:
        if f.quantity is not Quantity.THICKNESS or f.zone is None:
            return None
        return pooled.get((f.against, f.zone, f.blade))

    def measured(f: Finding) -> bool:
        return answer(f) is not None or f.decision.outcome is not Outcome.NOT_MEASURED

    even = [f for f in geometry.findings if f.against is not Against.STYLE]
    count = sum(measured(f) for f in even)
    findings: list[Finding] = []
    for f in geometry.findings:
        if f.against is Against.STYLE or not measured(f):
            findings.append(f)
            continue
        found, d = answer(f), f.decision
        decision = decide(
            found.value if found else d.value,
            found.standard_uncertainty if found else d.standard_uncertainty,
            tolerance=d.tolerance,
            dof=found.dof if found else d.dof,
            comparisons=count,
            risk=geometry.risk,
        )
        findings.append(replace(f, decision=decision))
    return replace(geometry, findings=tuple(findings))
