"""What the readings of one reed tell its batch, in few numbers: computed once per reed and kept.

A thickness map leans towards its style where readings tell little. That is right for one reed, but
would make all reeds of a batch look alike. Every quantity taken from the map is therefore stretched
by the share of the prior variance that the readings took away (regression calibration): what is
then left is as far from the style as the readings say, with the wider uncertainty that goes with
it. Zones whose sides or blades were read in pairs have their difference from those pairs.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.assess import TOLERANCE
from crowlight.bench.batch_facts import ReedFacts
from crowlight.bench.mapping import thickness_map
from crowlight.bench.ports import Report
from crowlight.bench.styles import ENOUGH_READINGS, known_style
from crowlight.errors import InputError
from crowlight.judge import paired_differences
from crowlight.judge.geometry import AT_SIDE, CORNER, TOLD, Against
from crowlight.judge.pooled import Pooled, pooled_pairs
from crowlight.judge.sums import (
    STRETCH,
    ThicknessSum,
    evaluate,
    heart_length,
    strip_mean,
    transition_position,
    transition_steepness,
    zone_mean,
)
from crowlight.reed import Blade, Reading, Side
from crowlight.reed.styles import Style
from crowlight.reed.thickness import BLADES, ThicknessMap

__all__ = ["BatchMap", "BatchMeasured", "BatchReed", "Known", "Sides", "batch_reed"]

Array = NDArray[np.float64]

#: Grid of a small map: columns across, and the distance of its rows [m].
_COLUMNS, _ROW = 9, 1.0e-3


@dataclass(frozen=True, slots=True)
class Known:
    """A quantity of one reed.

    Parameters
    ----------
    value, uncertainty : float
        With its standard uncertainty; [m], but [1] for slopes.
    wanted, spread : float
        What the style asks and its spread from reed to reed; NaN if it asks nothing.
    tolerance : float
        For differences: the largest that does not matter; else NaN.
    """

    value: float
    uncertainty: float
    wanted: float = math.nan
    spread: float = math.nan
    tolerance: float = math.nan


@dataclass(frozen=True, slots=True)
class Sides:
    """Left less right as seen of both blades; NaN where not measured.

    Parameters
    ----------
    marked, marked_uncertainty, plain, plain_uncertainty : float
        [m], but [1] for slopes.
    tolerance : float
        The largest that does not matter.
    """

    marked: float
    marked_uncertainty: float
    plain: float
    plain_uncertainty: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchMap:
    """A small map of both blades.

    Parameters
    ----------
    along : tuple of float
        Rows, tip first [m from the bottom rim].
    half_width : tuple of float
        [m].
    fraction : tuple of float
        Columns, -1 to 1.
    mean : tuple of tuple of tuple of int
        Thickness of the marked and of the plain blade [micrometres].
    """

    along: tuple[float, ...]
    half_width: tuple[float, ...]
    fraction: tuple[float, ...]
    mean: tuple[tuple[tuple[int, ...], ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchMeasured:
    """What the readings of one reed say, for its batch.

    Parameters
    ----------
    quantities : mapping of str to Known
        Of the reed as a whole.
    sides : mapping of str to Sides
        Left less right.
    blades : mapping of str to Known
        Marked less plain.
    map : BatchMap or None
        The map.
    not_mapped : str
        Why there is none, as in `crowlight.bench.assess.Judged`; ``"none"`` without readings.
    readings : int
        How many went in.
    """

    quantities: Mapping[str, Known] = field(default_factory=dict[str, Known])
    sides: Mapping[str, Sides] = field(default_factory=dict[str, Sides])
    blades: Mapping[str, Known] = field(default_factory=dict[str, Known])
    map: BatchMap | None = None
    not_mapped: str = ""
    readings: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A sum, what the prior has for it, what the style asks, and where its answer goes."""

    code: str
    group: str  # level, blades, or the index of a blade for its sides
    total: ThicknessSum
    reference: float
    wanted: float = math.nan
    tolerance: float = math.nan
    spread: float = math.nan
    told: float = 1.0  # of what is no thickness


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchReed:
    """One reed of a batch: what was written down and what its readings say.

    Parameters
    ----------
    uuid : UUID
        The reed.
    seq : int
        Number of its latest entry.
    style : str
        Code of its scrape style; empty if none was written down.
    oboe : bool
        Whether it is an oboe's, so that the usual steps from cane to blank are meant for it.
    facts : ReedFacts
        What was written down.
    measured : BatchMeasured
        What its readings say.
    """

    uuid: UUID
    seq: int
    style: str
    oboe: bool
    facts: ReedFacts
    measured: BatchMeasured


