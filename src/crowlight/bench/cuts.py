"""Cuts one thinks of, and what they do to first order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from crowlight.errors import InputError
from crowlight.reed import Blade, Side

__all__ = [
    "LIMITS",
    "LONGEST",
    "NO_TRANSITION",
    "STROKE_RADIUS",
    "Cut",
    "Foreseen",
    "Lever",
    "Leverage",
    "foresee",
    "foresee_stroke",
    "no_zone",
]

#: Most that may be asked about at once [m]: depth of a scrape, way of the transition, clip.
LIMITS: Mapping[str, float] = {"depth": 0.2e-3, "back": 2e-3, "clip": 2e-3}
#: Furthest from the tip a stroke may be asked about [m].
LONGEST = 40e-3
#: Radius of a soft round stroke [m].
STROKE_RADIUS = 1.5e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """A cut one thinks of.

    Parameters
    ----------
    zone : str
        Zone of the style to scrape; empty for none.
    blade : Blade or None
        The blade to scrape; None for both.
    side : Side or None
        The side of it, as seen facing that blade; None for both.
    depth : float
        Cane taken off all over the zone, or in the middle of the stroke [m].
    back : float
        How far the transition is moved towards the thread [m], on the same blades.
    clip : float
        Clipped off the tip [m].
    from_tip : float or None
        Instead of a zone, where one soft round stroke has its middle [m].
    across : float
        The same across, -1 (left edge, facing the blade) to 1.

    Raises
    ------
    InputError
        If a length is negative or above `LIMITS`, the stroke is off the blade, or both a zone and a
        stroke are asked about.
    """

    zone: str = ""
    blade: Blade | None = None
    side: Side | None = None
    depth: float = 0.0
    back: float = 0.0
    clip: float = 0.0
    from_tip: float | None = None
    across: float = 0.0

    def __post_init__(self) -> None:
        if self.from_tip is not None:
            if self.zone:
                msg = "choose a zone or one place for a stroke, not both"
                raise InputError(msg)
            if not (0.0 <= self.from_tip <= LONGEST and abs(self.across) <= 1.0):
                msg = (
                    f"a stroke {self.from_tip * 1e3:g} mm from the tip and {self.across:g} of half "
                    f"the width off the middle is not on the blade: 0 to {LONGEST * 1e3:g} mm, "
                    "-1 to 1"
                )
                raise InputError(msg)
        for name, most in LIMITS.items():
            value = float(getattr(self, name))
            if not 0.0 <= value <= most * (1 + 1e-9):
                msg = f"{name} {value * 1e3:g} mm must lie between 0 and {most * 1e3:g} mm"
                raise InputError(msg)

    @property
    def blades(self) -> tuple[Blade, ...]:
        """The blades that are cut."""
        return tuple(Blade) if self.blade is None else (self.blade,)

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides that are scraped."""
        return tuple(Side) if self.side is None else (self.side,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What cane off one side of a zone of one blade does.

    Parameters
    ----------
    zone, blade, side
        As in `Cut`.
    slopes : tuple of float
        Change of every output per length taken off [output unit / m].
    """

    zone: str
    blade: Blade
    side: Side
    slopes: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leverage:
    """Everything needed to foresee a cut without solving anything.

    Parameters
    ----------
    names : tuple of str
        Outputs, in the order of the slopes.
    values : tuple of float
        The outputs as they are.
    levers : tuple of Lever
        One for each side of each zone of each blade.
    moves : tuple of float
        Ways of the transition [m]; empty if the style has none.
    moved : mapping of Blade to tuple
        Change of every output for each of them.
    clip : tuple of float
        Change of every output per length clipped [output unit / m].
    """

    names: tuple[str, ...]
    values: tuple[float, ...]
    levers: tuple[Lever, ...]
    moves: tuple[float, ...]
    moved: Mapping[Blade, tuple[tuple[float, ...], ...]]
    clip: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreseen:
    """One output and what a cut adds to it, to first order."""

    before: float
    change: float


def foresee(levers: Leverage, cut: Cut) -> dict[str, Foreseen]:
    """Foresee a cut: effects times change, without solving anything.

    Parameters
    ----------
    levers : Leverage
        Of the reed.
    cut : Cut
        The cut.

    Returns
    -------
    dict of str to Foreseen
        By output. A few per cent of the change off for usual cuts, more for deep ones.

    Raises
    ------
    InputError
        If the reed has no such zone, or no transition to move.
    """
    if cut.from_tip is not None:
        msg = "one stroke is foreseen by the effect maps: see foresee_stroke"
        raise InputError(msg)
    total = cut.clip * np.array(levers.clip)
    if cut.depth and cut.zone not in {lever.zone for lever in levers.levers}:
        raise InputError(no_zone(cut.zone, [lever.zone for lever in levers.levers]))
    for lever in levers.levers:
        if lever.zone == cut.zone and lever.blade in cut.blades and lever.side in cut.sides:
            total = total + cut.depth * np.array(lever.slopes)
    if cut.back:
        if not levers.moves:
            raise InputError(NO_TRANSITION)
        for blade in cut.blades:
            table = np.array(levers.moved[blade])
            total = total + [np.interp(cut.back, levers.moves, column) for column in table.T]
    return {
        name: Foreseen(before=value, change=float(change))
        for name, value, change in zip(levers.names, levers.values, total, strict=True)
    }


def foresee_stroke(
    levers: Leverage,
    cut: Cut,
    *,
    from_tip: Sequence[float],
    fraction: Sequence[float],
    effects: Mapping[str, Mapping[Blade, Sequence[Sequence[float]]]],
    cane: float,
) -> dict[str, Foreseen]:
    """Foresee one soft stroke at a place, by the maps of what a stroke does.

    Parameters
    ----------
    levers : Leverage
        Of the reed.
    cut : Cut
        With a place.
    from_tip, fraction, effects
        The maps, as in `crowlight.bench.mechanics.BladesShown`.
    cane : float
        What their stroke takes off in its middle [m].

    Returns
    -------
    dict of str to Foreseen
        By output; the change of one that has no map is not a number.
    """
    rest = foresee(levers, replace(cut, depth=0.0, from_tip=None, across=0.0))

    def at(rows: Sequence[Sequence[float]]) -> float:
        line = [float(np.interp(cut.across, fraction, row)) for row in rows]
        return float(np.interp(cut.from_tip or 0.0, from_tip, line)) * cut.depth / cane

    return {
        name: replace(
            seen,
            change=seen.change + sum(at(effects[name][b]) for b in cut.blades)
            if name in effects
            else float("nan"),
        )
        for name, seen in rest.items()
    }


NO_TRANSITION = "the scrape style of this reed has no transition to move; scrape a zone instead"


def no_zone(zone: str, known: list[str]) -> str:
    """Say that a reed has no such zone, and which it has."""
    return f"no zone {zone!r} on this reed; there are {', '.join(dict.fromkeys(known))}"
