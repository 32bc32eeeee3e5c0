"""The hidden truth: thickness everywhere, cane, preload, opening, and what the reed then does."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from crowlight.blade import (
    WET,
    Blades,
    BladeShape,
    Cane,
    Change,
    Mechanics,
    MeshSize,
    Prepared,
    ThicknessGrid,
    Unknown,
    evaluate,
    prepare,
)
from crowlight.errors import OutsideModel
from crowlight.invented.reeds import InventedReed
from crowlight.plan.cut import unknown_slopes
from crowlight.reed import Blade
from crowlight.reed.styles import Style

__all__ = [
    "FRACTION",
    "SIGNED",
    "Solved",
    "TrueReed",
    "Tube",
    "along_of",
    "clipped_opening",
    "outputs_of",
    "solve",
    "unevenly",
]

Real = NDArray[np.float64]

#: Finer than the planner's mesh.
FINE = MeshSize(10, 11, 7)
#: Grid of the truth.
FRACTION: Real = np.linspace(-1.0, 1.0, 25)
_STEP = 0.25e-3
_LEAST = 6e-6
#: Change of the natural log of the opening that its slope is taken over.
_OPENING = 0.05
SIGNED = ("tilt", "unevenness")
#: A solution this far from the slopes (natural log) is not believed.
_FAR = 0.3


@dataclass(frozen=True, slots=True)
class Tube:
    """Cane and tie of one reed: factors on elastic constants, density, height at the thread."""

    along: float = 1.0
    across: float = 1.0
    shear: float = 1.0
    density: float = 1.0
    throat: float = 1.0
    interference: float = 10e-6

    def cane(self) -> Cane:
        """Return its elastic constants."""
        return WET.scaled(
            along=self.along, across=self.across, shear=self.shear, density=self.density
        )


@dataclass(frozen=True)
class TrueReed:
    """A reed as it is.

    Parameters
    ----------
    style : Style
        Scrape style, not laid on a length.
    along : ndarray, shape (n_along,)
        Rows from the thread towards the tip [m from the bottom rim]; reaches past the tip.
    thick : ndarray, shape (2, n_along, n_across)
        Thickness of marked and plain blade as seen [m].
    transition : float
        Middle of the transition [m].
    length, opening, settled : float
        Overall length, opening now, and the opening it settles to overnight [m].
    tube : Tube
        Cane and tie.
    """

    style: Style
    along: Real
    thick: Real
    transition: float
    length: float
    opening: float
    settled: float
    tube: Tube

    def zones(self) -> dict[str, NDArray[np.bool_]]:
        """Nodes of every zone, divided where this reed's transition truly is."""
        laid = self.style.placed(self.length)
        moved = laid.moved(self.transition - laid.profile["transition.position"].value)
        rows, columns = np.meshgrid(self.along, FRACTION, indexing="ij")
        free = rows <= self.length
        out: dict[str, NDArray[np.bool_]] = {}
        for zone in moved.zones:
            mine = zone.contains(rows, columns) & free
            free &= ~mine
            out[zone.name] = mine
        return out

    def floor(self) -> Real:
        """Thickness a maker would never go below, shape (n_along, n_across) [m]."""
        out = np.zeros((len(self.along), len(FRACTION)))
        for name, nodes in self.zones().items():
            t = self.style.zone(name).tolerance
            limit = t.floor + (t.floor_edge - t.floor) * np.abs(FRACTION)[None, :]
            out = np.where(nodes, limit, out)
        return out

    def to_gauge(self) -> InventedReed:
        """Return the reed as an invented gauge meets it."""

        def surface(b: int) -> Callable[[Real, Real], Real]:
            values = self.thick[b]

            def at(s: Real, u: Real) -> Real:
                i, v = _bracket(self.along, s)
                j, w = _bracket(FRACTION, u)
                low = values[i, j] * (1 - w) + values[i, j + 1] * w
                high = values[i + 1, j] * (1 - w) + values[i + 1, j + 1] * w
                return low * (1 - v) + high * v

            return at

        return InventedReed(
            self.style.placed(self.length),
            {blade: surface(b) for b, blade in enumerate(Blade)},
            {blade: self.transition for blade in Blade},
        )

    def blades(self) -> Blades:
        """Return the reed as the blade model sees it, on a finer mesh."""
        style = self.style
        rows = self.along - style.thread_top
        thick = np.maximum(self.thick, _LEAST)
        shape = BladeShape(
            length=self.length - style.thread_top,
            tip_width=2.0 * float(style.outline.half_width(self.style.length)),
            height=self.opening / 2.0,
            throat_height=1.6e-3 * self.tube.throat,
        )
        return Blades(
            ThicknessGrid(rows, FRACTION, thick[0]),
            ThicknessGrid(rows, FRACTION, thick[1, :, ::-1]),
            shape=shape,
            cane=self.tube.cane(),
            interference=self.tube.interference,
            size=FINE,
        )


