"""How sure the outputs are: map, cane and rest shape carried to every output as an interval.

First order where that is good enough: the adjoint slopes times the spreads, in the logarithm for
outputs that cannot be negative. Whether it is good enough is tried, not assumed: the reed is
solved again at one standard deviation up and down along the steepest direction; for an output that
lands more than a fifth of its spread off, a bent line is drawn through these reeds and checked on
a few more (see `crowlight.blade.bent`). The answer says which.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.stats import norm

from crowlight.blade.arrays import Array
from crowlight.blade.bent import GOOD_ENOUGH, SIGNED, BentLine, Drawn, bent_line, drawn
from crowlight.blade.blades import Blades, build
from crowlight.blade.effects import slopes_of
from crowlight.blade.mechanics import Mechanics
from crowlight.blade.probes import Nearby
from crowlight.blade.similar import similar_values
from crowlight.blade.thickness import THICKEST, THINNEST
from crowlight.errors import InputError, OutsideModel

__all__ = ["Interval", "MapSpread", "Unknown", "change_intervals", "intervals", "usual_unknowns"]

SMALL = 1e-3  # standard deviations: step of the difference in forces


Method = Literal["linearised", "curved", "sampled"]


@dataclass(frozen=True)
class Unknown:
    """Something about the reed that is not known well.

    Parameters
    ----------
    name : str
        In trade words.
    basis : str
        Where its spread comes from.
    apply : callable
        ``apply(blades, t)`` gives the reed with this unknown `t` standard deviations up.
    """

    name: str
    basis: str
    apply: Callable[[Blades, float], Blades]


@dataclass(frozen=True)
class MapSpread:
    """Uncertainty of one thickness map.

    Parameters
    ----------
    root : ndarray, shape (grid.size, k)
        Any square root of the covariance of the raveled grid values [m]: covariance = root root'.
    """

    root: Array

    @staticmethod
    def from_covariance(covariance: Array) -> MapSpread:
        """From the covariance of the raveled grid values [m²], shape (size, size)."""
        value, vector = np.linalg.eigh(np.asarray(covariance, dtype=float))
        if value[0] < -1e-8 * max(value[-1], 0.0):
            msg = (
                "the covariance of the thickness map has negative directions; check how it is made"
            )
            raise InputError(msg)
        keep = value > 1e-12 * value[-1]
        return MapSpread(vector[:, keep] * np.sqrt(value[keep]))

    @staticmethod
    def from_samples(samples: Array) -> MapSpread:
        """From sampled maps [m], shape (n_samples, n_along, n_across)."""
        flat = np.asarray(samples, dtype=float).reshape(len(samples), -1)
        if len(flat) < 2:
            msg = f"{len(flat)} sampled map cannot show a spread; give at least two"
            raise InputError(msg)
        return MapSpread((flat - flat.mean(axis=0)).T / np.sqrt(len(flat) - 1))


@dataclass(frozen=True)
class Interval:
    """One output with its interval.

    Parameters
    ----------
    value, low, high : float
        Best value and ends of the interval, in the output's unit.
    spread : float
        Standard deviation.
    level : float
        Probability of the interval.
    method : {"linearised", "curved", "sampled"}
        How it was found: by slopes; by a bent line that holds for solved reeds; or by solved reeds
        that such a line only steers.
    shares : mapping of str to float
        Share of the variance from each unknown (first order), summing to 1; empty if none.
    """

    value: float
    low: float
    high: float
    spread: float
    level: float
    method: Method
    shares: Mapping[str, float]


def usual_unknowns(blades: Blades) -> tuple[Unknown, ...]:
    """Cane and rest shape of a reed nobody measured in the laboratory.

    Spreads are from memory of the literature on cane and of makers' tolerances; a calibration
    should replace them.
    """
    del blades
    cane = "physics of cane, spread from memory"
    look = "common practice, no source"

    def along(b: Blades, t: float) -> Blades:
        return scaled_cane(b, along=np.exp(0.2 * t))

    def across(b: Blades, t: float) -> Blades:
        return scaled_cane(b, across=np.exp(0.2 * t))

    def shear(b: Blades, t: float) -> Blades:
        return scaled_cane(b, shear=np.exp(0.2 * t))

    def density(b: Blades, t: float) -> Blades:
        return scaled_cane(b, density=np.exp(0.08 * t))

    def throat(b: Blades, t: float) -> Blades:
        return scaled_shape(b, "throat_height", np.exp(0.08 * t))

    def opening(b: Blades, t: float) -> Blades:
        return scaled_shape(b, "height", np.exp(0.07 * t))

    return (
        Unknown("cane stiffness along", cane, along),
        Unknown("cane stiffness across", cane, across),
        Unknown("cane stiffness in shear", cane, shear),
        Unknown("cane density", cane, density),
        Unknown("height at the thread", look, throat),
        Unknown("rest opening", look, opening),
        Unknown("tie preload", look, preload),
    )


def preload(blades: Blades, t: float) -> Blades:
    """Preload of the tie: lognormal about the given value by a factor 2; none stays none."""
    return replace(blades, interference=blades.interference * float(np.exp(0.7 * t)))


def scaled_cane(blades: Blades, **factors: float) -> Blades:
    """Scale elastic constants or density of both blades."""
    other = blades.plain_cane and blades.plain_cane.scaled(**factors)
    return replace(blades, cane=blades.cane.scaled(**factors), plain_cane=other)


def scaled_shape(blades: Blades, field: str, factor: float) -> Blades:
    """Scale one length of the rest shape of both blades."""
    first = replace(blades.shape, **{field: getattr(blades.shape, field) * factor})
    second = blades.plain_shape
    if second is not None:
        second = replace(second, **{field: getattr(second, field) * factor})
    return replace(blades, shape=first, plain_shape=second)


def intervals(
    answer: Mechanics,
    unknowns: Sequence[Unknown],
    *,
    marked: MapSpread | None = None,
    plain: MapSpread | None = None,
    level: float = 0.9,
    samples: int = 40,
    rng: np.random.Generator | None = None,
    report: Callable[[float], None] | None = None,
) -> dict[str, Interval]:
    """Carry every uncertainty to every output.

    Parameters
    ----------
    answer : Mechanics
        Solved with maps.
    unknowns : sequence of Unknown
        Independent, standard normal.
    marked, plain : MapSpread, optional
        Uncertainty of each thickness map; `plain` may only be given if the blades differ.
        If the blades are alike, `marked` moves both together.
    level : float
        Probability of the intervals, 0 to 1.
    samples : int
        Most reeds solved if some output needs more than slopes; 0 never does so and says
        "linearised", and the interval is not a number where an output has no derivative.
    rng : numpy.random.Generator, optional
        Needed for sampling.
    report : callable, optional
        Called with the share done.

    Raises
    ------
    InputError
        If the answer has no maps, or sampling is asked for without `rng`.
    """
    if answer.effects is None:
        msg = "intervals need the effect maps: evaluate with maps=True"
        raise InputError(msg)
    if samples and rng is None:
        msg = "sampling needs a random generator: pass rng, or samples=0"
        raise InputError(msg)
    names = list(answer.values)
    slopes, labels = slopes_by_unknown(answer, unknowns, marked, plain, report)
    spread = dict(zip(names, np.sqrt(np.sum(slopes**2, axis=1)).tolist(), strict=True))
    shares = shares_of(names, slopes, labels)
    doubtful: dict[str, BentLine] = {}
    near = Around(answer, unknowns, (marked, plain), names, slopes)
    if samples:
        doubtful = tried(near, spread)
    found = {
        n: linearised(answer.values[n], spread[n], level, n in SIGNED, shares[n]) for n in names
    }
    if doubtful and rng is not None:
        half = (lambda f: report(0.5 + 0.5 * f)) if report else None
        for n, many in drawn(doubtful, near.solve, samples, rng, half).items():
            found[n] = from_samples(answer.values[n], many, level, shares[n])
    if report:
        report(1.0)
    return found


def change_intervals(
    before: Mechanics,
    after: Mechanics,
    unknowns: Sequence[Unknown],
    *,
    marked: MapSpread | None = None,
    plain: MapSpread | None = None,
    level: float = 0.9,
) -> dict[str, Interval]:
    """How sure the effect of a cut is: what is unknown of both states alike largely cancels.

    First order, normal. The cut itself is taken as made exactly.

    Parameters
    ----------
    before, after : Mechanics
        The same reed before and after, both solved with maps.
    unknowns, marked, plain, level
        As in `intervals`; the maps' uncertainty is the same before and after.

    Raises
    ------
    InputError
        If an answer has no maps, or only one of them has its blades alike.
    """
    if before.effects is None or after.effects is None:
        msg = "intervals need the effect maps: evaluate with maps=True"
        raise InputError(msg)
    if before.pair.alike != after.pair.alike:
        msg = "one answer has its blades alike, the other not: evaluate `blades.apart()`"
        raise InputError(msg)
    first, labels = slopes_by_unknown(before, unknowns, marked, plain, None)
    second, _ = slopes_by_unknown(after, unknowns, marked, plain, None)
    names = list(before.values)
    moved_by = second - first
    shares = shares_of(names, moved_by, labels)
    spread = np.sqrt(np.sum(moved_by**2, axis=1))
    return {
        n: linearised(after.values[n] - before.values[n], float(s), level, True, shares[n])
        for n, s in zip(names, spread, strict=True)
    }


def slopes_by_unknown(
    answer: Mechanics,
    unknowns: Sequence[Unknown],
    marked: MapSpread | None,
    plain: MapSpread | None,
    report: Callable[[float], None] | None,
) -> tuple[Array, list[str]]:
    """Change of every output per standard deviation, shape (n_outputs, n_directions), labels."""
    columns, labels = [], []
    for k, unknown in enumerate(unknowns):
        plus, minus = (
            build(unknown.apply(answer.blades, s * SMALL), like=answer.pair) for s in (1, -1)
        )
        slope = slopes_of(answer.outputs, Nearby(plus, minus, SMALL))
        columns.append([slope[n] for n in answer.values])
        labels.append(unknown.name)
        if report:
            report(0.5 * (k + 1) / len(unknowns))
    effects = answer.effects
    assert effects is not None  # noqa: S101  checked by the caller
    tables = [effects.marked_table, effects.plain_table]
    if answer.pair.alike:
        tables = [tables[0] + tables[1], tables[1]]
    for table, part, label in zip(
        tables, (marked, plain), ("marked map", "plain map"), strict=True
    ):
        if part is not None:
            by_map = table.reshape(len(table), -1) @ part.root
            columns.extend(by_map.T.tolist())
            labels.extend([label] * by_map.shape[1])
    return np.array(columns).reshape(len(labels), -1).T, labels


def shares_of(names: list[str], slopes: Array, labels: list[str]) -> dict[str, dict[str, float]]:
    """Share of each output's variance by label."""
    out: dict[str, dict[str, float]] = {}
    for name, row in zip(names, slopes**2, strict=True):
        total = float(row.sum())
        parts = dict.fromkeys(labels, 0.0)
        for label, part in zip(labels, row, strict=True):
            parts[label] += float(part)
        out[name] = {k: v / total for k, v in parts.items()} if total > 0 else {}
    return out


