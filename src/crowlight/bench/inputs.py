"""What the computations are given: plain inputs gathered from the state of a reed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any
from uuid import UUID

from crowlight.bench.state import ReedState, TimedReading
from crowlight.reed import Repeatability

__all__ = ["blade_inputs", "inputs_from", "reed_inputs"]


def reed_inputs(
    name: str,
    state: ReedState,
    *,
    style_text: str = "",
    gauges: Mapping[str, Repeatability] | None = None,
    since: Collection[UUID] = (),
) -> dict[str, Any]:
    """Gather what judging needs: the readings that still hold.

    Readings of a blade that was cut afterwards no longer hold, unless nothing newer was measured.
    Mountings of different times are different mountings, whatever their numbers.

    Parameters
    ----------
    name : str
        The reed.
    state : ReedState
        What is known of it.
    style_text : str
        Text of its style, if that is a maker's own: results follow what it says, not its name.
    gauges : mapping of str to Repeatability, optional
        The maker's own repeatability by instrument code.
    since : collection of UUID
        Entries whose readings are left out.

    Returns
    -------
    dict
        Inputs of `crowlight.bench.assess.assess`.
    """
    taken = [t for t in state.readings if t.entry not in since]
    holding = [t for t in taken if not t.cut_since] or taken
    return {
        **inputs_from(name, state, holding),
        "style_text": style_text,
        "gauges": dict(gauges or {}),
        # how many readings were taken together, in order
        "sittings": tuple(len(list(one)) for _, one in groupby(holding, key=lambda t: t.together)),
    }


def inputs_from(name: str, state: ReedState, holding: Sequence[TimedReading]) -> dict[str, Any]:
    """Gather the inputs of judging from readings that were chosen already.

    Mountings of different entries are different mountings, whatever their numbers.
    """
    mountings: dict[tuple[UUID, int], int] = {}
    readings = tuple(
        replace(
            t.reading,
            seating=mountings.setdefault((t.together, t.reading.seating), len(mountings)),
            minutes_wet=t.minutes_wet,
        )
        for t in holding
    )
    cane = state.described.cane
    return {
        "name": name,
        "readings": readings,
        "style": state.described.style,
        "length": state.length,
        "length_uncertainty": state.length_uncertainty,
        "thread_top": state.lengths.thread_top if state.lengths else None,
        # one shift for all: the largest, where sittings were converted differently
        "common_shift": max((t.taken.origin_uncertainty for t in holding), default=0.0),
        "gouge_centre": cane.gouge_centre,
        "gouge_side": cane.gouge_side,
    }


def blade_inputs(inputs: Mapping[str, Any], state: ReedState) -> dict[str, Any]:
    """Add to the inputs of judging what the blade model needs besides."""
    more = dict(inputs)
    if state.opening is not None:
        more["opening"] = state.opening.height
        more["opening_uncertainty"] = state.opening.uncertainty
    more["tip_width"] = state.described.shape.tip_width
    return more