def batch_reed(inputs: Mapping[str, Any], report: Report = lambda _: None) -> BatchReed:
    """Gather one reed for its batch; `inputs` as for `measured_reed`, with uuid, seq and facts."""
    facts: ReedFacts = inputs["facts"]
    style = _style(inputs)
    measured = measured_reed(inputs, report)
    more: dict[str, Known] = {}
    if style is not None and inputs.get("length") is not None:
        wanted = style.lengths["overall"]
        doubt = inputs.get("length_uncertainty") or 0.25e-3
        more["overall-length"] = Known(inputs["length"], doubt, wanted.value, wanted.spread)
    if facts.opening is not None:
        more["opening"] = Known(facts.opening, facts.opening_uncertainty or 0.05e-3)
    return BatchReed(
        uuid=inputs["uuid"],
        seq=inputs["seq"],
        style=inputs.get("style") or "",
        oboe=style is None or style.instrument == "oboe",
        facts=facts,
        measured=replace(measured, quantities={**measured.quantities, **more}),
    )


def _style(inputs: Mapping[str, Any]) -> Style | None:
    with suppress(InputError):
        if code := inputs.get("style"):
            return known_style(code, inputs.get("style_text") or "")
    return None


def measured_reed(inputs: Mapping[str, Any], report: Report = lambda _: None) -> BatchMeasured:
    """Work out the quantities of one reed.

    Parameters
    ----------
    inputs : mapping
        As in `crowlight.bench.assess.assess`.
    report : callable
        Called with the fraction done.

    Returns
    -------
    BatchMeasured
        Only readings in the state the style's numbers are of are used.
    """
    code, readings = inputs.get("style"), inputs["readings"]
    if not readings:
        return BatchMeasured(not_mapped="none")
    if not code:
        return BatchMeasured(not_mapped="no-style", readings=len(readings))
    style = _style(inputs)
    if style is None:
        return BatchMeasured(not_mapped="unknown-style", readings=len(readings))
    chosen: list[Reading] = [r for r in readings if r.state is style.state]
    if not chosen:
        return BatchMeasured(not_mapped="state", readings=len(readings))
    if min(sum(r.place.blade is b for r in chosen) for b in Blade) < ENOUGH_READINGS:
        return BatchMeasured(not_mapped="few", readings=len(chosen))
    report(0.1)
    try:
        found = thickness_map(inputs, chosen)
    except InputError as error:
        return BatchMeasured(not_mapped=str(error), readings=len(chosen))
    report(0.7)
    differences = paired_differences(
        chosen, tolerance=inputs.get("tolerance", TOLERANCE), gauges=inputs.get("gauges") or {}
    )
    pairs = pooled_pairs(differences.comparisons, found.zones)
    return _gathered(found, pairs, len(chosen), inputs.get("length") is not None)


