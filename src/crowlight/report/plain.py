"""A judgement as plain values in millimetres, for JSON."""

from __future__ import annotations

import math
from typing import Any

from crowlight.bench.assess import Assessment, Judged
from crowlight.bench.mapping import Mapped
from crowlight.judge import Comparison
from crowlight.judge.geometry import Finding
from crowlight.judge.sitting import Drift
from crowlight.report.counting import Counting
from crowlight.report.finding import unit_of

__all__ = ["assessment_in_mm"]


def assessment_in_mm(assessment: Assessment) -> dict[str, Any]:
    """Return a judgement as values that JSON knows.

    Parameters
    ----------
    assessment : Assessment
        The judgement.

    Returns
    -------
    dict
        Lengths in millimetres; what is not finite or not known is None.

        ``reed``, ``unit`` (``"mm"``), ``length_mm`` and ``length_uncertainty_mm``,
        ``thread_top_mm`` and ``thread_top_uncertainty_mm`` (a position counted from the tip or the
        thread top carries the uncertainty of that length), ``tolerance_mm``, ``risk``,
        ``differing``, and ``groups``, one per wet state, each with ``state``, ``readings`` (how
        many),
        ``repeatability_mm``, ``repeatability_dof``, ``own_repeatability_used`` and ``differences``,
        tip first: ``pairing``, ``blade``, ``side``, ``from_rim_mm``, ``from_tip_mm``,
        ``from_thread_mm``, ``across_mm``, ``outcome``, ``difference_mm``, ``low_mm``, ``high_mm``,
        ``standard_uncertainty_mm``, ``dof``, ``within_tolerance``, ``tolerance_mm``.

        ``own_gauges`` holds the maker's own repeatability by instrument, where it was used;
        ``drift`` how the first point had changed when it was read again at the end of the latest
        sitting, None if it was not; ``advice`` may say ``rewet-and-wait``.

        Where a thickness map could be drawn, ``map`` holds ``style``, ``length_known``,
        ``next_places`` and ``findings``: ``quantity``, ``against``, ``zone``, ``blade``, ``side``,
        ``unit`` (``"mm"`` or ``"mm/mm"``), ``value``, ``outcome``, ``difference``, ``low``,
        ``high``, ``standard_uncertainty``, ``dof``, ``within_tolerance``, ``tolerance``; else
        ``map`` is None and ``not_mapped`` says why. ``differing`` counts findings where there is a
        map, differences where there is none.
    """
    counting = Counting.of(assessment)
    length, top = counting.length, counting.thread_top
    decisions = [c.decision for g in assessment.groups for c in g.differences.comparisons]
    return {
        "reed": assessment.name,
        "unit": "mm",
        "length_mm": _mm(length),
        "length_uncertainty_mm": None if length is None else _mm(counting.length_uncertainty),
        "thread_top_mm": _mm(top),
        "thread_top_uncertainty_mm": None if top is None else _mm(counting.thread_uncertainty),
        "tolerance_mm": _mm(assessment.groups[0].differences.tolerance)
        if assessment.groups
        else None,
        "risk": decisions[0].risk if decisions else None,
        "differing": assessment.differing,
        "groups": [_group(g, counting) for g in assessment.groups],
    }


def _group(group: Judged, counting: Counting) -> dict[str, Any]:
    found = group.differences
    own = found.repeatability
    return {
        "state": group.state.value,
        "readings": len(group.readings),
        "repeatability_mm": _mm(own.standard_deviation) if own else None,
        "repeatability_dof": own.dof if own else None,
        "own_repeatability_used": found.own_repeatability_used,
        "differences": [_difference(c, counting) for c in found.comparisons],
        "map": _map(group.mapped, counting) if group.mapped else None,
        "not_mapped": group.not_mapped or None,
        "own_gauges": {
            code: {"repeatability_mm": _mm(g.standard_deviation), "dof": g.dof}
            for code, g in found.gauges.items()
        },
        "drift": _drift(group.drift, counting) if group.drift else None,
        "advice": list(group.advice),
    }


def _drift(drift: Drift, counting: Counting) -> dict[str, Any]:
    d = drift.decision
    return {
        "blade": drift.place.blade.value,
        **_position(drift.place.along, counting),
        "across_mm": _mm(drift.place.across),
        "minutes": drift.minutes,
        "outcome": d.outcome.value,
        "change_mm": _mm(d.value),
        "low_mm": _mm(d.low),
        "high_mm": _mm(d.high),
        "standard_uncertainty_mm": _mm(d.standard_uncertainty),
        "dof": d.dof if math.isfinite(d.dof) else None,
    }


def _map(mapped: Mapped, counting: Counting) -> dict[str, Any]:
    return {
        "style": mapped.style,
        "length_known": mapped.length_known,
        "findings": [_finding(f) for f in mapped.geometry.findings],
        "next_places": [
            {
                "blade": p.blade.value,
                **_position(p.along, counting),
                "across_mm": _mm(p.across),
            }
            for p in mapped.next_places
        ],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    factor, unit, _ = unit_of(finding)
    d = finding.decision

    def shown(value: float) -> float | None:
        return round(value * factor, 4) if math.isfinite(value) else None

    return {
        "quantity": finding.quantity.value,
        "against": finding.against.value,
        "zone": finding.zone,
        "blade": finding.blade.value if finding.blade else None,
        "side": finding.side.value if finding.side else None,
        "unit": unit,
        "value": shown(finding.value),
        "outcome": d.outcome.value,
        "difference": shown(d.value),
        "low": shown(d.low),
        "high": shown(d.high),
        "standard_uncertainty": shown(d.standard_uncertainty),
        "dof": d.dof if math.isfinite(d.dof) else None,
        "within_tolerance": d.within_tolerance,
        "tolerance": shown(d.tolerance),
    }


def _difference(comparison: Comparison, counting: Counting) -> dict[str, Any]:
    decision = comparison.decision
    return {
        "pairing": comparison.pairing.value,
        "blade": comparison.blade.value if comparison.blade else None,
        "side": comparison.side.value if comparison.side else None,
        **_position(comparison.along, counting),
        "across_mm": _mm(comparison.across),
        "outcome": decision.outcome.value,
        "difference_mm": _mm(decision.value),
        "low_mm": _mm(decision.low),
        "high_mm": _mm(decision.high),
        "standard_uncertainty_mm": _mm(decision.standard_uncertainty),
        "dof": decision.dof if math.isfinite(decision.dof) else None,
        "within_tolerance": decision.within_tolerance,
        "tolerance_mm": _mm(decision.tolerance),
    }


def _position(along: float, counting: Counting) -> dict[str, float | None]:
    """Return a position in every count whose length is known."""
    length, top = counting.length, counting.thread_top
    return {
        "from_rim_mm": _mm(along),
        "from_tip_mm": None if length is None else _mm(length - along),
        "from_thread_mm": None if top is None else _mm(along - top),
    }


def _mm(metres: float | None) -> float | None:
    """Return millimetres to a tenth of a micrometre: less is noise of the arithmetic."""
    if metres is None or not math.isfinite(metres):
        return None
    return round(metres * 1e3, 4)
