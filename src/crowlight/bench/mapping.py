"""The thickness map of a reed and what its geometry says, as plain values that can be kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from crowlight.bench.styles import known_style
from crowlight.judge import Differences
from crowlight.judge.geometry import Geometry, Measured, judge_geometry
from crowlight.judge.pooled import from_pairs
from crowlight.reed import Blade, Instrument, Place, Reading, Repeatability, instrument
from crowlight.reed.styles import Style
from crowlight.reed.thickness import Gouge, ThicknessMap, map_thickness, next_points

__all__ = ["MapShown", "Mapped", "Rows", "mapped", "placed_style", "thickness_map"]

#: Rows of numbers [m], rounded to 10 nm.
Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapShown:
    """A map of both blades on one grid, tip first.

    Parameters
    ----------
    along : tuple of float
        Rows: positions from the bottom rim [m].
    fraction : tuple of float
        Columns: -1 at the left edge as seen, 1 at the right.
    half_width : tuple of float
        Half the width of the blade at each row [m].
    mean, sd : mapping of Blade to Rows
        Thickness and its standard deviation [m].
    left_right, left_right_sd : mapping of Blade to Rows
        Left minus right [m].
    left_right_fraction : tuple of float
        Their columns, 0 at the centreline, 1 at the edges.
    marked_plain, marked_plain_sd : Rows
        Marked minus the facing point of the plain blade [m].
    style_mean, style_low, style_high : Rows
        The style's profile, and the limits 95 % of its reeds lie within [m].
    """

    along: tuple[float, ...]
    fraction: tuple[float, ...]
    half_width: tuple[float, ...]
    mean: Mapping[Blade, Rows]
    sd: Mapping[Blade, Rows]
    left_right: Mapping[Blade, Rows]
    left_right_sd: Mapping[Blade, Rows]
    left_right_fraction: tuple[float, ...]
    marked_plain: Rows
    marked_plain_sd: Rows
    style_mean: Rows
    style_low: Rows
    style_high: Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """What the thickness map of a reed tells.

    Parameters
    ----------
    style : str
        Code of the style the map was drawn around.
    length : float
        Length the style was laid on [m].
    length_known : bool
        Whether that was measured; else it is the style's own.
    shown : MapShown
        The map.
    geometry : Geometry
        What differs between sides, blades and from the style.
    drying, drying_sd : float
        Thickness lost per minute as the reed dried on the gauge and its standard uncertainty
        [m/min]; what is usual where the readings do not tell.
    swelling : float
        Relative excess of the readings over the style's wet or dry state.
    next_places : tuple of Place
        Where another reading would tell most, best first.
    """

    style: str
    length: float
    length_known: bool
    shown: MapShown
    geometry: Geometry
    drying: float
    drying_sd: float
    swelling: float
    next_places: tuple[Place, ...]


def placed_style(code: str, length: float | None, text: str = "") -> Style:
    """Return a style laid on a reed.

    Parameters
    ----------
    code : str
        Its code.
    length : float or None
        Overall length [m]; the style's own if None.
    text : str
        Its text, if it is a maker's own.

    Returns
    -------
    Style
        The style.
    """
    chosen = known_style(code, text)
    return chosen if length is None else chosen.placed(length)


def thickness_map(
    inputs: Mapping[str, Any],
    readings: Sequence[Reading],
    gauges: Mapping[str, Instrument] | None = None,
) -> ThicknessMap:
    """Map the readings of one wet state; `inputs` as in `crowlight.bench.assess.assess`.

    `gauges` are those of `inputs` if not given.
    """
    if gauges is None:
        own: Mapping[str, Repeatability] = inputs.get("gauges") or {}
        gauges = {code: instrument(code).with_repeatability(r) for code, r in own.items()}
    centre, side = inputs.get("gouge_centre"), inputs.get("gouge_side")
    return map_thickness(
        readings,
        placed_style(inputs["style"], inputs.get("length"), inputs.get("style_text") or ""),
        gauges=gauges,
        gouge=Gouge(centre, side) if centre is not None and side is not None else None,
        common_shift=inputs.get("common_shift", 0.0),
    )


def mapped(
    inputs: Mapping[str, Any],
    readings: Sequence[Reading],
    *,
    differences: Differences,
    gauges: Mapping[str, Instrument] | None = None,
    risk: float = 0.05,
) -> Mapped:
    """Map and judge the readings of one wet state.

    Parameters
    ----------
    inputs : mapping
        As in `crowlight.bench.assess.assess`, with ``style``.
    readings : sequence of Reading
        The readings.
    differences : Differences
        Of the same readings.
    gauges : mapping of str to Instrument, optional
        The maker's own.
    risk : float
        Largest chance of naming any difference on a reed without.

    Returns
    -------
    Mapped
        The map and what it tells.
    """
    found = thickness_map(inputs, readings, gauges)
    length, top = inputs.get("length"), inputs.get("thread_top")
    lengths: dict[str, Measured] = {}
    if length is not None:
        lengths["overall"] = Measured(length, inputs.get("length_uncertainty") or 0.25e-3)
    if top is not None:
        lengths["staple"] = Measured(top)
    return Mapped(
        style=found.style.code,
        length=found.style.length,
        length_known=length is not None,
        shown=_shown(found),
        geometry=from_pairs(
            judge_geometry(found, lengths=lengths, risk=risk), differences, found.zones
        ),
        drying=float(found.fit.drying),
        drying_sd=float(np.sqrt(max(found.fit.covariance[-2, -2], 0.0))),
        swelling=float(found.fit.swelling),
        next_places=tuple(p.place for p in next_points(found, count=3)),
    )


def _shown(found: ThicknessMap) -> MapShown:
    style = found.style
    sides = {blade: found.left_right(blade) for blade in Blade}
    facing = found.marked_plain()
    rows, columns = np.meshgrid(found.along, found.fraction, indexing="ij")
    across = columns * style.outline.half_width(rows)
    low, high = style.band(rows, across)
    return MapShown(
        along=_line(found.along),
        fraction=_line(found.fraction),
        half_width=_line(style.outline.half_width(found.along)),
        mean={blade: _rows(found.mean[b]) for b, blade in enumerate(Blade)},
        sd={blade: _rows(found.sd[b]) for b, blade in enumerate(Blade)},
        left_right={blade: _rows(d.mean) for blade, d in sides.items()},
        left_right_sd={blade: _rows(d.sd) for blade, d in sides.items()},
        left_right_fraction=_line(sides[Blade.MARKED].fraction),
        marked_plain=_rows(facing.mean),
        marked_plain_sd=_rows(facing.sd),
        style_mean=_rows(style.thickness(rows, across)),
        style_low=_rows(low),
        style_high=_rows(high),
    )


def _line(values: ArrayLike) -> tuple[float, ...]:
    return tuple(float(v) for v in np.round(np.asarray(values, dtype=float), 8))


def _rows(values: ArrayLike) -> Rows:
    return tuple(_line(row) for row in np.asarray(values, dtype=float))
