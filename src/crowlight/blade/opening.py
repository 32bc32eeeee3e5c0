"""Opening against pressure, and the pressure that closes the reed.

The path is followed upward in pressure from rest, one stable state after the other. Closing is
where the area falls to a tenth of its rest value; it is bracketed between two states of that path
and narrowed down from the open side, so that touching tips and a snap shut are met as they would
be by slow blowing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.pair import STEP_ENDS, Pair, State, settle
from crowlight.blade.tangent import Tangent, dot, rest_tangent
from crowlight.blade.threads import one_thread
from crowlight.errors import OutsideModel

__all__ = ["CLOSED_SHARE", "OpeningCurve", "opening_curve"]

CLOSED_SHARE = 0.1
HIGHEST = 2e5  # pascals
STEPS_TO_LINEAR_CLOSING = 9.0
NARROWINGS = 60


@dataclass(frozen=True)
class OpeningCurve:
    """How a reed closes.

    Parameters
    ----------
    pressures : ndarray, shape (n,)
        Ascending from 0 [Pa]; the last is the closing pressure.
    areas, heights : ndarray, shape (n,)
        Opening area [m²] and height at the middle of the tip [m], both blades together.
    states : tuple of State
        Equilibrium at each pressure.
    closing_pressure : float
        Where the area is a tenth of the measured rest area [Pa]; 0 if the lip alone closes it.
    snaps : bool
        Whether the reed snaps shut there, the area jumping past the tenth.
    rest : Tangent
        The reed linearised at rest.
    """

    pressures: Array
    areas: Array
    heights: Array
    states: tuple[State, ...]
    closing_pressure: float
    snaps: bool
    rest: Tangent

    @property
    def closing_state(self) -> State:
        """Last state before the reed counts as closed."""
        return self.states[-1]

    def nearest(self, pressure: float) -> State:
        """Return the computed state nearest to a pressure."""
        return self.states[int(np.argmin(np.abs(self.pressures - pressure)))]


@one_thread
def opening_curve(
    pair: Pair,
    *,
    tolerance: float = 1e-5,
    step_ends: float = STEP_ENDS,
    rest: Tangent | None = None,
    report: Callable[[float], None] | None = None,
) -> OpeningCurve:
    """Follow a reed from rest until it closes.

    Parameters
    ----------
    pair : Pair
        Blades and loads.
    tolerance : float
        Accuracy of the area at closing, as a share of the rest area.
    step_ends : float
        Last Newton step of every state [m].
    rest : Tangent, optional
        The pair linearised at rest, if already known.
    report : callable, optional
        Called with the share done.

    Raises
    ------
    OutsideModel
        If a state is not found, or the reed does not close below 200 kPa.
    """
    rest = rest or rest_tangent(pair, step_ends=step_ends)
    closed = CLOSED_SHARE * pair.shape_area
    states = [rest.state]
    if rest.state.area <= closed:
        return finished(pair, states, 0.0, False, rest)
    slope = -dot(rest.area_rows(), rest.pressure_response())
    if slope <= 0:
        msg = "pressure opens this reed instead of closing it; check the opening and the map"
        raise OutsideModel(msg)
    step = rest.state.area / slope / STEPS_TO_LINEAR_CLOSING
    while states[-1].area > closed:
        pressure = states[-1].pressure + step
        if pressure > HIGHEST:
            msg = (
                f"the reed does not close below {HIGHEST / 1e3:g} kPa; check thickness and opening"
            )
            raise OutsideModel(msg)
        states.append(settle(pair, pressure, states[-1], step_ends=step_ends))
        if report:
            report(min(0.9, 1 - states[-1].area / states[0].area))
    low, high = states[-2], states[-1]
    closing, snaps = narrowed(pair, low, high, closed, tolerance, step_ends)
    return finished(pair, [*states[:-1], closing], closing.pressure, snaps, rest)


def narrowed(
    pair: Pair, low: State, high: State, closed: float, tolerance: float, step_ends: float
) -> tuple[State, bool]:
    """Find the closing state between an open and a closed one, always starting from the open one.

    Regula falsi with the Illinois rule while the area falls smoothly, halving when it does not.
    """
    enough = tolerance * pair.shape_area
    miss_low, miss_high = low.area - closed, high.area - closed
    spread = high.pressure - low.pressure
    side, found = 0, high
    for k in range(NARROWINGS):
        share = miss_low / (miss_low - miss_high) if k % 4 < 3 else 0.5
        pressure = low.pressure + share * (high.pressure - low.pressure)
        found = settle(pair, pressure, low, step_ends=step_ends)
        miss = found.area - closed
        if abs(miss) <= enough:
            return found, False
        if miss > 0:
            low, miss_low = found, miss
            miss_high = miss_high / 2 if side == 1 else high.area - closed
            side = 1
        else:
            high, miss_high = found, miss
            miss_low = miss_low / 2 if side == -1 else low.area - closed
            side = -1
        if high.pressure - low.pressure < min(1e-6, 0.1 * tolerance) * spread:
            break
    return low, low.area - high.area > 10 * enough


def finished(
    pair: Pair, states: list[State], closing: float, snaps: bool, rest: Tangent
) -> OpeningCurve:
    """Gather the states into a curve."""
    return OpeningCurve(
        pressures=np.array([s.pressure for s in states]),
        areas=np.array([s.area for s in states]),
        heights=np.array([pair.height(s.u) for s in states]),
        states=tuple(states),
        closing_pressure=closing,
        snaps=snaps,
        rest=rest,
    )
