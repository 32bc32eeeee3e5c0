"""A scrape style: what a blade of one school looks like, as data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError
from crowlight.reed.frame import Blade, Place
from crowlight.reed.readings import CaneState
from crowlight.reed.styles.profile import Profile, Shape

__all__ = ["SOURCES", "Figure", "Outline", "Point", "Style", "Tolerance", "Zone"]

#: What the source tags mean.
SOURCES: Mapping[str, str] = {
    "cp": "common practice, no source",
    "memory": "from memory, no source",
    "weak": "from memory and weak",
    "derived": "worked out from other figures of the style",
    "own": "the maker's own reeds",
}

Array = NDArray[np.float64]


#: Slack of a line, against rounding only [m], [1].
_HAIR = 1e-12


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with its spread and who says so.

    Parameters
    ----------
    value : float
        [m].
    spread : float
        One standard deviation from one good reed to the next [m]; >= 0.
    source : str
        A key of `SOURCES`.
    """

    value: float
    spread: float
    source: str

    @property
    def low(self) -> float:
        """Two spreads below the value."""
        return self.value - 2.0 * self.spread

    @property
    def high(self) -> float:
        """Two spreads above the value."""
        return self.value + 2.0 * self.spread


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What is called even in a zone, and where to stop.

    Parameters
    ----------
    sides : float
        Largest left-right difference called even [m].
    blades : float
        Largest marked-plain difference called even [m].
    floor : float
        Never scrape below, on the centreline [m]; 0 where nothing is scraped.
    floor_edge : float
        Never scrape below, at the edge [m].
    sides_source, blades_source, floor_source : str
        Keys of `SOURCES`.
    """

    sides: float
    blades: float
    floor: float
    floor_edge: float
    sides_source: str
    blades_source: str
    floor_source: str


@dataclass(frozen=True, slots=True)
class Zone:
    """A region of a blade, the same on both sides of the centreline.

    Parameters
    ----------
    name : str
        ``"tip"``, ``"transition"``, ``"heart"``, ``"spine"``, ``"windows"``, ``"rails"``,
        ``"back"`` or ``"bark"``.
    start, stop : tuple of float
        Rim-side and tip-side line, at 0, 1/2 and 1 of the half width, straight in between [m from
        the bottom rim].
    inner, outer : float
        Range of the fraction across, 0 to 1.
    tolerance : Tolerance
        What is even here.
    """

    name: str
    start: tuple[float, float, float]
    stop: tuple[float, float, float]
    inner: float
    outer: float
    tolerance: Tolerance

    def contains(self, along: ArrayLike, fraction: ArrayLike) -> NDArray[np.bool_]:
        """Return which places lie in this zone; `along` [m] and `fraction` broadcast."""
        s, side = np.asarray(along, float), np.abs(np.asarray(fraction, float))
        low = np.interp(side, _NODES, self.start)
        high = np.interp(side, _NODES, self.stop)
        along_it = (s >= low - _HAIR) & (s <= high + _HAIR)
        return along_it & (side >= self.inner - _HAIR) & (side <= self.outer + _HAIR)


@dataclass(frozen=True, slots=True)
class Point:
    """A standard measuring point of one blade.

    Parameters
    ----------
    code : str
        Row (counted from the tip, from 1) and column: ``"1L"``, ``"7r"``. L and R stand off the
        edges, l and r in the windows, C on the centreline.
    zone : str
        Name of the zone it lies in.
    along, across : float
        [m], as in `Place`.
    """

    code: str
    zone: str
    along: float
    across: float

    def on(self, blade: Blade) -> Place:
        """Return this point of that blade."""
        return Place(blade, self.along, self.across)


@dataclass(frozen=True, slots=True)
class Outline:
    """Width of the finished blade along the reed.

    Parameters
    ----------
    along : tuple of float
        Positions, increasing [m from the bottom rim].
    width : tuple of float
        Full width there [m].
    spread : float
        One standard deviation from shape to shape [m].
    source : str
        A key of `SOURCES`.

    Raises
    ------
    InputError
        If positions do not increase, a width is not above 0, or there is not one width for each.
    """

    along: tuple[float, ...]
    width: tuple[float, ...]
    spread: float
    source: str

    def __post_init__(self) -> None:
        along, width = np.asarray(self.along, float), np.asarray(self.width, float)
        if not along.size or along.shape != width.shape:
            msg = (
                f"outline: {along.size} positions along and {width.size} widths; give one width "
                "for each position"
            )
            raise InputError(msg)
        if not np.isfinite(along).all() or not (np.diff(along) > 0.0).all():
            msg = "outline: positions along must increase from the bottom rim towards the tip"
            raise InputError(msg)
        if not np.isfinite(width).all() or not (width > 0.0).all():
            msg = "outline: every width must be above 0 mm"
            raise InputError(msg)

    def half_width(self, along: ArrayLike) -> Array:
        """Return half the width at positions along [m]; constant beyond the ends."""
        return 0.5 * np.interp(np.asarray(along, float), self.along, self.width)

    def fraction(self, along: ArrayLike, across: ArrayLike) -> Array:
        """Return the signed fraction of the half width at a place [m]."""
        return np.asarray(across, float) / self.half_width(along)


_NODES = (0.0, 0.5, 1.0)


@dataclass(frozen=True)
class Style:
    """A scrape style.

    Parameters
    ----------
    code : str
        Name of its data file, or the maker's own.
    instrument : str
        ``"oboe"``, ``"cor anglais"``, ``"oboe d'amore"``.
    scrape : str
        ``"long"`` or ``"short"``.
    state : CaneState
        Whether the thicknesses are of wet or dry cane.
    length : float
        Overall length of the reed this style is laid on [m].
    lengths : mapping of str to Figure
        ``overall``, ``staple``, ``tip`` (tip edge to middle of the transition), ``heart`` (from
        there to the start of the back, or to the end of a short scrape), ``shortest_blade``
        (beyond the staple; stop clipping there).
    outline : Outline
        Width of the blade.
    profile : mapping of str to Figure
        Parameters of the mean profile by name, see `profile.Profile`.
    shape : Shape
        The fixed part of the mean profile.
    unevenness : mapping of str to tuple
        Band to its broad and fine unevenness around the profile, standard deviations [m].
    even : mapping of str to Figure
        Largest difference called even of ``position`` [m] and ``steepness`` [1] of the transition
        and of ``heart_length`` [m]; no spread.
    zones : tuple of Zone
        First match wins: ``back`` comes after the spine, windows and rails it consists of.
    full, quick : tuple of Point
        Standard points of one blade in snake order from the tip: the whole set and a quick look
        of eight.

    Examples
    --------
    >>> from crowlight.reed.styles import style
    >>> long = style("long")
    >>> long.zone_of(0.0695, 0.002).name
    'tip'
    >>> [point.code for point in long.quick]
    ['1L', '1C', '1R', '2C', '3R', '3C', '3L', '4C']
    """

    code: str
    instrument: str
    scrape: str
    state: CaneState
    length: float
    lengths: Mapping[str, Figure]
    outline: Outline
    profile: Mapping[str, Figure]
    shape: Shape
    unevenness: Mapping[str, tuple[float, float]]
    even: Mapping[str, Figure]
    zones: tuple[Zone, ...]
    full: tuple[Point, ...]
    quick: tuple[Point, ...]

    @cached_property
    def mean(self) -> Profile:
        """The family of mean profiles."""
        return Profile(self.shape)

    @cached_property
    def thread_top(self) -> float:
        """Where the blade begins: the top of the nominal staple [m from the bottom rim]."""
        return self.lengths["staple"].value

    def zone(self, name: str) -> Zone:
        """Return a zone by name.

        Raises
        ------
        InputError
            If this style has no such zone.
        """
        for zone in self.zones:
            if zone.name == name:
                return zone
        names = ", ".join(z.name for z in self.zones)
        msg = f"style {self.code!r} has no zone {name!r}; it has {names}"
        raise InputError(msg)

    def zone_of(self, along: float, across: float) -> Zone:
        """Return the zone of a place on a blade.

        Parameters
        ----------
        along, across : float
            Place [m].

        Raises
        ------
        InputError
            If the place lies off the blade.
        """
        half = float(self.outline.half_width(along))
        if abs(across) > half or not self.thread_top <= along <= self.length:
            msg = (
                f"({along * 1e3:.2f}, {across * 1e3:.2f}) mm is off the blade: it reaches from "
                f"{self.thread_top * 1e3:g} to {self.length * 1e3:g} mm along and {half * 1e3:.2f} "
                "mm either side of the centreline there"
            )
            raise InputError(msg)
        return next(z for z in self.zones if z.contains(along, across / half))

    def vector(self) -> tuple[Array, Array]:
        """Return values and spreads of the profile in the order of ``mean.names``.

        The blend is given as a logarithm, its spread relative.
        """
        values, spreads = np.empty(len(self.mean.names)), np.empty(len(self.mean.names))
        for i, name in enumerate(self.mean.names):
            figure = self.profile[name]
            logarithmic = name == "transition.blend"
            values[i] = math.log(figure.value) if logarithmic else figure.value
            spreads[i] = figure.spread / figure.value if logarithmic else figure.spread
        return values, spreads

    def thickness(self, along: ArrayLike, across: ArrayLike) -> Array:
        """Return the mean thickness of this style at places [m]; the two broadcast."""
        fraction = self.outline.fraction(along, across)
        return self.mean(self.vector()[0], along, fraction)

    def spread(self, along: ArrayLike, across: ArrayLike) -> Array:
        """Return one standard deviation of thickness from reed to reed at places [m].

        The parameters of the profile are taken as independent and to first order; unevenness of
        the scrape is added.
        """
        fraction = self.outline.fraction(along, across)
        values, spreads = self.vector()
        _, jacobian = self.mean.with_jacobian(values, along, fraction)
        broad, fine = self.unevenness_at(values, along, fraction)
        return np.sqrt(((jacobian * spreads) ** 2).sum(axis=-1) + broad**2 + fine**2)

    def band(
        self, along: ArrayLike, across: ArrayLike, *, level: float = 0.95, draws: int = 160
    ) -> tuple[Array, Array]:
        """Return the limits within which a share of reeds of this style lies at places [m].

        Where the transition comes earlier on some reeds and later on others, thickness is far from
        normal: the limits are quantiles over drawn reeds, not multiples of `spread`.

        Parameters
        ----------
        along, across : array_like
            Places [m]; the two broadcast.
        level : float
            The share; 0 < level < 1.
        draws : int
            Reeds drawn, always the same ones.

        Returns
        -------
        tuple of ndarray
            Lower and upper limits.
        """
        rng = np.random.default_rng(3)
        fraction = self.outline.fraction(along, across)
        values, spreads = self.vector()
        broad, fine = self.unevenness_at(values, along, fraction)
        drawn = values + spreads * rng.standard_normal((draws, len(values)))
        reeds = np.stack([self.mean(v, along, fraction) for v in drawn])
        noise = rng.standard_normal((draws,) + (1,) * (reeds.ndim - 1))
        reeds = np.maximum(reeds + noise * np.hypot(broad, fine), 0.0)
        low, high = np.quantile(reeds, [0.5 - level / 2, 0.5 + level / 2], axis=0)
        return low, high

    def unevenness_at(
        self, values: ArrayLike, along: ArrayLike, fraction: ArrayLike
    ) -> tuple[Array, Array]:
        """Return broad and fine unevenness at places, for a profile with these parameters.

        Parameters
        ----------
        values : array_like, shape (n_names,)
            Parameters of the profile.
        along, fraction : array_like
            Places [m], [1].

        Returns
        -------
        broad, fine : ndarray
            Standard deviations [m].
        """
        weights = self.mean.weights(values, along, fraction)
        table = np.array([self.unevenness[name] for name in self.mean.bands])
        variance = np.tensordot(weights, table**2, axes=(-1, 0))
        return np.sqrt(variance[..., 0]), np.sqrt(variance[..., 1])

    def point(self, code: str, *, quick: bool = False) -> Point:
        """Return a standard point by its code.

        Raises
        ------
        InputError
            If there is no such point.
        """
        points = self.quick if quick else self.full
        for point in points:
            if point.code == code:
                return point
        msg = (
            f"style {self.code!r} has no point {code!r}; it has {' '.join(p.code for p in points)}"
        )
        raise InputError(msg)

    def moved(self, shift: float) -> Style:
        """Return this style with tip, transition and heart divided elsewhere.

        Parameters
        ----------
        shift : float
            How much nearer to the tip the transition of a reed lies than the style's [m].

        Returns
        -------
        Style
            Zones and their lines moved; profile and points are as they were.
        """

        def line(nodes: tuple[float, float, float], limit: float) -> tuple[float, float, float]:
            a, b, c = (min(node + shift, limit) for node in nodes)
            return a, b, c

        zones: list[Zone] = []
        for zone in self.zones:
            start, stop = zone.start, zone.stop
            if zone.name in ("tip", "transition"):
                start = line(start, self.length - 0.5e-3)
            if zone.name in ("transition", "heart"):
                stop = line(stop, self.length - 0.5e-3)
            zones.append(replace(zone, start=start, stop=stop))
        return replace(self, zones=tuple(zones))

    def placed(self, length: float) -> Style:
        """Return this style laid on a reed of another length.

        The bottom rim is where it was: heart, back and bark stay, the tip ends at `length`, and
        what lies between transition and tip edge is stretched or shortened.

        Parameters
        ----------
        length : float
            Overall length, bottom rim to tip edge [m].

        Raises
        ------
        InputError
            If the tip edge would lie behind the transition or further than 6 mm from nominal.
        """
        nominal = self.lengths["overall"].value
        anchor = self.shape.transition
        if not math.isfinite(length) or not (
            max(anchor + 0.5e-3, nominal - 6e-3) <= length <= nominal + 6e-3
        ):
            msg = (
                f"length = {length * 1e3:.4g} mm does not fit style {self.code!r} (nominal "
                f"{nominal * 1e3:g} mm); measure from the bottom rim of the staple to the tip "
                "edge, or choose another style"
            )
            raise InputError(msg)
        ratio = (length - anchor) / (self.length - anchor)

        def move(s: float) -> float:
            return s if s <= anchor else anchor + (s - anchor) * ratio

        def line(nodes: tuple[float, float, float]) -> tuple[float, float, float]:
            return (move(nodes[0]), move(nodes[1]), move(nodes[2]))

        zones = tuple(replace(z, start=line(z.start), stop=line(z.stop)) for z in self.zones)
        return replace(
            self,
            length=length,
            shape=replace(self.shape, tip=length),
            zones=zones,
            full=tuple(replace(p, along=move(p.along)) for p in self.full),
            quick=tuple(replace(p, along=move(p.along)) for p in self.quick),
        )
