"""Invented reeds: blades cut by an invented hand, and the readings an invented maker takes of them.

A blade starts as gouged cane and is cut in the order a maker would: back with its windows, heart,
transition, tip, then a few dozen single strokes. Nothing here shares a functional form with the
thickness map that is fitted to the readings: surfaces are facets, domes, ramps, sharp hollows and
strokes, levels are drawn from flat distributions. The ranges are the developers' choice around the
figures of the scrape style: common practice at best, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.reed import Blade, CaneState, Instrument, Place, Reading, instrument
from crowlight.reed.styles import Point, Style, style

__all__ = ["Fault", "InventedReed", "draw_reed", "measure", "planned_places"]

Array = NDArray[np.float64]
Surface = Callable[[Array, Array], Array]

#: Loss of thickness while a wet reed dries on the gauge [m per minute]; the developers' estimate.
DRYING = 0.8e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A difference put into a reed on purpose.

    Parameters
    ----------
    zone : str
        Zone of the style it lies in.
    blade : Blade
        The blade that has it.
    side : int
        -1 left as seen, +1 right, 0 the whole width.
    amount : float
        Added to the thickness there [m].
    """

    zone: str
    blade: Blade
    side: int
    amount: float


@dataclass(frozen=True)
class InventedReed:
    """A reed whose thickness is known everywhere.

    Parameters
    ----------
    style : Style
        Its style, laid on its length.
    surfaces : mapping of Blade to callable
        Thickness [m] as a function of position along [m] and fraction across.
    transition : mapping of Blade to float
        Middle of the transition on the centreline [m from the bottom rim].
    faults : tuple of Fault
        What was put in on purpose.
    """

    style: Style
    surfaces: Mapping[Blade, Surface]
    transition: Mapping[Blade, float]
    faults: tuple[Fault, ...] = ()
    drying: float = field(default=DRYING)

    def thickness(self, blade: Blade, along: ArrayLike, across: ArrayLike) -> Array:
        """Return the true thickness [m] at places [m]; the two broadcast."""
        s, c = np.broadcast_arrays(np.asarray(along, float), np.asarray(across, float))
        u = np.clip(self.style.outline.fraction(s, c), -1.0, 1.0)
        total = self.surfaces[blade](s, u)
        for fault in self.faults:
            if fault.blade is blade:
                inside = self.style.zone(fault.zone).contains(s, u)
                # one side: nothing on the centreline, all of it from 0.4 of the half width on
                share = 1.0 if fault.side == 0 else np.clip(u * fault.side / 0.4, 0.0, 1.0)
                total = total + fault.amount * inside * share
        return np.maximum(total, 0.02e-3)


def draw_reed(
    rng: np.random.Generator,
    *,
    code: str = "long",
    twin: bool = False,
    even: bool = False,
    faults: Sequence[Fault] = (),
) -> InventedReed:
    """Draw a reed.

    Parameters
    ----------
    rng : Generator
        Source of chance.
    code : str
        Scrape style.
    twin : bool
        Make both blades identical and each the same left and right.
    even : bool
        Make the blades alike in all a hand intends (levels, lines, hollows), with their own
        strokes: a well finished reed.
    faults : sequence of Fault
        Put in on top.

    Returns
    -------
    InventedReed
        The reed.
    """
    nominal = style(code)
    overall = nominal.lengths["overall"]
    length = overall.value + overall.spread * rng.uniform(-1.7, 1.7)
    laid = nominal.placed(length)
    hand = _Hand(rng, laid, even=even or twin)
    surfaces: dict[Blade, Surface] = {}
    transition: dict[Blade, float] = {}
    for blade in Blade:
        if twin and surfaces:
            surfaces[blade] = surfaces[Blade.MARKED]
            transition[blade] = transition[Blade.MARKED]
        else:
            surfaces[blade], transition[blade] = hand.cut(rng, mirror=twin)
    return InventedReed(laid, surfaces, transition, tuple(faults))


