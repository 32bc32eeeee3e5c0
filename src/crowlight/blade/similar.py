"""Outputs of a reed much like one that is solved, its states found from those of the solved one.

A few states instead of a whole path: rest, closing, playing. Near the solved reed they lie on the
same path; where that is in doubt (a reed that snaps, a search that does not come together) the path
is followed from rest as always.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

import numpy as np

from crowlight.blade.blades import Blades, build
from crowlight.blade.equilibrium import settle
from crowlight.blade.mechanics import MOST_CLOSED, Mechanics, evaluate, modes_of
from crowlight.blade.opening import CLOSED_SHARE
from crowlight.blade.outputs import compliance_outputs, mode_outputs, state_outputs
from crowlight.blade.pair import Pair, State
from crowlight.blade.tangent import Tangent, rest_tangent, tangent_at
from crowlight.blade.threads import one_thread
from crowlight.errors import OutsideModel

__all__ = ["similar_values"]

SEARCHES = 6
NEAR = 1e-4  # share of the rest area within which a reed is closed
LONGEST = 0.3  # longest step of the closing pressure, as a share of it
STEP_ENDS = 1e-8  # metres
MODES_SETTLE = 1e-6  # relative change of a squared frequency that ends the search


@one_thread
def similar_values(
    answer: Mechanics,
    blades: Blades,
    *,
    closing: float | None = None,
    names: Collection[str] | None = None,
) -> Mapping[str, float]:
    """Solve for the outputs of a reed like the answered one, at its playing pressure.

    Parameters
    ----------
    answer : Mechanics
        The solved reed.
    blades : Blades
        Another on the same mesh.
    closing : float, optional
        About where it closes [Pa]; where the solved one does if not given.
    names : collection of str, optional
        Outputs needed; all if not given. Others may be left out.

    Raises
    ------
    OutsideModel
        If the model has no answer for it.
    """
    modes = len(answer.free[0].frequencies)
    wanted = set(answer.values if names is None else names)
    found = near_values(answer, blades, wanted, closing or answer.curve.closing_pressure)
    if found is not None:
        return found
    there = evaluate(
        blades, playing_pressure=answer.playing_pressure, modes=modes, maps=False, warm=answer
    )
    return there.values


def near_values(
    answer: Mechanics, blades: Blades, wanted: set[str], closing: float
) -> dict[str, float] | None:
    """Find outputs from the solved reed's states; None where they are not to be trusted."""
    slope = answer.outputs["closing_pressure"].parts[0][0]
    if not np.isfinite(slope) or blades.alike != answer.pair.alike:
        return None
    pair = build(blades, like=answer.pair)
    rest = rest_tangent(pair)
    pressure, values = answer.playing_pressure, dict[str, float]()
    try:
        if "closing_pressure" in wanted or not stays_open(pair, answer, pressure / MOST_CLOSED):
            closed = closing_state(pair, answer, closing, -1.0 / slope, rest)
            if closed is None:
                return None
            values["closing_pressure"] = closed.pressure
            pressure = min(pressure, MOST_CLOSED * closed.pressure)
        start = carried(answer.playing.state, answer.pair, pair)
        playing = tangent_at(pair, settle(pair, pressure, start, step_ends=STEP_ENDS))
    except OutsideModel:
        return None
    found = [*state_outputs(playing, rest), *compliance_outputs(rest)]
    if any(name.startswith("mode_") for name in wanted):
        count = len(answer.free[0].frequencies)
        kinds = modes_of(rest, playing, count, answer, tolerance=MODES_SETTLE)
        found += mode_outputs(playing, *kinds)
    return values | {o.name: o.value for o in found}


def stays_open(pair: Pair, answer: Mechanics, pressure: float) -> bool:
    """Whether a similar reed has not closed at a pressure yet."""
    start = carried(answer.curve.nearest(pressure), answer.pair, pair)
    state = settle(pair, pressure, start, step_ends=STEP_ENDS)
    return state.area > CLOSED_SHARE * pair.shape_area


def closing_state(
    pair: Pair, answer: Mechanics, pressure: float, slope: float, rest: Tangent
) -> State | None:
    """Find the closing state by secants from that of the solved reed."""
    closed = CLOSED_SHARE * pair.shape_area
    if rest.state.area <= closed:
        return None
    state = carried(answer.curve.closing_state, answer.pair, pair)
    last: State | None = None
    for _ in range(SEARCHES):
        state = settle(pair, pressure, state, step_ends=STEP_ENDS)
        left = closed - state.area
        if abs(left) <= NEAR * pair.shape_area:
            return state
        if last is not None and last.pressure != state.pressure:
            slope = (state.area - last.area) / (state.pressure - last.pressure)
        if not slope < 0:
            return None
        longest = LONGEST * pressure
        pressure += float(np.clip(left / slope, -longest, longest))
        last = state
    return None


def carried(state: State, old: Pair, new: Pair) -> State:
    """Carry a state over to another pair: its displacements since rest."""
    u = tuple(v - a + b for v, a, b in zip(state.u, old.rest, new.rest, strict=True))
    return replace(state, u=u)
