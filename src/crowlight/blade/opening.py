"""Opening against pressure, and the pressure that closes the reed.

The path is followed upward in pressure from rest, one stable state after the other. Closing is
where the area falls to a tenth of its rest value; it is bracketed between two states of that path
and narrowed down from the open side wherever the area changes fast, so that touching tips and a
snap shut are met as they would be by slow blowing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.equilibrium import STEP_ENDS, settle
from crowlight.blade.pair import Pair, State
from crowlight.blade.tangent import Tangent, dot, rest_tangent
from crowlight.blade.threads import one_thread
from crowlight.errors import OutsideModel

__all__ = ["CLOSED_SHARE", "OpeningCurve", "opening_curve"]

CLOSED_SHARE = 0.1
HIGHEST = 2e5  # pascals
STEPS_TO_LINEAR_CLOSING = 9.0
NARROWINGS = 60
SMOOTH = 0.15  # share of the rest area
SHARP = 3e-3  # share of a step of the path within which a jump is closed in on
JUMP = 0.01  # share of the rest area that is lost at once when a reed snaps


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
        states.append(next_state(pair, pressure, states, step_ends))
        if report:
            report(min(0.9, 1 - states[-1].area / states[0].area))
    closing, snaps = narrowed(pair, states, closed, tolerance, step_ends)
    path = states[:-1] if closing is states[-2] else [*states[:-1], closing]
    return finished(pair, path, closing.pressure, snaps, rest)


def next_state(pair: Pair, pressure: float, states: list[State], step_ends: float) -> State:
    """One step up the path: from a guess while far from closing, else from the last state."""
    if len(states) > 1 and states[-1].area > 0.4 * pair.shape_area:
        return settle(pair, pressure, ahead(states, pressure), step_ends=step_ends)
    last = states[-1]
    for share in (1.0, 0.5, 0.2):
        try:
            upper = last.pressure + share * (pressure - last.pressure)
            return settle(pair, upper, last, step_ends=step_ends)
        except OutsideModel:
            continue
    return settle(pair, last.pressure + 0.05 * (pressure - last.pressure), last)


def ahead(states: list[State], pressure: float) -> State:
    """Guess the next state by running a line or parabola through the last ones."""
    last = states[-3:]
    p = np.array([s.pressure for s in last])
    shares = [
        np.prod([(pressure - q) / (p[k] - q) for q in np.delete(p, k)]) for k in range(len(last))
    ]
    u = tuple(
        np.sum([w * s.u[b] for w, s in zip(shares, last, strict=True)], axis=0)
        for b in range(len(last[0].u))
    )
    return replace(last[-1], u=u)


def narrowed(
    pair: Pair, path: list[State], closed: float, tolerance: float, step_ends: float
) -> tuple[State, bool]:
    """Find the closing state between the last two of a path.

    Inverse parabolas while they stay in the bracket, else regula falsi; halving after a step that
    cut off less than half, so that a jump of the area is soon closed in on as well.
    """
    enough = tolerance * pair.shape_area
    low, high = path[-2], path[-1]
    spread = high.pressure - low.pressure
    seen, well = path[-3:], True
    for _ in range(NARROWINGS):
        width = high.pressure - low.pressure
        pressure = guess_of(seen, low, high, closed) if well else low.pressure + width / 2
        found = settle(pair, pressure, between(pair, low, high, pressure), step_ends=step_ends)
        seen = [*seen, found]
        if abs(found.area - closed) <= enough:
            return found, False
        if found.area > closed:
            low = found
        else:
            high = found
        well = not well or high.pressure - low.pressure < width / 2
        left = (high.pressure - low.pressure) / spread
        jumps = left < SHARP and low.area - high.area > JUMP * pair.shape_area
        if jumps or left < min(1e-6, 0.1 * tolerance):
            break
    return low, low.area - high.area > JUMP * pair.shape_area


def between(pair: Pair, low: State, high: State, pressure: float) -> State:
    """Start from the open side, or between both sides where the area hardly changes."""
    if low.area - high.area > SMOOTH * pair.shape_area:
        return low
    share = (pressure - low.pressure) / (high.pressure - low.pressure)
    u = tuple(a + share * (b - a) for a, b in zip(low.u, high.u, strict=True))
    return replace(low, u=u)


def guess_of(seen: list[State], low: State, high: State, closed: float) -> float:
    """Pressure at which the area should be `closed`, inside the bracket."""
    near = sorted(seen, key=lambda s: abs(s.area - closed))[:3]
    areas = np.array([s.area for s in near]) - closed
    if len(near) == 3 and np.min(np.abs(np.diff(np.sort(areas)))) > 0:
        a, b, c = areas
        share = np.array(
            [b * c / ((a - b) * (a - c)), a * c / ((b - a) * (b - c)), a * b / ((c - a) * (c - b))]
        )
        guess = float(share @ np.array([s.pressure for s in near]))
        if low.pressure < guess < high.pressure:
            return guess
    share = (low.area - closed) / (low.area - high.area)
    return low.pressure + share * (high.pressure - low.pressure)


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