def moved(
    blades: Blades,
    unknowns: Sequence[Unknown],
    spreads: Sequence[MapSpread | None],
    where: Array,
) -> Blades:
    """Reed with every unknown moved by `where` standard deviations, maps last."""
    for unknown, t in zip(unknowns, where, strict=False):
        blades = unknown.apply(blades, float(t))
    at = len(unknowns)
    grids = [blades.marked, blades.plain]
    for k, spread in enumerate(spreads):
        grid = grids[k]
        if spread is None or grid is None:
            continue
        step = spread.root @ where[at : at + spread.root.shape[1]]
        at += spread.root.shape[1]
        values = np.clip(grid.values + step.reshape(grid.values.shape), THINNEST, THICKEST)
        grids[k] = replace(grid, values=values)
    first = grids[0]
    assert first is not None  # noqa: S101  the marked blade always has a map
    return replace(blades, marked=first, plain=grids[1])


@dataclass(frozen=True)
class Around:
    """The reeds about an answered one.

    Parameters
    ----------
    answer : Mechanics
        The middle.
    unknowns, spreads
        What moves it.
    names : list of str
        Outputs.
    slopes : ndarray, shape (n_outputs, n_directions)
        Of every output.
    """

    answer: Mechanics
    unknowns: Sequence[Unknown]
    spreads: Sequence[MapSpread | None]
    names: list[str]
    slopes: Array

    def solve(self, where: Array, names: Collection[str] | None = None) -> Mapping[str, float]:
        """Solve for outputs of the reed `where` standard deviations off, at the playing pressure.

        All of them, or at least the named ones.
        """
        blades = moved(self.answer.blades, self.unknowns, self.spreads, where)
        closing = self.answer.values["closing_pressure"]
        by = float(self.slopes[self.names.index("closing_pressure")] @ where)
        about = closing * np.exp(np.clip(by / closing, -1.0, 1.0)) if closing > 0 else closing
        guess = float(about) if np.isfinite(about) else None
        return similar_values(self.answer, blades, closing=guess, names=names)


