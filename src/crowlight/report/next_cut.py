"""Drawings of what to do next: both blades as the maker holds them, and one shaded patch.

A patch is as large and as soft as the plan means it: shaded where cane comes off, fading where the
knife leaves it. A clip is a band at the tip, drawn higher than it is so that it can be seen.
Nothing else is shaded, and the words of the picture say the same as the patch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.plan.cut import Part, bare_reed, patch
from crowlight.reed import Blade
from crowlight.reed.styles import Style
from crowlight.report.finding import zone_name
from crowlight.report.held import Held, Tip
from crowlight.report.maps import flat_png, resampled
from crowlight.report.words import Words, mark

__all__ = ["BladeDrawn", "cane_picture", "cane_table", "next_picture", "pick_picture", "where_held"]

Real = NDArray[np.float64]

#: Units of the drawing per millimetre, along and across: blades are drawn wider than they are.
_ALONG, _ACROSS = 15.0, 21.0
#: Free space around the blades for names, between them, and below for the thread.
_EDGE, _GAP, _WOUND = 40.0, 34.0, 26.0
#: Least height of the band that stands for a clip.
_BAND = 14.0
#: Where in a zone its number stands, from its rim end to its tip end.
_HEIGHTS: Mapping[str, float] = {"spine": 0.85, "windows": 0.55, "rails": 0.2}
#: Grid a patch is worked out on.
_ROWS, _COLUMNS = 44, 21
#: Shades of a patch, from its edge to its middle.
_SHADES = 16


@dataclass(frozen=True, slots=True)
class BladeDrawn:
    """The outline of a blade and the lines between its zones.

    Parameters
    ----------
    style : Style
        Laid on the reed's length, its zones divided where this reed's transition is.
    """

    style: Style

    @property
    def along(self) -> list[float]:
        """Positions from the tip to the thread [m from the bottom rim]."""
        ends = self.style.length, self.style.thread_top
        return [float(a) for a in np.linspace(*ends, 24)]

    @property
    def half_width(self) -> list[float]:
        """Half the width at each of them [m]."""
        return [float(h) for h in self.style.outline.half_width(self.along)]

    @property
    def size(self) -> tuple[float, float]:
        """Width and length in units of the drawing."""
        long = (self.style.length - self.style.thread_top) * 1e3 * _ALONG
        return 2.0 * max(self.half_width) * 1e3 * _ACROSS, long + _WOUND

    def down(self, along: float) -> float:
        """Return how far below the tip a position lies."""
        return round((self.style.length - along) * 1e3 * _ALONG, 1)

    def shapes(self) -> list[str]:
        """Draw blade, zone lines and thread in their own frame: tip up, centreline at 0."""
        right = [
            (round(h * 1e3 * _ACROSS, 1), self.down(a))
            for a, h in zip(self.along, self.half_width, strict=True)
        ]
        outline = [(-x, y) for x, y in right] + right[::-1]
        end, half = right[-1][1], right[-1][0]
        return [
            f'<path d="M{"L".join(f"{x:g} {y:g}" for x, y in outline)}Z" class="blade"/>',
            *(self._line(name) for name in ("tip", "transition")),
            *(
                f'<path d="M{-half:g} {end + 5 + 7 * i:g}H{half:g}" class="thread"/>'
                for i in range(3)
            ),
        ]

    def _line(self, zone: str) -> str:
        """Draw where a zone ends towards the rim."""
        found = next((z for z in self.style.zones if z.name == zone), None)
        if found is None:
            return ""
        fraction = np.linspace(-1.0, 1.0, 9)
        along = np.interp(np.abs(fraction), (0.0, 0.5, 1.0), found.start)
        half = self.style.outline.half_width(along) * 1e3 * _ACROSS
        points = [
            f"{u * h:.1f} {self.down(float(a)):g}"
            for u, h, a in zip(fraction, half, along, strict=True)
        ]
        return f'<path d="M{"L".join(points)}" class="zone-line"/>'


# --- words ------------------------------------------------------------------------------------


def where_held(option: Mapping[str, Any], held: Held, words: Words) -> str:
    """Return where an option is done, as the reed is held; empty for what has no place.

    Parameters
    ----------
    option : mapping
        One of the options of `crowlight.plan.cut.as_data`.
    held : Held
        How the reed is held.
    words : Words
        The language.
    """
    blades = [Blade(b) for b in option["blades"]]
    if option["kind"] not in ("scrape", "clip") or not blades:
        return ""
    which = words(mark("both blades")) if len(blades) == 2 else words.blade(blades[0])
    if option["kind"] == "clip":
        return words.say(mark("%(blades)s, tip edge"), blades=which)
    part = Part(option["part"] or "whole")
    said = held.part(part, words)
    if part in (Part.CORNERS, Part.LEFT_CORNER, Part.RIGHT_CORNER):
        return words.say(mark("%(blades)s, %(part)s"), blades=which, part=said)
    return words.say(
        mark("%(blades)s, %(zone)s, %(part)s"),
        blades=which,
        zone=zone_name(option["zone"], words),
        part=said,
    )


# --- pictures ---------------------------------------------------------------------------------


def next_picture(
    option: Mapping[str, Any] | None, drawn: BladeDrawn, *, held: Held, words: Words, name: str
) -> str:
    """Draw both blades as they are held and shade what the option takes off.

    Parameters
    ----------
    option : mapping or None
        One of the options of `crowlight.plan.cut.as_data`; None shades nothing.
    drawn : BladeDrawn
        The reed.
    held : Held
        How it is held.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.

    Returns
    -------
    str
        An ``<svg>`` element. Colours come by class; the shading is a mask, so that one drawing
        serves light and dark.
    """
    option = option or {"kind": "leave", "blades": [], "zone": None, "part": None}
    touched = [Blade(b) for b in option["blades"]]
    over: dict[Blade, list[str]] = {blade: [] for blade in Blade}
    extra = ""
    if option["kind"] == "scrape":
        extra = _mask(drawn, option, f"{name}-soft")
        wide, _ = drawn.size
        tall = drawn.down(drawn.style.thread_top)
        over |= {
            b: [
                f'<rect x="{-wide / 2:g}" y="0" width="{wide:g}" height="{tall:g}" class="act" '
                f'mask="url(#{name}-soft)"/>'
            ]
            for b in touched
        }
    elif option["kind"] == "clip":
        high = max(drawn.down(drawn.style.length - option["clip"]), _BAND)
        half = max(drawn.half_width) * 1e3 * _ACROSS
        over |= {
            b: [f'<path d="M{-half:g} 0H{half:g}V{high:g}H{-half:g}Z" class="act"/>']
            for b in touched
        }
    where = where_held(option, held, words)
    shaded = (
        words.say(mark("Shaded: %(where)s."), where=where)
        if where
        else words(mark("Nothing is shaded."))
    )
    title = words(mark("Both blades as you hold them"))
    told = f"{held.said(words)} {shaded}"
    return _both(drawn, over, extra, held=held, words=words, name=name, title=title, told=told)


def cane_table(
    cane_left: Sequence[Mapping[str, Any]], words: Words
) -> list[tuple[str, list[tuple[str, int | None]]]]:
    """Return the light strokes left: zone, then what each blade is called and has left.

    Parameters
    ----------
    cane_left : sequence of mapping
        ``cane_left`` of an option of `crowlight.plan.cut.as_data`.
    words : Words
        The language.
    """
    zones = list(dict.fromkeys(c["zone"] for c in cane_left))
    left = {(c["zone"], c["blade"]): int(c["strokes"]) for c in cane_left}
    return [
        (zone_name(z, words), [(words.blade(b), left.get((z, b.value))) for b in Blade])
        for z in zones
    ]


def cane_picture(
    cane_left: Sequence[Mapping[str, Any]],
    drawn: BladeDrawn,
    *,
    held: Held,
    words: Words,
    name: str,
) -> str:
    """Draw how many light strokes each zone has left above its floor, on both blades.

    Parameters
    ----------
    cane_left : sequence of mapping
        ``cane_left`` of an option of `crowlight.plan.cut.as_data`.
    drawn, held, words, name
        As for `next_picture`.

    Returns
    -------
    str
        An ``<svg>`` element; `cane_table` says the same.
    """
    numbers: dict[Blade, list[tuple[float, float, str]]] = {b: [] for b in Blade}
    zones = {z.name: z for z in drawn.style.zones}
    for c in cane_left:
        zone = zones.get(c["zone"])
        if zone is None:
            continue
        # on its middle line; narrow strips side by side have theirs at different heights
        u = 0.0 if zone.inner == 0.0 else (zone.inner + zone.outer) / 2
        start, stop = (float(np.interp(u, (0.0, 0.5, 1.0), z)) for z in (zone.start, zone.stop))
        along = start + _HEIGHTS.get(zone.name, 0.5) * (stop - start)
        across = u * float(drawn.style.outline.half_width(along)) * 1e3 * _ACROSS
        numbers[Blade(c["blade"])].append((across, drawn.down(along), str(int(c["strokes"]))))
    told = "; ".join(
        f"{zone}: " + ", ".join(f"{b} {'–' if n is None else words.number(n, 0)}" for b, n in rows)
        for zone, rows in cane_table(cane_left, words)
    )
    return _both(
        drawn,
        {b: [] for b in Blade},
        "",
        held=held,
        words=words,
        name=name,
        title=words(mark("Light strokes left above the floors")),
        told=told or words(mark("Not known.")),
        numbers=numbers,
    )


def pick_picture(drawn: BladeDrawn, *, held: Held, words: Words, name: str) -> str:
    """Draw both blades divided into what one may tap: zones, and within them their parts.

    Each piece carries ``data-blade``, ``data-zone`` and ``data-part``, named facing the blade with
    its tip up, however the reed is held.

    Parameters
    ----------
    drawn, held, words, name
        As for `next_picture`.

    Returns
    -------
    str
        An ``<svg>`` element; the fields beside it must offer the same choices.
    """
    pieces = _pieces(drawn)
    over = {
        blade: [
            f'<path d="{path}" class="pick" data-blade="{blade.value}" data-zone="{zone}" '
            f'data-part="{part.value}"/>'
            for zone, part, path in pieces
        ]
        for blade in Blade
    }
    return _both(
        drawn,
        over,
        "",
        held=held,
        words=words,
        name=name,
        title=words(mark("Both blades as you hold them")),
        told=words(mark("Tap where it was cut; the fields say the same.")),
    )


#: Ranges across a blade [fraction of the half width] and the part each one is.
_THIRDS = ((-1.0, -0.35, Part.LEFT), (-0.35, 0.35, Part.WHOLE), (0.35, 1.0, Part.RIGHT))
_CORNERS = ((-1.0, -0.5, Part.LEFT_CORNER), (0.5, 1.0, Part.RIGHT_CORNER))
_CORNER = 2.0e-3


def _pieces(drawn: BladeDrawn) -> list[tuple[str, Part, str]]:
    """Return what may be tapped: zone, part, outline; the last drawn lies on top."""
    zones = drawn.style.zones
    divided = any(z.name == "windows" for z in zones)
    out: list[tuple[str, Part, str]] = []
    for z in zones:
        if z.name == "bark" or (z.name == "back" and divided):
            continue
        if z.inner == 0.0 and z.outer == 1.0:
            ranges = _THIRDS
        elif z.inner == 0.0:
            ranges = ((-z.outer, z.outer, Part.WHOLE),)
        else:
            ranges = ((-z.outer, -z.inner, Part.LEFT), (z.inner, z.outer, Part.RIGHT))
        for low, high, part in ranges:
            out.append((z.name, part, _piece(drawn, low, high, z.start, z.stop)))
    tip = drawn.style.length
    edge, inner = (tip, tip, tip), (tip - _CORNER,) * 3
    out += [("tip", part, _piece(drawn, a, b, inner, edge)) for a, b, part in _CORNERS]
    return out


def _piece(
    drawn: BladeDrawn,
    low: float,
    high: float,
    start: tuple[float, ...],
    stop: tuple[float, ...],
) -> str:
    fraction = np.linspace(low, high, 5)
    points: list[str] = []
    for u, line in [*((u, stop) for u in fraction), *((u, start) for u in fraction[::-1])]:
        along = float(np.interp(abs(u), (0.0, 0.5, 1.0), line))
        x = u * float(drawn.style.outline.half_width(along)) * 1e3 * _ACROSS
        points.append(f"{x:.1f} {drawn.down(along):g}")
    return f"M{'L'.join(points)}Z"


def _both(
    drawn: BladeDrawn,
    over: Mapping[Blade, Sequence[str]],
    extra: str,
    *,
    held: Held,
    words: Words,
    name: str,
    title: str,
    told: str,
    numbers: Mapping[Blade, Sequence[tuple[float, float, str]]] | None = None,
) -> str:
    """Draw both blades, marked first; what lies over each is in its own frame."""
    wide, long = drawn.size
    if held.sideways:
        size = long + 2 * _EDGE, 2 * (wide + 2 * _EDGE)
    else:
        size = 2 * wide + _GAP + 2 * _EDGE, long + 2 * _EDGE
    parts: list[str] = []
    for i, blade in enumerate(Blade):
        turn = _turned(drawn, held.tip, i, size)
        parts += [
            f'<g transform="{turn.text}">{"".join(drawn.shapes())}',
            # the mark that tells the two apart, as makers set one near the thread
            f'<circle cx="0" cy="{drawn.down(drawn.style.thread_top) - 16:g}" r="8" class="dot"/>'
            if blade is Blade.MARKED
            else "",
            *over[blade],
            "</g>",
            *_names(drawn, turn, blade, held, words),
            *(
                _word(*turn.point(x, y), text, css="count")
                for x, y, text in (numbers or {}).get(blade, ())
            ),
        ]
    return (
        f'<svg class="reed held held-{held.tip.value}" viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" '
        f'role="img" aria-labelledby="{name}-title" aria-describedby="{name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(told)}</desc>{extra}{"".join(parts)}</svg>'
    )


@dataclass(frozen=True, slots=True)
class _Turn:
    """A blade's own frame laid into the drawing: rows of a rotation, then a shift."""

    xx: int
    xy: int
    yx: int
    yy: int
    dx: float
    dy: float

    @property
    def text(self) -> str:
        """As SVG writes it."""
        return f"matrix({self.xx} {self.yx} {self.xy} {self.yy} {self.dx:g} {self.dy:g})"

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Return where a point of the blade comes to lie."""
        return self.xx * x + self.xy * y + self.dx, self.yx * x + self.yy * y + self.dy


def _turned(drawn: BladeDrawn, tip: Tip, index: int, size: tuple[float, float]) -> _Turn:
    wide, _ = drawn.size
    column = _EDGE + wide / 2 + index * (wide + _GAP)
    row = (wide + 2 * _EDGE) * index + _EDGE + wide / 2
    match tip:
        case Tip.UP:
            return _Turn(1, 0, 0, 1, column, _EDGE)
        case Tip.DOWN:
            return _Turn(-1, 0, 0, -1, column, size[1] - _EDGE)
        case Tip.RIGHT:
            return _Turn(0, -1, 1, 0, size[0] - _EDGE, row)
        case Tip.LEFT:
            return _Turn(0, 1, -1, 0, _EDGE, row)


def _word(x: float, y: float, text: str, *, css: str, anchor: str = "middle") -> str:
    return (
        f'<text x="{x:.1f}" y="{y + 7:.1f}" class="{css}" text-anchor="{anchor}">'
        f"{escape(text)}</text>"
    )


def _names(drawn: BladeDrawn, turn: _Turn, blade: Blade, held: Held, words: Words) -> list[str]:
    """Name the blade and its edges, upright however the reed is turned."""
    wide, long = drawn.size
    out: list[str] = []
    for sign, side in ((-1, "left"), (1, "right")):
        x, y = turn.point(sign * 0.33 * wide, -20.0)
        if held.sideways:
            # beside the middle of the edge, where there is room for a word
            x, y = turn.point(sign * (wide / 2 + 18.0), 0.0)
        anchor = {Tip.RIGHT: "end", Tip.LEFT: "start"}.get(held.tip, "middle")
        out.append(_word(x, y, held.side(side, words), css="edge", anchor=anchor))
    x, y = turn.point(0.0, long + 18.0)
    if held.sideways:
        x, y = turn.point(wide / 2 * (1 if held.tip is Tip.RIGHT else -1) + 0.0, long / 2)
        y = max(turn.point(-wide / 2, 0)[1], turn.point(wide / 2, 0)[1]) + 20.0
    out.append(_word(x, y, words.blade(blade), css="blade-name"))
    return out


def _mask(drawn: BladeDrawn, option: Mapping[str, Any], name: str) -> str:
    """Return the mask of a patch: white where most cane comes off, nothing where none does."""
    part = Part(option["part"] or "whole")
    image = _soft(drawn.style, option["zone"], part, oblique=bool(option.get("oblique")))
    wide, _ = drawn.size
    tall = drawn.down(drawn.style.thread_top)
    return (
        f'<mask id="{name}" maskUnits="userSpaceOnUse" x="{-wide / 2:g}" y="0" '
        f'width="{wide:g}" height="{tall:g}"><image href="{image}" x="{-wide / 2:g}" y="0" '
        f'width="{wide:g}" height="{tall:g}" preserveAspectRatio="none"/></mask>'
    )


def _soft(style: Style, zone: str, part: Part, *, oblique: bool) -> str:
    """Return the shape of a patch as a picture, light where most comes off."""
    along = np.linspace(style.length, style.thread_top, _ROWS)
    fraction = np.linspace(-1.0, 1.0, _COLUMNS)
    shape = patch(bare_reed(style, along, fraction), zone, part, oblique=oblique)
    outline = _Outline(tuple(along), tuple(style.outline.half_width(along)))
    (fine,) = resampled(outline, tuple(fraction), [shape])
    index = np.round(np.nan_to_num(fine) * _SHADES).astype(np.uint8)
    greys = [(v, v, v) for v in np.linspace(0, 255, _SHADES + 1)[1:].round().astype(int).tolist()]
    return flat_png(index, greys)


@dataclass(frozen=True, slots=True)
class _Outline:
    along: tuple[float, ...]
    half_width: tuple[float, ...]