class _Hand:
    """What one maker did to both blades of one reed."""

    def __init__(self, rng: np.random.Generator, laid: Style, *, even: bool) -> None:
        self.style = laid
        self.even = even
        # What both blades share, in spreads of the style; triangular, bounded.
        self.common = {name: rng.triangular(-1.9, 0.0, 1.9) for name in laid.profile}
        self.rough = rng.uniform(0.5, 1.4)
        self.habit = 0.0 if even else rng.uniform(-1.0, 1.0) * 7e-6  # right of tip as seen
        self.ramp = rng.choice(["facet", "round", "hollow", "catch"])
        self.ramp_length = rng.uniform(1.1, 2.5) * 1e-3
        self.tip_line = rng.choice(["chevron", "curve"])
        self.dome = rng.uniform(1.6, 3.0)
        self.catch = rng.uniform(0.1, 0.7) * 1e-3  # length of the step where windows begin

    def level(self, rng: np.random.Generator, name: str, share: float = 0.55) -> float:
        """Draw one figure of one blade."""
        figure = self.style.profile[name]
        own = 0.0 if self.even else rng.uniform(-2.2, 2.2)
        return figure.value + figure.spread * (share * 1.9 * self.common[name] + (1 - share) * own)

    def cut(self, rng: np.random.Generator, *, mirror: bool) -> tuple[Surface, float]:
        """Cut one blade; return its surface and where its transition lies."""
        laid, shape = self.style, self.style.shape
        fig = {name: self.level(rng, name) for name in laid.profile}
        ramp_length = self.ramp_length * (1.0 if self.even else rng.uniform(0.8, 1.25))
        slant = 0.0 if self.even or mirror else rng.normal(0.0, 0.12e-3)
        rails = 0.0 if self.even or mirror else rng.uniform(-1, 1) * 12e-6
        lean = 0.0 if self.even or mirror else rng.uniform(-1, 1) * 10e-6
        tilt = 0.0 if self.even or mirror else self.habit + rng.uniform(-1, 1) * 4e-6
        windows = _windows(rng, laid, fig, self.catch, mirror=mirror or self.even)
        strokes = _strokes(rng, laid, self.rough, mirror=mirror)
        ridges = _ridges(rng, laid, self.rough, mirror=mirror)
        power = self.dome

        def gouge(s: Array, u: Array) -> Array:
            # outside and inside of the cane are circles of different radius
            fall = (1.0 - np.sqrt(1.0 - 0.64 * u * u)) / (1.0 - np.sqrt(1.0 - 0.64))
            return fig["bark.centre"] + fig["bark.edge"] * fall

        def heart(s: Array, u: Array) -> Array:
            t = (shape.transition - s) / (shape.transition - shape.heart_end)
            t = np.clip(t, -0.2, 1.3)
            ridge = fig["heart.front"] + (fig["heart.back"] - fig["heart.front"]) * t
            return ridge + fig["heart.edge"] * np.abs(u) ** power + lean * u

        def tip(s: Array, u: Array) -> Array:
            # two flat facets meeting on the centreline
            t = (shape.tip - s) / (shape.tip - shape.transition)
            bow = 4e-6 * np.sin(np.pi * np.clip(t, 0.0, 1.0))
            ridge = fig["tip.front"] + (fig["tip.back"] - fig["tip.front"]) * t + bow
            return ridge + fig["tip.edge"] * np.abs(u) + tilt * u

        def surface(s: Array, u: Array) -> Array:
            total = heart(s, u)
            if shape.back is not None:
                t = np.clip((shape.back - s) / (shape.back - shape.bark), 0.0, 1.0)
                back = fig["back.front"] + (fig["back.back"] - fig["back.front"]) * t
                back = back + fig["back.edge"] * u * u + windows(s, u) + rails * u
                total = _mix(total, back, fig["back.start"] - s, 0.8e-3)
            bend = np.interp(np.abs(u), (0.0, 0.5, 1.0), shape.bark_lines)
            total = _mix(total, gouge(s, u), fig["bark.start"] + bend - s, 0.3e-3)
            side = np.abs(u) if self.tip_line == "chevron" else 1.15 * u * u
            line = fig["transition.position"] - fig["transition.setback"] * side + slant * u
            amount = _ramp(self.ramp, (line - s) / ramp_length + 0.5)
            total = tip(s, u) * (1.0 - amount) + total * amount
            # the bark is not scraped: strokes and ridges stop at its line
            scraped = np.clip((s - fig["bark.start"] - bend) / 0.4e-3, 0.0, 1.0)
            thin = np.clip(total / 0.35e-3, 0.25, 1.0)  # a tip takes lighter strokes
            return total + scraped * thin * (strokes(s, u) + ridges(s, u))

        return surface, fig["transition.position"]


