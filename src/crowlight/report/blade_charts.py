"""Charts of the blade model and of a journey, as Vega-Lite specifications.

Lines differ by dash as well as by colour. Each chart has a table beside it on the page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from crowlight.bench.mechanics import BladesShown
from crowlight.report.words import Words, mark

__all__ = ["REGIMES", "altitude_chart", "opening_chart", "profile_chart", "strip_chart"]

_LIGHT = {
    "ink": "#1a1f20",
    "soft": "#4f595b",
    "grid": "#d9d2c1",
    "main": "#1b5791",
    "second": "#a0330a",
    "third": "#6f5200",
}
_DARK = {
    "ink": "#f2eee4",
    "soft": "#b2bbbb",
    "grid": "#3a4344",
    "main": "#8fc3f3",
    "second": "#ffa477",
    "third": "#e0b04a",
}
_WIDTH = 270
#: What one blowing pressure gives, from quiet to shut.
REGIMES: Mapping[str, str] = {
    "silent": mark("silent"),
    "single": mark("one note"),
    "octave": mark("with the octave below"),
    "rattling": mark("rattling"),
    "closed": mark("closed"),
}


def _colours(dark: bool) -> Mapping[str, str]:
    return _DARK if dark else _LIGHT


def _whole(parts: list[dict[str, Any]], colours: Mapping[str, str], **more: Any) -> dict[str, Any]:
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "background": None,
        **more,
        "vconcat": parts,
        "config": {
            "font": "sans-serif",
            "view": {"stroke": None},
            "title": {"anchor": "start", "color": colours["ink"], "fontSize": 13},
            "legend": {
                "labelColor": colours["ink"],
                "title": None,
                "orient": "bottom",
                "direction": "vertical",
                "labelFontSize": 12,
                "labelLimit": 260,
                "symbolStrokeWidth": 2.5,
            },
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


def _axis(title: str, field: str = "", **more: Any) -> dict[str, Any]:
    named = {"field": field} if field else {}
    return {"type": "quantitative", "title": title, **named, **more}


def opening_chart(found: BladesShown, *, words: Words, dark: bool = False) -> dict[str, Any]:
    """Return the opening against the pressure that closes it, with its band.

    Parameters
    ----------
    found : BladesShown
        The blade model's answer.
    words : Words
        The language.
    dark : bool
        Whether it stands on a dark page.

    Returns
    -------
    dict
        A Vega-Lite specification; pressure in kPa, area in mm².
    """
    colours = _colours(dark)
    rows = [
        {
            "p": round(p * 1e-3, 4),
            "area": round(a * 1e6, 4),
            "low": round(low * 1e6, 4),
            "high": round(high * 1e6, 4),
        }
        for p, a, low, high in zip(
            found.pressures, found.areas, found.area_low, found.area_high, strict=True
        )
    ]
    x = _axis(words(mark("pressure from outside, kPa")), "p", scale={"nice": False})
    y = _axis(words(mark("opening area, mm²")))
    playing = [{"p": found.playing_pressure * 1e-3, "told": words(mark("playing"))}]
    return _whole(
        [
            {
                "width": _WIDTH,
                "height": 200,
                "data": {"values": rows},
                "layer": [
                    {
                        "mark": {"type": "area", "color": colours["main"], "opacity": 0.25},
                        "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
                    },
                    {
                        "mark": {
                            "type": "line",
                            "color": colours["main"],
                            "strokeWidth": 2.5,
                            "point": {"color": colours["main"], "size": 28},
                        },
                        "encoding": {"x": x, "y": {**y, "field": "area"}},
                    },
                    {
                        "data": {"values": playing},
                        "mark": {"type": "rule", "color": colours["soft"], "strokeDash": [4, 3]},
                        "encoding": {"x": x},
                    },
                    {
                        "data": {"values": playing},
                        "mark": {
                            "type": "text",
                            "color": colours["ink"],
                            "align": "left",
                            "dx": 4,
                            "y": 8,
                            "fontSize": 12,
                        },
                        "encoding": {"x": x, "text": {"field": "told"}},
                    },
                ],
            }
        ],
        colours,
    )


def profile_chart(found: BladesShown, *, words: Words, dark: bool = False) -> dict[str, Any]:
    """Return the opening across the tip, at rest and while playing: the marked blade above.

    Parameters
    ----------
    found, words, dark
        As for `opening_chart`.

    Returns
    -------
    dict
        A Vega-Lite specification in mm; heights are stretched.
    """
    colours = _colours(dark)
    states = (
        (words(mark("at rest")), found.profile_rest),
        (words(mark("at playing pressure")), found.profile_playing),
    )
    rows = [
        {
            "x": round(x * 1e3, 3),
            "y": round(sign * y * 1e3, 4),
            "state": state,
            "line": f"{state} {sign}",
        }
        for state, pair in states
        for sign, heights in zip((1, -1), pair, strict=True)
        for x, y in zip(found.profile_across, heights, strict=True)
    ]
    names = [s for s, _ in states]
    scale = {"domain": names, "range": [colours["main"], colours["second"]]}
    return _whole(
        [
            {
                "width": _WIDTH,
                "height": 130,
                "data": {"values": rows},
                "mark": {"type": "line", "strokeWidth": 2.5},
                "encoding": {
                    "x": _axis(
                        words(mark("mm across, as seen facing the marked blade")),
                        "x",
                        scale={"nice": False},
                    ),
                    "y": _axis(words(mark("mm; marked blade above")), "y"),
                    "detail": {"field": "line"},
                    "color": {"field": "state", "type": "nominal", "scale": scale},
                    "strokeDash": {
                        "field": "state",
                        "type": "nominal",
                        "scale": {"domain": names, "range": [[1, 0], [6, 3]]},
                    },
                },
            }
        ],
        colours,
    )


def altitude_chart(
    chart: Mapping[str, Any],
    places: Sequence[tuple[str, float]],
    *,
    words: Words,
    dark: bool = False,
) -> dict[str, Any]:
    """Return effects against altitude with two places marked.

    Parameters
    ----------
    chart : mapping
        ``chart`` of `crowlight.bench.air.travel`.
    places : sequence of (str, float)
        Name and altitude [m].
    words, dark
        As for `opening_chart`.

    Returns
    -------
    dict
        A Vega-Lite specification: thresholds in per cent, pitches in cents, against sea level.
    """
    colours = _colours(dark)
    shown = (
        (
            words(mark("pressure at which it starts, %")),
            100.0,
            ((mark("middle note"), "threshold"), (mark("low note"), "low_threshold")),
        ),
        (
            words(mark("pitch, cents")),
            1.0,
            ((mark("middle note"), "pitch"), (mark("crow"), "crow_pitch")),
        ),
    )
    parts = []
    for title, factor, lines in shown:
        names = [words(said) for said, _ in lines]
        rows = [
            {
                "altitude": a,
                "line": words(said),
                "low": factor * band[0],
                "middle": factor * band[1],
                "high": factor * band[2],
            }
            for said, field in lines
            for a, band in zip(chart["altitude"], chart[field], strict=True)
        ]
        x = _axis(words(mark("altitude, m")), "altitude", scale={"nice": False})
        colour = {
            "field": "line",
            "type": "nominal",
            "scale": {"domain": names, "range": [colours["main"], colours["second"]]},
        }
        dash = {
            "field": "line",
            "type": "nominal",
            "scale": {"domain": names, "range": [[1, 0], [6, 3]]},
        }
        marks = [{"altitude": altitude, "place": name} for name, altitude in places]
        parts.append(
            {
                "title": title,
                "width": _WIDTH,
                "height": 150,
                "data": {"values": rows},
                "layer": [
                    # colours by hand: else the legend would show the pale bands, not the lines
                    *(
                        {
                            "transform": [{"filter": {"field": "line", "equal": name}}],
                            "mark": {"type": "area", "color": colours[hue], "opacity": 0.22},
                            "encoding": {"x": x, "y": _axis("", "low"), "y2": {"field": "high"}},
                        }
                        for name, hue in zip(names, ("main", "second"), strict=True)
                    ),
                    {
                        "mark": {"type": "line", "strokeWidth": 2.5},
                        "encoding": {
                            "x": x,
                            "y": _axis("", "middle"),
                            "color": colour,
                            "strokeDash": dash,
                        },
                    },
                    {
                        "data": {"values": marks},
                        "mark": {"type": "rule", "color": colours["ink"], "strokeDash": [2, 3]},
                        "encoding": {"x": x},
                    },
                    *_place_names(marks, x, colours),
                ],
            }
        )
    return _whole(
        parts,
        colours,
        resolve={"scale": {"color": "independent", "strokeDash": "independent"}},
    )


def _place_names(
    marks: Sequence[Mapping[str, Any]], x: Mapping[str, Any], colours: Mapping[str, str]
) -> list[dict[str, Any]]:
    """Write the lower place to the right of its line and the higher one to the left."""
    ordered = sorted(marks, key=lambda m: m["altitude"])
    return [
        {
            "data": {"values": [m]},
            "mark": {
                "type": "text",
                "color": colours["ink"],
                "align": "left" if i == 0 else "right",
                "dx": 4 if i == 0 else -4,
                "y": 8 + 15 * i,
                "fontSize": 12,
                "limit": 150,
            },
            "encoding": {"x": x, "text": {"field": "place", "type": "nominal"}},
        }
        for i, m in enumerate(ordered)
    ]


def strip_chart(strip: Mapping[str, Any], *, words: Words, dark: bool = False) -> dict[str, Any]:
    """Return what the modelled crow does as one blows harder.

    Parameters
    ----------
    strip : mapping
        ``strip`` of `crowlight.bench.air.crow_model`.
    words, dark
        As for `opening_chart`.

    Returns
    -------
    dict
        A Vega-Lite specification: pressure in multiples of the threshold; one row per regime; the
        larger the dot, the more disturbed runs agree.
    """
    colours = _colours(dark)
    names = [words(said) for said in REGIMES.values()]
    rows = [
        {
            "over": round(float(over), 3),
            "regime": words(REGIMES.get(regime, regime)),
            "agree": float(agree),
        }
        for over, regime, agree in zip(
            strip["pressure_over_threshold"], strip["regime"], strip["agreement"], strict=True
        )
    ]
    high = max(r["over"] for r in rows)
    ticks = list(np.arange(1.0, high + 0.01, 0.5).round(1))
    return _whole(
        [
            {
                "width": _WIDTH - 90,
                "height": 150,
                "data": {"values": rows},
                "mark": {"type": "point", "filled": True, "color": colours["main"], "opacity": 1},
                "encoding": {
                    "x": _axis(
                        words(mark("blowing pressure, times the one where it starts")),
                        "over",
                        scale={"zero": False, "nice": False, "padding": 12},
                        axis={"values": [float(t) for t in ticks]},
                    ),
                    "y": {
                        "field": "regime",
                        "type": "nominal",
                        "sort": names[::-1],
                        "scale": {"domain": names[::-1]},
                        "title": None,
                        "axis": {"grid": True, "labelLimit": 170},
                    },
                    "size": {
                        "field": "agree",
                        "type": "quantitative",
                        "scale": {"domain": [0, 1], "range": [10, 190]},
                        "legend": None,
                    },
                },
            }
        ],
        colours,
    )
