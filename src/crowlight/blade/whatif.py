"""What a cut would do, at three speeds.

`Effects.predict` multiplies the change with known gradients (well under a millisecond).
`Prepared.solve` solves the opening curve again from the old one with the old factors.
`evaluate` on `changed` blades answers everything anew.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from crowlight.blade.arrays import Array
from crowlight.blade.blades import Blades
from crowlight.blade.equilibrium import Anchor, anchor_at, settle
from crowlight.blade.mechanics import Mechanics
from crowlight.blade.opening import CLOSED_SHARE
from crowlight.blade.pair import Pair, State
from crowlight.blade.thickness import ThicknessGrid
from crowlight.blade.threads import one_thread
from crowlight.blade.tip import closed_by, right_area, tilt_of, unevenness_of
from crowlight.errors import OutsideModel

__all__ = ["Change", "Prepared", "WarmCurve", "changed", "move_transition", "prepare"]

NEAR_ENOUGH = 2e-3  # share of the closing pressure over which a secant is straight


@dataclass(frozen=True)
class Change:
    """A cut, not yet made.

    Parameters
    ----------
    marked, plain : array_like
        Change of thickness of each blade, negative for cane taken off [m]; broadcast to the grid.
    clip : float
        Clipped off the tip [m]; >= 0.
    """

    marked: ArrayLike = 0.0
    plain: ArrayLike = 0.0
    clip: float = 0.0


def changed(blades: Blades, change: Change) -> Blades:
    """Return the reed after a cut; the original is left alone."""
    marked = blades.marked.changed(change.marked)
    plain = (blades.plain or blades.marked).changed(change.plain)
    same = blades.plain is None and np.array_equal(marked.values, plain.values)
    out = replace(blades, marked=marked, plain=None if same else plain)
    return out.clip(change.clip) if change.clip else out


def move_transition(
    grid: ThicknessGrid, *, start: float, end: float, by: float, length: float
) -> Array:
    """Cut that moves the slope between tip and heart towards the thread.

    Rows between `start` and `end` take the thickness of the row `by` nearer to the tip, fading to
    nothing a further ``end - start`` behind; cane is only ever taken off.

    Parameters
    ----------
    grid : ThicknessGrid
        Present thickness.
    start, end : float
        Where the transition begins and ends, from the tip [m].
    by : float
        How far to move it back [m]; 0 to 3 mm.
    length : float
        Free length of the blade [m].

    Returns
    -------
    ndarray, shape (n_along, n_across)
        Change of thickness [m], <= 0.
    """
    from_tip = length - grid.along
    span = end - start
    fade = np.clip(np.interp(from_tip, [0, start, end, end + span], [0, 1, 1, 0]), 0, 1)
    across, along = np.meshgrid(grid.across, grid.along + by * fade)
    return np.minimum(grid.at(across, along) - grid.values, 0.0)


@dataclass(frozen=True)
class WarmCurve:
    """Opening curve after a change of thickness.

    Parameters
    ----------
    pressures, areas, heights : ndarray, shape (n,)
        The old curve's pressures and the playing pressure [Pa], the new areas [m²] and heights [m].
    closing_pressure : float
        New closing pressure [Pa]; not a number if the uncut reed snaps shut or the lip alone
        closes it: solve anew.
    area_error : float
        Bound on the error that solving coarsely left in the areas [m²].
    closing_error : float
        What that error and the last secant leave in the closing pressure, as a share of it.
    values : mapping of str to float
        Outputs that are read off the curve; see `crowlight.blade.OUTPUTS`.
    """

    pressures: Array
    areas: Array
    heights: Array
    closing_pressure: float
    area_error: float
    closing_error: float
    values: Mapping[str, float]


@dataclass(frozen=True)
class Prepared:
    """A solved reed with everything kept to solve similar ones quickly.

    Parameters
    ----------
    answer : Mechanics
        The reed before any change.
    states : tuple of State
        States that are solved again: those of the curve, and the playing state.
    anchors : tuple of (Anchor or None)
        Their factored tangents.
    playing : int
        Which of them is the playing state.
    """

    answer: Mechanics
    states: tuple[State, ...]
    anchors: tuple[Anchor | None, ...]
    playing: int

    @one_thread
    def solve(self, change: Change, *, accuracy: float = 1e-6) -> WarmCurve:
        """Solve the opening curve after a change of thickness.

        Parameters
        ----------
        change : Change
            Without a clip, which needs a new mesh: use `evaluate` on `changed`.
        accuracy : float
            Distance from each solution at which to stop [m].

        Raises
        ------
        OutsideModel
            If the change includes a clip, or no state is found.
        """
        if change.clip:
            msg = "a clip changes the mesh: solve the clipped reed anew"
            raise OutsideModel(msg)
        pair = self.answer.pair
        deltas = (change.marked, change.plain)
        if pair.alike and not np.array_equal(
            np.broadcast_to(deltas[0], self.answer.blades.marked.values.shape),
            np.broadcast_to(deltas[1], self.answer.blades.marked.values.shape),
        ):
            msg = "the blades were prepared as alike: prepare `blades.apart()` to change one alone"
            raise OutsideModel(msg)
        grids = [b.grid.changed(d) for b, d in zip(pair.bodies, deltas, strict=False)]
        cut = pair.with_grids(grids)
        found = [
            settle(cut, s.pressure, s, step_ends=accuracy, anchor=a and replace(a))
            for s, a in zip(self.states, self.anchors, strict=True)
        ]
        width = cut.copies * len(cut.bodies) * self.answer.tip_width
        closing, slope = self.closing(cut, found, accuracy)
        left = accuracy * width
        return WarmCurve(
            pressures=np.array([s.pressure for s in found]),
            areas=np.array([s.area for s in found]),
            heights=np.array([cut.height(s.u) for s in found]),
            closing_pressure=closing,
            area_error=left,
            closing_error=left / abs(slope * closing) + NEAR_ENOUGH**2,
            values=self.read(cut, found) | {"closing_pressure": closing},
        )

    def read(self, cut: Pair, found: list[State]) -> dict[str, float]:
        """Read the outputs at rest and at the playing pressure."""
        rest, playing = found[0], found[self.playing]
        out = {
            "rest_area": rest.area,
            "rest_height": cut.height(rest.u),
            "area": playing.area,
            "height": cut.height(playing.u),
            "tilt": tilt_of(playing.area, right_area(cut, playing.u)),
        }
        if not cut.alike:
            marked, plain = (closed_by(cut, playing.u, which=k) for k in (0, 1))
            out["unevenness"] = unevenness_of(marked, plain)
        return out

    def closing(self, cut: Pair, found: list[State], accuracy: float) -> tuple[float, float]:
        """Move the last state to the new closing pressure with at most two secant steps.

        Returns the pressure and how fast the area falls there [m²/Pa]; NaN where it does not fall,
        because the cut reed is shut before.
        """
        if self.answer.curve.snaps or len(found) < 2:
            return float("nan"), float("nan")
        closed = CLOSED_SHARE * cut.shape_area
        before, last = found[-2], found[-1]
        pressure, slope = last.pressure, float("nan")
        for _ in range(3):
            fall, step = last.area - before.area, last.pressure - before.pressure
            if step == 0.0 or not fall / step < 0.0:
                return float("nan"), float("nan")
            slope = fall / step
            pressure = last.pressure + (closed - last.area) / slope
            near = abs(pressure - last.pressure) < NEAR_ENOUGH * last.pressure
            if near or not 0 < pressure < 2 * last.pressure:
                break
            anchor = self.anchors[-1] and replace(self.anchors[-1])
            moved = settle(cut, pressure, last, step_ends=accuracy, anchor=anchor)
            before, last = last, moved
        return pressure, slope


@one_thread
def prepare(answer: Mechanics, *, report: Callable[[float], None] | None = None) -> Prepared:
    """Keep the factored tangents along the opening curve of a solved reed.

    Takes a few megabytes for each state.
    """
    states = sorted((*answer.curve.states, answer.playing.state), key=lambda s: s.pressure)
    anchors = []
    for k, state in enumerate(states):
        anchors.append(anchor_at(answer.pair, state))
        if report:
            report((k + 1) / len(states))
    playing = next(k for k, s in enumerate(states) if s is answer.playing.state)
    return Prepared(answer, tuple(states), tuple(anchors), playing)