def _ramp(kind: str, t: Array) -> Array:
    """Return the way from tip (0) to heart (1) over a ramp of unit length."""
    t = np.clip(t, 0.0, 1.0)
    match kind:
        case "facet":
            return t
        case "round":
            return t * t * (3.0 - 2.0 * t)
        case "hollow":
            return 0.5 * t + 0.5 * t * t * (3.0 - 2.0 * t) - 0.1 * np.sin(2 * np.pi * t)
        case _:  # a catch: a small step where the tip was cut into the ramp
            return np.where(t > 0.0, 0.12 + 0.88 * t, 0.0)


def _mix(front: Array, behind: Array, distance: Array, length: float) -> Array:
    """Go from one surface to the next over a flat ramp; `distance` > 0 behind the line."""
    w = np.clip(distance / length + 0.5, 0.0, 1.0)
    return front * (1.0 - w) + behind * w


def _windows(
    rng: np.random.Generator, laid: Style, fig: Mapping[str, float], catch: float, *, mirror: bool
) -> Surface:
    """Two hollows with flat floors, each where the hand put it."""
    if laid.shape.back is None:
        return lambda s, u: np.zeros_like(s)
    middle = (laid.shape.back + laid.shape.bark) / 2
    reach = (laid.shape.back - laid.shape.bark) / 2
    hollows: list[tuple[float, float, float, float, float]] = []
    for side in (-1.0, 1.0):
        if mirror and hollows:
            _, a, b, c, d = hollows[0]
            hollows.append((side, a, b, c, d))
            continue
        hollows.append(
            (
                side,
                rng.uniform(0.36, 0.48),  # where across
                rng.uniform(0.20, 0.30),  # half width
                fig["back.middle"] * rng.uniform(0.85, 1.15),
                reach + catch / 2 + rng.uniform(-0.6, 0.6) * 1e-3,
            )
        )

    def surface(s: Array, u: Array) -> Array:
        total = np.zeros_like(s)
        for side, at, width, depth, half in hollows:
            across = np.exp(-((np.abs(u * side - at) / width) ** 3))
            along = np.clip((half - np.abs(s - middle)) / catch, 0.0, 1.0)
            total = total + depth * across * along
        return total

    return surface


def _strokes(rng: np.random.Generator, laid: Style, rough: float, *, mirror: bool) -> Surface:
    """Return some dozen strokes of a knife, each a lens some millimetres long and half as wide."""
    n = 45
    s0 = rng.uniform(laid.shape.bark - 1e-3, laid.length, n)
    u0 = rng.uniform(-1.0, 1.0, n)
    long = rng.uniform(1.0, 3.2, n) * 1e-3
    wide = rng.uniform(0.15, 0.55, n)
    depth = rng.uniform(-1.0, 0.55, n) * 11e-6 * rough

    def surface(s: Array, u: Array) -> Array:
        v = np.abs(u) if mirror else u
        total = np.zeros_like(s)
        for a, b, length, width, d in zip(s0, u0, long, wide, depth, strict=True):
            r2 = ((s - a) / length) ** 2 + ((v - b) / width) ** 2
            total = total + d * np.maximum(1.0 - r2, 0.0) ** 1.5
        return total

    return surface


