"""The judgement of one reed, computed from its readings alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from crowlight.bench.mapping import Mapped, mapped
from crowlight.bench.ports import Report, Table
from crowlight.bench.styles import ENOUGH_READINGS, known_style
from crowlight.errors import InputError
from crowlight.judge import Differences, paired_differences
from crowlight.judge.sitting import Drift, drift_of
from crowlight.reed import Blade, CaneState, Reading, Repeatability, instrument

__all__ = ["Assessment", "Judged", "assess", "inputs_of_table"]

#: Default tolerance [m]: differences between sides and blades that makers let pass (common
#: practice, no source).
TOLERANCE = 0.01e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What was judged: readings that may be compared with each other.

    Parameters
    ----------
    state : CaneState
        Wet, dry or not known.
    readings : tuple of Reading
        The readings.
    differences : Differences
        What differs between single points.
    mapped : Mapped or None
        The thickness map and what its geometry says; None without a style.
    not_mapped : str
        Why there is no map: ``"no-style"``, ``"unknown-style"``, ``"state"`` (the style's numbers
        are of cane in the other state), ``"few"`` readings; else the words in which the map was
        refused, such as which reading lies off the blade; empty where there is one.
    drift : Drift or None
        How the first point of the latest sitting had changed when it was read again at the end;
        None if that was not done.
    """

    state: CaneState
    readings: tuple[Reading, ...]
    differences: Differences
    mapped: Mapped | None = None
    not_mapped: str = ""
    drift: Drift | None = None

    @property
    def advice(self) -> tuple[str, ...]:
        """Codes of what to do before measuring on: ``rewet-and-wait``, or nothing."""
        return (self.drift.advice,) if self.drift and self.drift.advice else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The judgement of one reed.

    Parameters
    ----------
    name : str
        The reed.
    groups : tuple of Judged
        One per wet state, the largest first: unlike wet states are never compared.
    length : float or None
        Overall length, bottom rim to tip [m], if known.
    length_uncertainty : float or None
        Its standard uncertainty [m], if stated.
    thread_top : float or None
        Bottom rim to the top of the thread [m], if known.
    """

    name: str
    groups: tuple[Judged, ...]
    length: float | None = None
    length_uncertainty: float | None = None
    thread_top: float | None = None

    @property
    def differing(self) -> int:
        """How many comparisons say ``differs``: of the map where there is one, else of points."""
        return sum(
            c.decision.outcome == "differs"
            for g in self.groups
            for c in (g.mapped.geometry.findings if g.mapped else g.differences.comparisons)
        )


def assess(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Assessment:
    """Judge a reed.

    Parameters
    ----------
    inputs : mapping
        ``name``; ``readings``, a sequence of `Reading`; optionally ``style`` (its
        code) with ``style_text`` if it is a maker's own, and [m]
        ``length``, ``length_uncertainty``, ``thread_top``, ``common_shift``, ``gouge_centre``,
        ``gouge_side`` and ``tolerance``; ``gauges``, the maker's own `Repeatability` by instrument
        code; ``sittings``, how many readings were taken together, in order.
    report : callable
        Called with the fraction done.

    Returns
    -------
    Assessment
        The judgement.

    Raises
    ------
    InputError
        If there are no readings.
    """
    readings: Sequence[Reading] = inputs["readings"]
    if not readings:
        msg = "there are no thickness readings to judge; measure some points or import a table"
        raise InputError(msg)
    groups: list[Judged] = []
    done = 0
    for state in CaneState:
        chosen = tuple(r for r in readings if r.state is state)
        if not chosen:
            continue
        own: Mapping[str, Repeatability] = inputs.get("gauges") or {}
        found = paired_differences(chosen, tolerance=inputs.get("tolerance", TOLERANCE), gauges=own)
        drawn, why_not = _mapped(inputs, chosen, found)
        groups.append(
            Judged(
                state=state,
                readings=chosen,
                differences=found,
                mapped=drawn,
                not_mapped=why_not,
                drift=_drift(inputs, state, found),
            )
        )
        done += len(chosen)
        report(done / len(readings))
    groups.sort(key=lambda g: -len(g.readings))
    return Assessment(
        name=inputs["name"],
        groups=tuple(groups),
        length=inputs.get("length"),
        length_uncertainty=inputs.get("length_uncertainty"),
        thread_top=inputs.get("thread_top"),
    )


def _drift(inputs: Mapping[str, Any], state: CaneState, found: Differences) -> Drift | None:
    """Look at the latest sitting that came back to its first point."""
    readings: Sequence[Reading] = inputs["readings"]
    drift, start = None, 0
    for count in inputs.get("sittings") or (len(readings),):
        sitting = [r for r in readings[start : start + count] if r.state is state]
        drift = drift_of(sitting, gauges=found.gauges) or drift
        start += count
    return drift


def _mapped(
    inputs: Mapping[str, Any], readings: Sequence[Reading], found: Differences
) -> tuple[Mapped | None, str]:
    """Map the readings of one state, or say why not."""
    code = inputs.get("style")
    if not code:
        return None, "no-style"
    state = readings[0].state
    try:
        wanted = known_style(code, inputs.get("style_text") or "").state
    except InputError:
        return None, "unknown-style"
    if state is not wanted:
        return None, "state"
    if min(sum(r.place.blade is b for r in readings) for b in Blade) < ENOUGH_READINGS:
        return None, "few"
    gauges = {c: instrument(c).with_repeatability(own) for c, own in found.gauges.items()}
    if not gauges and found.own_repeatability_used and found.repeatability is not None:
        codes = {r.instrument for r in readings}
        gauges = {c: instrument(c).with_repeatability(found.repeatability) for c in codes}
    try:
        return mapped(inputs, readings, differences=found, gauges=gauges), ""
    except InputError as error:
        # one reading off the blade must not hide the rest: it is pointed out and can be corrected
        return None, str(error)


def inputs_of_table(table: Table, *, name: str) -> dict[str, Any]:
    """Return the inputs of `assess` for a table that is not kept."""
    return {
        "name": table.facts.get("reed") or name,
        "readings": table.readings,
        "style": table.facts.get("style"),
        "length": table.facts.get("length"),
        "length_uncertainty": table.facts.get("length_uncertainty"),
        "thread_top": table.facts.get("thread_top"),
        "common_shift": table.taken.origin_uncertainty,
    }
