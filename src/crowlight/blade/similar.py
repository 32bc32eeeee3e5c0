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
from crowlight.blade.opening import CLOSED_SHARE, OpeningCurve, finished
from crowlight.blade.outputs import outputs_of, static_outputs
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
    curve = followed(answer, blades, closing or answer.curve.closing_pressure)
    if curve is None:
        there = evaluate(
            blades,
            playing_pressure=answer.playing_pressure,
            modes=modes,
            maps=False,
            warm=answer,
        )
        return there.values
    pair = curve.rest.pair
    pressure = min(answer.playing_pressure, MOST_CLOSED * curve.closing_pressure)
    start = carried(answer.playing.state, answer.pair, pair)
    playing = tangent_at(pair, settle(pair, pressure, start, step_ends=STEP_ENDS))
    if names is not None and not any(n.startswith("mode_") for n in names):
        found = static_outputs(curve, playing)
    else:
        kinds = modes_of(curve.rest, playing, modes, answer, tolerance=MODES_SETTLE)
        found = list(outputs_of(curve, playing, *kinds).values())
    return {o.name: o.value for o in found}


def followed(answer: Mechanics, blades: Blades, closing: float) -> OpeningCurve | None:
    """Rest and closing state of a similar reed, or None where they are not to be trusted."""
    factor = answer.outputs["closing_pressure"].parts[0][0]
    if not np.isfinite(factor) or blades.alike != answer.pair.alike:
        return None
    pair = build(blades, like=answer.pair)
    rest = rest_tangent(pair)
    try:
        closed = closing_state(pair, answer, closing, -1.0 / factor, rest)
    except OutsideModel:
        return None
    return closed and finished(pair, [rest.state, closed], closed.pressure, False, rest)


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