def clipped_opening(reed: TrueReed, length: float) -> float:
    """Return the opening of a reed clipped to another length, its rest shape staying [m]."""
    free = reed.length - reed.style.thread_top
    throat = 3.2e-3 * reed.tube.throat
    return reed.opening + (throat - reed.opening) * (reed.length - length) / free


def along_of(style: Style, longest: float) -> Real:
    """Return rows from the thread to past the longest reed."""
    return np.arange(style.thread_top, longest + 2 * _STEP, _STEP)


def _bracket(nodes: Real, points: Real) -> tuple[NDArray[np.intp], Real]:
    x = np.clip((points - nodes[0]) / (nodes[1] - nodes[0]), 0.0, len(nodes) - 1.000001)
    i = x.astype(int)
    return i, x - i


def unevenly(rng: np.random.Generator, shape: tuple[int, ...], amount: float) -> Real:
    """Return smooth unevenness of about `amount`, as wide as a knife's stroke."""
    noise = gaussian_filter(rng.standard_normal(shape), (0.0, 4.0, 3.0), mode="nearest")
    return amount * noise / noise.std()


@dataclass(frozen=True)
class Solved:
    """A reed solved once, so that the same reed after cuts is quick.

    Parameters
    ----------
    reed : TrueReed
        As it was solved.
    answer : Mechanics
        On the finer mesh, with maps.
    prepared : Prepared
        Kept factors.
    by_opening : mapping of str to float
        Change of every output per natural log of the opening.
    """

    reed: TrueReed
    answer: Mechanics
    prepared: Prepared
    by_opening: Mapping[str, float]


def solve(reed: TrueReed) -> Solved:
    """Solve a reed.

    Raises
    ------
    OutsideModel
        If there is no answer, or none that can be followed through small cuts: a reed that snaps
        shut.
    """
    answer = evaluate(reed.blades(), modes=2)
    if answer.curve.snaps or answer.curve.closing_pressure <= 0.0:
        msg = "this invented reed snaps shut, and what a cut does to that cannot be followed"
        raise OutsideModel(msg)

    def opened(b: Blades, t: float) -> Blades:
        return replace(b, shape=replace(b.shape, height=b.shape.height * float(np.exp(t))))

    slopes = unknown_slopes(answer, (Unknown("opening", "the trial's own", opened),))
    by = dict(zip(answer.values, slopes[:, 0].tolist(), strict=True))
    # the first two states give the stiffness, the last two the closing pressure
    states = answer.curve.states
    few = tuple(states[k] for k in sorted({0, 1, len(states) - 2, len(states) - 1}))
    ends = replace(answer, curve=replace(answer.curve, states=few))
    return Solved(reed, answer, prepare(ends), by)


def outputs_of(solved: Solved, now: TrueReed) -> dict[str, float]:
    """Return what the reed does after cuts, clips and nights.

    Cane: the opening curve is solved anew; balance and separation follow the slopes of the finer
    mesh. Opening and clips follow slopes, as ratios where an output cannot be negative.
    """
    effects, values = solved.answer.effects, solved.answer.values
    assert effects is not None  # noqa: S101 - `solve` asks for maps
    off = now.thick - solved.reed.thick
    marked, plain = off[0], off[1, :, ::-1]
    step = effects.predict(marked=marked, plain=plain, clip=solved.reed.length - now.length)
    # the slopes of a clip hold the wider opening that comes with it
    wider = float(np.log(now.opening / clipped_opening(solved.reed, now.length)))
    out: dict[str, float] = {}
    for name, value in values.items():
        change = step[name] + wider * solved.by_opening[name]
        out[name] = value + change if name in SIGNED else value * float(np.exp(change / value))
    out["rest_height"] = now.opening
    if np.any(off):
        by_cane = effects.predict(marked=marked, plain=plain)
        exact = _solved_anew(solved, Change(marked, plain))
        for name, ratio in exact.items():
            line = float(np.exp(by_cane[name] / values[name]))
            if abs(np.log(ratio / line)) < _FAR:  # a solution further off has jumped elsewhere
                out[name] *= ratio / line
    return {name: value for name, value in out.items() if np.isfinite(value)}


def _solved_anew(solved: Solved, change: Change) -> dict[str, float]:
    """Return closing pressure and stiffness after cane came off, over what they were."""
    try:
        curve = solved.prepared.solve(change)
    except OutsideModel:
        return {}  # the slopes stand
    old = solved.answer.curve
    before = (old.heights[0] - old.heights[1]) / (old.pressures[1] - old.pressures[0])
    after = (curve.heights[0] - curve.heights[1]) / (curve.pressures[1] - curve.pressures[0])
    found = {
        "closing_pressure": curve.closing_pressure / old.closing_pressure,
        "stiffness": before / after,
    }
    return {name: ratio for name, ratio in found.items() if np.isfinite(ratio) and ratio > 0}
