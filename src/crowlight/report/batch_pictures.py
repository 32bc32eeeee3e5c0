"""Pictures of a batch: small maps and sections of all reeds on one scale, and control charts.

Small maps are aligned at the tip and share bands and scale, so that what is unlike catches the eye.
They are a few hundred bytes each: a page of sixty reeds stays light.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.batch_found import Charted
from crowlight.bench.batch_reed import BatchMap, BatchReed
from crowlight.report.batch_words import quantity_name, unit_kind, unit_name
from crowlight.report.maps import BANDS, flat_png, swatches
from crowlight.report.words import Words, literal, mark

__all__ = ["control_chart_spec", "map_key", "small_map"]

_LIGHT = {
    "ink": "#1a1f20",
    "soft": "#4f595b",
    "grid": "#d9d2c1",
    "main": "#1b5791",
    "signal": "#a0330a",
}
_DARK = {
    "ink": "#f2eee4",
    "soft": "#b2bbbb",
    "grid": "#3a4344",
    "main": "#8fc3f3",
    "signal": "#ffa477",
}
#: Millimetres shown from the tip on, and the widest half of a blade [mm].
_LONG, _HALF = 24.0, 3.9
#: Picture units per millimetre, pixels of the image per millimetre.
_SCALE, _PIXELS = 6.0, 4
_GAP = 10.0  # between the blades
_SECTION = 46.0  # height of the section, for 0 to 0.7 mm
_THICKEST = 700.0  # micrometres


def _image(small: BatchMap, blade: int) -> NDArray[np.uint8]:
    """Return the bands of one blade, tip first, 0 off the blade; all reeds on one raster."""
    along, half = np.array(small.along), np.array(small.half_width)
    mean = np.array(small.mean[blade], dtype=float)
    rows, columns = round(_LONG * _PIXELS), round(2 * _HALF * _PIXELS)
    a = along[0] - (np.arange(rows) + 0.5) / _PIXELS * 1e-3
    x = ((np.arange(columns) + 0.5) / _PIXELS - _HALF) * 1e-3
    width = np.interp(a, along[::-1], half[::-1])
    f = x[None, :] / width[:, None]
    # linear between the rows, then between the columns of the small grid
    r = np.interp(a, along[::-1], np.arange(len(along))[::-1].astype(float))
    low = np.clip(r.astype(int), 0, len(along) - 2)
    part = (r - low)[:, None]
    lines = mean[low] * (1.0 - part) + mean[low + 1] * part
    fraction = np.array(small.fraction)
    c = np.interp(f, fraction, np.arange(len(fraction), dtype=float))
    left = np.clip(c.astype(int), 0, len(fraction) - 2)
    thick = np.take_along_axis(lines, left, 1) * (1.0 - (c - left))
    thick += np.take_along_axis(lines, left + 1, 1) * (c - left)
    band = np.digitize(thick * 1e-3, BANDS) + 1
    off = (np.abs(f) > 1.0) | (a < along[-1])[:, None]
    return np.where(off, 0, band).astype(np.uint8)


def _outline(small: BatchMap, left: float) -> str:
    middle = left + _HALF * _SCALE
    places = list(zip(small.along, small.half_width, strict=True))
    some = [*places[:-1:4], places[-1]]  # both ends, and every fourth row between them
    points = [
        (middle + sign * h * 1e3 * _SCALE, (small.along[0] - a) * 1e3 * _SCALE)
        for sign, order in ((-1.0, some), (1.0, some[::-1]))
        for a, h in order
    ]
    return f'<path d="M{"L".join(f"{x:.0f} {y:.0f}" for x, y in points)}Z" class="outline"/>'


def _section(small: BatchMap, blade: int, top: float) -> str:
    """Draw thickness along the centreline, the tip at the left."""
    centre = len(small.fraction) // 2
    wide = 2 * (2 * _HALF * _SCALE) + _GAP
    points = [
        (
            (small.along[0] - a) * 1e3 / _LONG * wide,
            top + _SECTION * (1.0 - min(row[centre] / _THICKEST, 1.0)),
        )
        for a, row in zip(small.along, small.mean[blade], strict=True)
    ]
    return f'<path d="M{"L".join(f"{x:.0f} {y:.0f}" for x, y in points)}" class="cut{blade}"/>'


def small_map(reed: BatchReed, name: str, words: Words) -> str:
    """Draw one reed: both blades as maps, and their centreline sections below.

    Parameters
    ----------
    reed : BatchReed
        The reed; it must have a map.
    name : str
        Its name.
    words : Words
        The language.

    Returns
    -------
    str
        An ``<svg>`` element; every reed on the same scale.
    """
    small = reed.measured.map
    if small is None:
        msg = "this reed has no map"
        raise ValueError(msg)
    blade_wide = 2 * _HALF * _SCALE
    wide, tall = 2 * blade_wide + _GAP, _LONG * _SCALE
    parts: list[str] = []
    for blade in (0, 1):
        left = blade * (blade_wide + _GAP)
        image = flat_png(_image(small, blade), words.palette.thick)
        parts.append(
            f'<image href="{image}" x="{left:g}" y="0" width="{blade_wide:g}" height="{tall:g}" '
            f'preserveAspectRatio="none"/>{_outline(small, left)}'
        )
    top = tall + 6.0
    for thick in (200.0, 400.0, 600.0):
        y = top + _SECTION * (1.0 - thick / _THICKEST)
        parts.append(f'<path d="M0 {y:.0f}H{wide:.0f}" class="level"/>')
    parts += [_section(small, blade, top) for blade in (0, 1)]
    told = words.say(
        mark("%(name)s: maps of the marked and the plain blade, tip up; sections below, tip left"),
        name=literal(name),
    )
    return (
        f'<svg class="reed small" viewBox="0 0 {wide:g} {top + _SECTION:g}" role="img" '
        f'aria-label="{escape(told)}">{"".join(parts)}</svg>'
    )


def map_key(words: Words) -> str:
    """Return the key of all small maps."""
    labels = [words.thin(b * 1e-3, 2) if i % 2 == 0 else "" for i, b in enumerate(BANDS)]
    notes = [words.say(mark("thickness, %(unit)s"), unit=words.thickness_unit)]
    label = escape(words(mark("Key of the maps")))
    return (
        f'<svg class="reed key" viewBox="0 0 330 44" role="img" aria-label="{label}">'
        f"{swatches(words.palette.thick, labels, notes)}</svg>"
    )


def control_chart_spec(charted: Charted, *, words: Words, dark: bool = False) -> dict[str, Any]:
    """Return the control chart of one quantity: single reeds above, steps between them below.

    Parameters
    ----------
    charted : Charted
        With a chart.
    words : Words
        The language.
    dark : bool
        Whether it stands on a dark page.

    Returns
    -------
    dict
        A Vega-Lite specification.
    """
    chart = charted.chart
    if chart is None:
        msg = "this quantity has no chart"
        raise ValueError(msg)
    colours = _DARK if dark else _LIGHT
    code, kind = charted.code, unit_kind(charted.code)
    factor = 1e3 if kind in {"thickness", "length"} else 1.0
    unit = "mm" if factor > 1.0 else unit_name(code, words)
    flagged = {s.at for s in chart.signals if s.rule != "range"}
    stepped = {s.at for s in chart.signals if s.rule == "range"}
    reeds = [
        {"order": i + 1, "value": round(v * factor, 5), "signal": i in flagged}
        for i, v in enumerate(chart.values)
    ]
    steps = [
        {"order": i + 2, "value": round(v * factor, 5), "signal": i + 1 in stepped}
        for i, v in enumerate(chart.ranges)
    ]
    name = quantity_name(code, words)
    title = f"{name}, {unit}" if unit else name
    lines = (chart.low * factor, chart.centre * factor, chart.high * factor)
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "background": None,
        "vconcat": [
            _panel(reeds, lines, title, colours, height=170, zero=False),
            _panel(
                steps,
                (0.0, chart.mean_range * factor, chart.range_high * factor),
                words.say(mark("step, %(unit)s"), unit=unit),
                colours,
                height=80,
                zero=True,
                axis=words(mark("reeds in the order of their making")),
            ),
        ],
        "config": {
            "font": "sans-serif",
            "view": {"stroke": None},
            "axis": {
                "labelColor": colours["ink"],
                "titleColor": colours["soft"],
                "gridColor": colours["grid"],
                "domainColor": colours["soft"],
                "tickColor": colours["soft"],
                "labelFontSize": 12,
                "titleFontSize": 12,
                "titleFontWeight": "normal",
            },
        },
    }


def _panel(
    points: Sequence[Mapping[str, Any]],
    lines: tuple[float, float, float],
    title: str,
    colours: Mapping[str, str],
    *,
    height: int,
    zero: bool,
    axis: str = "",
) -> dict[str, Any]:
    x = {
        "field": "order",
        "type": "quantitative",
        "title": axis or None,
        "axis": {"tickMinStep": 1, "format": "d"},
        "scale": {"nice": False, "domain": [0.5, max(int(p["order"]) for p in points) + 0.5]},
    }
    y = {
        "field": "value",
        "type": "quantitative",
        "title": title,
        "scale": {"zero": zero, "nice": True},
    }
    rules = [
        {"value": value, "kind": kind}
        for value, kind in zip(lines, ("limit", "centre", "limit"), strict=True)
        if not (zero and value == 0.0)
    ]
    return {
        "width": 520,
        "height": height,
        "layer": [
            {
                "data": {"values": [r for r in rules if r["kind"] == kind]},
                "mark": {"type": "rule", "color": colours["soft"], "strokeDash": dash},
                "encoding": {"y": y},
            }
            for kind, dash in (("limit", [6, 4]), ("centre", [1, 0]))
        ]
        + [
            {
                "data": {"values": list(points)},
                "mark": {"type": "line", "color": colours["main"], "strokeWidth": 1.5},
                "encoding": {"x": x, "y": y},
            },
            {
                "data": {"values": [p for p in points if not p["signal"]]},
                "mark": {
                    "type": "point",
                    "filled": True,
                    "color": colours["main"],
                    "size": 40,
                    "opacity": 1,
                },
                "encoding": {"x": x, "y": y},
            },
            {
                "data": {"values": [p for p in points if p["signal"]]},
                "mark": {
                    "type": "point",
                    "shape": "diamond",
                    "filled": True,
                    "color": colours["signal"],
                    "size": 130,
                    "opacity": 1,
                },
                "encoding": {"x": x, "y": y},
            },
        ],
    }
