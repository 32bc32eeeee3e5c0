"""Charts as Vega-Lite specifications, and their SVG.

A specification is a plain dictionary: the same one serves page, report and terminal.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from crowlight.bench.assess import Judged
from crowlight.reed import Blade, instruments
from crowlight.report.counting import Counting
from crowlight.report.words import Words, mark

__all__ = ["chart_svg", "sections_chart"]

#: Fractions across where the blade is cut open to look: left, centre, right.
LINES = ((-0.6, mark("left")), (0.0, mark("centreline")), (0.6, mark("right")))
#: A reading belongs to a section within this part of the half width.
NEAR = 0.22
_LIGHT = {
    "ink": "#1a1f20",
    "soft": "#4f595b",
    "grid": "#d9d2c1",
    "map": "#1b5791",
    "style": "#c99a21",
    "paper": "#fbf8f1",
}
_DARK = {
    "ink": "#f2eee4",
    "soft": "#b2bbbb",
    "grid": "#3a4344",
    "map": "#8fc3f3",
    "style": "#b0934f",
    "paper": "#15191a",
}


def sections_chart(
    group: Judged,
    blade: Blade,
    *,
    words: Words,
    dark: bool = False,
    counting: Counting | None = None,
) -> dict[str, Any]:
    """Return sections of one blade: readings with error bars, the map, the style's band.

    Parameters
    ----------
    group : Judged
        Readings with a map.
    blade : Blade
        Which blade.
    words : Words
        The language.
    dark : bool
        Whether it stands on a dark page.
    counting : Counting, optional
        What positions are counted from; the tip if its place is known, else the rim.

    Returns
    -------
    dict
        A Vega-Lite specification, sections below each other, the tip at the left; positions in mm.
    """
    if group.mapped is None:
        msg = "these readings have no map"
        raise ValueError(msg)
    shown = group.mapped.shown
    counting = counting or Counting.of_map(group.mapped)
    fraction, half = np.array(shown.fraction), np.array(shown.half_width)
    along = np.array(shown.along)
    mean, sd = np.array(shown.mean[blade]), np.array(shown.sd[blade])
    style_low, style_high = np.array(shown.style_low), np.array(shown.style_high)
    lines: list[dict[str, Any]] = []
    points: list[dict[str, Any]] = []
    for at, name in LINES:
        column = int(np.argmin(np.abs(fraction - at)))
        lines += [
            {
                "section": words(name),
                "at_mm": round(counting.position(along[i]) * 1e3, 3),
                "map": round(mean[i, column] * 1e3, 4),
                "map_low": round(max(mean[i, column] - 1.96 * sd[i, column], 0.0) * 1e3, 4),
                "map_high": round((mean[i, column] + 1.96 * sd[i, column]) * 1e3, 4),
                "style_low": round(style_low[i, column] * 1e3, 4),
                "style_high": round(style_high[i, column] * 1e3, 4),
            }
            for i in range(len(along))
        ]
        for r in group.readings:
            width = float(np.interp(r.place.along, along[::-1], half[::-1]))
            if r.place.blade is blade and abs(r.place.across / width - at) <= NEAR:
                gauge = instruments()[r.instrument]
                bar = 2.0 * float(np.hypot(gauge.repeatability, gauge.resolution / np.sqrt(12.0)))
                points.append(
                    {
                        "section": words(name),
                        "at_mm": round(counting.position(r.place.along) * 1e3, 3),
                        "shown": round(r.thickness * 1e3, 4),
                        "low": round((r.thickness - bar) * 1e3, 4),
                        "high": round((r.thickness + bar) * 1e3, 4),
                    }
                )
    return _specification(lines, points, counting, words, _DARK if dark else _LIGHT)


def _specification(
    lines: list[dict[str, Any]],
    points: list[dict[str, Any]],
    counting: Counting,
    words: Words,
    colours: Mapping[str, str],
) -> dict[str, Any]:
    x = {
        "field": "at_mm",
        "type": "quantitative",
        "title": counting.axis(words),
        "scale": {"nice": False, "zero": False, "reverse": counting.towards_tip},
    }
    y = {"type": "quantitative", "title": words(mark("thickness, mm"))}

    def area(low: str, high: str, colour: str, opacity: float) -> dict[str, Any]:
        return {
            "mark": {"type": "area", "color": colour, "opacity": opacity, "clip": True},
            "encoding": {"x": x, "y": {**y, "field": low}, "y2": {"field": high}},
        }

    def section(name: str) -> dict[str, Any]:
        own = [p for p in points if p["section"] == name]
        return {
            "title": name,
            "width": 270,
            "height": 120,
            "data": {"values": [row for row in lines if row["section"] == name]},
            "layer": [
                area("style_low", "style_high", colours["style"], 0.35),
                area("map_low", "map_high", colours["map"], 0.35),
                {
                    "mark": {"type": "line", "color": colours["map"], "strokeWidth": 2},
                    "encoding": {"x": x, "y": {**y, "field": "map"}},
                },
                {
                    "data": {"values": own},
                    "mark": {"type": "rule", "color": colours["ink"], "strokeWidth": 1.5},
                    "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
                },
                {
                    "data": {"values": own},
                    "mark": {"type": "point", "filled": True, "color": colours["ink"], "size": 24},
                    "encoding": {"x": x, "y": {**y, "field": "shown"}},
                },
            ],
        }

    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "background": None,
        "vconcat": [section(words(name)) for _, name in LINES],
        "config": {
            "font": "sans-serif",
            "view": {"stroke": None},
            "title": {"anchor": "start", "color": colours["ink"], "fontSize": 13},
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


def chart_svg(specification: Mapping[str, Any]) -> str:
    """Return a chart as SVG.

    Parameters
    ----------
    specification : mapping
        Vega-Lite.
    """
    import vl_convert  # its engine takes a while to start

    return vl_convert.vegalite_to_svg(dict(specification), vl_version="6.4", show_warnings=False)