def _ridges(rng: np.random.Generator, laid: Style, rough: float, *, mirror: bool) -> Surface:
    """Fibre ridges along the grain that drift slowly, and a lump or two."""
    periods = rng.uniform(0.5, 1.4, 3)
    phases = rng.uniform(0.0, 2 * np.pi, 3)
    drift = rng.uniform(-0.3, 0.3, 3) / 5e-3
    height = rng.uniform(0.3, 1.0, 3) * 2.5e-6 * rough
    lumps = rng.integers(0, 3)
    at = rng.uniform(laid.shape.bark + 1e-3, laid.length - 1e-3, lumps)
    where = rng.uniform(-0.8, 0.8, lumps)
    size = rng.uniform(-1.0, 1.0, lumps) * 20e-6

    def surface(s: Array, u: Array) -> Array:
        v = np.abs(u) if mirror else u
        total = np.zeros_like(s)
        for period, phase, d, h in zip(periods, phases, drift, height, strict=True):
            total = total + h * np.sin(2 * np.pi * (v / period + d * (s - laid.length)) + phase)
        for a, b, h in zip(at, where, size, strict=True):
            total = total + h / (1.0 + ((s - a) / 0.8e-3) ** 2 + ((v - b) / 0.25) ** 2) ** 2
        return total

    return surface


def planned_places(laid: Style, *, quick: bool = False) -> tuple[Place, ...]:
    """Return the standard points of both blades, marked blade first, in snake order."""
    points: tuple[Point, ...] = laid.quick if quick else laid.full
    return tuple(point.on(blade) for blade in Blade for point in points)


def measure(
    reed: InventedReed,
    places: Sequence[Place],
    rng: np.random.Generator,
    *,
    gauge: Instrument | str = "dial",
    per_mounting: int = 1000,
    seconds: float | None = None,
    soaked: float = 0.5,
    repeats: int = 1,
) -> tuple[Reading, ...]:
    """Let an invented maker read the gauge.

    Parameters
    ----------
    reed : InventedReed
        The reed.
    places : sequence of Place
        Where the maker means to read.
    rng : Generator
        Source of chance.
    gauge : Instrument or str
        What with.
    per_mounting : int
        Readings before the reed is taken off; another blade is always another mounting.
    seconds : float or None
        Time per reading; None leaves the drying out and notes no time.
    soaked : float
        Minutes since wetting at the first reading.
    repeats : int
        Readings of each place, the foot set anew each time.

    Returns
    -------
    tuple of Reading
        In the order taken: placement, foot, seating, drying, repeatability and rounding included.
    """
    tool = instrument(gauge) if isinstance(gauge, str) else gauge
    readings: list[Reading] = []
    seating, offset, last, count = -1, 0.0, None, 0
    for place in places:
        for repeat in range(repeats):
            if place.blade is not last or count >= per_mounting:
                seating, last, count = seating + 1, place.blade, 0
                offset = rng.normal(0.0, tool.seating)
            count += 1
            s = place.along + rng.normal(0.0, tool.placement)
            c = place.across + rng.normal(0.0, tool.placement)
            value = _under_foot(reed, place.blade, s, c, tool.foot) + offset
            minutes = None
            if seconds is not None:
                minutes = soaked + len(readings) * seconds / 60.0
                value -= reed.drying * (minutes - soaked)
            value += rng.normal(0.0, tool.repeatability)
            shown = max(round(value / tool.resolution), 3 if tool.resolution > 5e-6 else 30)
            readings.append(
                Reading(
                    place,
                    shown * tool.resolution,
                    tool.code,
                    seating,
                    repeat,
                    CaneState.WET,
                    minutes,
                )
            )
    return tuple(readings)


def _under_foot(reed: InventedReed, blade: Blade, s: float, c: float, foot: float) -> float:
    """Average thickness under a round foot, over 19 points of a hexagonal raster inside it."""
    radius = np.array([0.0] + [0.4] * 6 + [0.83] * 12) * foot / 2
    angle = np.concatenate([[0.0], np.arange(6) * np.pi / 3, np.arange(12) * np.pi / 6 + 0.2])
    along, across = s + radius * np.cos(angle), c + radius * np.sin(angle)
    along = np.minimum(along, reed.style.length)
    return float(reed.thickness(blade, along, across).mean())