def tried(near: Around, spread: Mapping[str, float]) -> dict[str, BentLine]:
    """Find outputs that first order does not describe, tried one standard deviation off.

    Returns
    -------
    dict of str to BentLine
        Of each such output, bent by what was found there.
    """
    names, answer, slopes = near.names, near.answer, near.slopes
    doubtful = {name for name in names if not np.isfinite(spread[name])}
    leading = "area" if "closing_pressure" in doubtful else "closing_pressure"
    steep = slopes[names.index(leading)]
    size = float(np.linalg.norm(steep))
    if size == 0:
        none = np.zeros_like(steep)
        return {
            n: bent_line(n, answer.values[n], slopes[names.index(n)], none, None) for n in doubtful
        }
    direction = steep / size
    try:
        found = [near.solve(sign * direction) for sign in (1.0, -1.0)]
    except OutsideModel:
        found = []
        doubtful = set(names)
    out: dict[str, BentLine] = {}
    for name, row in zip(names, slopes, strict=True):
        value = answer.values[name]
        for sign, there in zip((1.0, -1.0), found, strict=False):
            step = sign * float(row @ direction)
            signed = name in SIGNED or value <= 0
            guess = value + step if signed else value * np.exp(step / value)
            if not abs(there[name] - guess) <= GOOD_ENOUGH * spread[name]:
                doubtful.add(name)
        if name in doubtful:
            both = (found[0][name], found[1][name]) if found else None
            out[name] = bent_line(name, value, row, direction, both)
    return out


def linearised(
    value: float, spread: float, level: float, signed: bool, shares: Mapping[str, float]
) -> Interval:
    """Make a normal interval, in the logarithm for outputs that cannot be negative."""
    z = float(norm.ppf(0.5 + level / 2))
    if signed or value <= 0:
        low, high = value - z * spread, value + z * spread
    else:
        factor = np.exp(z * spread / value)
        low, high = value / factor, value * factor
    return Interval(value, float(low), float(high), spread, level, "linearised", shares)


def from_samples(value: float, many: Drawn, level: float, shares: Mapping[str, float]) -> Interval:
    """Interval between quantiles of drawn outputs."""
    low, high = np.quantile(many.values, [(1 - level) / 2, (1 + level) / 2])
    spread = float(np.std(many.values, ddof=1))
    method: Method = "curved" if many.held else "sampled"
    return Interval(value, float(low), float(high), spread, level, method, shares)
