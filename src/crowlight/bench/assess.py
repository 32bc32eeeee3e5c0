"""The judgement of one reed, computed from its readings alone."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter

from crowlight.bench.ports import Report, Table
from crowlight.errors import InputError
from crowlight.judge import Differences, paired_differences
from crowlight.reed import CaneState, Reading

__all__ = [
    "ALGORITHM",
    "Assessment",
    "Judged",
    "assess",
    "assess_key",
    "from_bytes",
    "inputs_of_table",
    "to_bytes",
]

#: Goes up whenever the same readings would give another result; part of every cache key.
ALGORITHM = "assess-1"

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
        What differs.
    """

    state: CaneState
    readings: tuple[Reading, ...]
    differences: Differences


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
    thread_top : float or None
        Bottom rim to the top of the thread [m], if known.
    """

    name: str
    groups: tuple[Judged, ...]
    length: float | None = None
    thread_top: float | None = None

    @property
    def differing(self) -> int:
        """How many comparisons say ``differs``."""
        return sum(
            c.decision.outcome == "differs" for g in self.groups for c in g.differences.comparisons
        )


_adapter = TypeAdapter(Assessment)


def assess(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Assessment:
    """Judge a reed.

    Parameters
    ----------
    inputs : mapping
        ``name``; ``readings``, a sequence of `Reading`; optionally ``length`` and ``thread_top``
        [m] and ``tolerance`` [m].
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
    for state in CaneState:
        chosen = tuple(r for r in readings if r.state is state)
        if chosen:
            found = paired_differences(chosen, tolerance=inputs.get("tolerance", TOLERANCE))
            groups.append(Judged(state=state, readings=chosen, differences=found))
        report(0.9 * sum(len(g.readings) for g in groups) / len(readings))
    groups.sort(key=lambda g: -len(g.readings))
    report(1.0)
    return Assessment(
        name=inputs["name"],
        groups=tuple(groups),
        length=inputs.get("length"),
        thread_top=inputs.get("thread_top"),
    )


def inputs_of_table(table: Table, *, name: str) -> dict[str, Any]:
    """Return the inputs of `assess` for a table that is not kept."""
    return {
        "name": table.facts.get("reed") or name,
        "readings": table.readings,
        "length": table.facts.get("length"),
        "thread_top": table.facts.get("thread_top"),
    }


def assess_key(inputs: Mapping[str, Any]) -> str:
    """Return the key under which the result of `assess` for these inputs is kept."""
    plain = TypeAdapter(dict[str, Any]).dump_json(dict(inputs))
    return hashlib.sha256(ALGORITHM.encode() + b"\0" + plain).hexdigest()


def to_bytes(assessment: Assessment) -> bytes:
    """Return an assessment as JSON, for keeping."""
    return _adapter.dump_json(assessment)


def from_bytes(data: bytes) -> Assessment:
    """Read what `to_bytes` wrote."""
    return _adapter.validate_json(data)