def _gathered(
    found: ThicknessMap,
    pairs: Mapping[tuple[Against, str, Blade | None], Pooled],
    readings: int,
    length_known: bool,
) -> BatchMeasured:
    asked = [*_levels(found, length_known), *_differences(found)]
    got = evaluate(found, [a.total for a in asked])
    levels: dict[str, Known] = {}
    blades: dict[str, Known] = {}
    sides: dict[str, dict[str, _Asked]] = {}
    values: dict[tuple[str, str], tuple[float, float]] = {}
    for i, a in enumerate(asked):
        told = min(float(got.told[i]), a.told)
        value, doubt = math.nan, math.nan
        if told >= TOLD:
            # drawn out by what the readings did not tell
            value = a.reference + (float(got.values[i]) - a.reference) / told
            doubt = float(got.sd[i]) / math.sqrt(told)
        if a.group == "level":
            levels[a.code] = Known(value, doubt, a.wanted, a.spread)
        elif a.group == "blades":
            blades[a.code] = Known(value, doubt, tolerance=a.tolerance)
        else:
            sides.setdefault(a.code, {})[a.group] = a
            values[a.code, a.group] = value, doubt
    for (against, zone, blade), pooled in pairs.items():
        answer = pooled.value, pooled.standard_uncertainty
        if against is Against.BLADES and zone in blades:
            blades[zone] = Known(*answer, tolerance=blades[zone].tolerance)
        elif blade is not None and zone in sides:
            values[zone, str(BLADES.index(blade))] = answer
    return BatchMeasured(
        quantities=levels,
        blades=blades,
        sides={
            code: Sides(*values[code, "0"], *values[code, "1"], of["0"].tolerance)
            for code, of in sides.items()
        },
        map=_small(found),
        readings=readings,
    )


def _level(found: ThicknessMap, code: str, total: ThicknessSum, asked: ThicknessSum) -> _Asked:
    """Ask for a sum of thicknesses on the zones of this reed; the style is asked on its own."""
    style = found.style
    values, spreads = style.vector()
    prior = style.mean(values, total.along, total.fraction)
    mean, jacobian = style.mean.with_jacobian(values, asked.along, asked.fraction)
    spread = (asked.weight @ jacobian) * spreads
    return _Asked(
        code=code,
        group="level",
        total=total,
        reference=float(total.weight @ prior),
        wanted=float(asked.weight @ mean),
        spread=math.sqrt(float(spread @ spread)),
    )


def _both(make: Callable[[int], ThicknessSum]) -> ThicknessSum:
    return (make(0) + make(1)) * 0.5


def _middle_of_heart(zones: Style, blade: int) -> ThicknessSum:
    heart = zones.zone("heart")
    low, high = heart.start[0], heart.stop[0]
    return strip_mean(blade, low + 0.3 * (high - low), low + 0.7 * (high - low), 0.15)


def _levels(found: ThicknessMap, length_known: bool) -> Iterator[_Asked]:
    """Ask for the reed as a whole: both blades together."""
    style, zones = found.style, found.zones

    def ask(code: str, of: Callable[[Style, int], ThicknessSum]) -> _Asked:
        here, there = (_both(partial(of, at)) for at in (zones, style))
        return _level(found, code, here, there)

    yield ask("tip-thickness", partial(_whole_zone, "tip"))
    yield ask("heart-thickness", _middle_of_heart)
    for name in ("spine", "windows", "rails"):
        if name in {zone.name for zone in zones.zones}:
            yield ask(f"{name}-thickness", partial(_whole_zone, name))
    yield ask("tip-slope", lambda at, b: _tip_slope(at, b, 0.0))
    positions = [transition_position(found, b, 0.0) for b in (0, 1)]
    figure = style.profile["transition.position"]
    middle = (positions[0] + positions[1]) * 0.5
    if length_known:
        wanted = style.lengths["tip"]
        yield _Asked(
            code="tip-length",
            group="level",
            total=(middle * -1.0).plus(style.length),
            reference=style.length - figure.value,
            wanted=wanted.value,
            spread=wanted.spread,
        )
    at = evaluate(found, positions).values
    usual = style.thickness([figure.value - STRETCH, figure.value + STRETCH], [0.0, 0.0])
    yield _Asked(
        code="transition-steepness",
        group="level",
        total=_both(lambda b: transition_steepness(b, float(at[b]), 0.0)),
        reference=float(usual[0] - usual[1]) * 0.5 / STRETCH,
    )
    hearts = [heart_length(found, b, positions[b]) for b in (0, 1)]
    start = style.profile["bark.start" if style.shape.back is None else "back.start"]
    yield _Asked(
        code="heart-length",
        group="level",
        total=(hearts[0][0] + hearts[1][0]) * 0.5,
        reference=figure.value - start.value,
        wanted=style.lengths["heart"].value,
        spread=style.lengths["heart"].spread,
        told=min(told for _, told in hearts),
    )


