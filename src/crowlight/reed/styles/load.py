"""Reading scrape styles from their data files."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from crowlight.errors import InputError
from crowlight.reed.readings import CaneState
from crowlight.reed.styles.profile import Shape
from crowlight.reed.styles.style import SOURCES, Figure, Outline, Point, Style, Tolerance, Zone

__all__ = ["STYLE_CODES", "read_style", "style"]

#: Styles that come with crowlight.
STYLE_CODES = (
    "long",
    "short-u",
    "short-v",
    "short-w",
    "cor-anglais-long",
    "oboe-damore-long",
)

_COLUMN_FRACTION = {"L": -1.0, "l": -1.0, "C": 0.0, "r": 1.0, "R": 1.0}


@cache
def style(code: str) -> Style:
    """Return a style that comes with crowlight.

    Raises
    ------
    InputError
        If there is none with this code; the message lists those there are.
    """
    if code not in STYLE_CODES:
        msg = f"style {code!r} is not known; use one of: {', '.join(STYLE_CODES)}"
        raise InputError(msg)
    text = (files("crowlight.reed.styles") / f"{code}.toml").read_text(encoding="utf-8")
    return read_style(text)


def read_style(text: str) -> Style:
    """Build a style from the text of a style file.

    Parameters
    ----------
    text : str
        TOML in millimetres; ``long.toml`` explains the format.

    Raises
    ------
    InputError
        If a part is missing or a source tag is not one of `SOURCES`.
    """
    try:
        return _style(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        msg = f"the style file is not TOML: {error}"
        raise InputError(msg) from None
    except KeyError as error:
        msg = f"the style file lacks {error}; compare it with the styles that come with crowlight"
        raise InputError(msg) from None


def _style(data: Mapping[str, Any]) -> Style:
    profile, back, bark = data["profile"], data["profile"].get("back"), data["profile"]["bark"]
    lengths = {name: _figure(row) for name, row in data["lengths"].items()}
    length = lengths["overall"].value
    outline = Outline(
        tuple(_mm(data["outline"]["along"])),
        tuple(_mm(data["outline"]["width"])),
        data["outline"]["spread"] * 1e-3,
        _source(data["outline"]["source"]),
    )
    fixed = {"blend", "window", "lines"}
    figures = {
        f"{band}.{name}": _figure(row)
        for band, table in profile.items()
        for name, row in table.items()
        if name not in fixed or (band, name) == ("transition", "blend")
    }
    shape = Shape(
        tip=length,
        transition=figures["transition.position"].value,
        back=figures["back.start"].value if back else None,
        bark=figures["bark.start"].value,
        back_blend=_figure(back["blend"]).value if back else 1e-3,
        bark_blend=_figure(bark["blend"]).value,
        window=back["window"][0] if back else 0.5,
        bark_lines=_three(bark.get("lines", (0.0, 0.0, 0.0))),
    )
    zones = tuple(_zone(name, table, length) for name, table in data["zones"].items())
    made = {
        which: _points(data["points"][which], data["points"], outline, zones)
        for which in ("full", "quick")
    }
    return Style(
        code=data["code"],
        instrument=data["instrument"],
        scrape=data["scrape"],
        state=CaneState(data["state"]),
        length=length,
        lengths=lengths,
        outline=outline,
        profile=figures,
        shape=shape,
        unevenness={
            name: (row[0] * 1e-3, row[1] * 1e-3) for name, row in data["unevenness"].items()
        },
        even={
            name: Figure(value * (1.0 if name == "steepness" else 1e-3), 0.0, _source(tag))
            for name, (value, tag) in data["even"].items()
        },
        zones=zones,
        full=made["full"],
        quick=made["quick"],
    )


def _mm(values: Sequence[float]) -> list[float]:
    return [v * 1e-3 for v in values]


def _three(values: Sequence[float]) -> tuple[float, float, float]:
    a, b, c = _mm(values)
    return a, b, c


def _source(tag: str) -> str:
    if tag not in SOURCES:
        msg = f"source tag {tag!r} is not known; use one of: {', '.join(SOURCES)}"
        raise InputError(msg)
    return tag


def _figure(row: Sequence[Any]) -> Figure:
    value, spread, tag = row
    return Figure(value * 1e-3, spread * 1e-3, _source(tag))


def _zone(name: str, table: Mapping[str, Any], length: float) -> Zone:
    stop = table["stop"]
    inner, outer = table["across"]
    floor, floor_edge, floor_source = table["floor"]
    tolerance = Tolerance(
        sides=table["even_sides"][0] * 1e-3,
        blades=table["even_blades"][0] * 1e-3,
        floor=floor * 1e-3,
        floor_edge=floor_edge * 1e-3,
        sides_source=_source(table["even_sides"][1]),
        blades_source=_source(table["even_blades"][1]),
        floor_source=_source(floor_source),
    )
    return Zone(
        name,
        _three(table["start"]),
        (length, length, length) if stop == "tip" else _three(stop),
        inner,
        outer,
        tolerance,
    )


def _points(
    rows: Sequence[tuple[float, str]],
    table: Mapping[str, Any],
    outline: Outline,
    zones: tuple[Zone, ...],
) -> tuple[Point, ...]:
    points: list[Point] = []
    for number, (along_mm, columns) in enumerate(rows, start=1):
        along = along_mm * 1e-3
        half = float(outline.half_width(along))
        for column in columns.split():
            reach = half - table["margin"] * 1e-3 if column in "LR" else half * table["window"]
            across = _COLUMN_FRACTION[column] * reach
            zone = next(z for z in zones if z.contains(along, across / half))
            points.append(Point(f"{number}{column}", zone.name, along, across))
    return tuple(points)