def _whole_zone(name: str, at: Style, blade: int) -> ThicknessSum:
    return zone_mean(at, at.zone(name), blade)


def _differences(found: ThicknessMap) -> Iterator[_Asked]:
    """Ask for left less right on each blade, and for marked less plain."""
    style, zones = found.style, found.zones.zones
    divided = "windows" in {zone.name for zone in zones}
    for zone in zones:
        if (zone.name == "back" and divided) or zone.name == "bark":
            continue
        if zone.outer > 0.3:
            for b in (0, 1):
                left, right = (zone_mean(style, zone, b, side) for side in (Side.LEFT, Side.RIGHT))
                yield _difference(zone.name, str(b), left - right, zone.tolerance.sides)
        whole = zone_mean(style, zone, 0) - zone_mean(style, zone, 1)
        yield _difference(zone.name, "blades", whole, zone.tolerance.blades)
    tip = found.zones.zone("tip")
    length = style.length - tip.start[0]
    # a slope over the tip's length differs by as much as its two ends may
    slope = tip.tolerance.sides / length
    places = {
        (b, u): transition_position(found, b, u) for b in (0, 1) for u in (-AT_SIDE, 0.0, AT_SIDE)
    }
    at = dict(zip(places, evaluate(found, list(places.values())).values, strict=True))
    steep = {key: transition_steepness(key[0], float(x), key[1]) for key, x in at.items()}
    even = style.even
    for name, of, tolerance in (
        ("transition-position", places, even["position"].value),
        ("transition-steepness", steep, even["steepness"].value),
    ):
        for b in (0, 1):
            yield _difference(name, str(b), of[b, -AT_SIDE] - of[b, AT_SIDE], tolerance)
        yield _difference(name, "blades", of[0, 0.0] - of[1, 0.0], tolerance)
    for b in (0, 1):
        total = _tip_slope(found.zones, b, -AT_SIDE) - _tip_slope(found.zones, b, AT_SIDE)
        yield _difference("tip-slope", str(b), total, slope)
    whole = _tip_slope(found.zones, 0, 0.0) - _tip_slope(found.zones, 1, 0.0)
    yield _difference("tip-slope", "blades", whole, slope)


def _difference(code: str, group: str, total: ThicknessSum, tolerance: float) -> _Asked:
    return _Asked(code=code, group=group, total=total, reference=0.0, tolerance=tolerance)


def _tip_slope(zones: Style, blade: int, fraction: float) -> ThicknessSum:
    """Return the slope of the tip along one column, rising towards the transition [1]."""
    front, back = zones.length - CORNER, zones.zone("tip").start[0] + 0.3e-3
    column = np.array([back, front])
    span = front - back
    return ThicknessSum(
        np.full(2, float(blade)), column, np.full(2, fraction), np.array([1.0, -1.0]) / span
    )


def _small(found: ThicknessMap) -> BatchMap:
    rows = max(round((float(found.along[0]) - float(found.along[-1])) / _ROW), 2)
    along = _steps(float(found.along[0]), float(found.along[-1]), rows)
    fraction = _steps(float(found.fraction[0]), float(found.fraction[-1]), _COLUMNS)
    # weights of the old rows in the new ones; the same across
    down = _weights(-found.along, -along)
    across = _weights(found.fraction, fraction)
    small = np.rint(np.einsum("ri,bij,cj->brc", down, found.mean, across) * 1e6).astype(int)
    return BatchMap(
        along=_line(along, 6),
        half_width=_line(found.style.outline.half_width(along), 6),
        fraction=_line(fraction, 4),
        mean=tuple(tuple(tuple(map(int, row)) for row in blade) for blade in small),
    )


def _steps(first: float, last: float, count: int) -> Array:
    return first + (last - first) * np.arange(count, dtype=float) / (count - 1)


def _weights(old: Array, new: Array) -> Array:
    """Return what linear interpolation from rising places `old` to `new` adds up."""
    return np.array([np.interp(new, old, unit) for unit in np.eye(len(old))]).T


def _line(values: Array, digits: int) -> tuple[float, ...]:
    return tuple(round(float(v), digits) for v in values)
