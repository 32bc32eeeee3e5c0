"""The blade to be measured: drawn as the maker holds it, with the points to touch.

The width is stretched, so that points can be told apart by a thumb; nothing is read off it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from crowlight.reed import Blade, Place
from crowlight.reed.styles import Style
from crowlight.report.counting import Counting
from crowlight.report.held import Held, Tip
from crowlight.report.words import Words, mark

__all__ = ["Drawing", "measure_picture", "place_said"]

_LONG, _WIDE = 400.0, 236.0  # units along and across
_MARGIN = 34.0
_HIT = 18.0  # radius that a thumb meets
#: How far below the lowest point the drawing goes [m].
_BELOW = 2.5e-3


@dataclass(frozen=True, slots=True)
class Drawing:
    """Where places lie in the picture, and back.

    Parameters
    ----------
    style : Style
        The style laid on the reed.
    held : Held
        How the reed is held.
    bottom : float
        Lowest position drawn, from the bottom rim [m].
    """

    style: Style
    held: Held
    bottom: float

    @classmethod
    def of(cls, style: Style, held: Held) -> Drawing:
        """Return the drawing that holds every standard point of a style."""
        lowest = min(p.along for p in style.full)
        return cls(style, held, max(style.thread_top, lowest - _BELOW))

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the picture."""
        across, along = _WIDE + 2 * _MARGIN, _LONG + 2 * _MARGIN
        return (along, across) if self.held.sideways else (across, along)

    def _affine(self) -> tuple[np.ndarray, np.ndarray]:
        """Return matrix and offset that take (across, along) [m] to (x, y)."""
        half = float(np.max(self.style.outline.half_width(np.linspace(self.bottom, self._tip, 30))))
        u, v = _WIDE / 2 / half, _LONG / (self._tip - self.bottom)
        cx, cy = self.size[0] / 2, self.size[1] / 2
        middle = (self._tip + self.bottom) / 2
        match self.held.tip:
            case Tip.UP:
                m = np.array([[u, 0.0], [0.0, -v]])
            case Tip.DOWN:
                m = np.array([[-u, 0.0], [0.0, v]])
            case Tip.RIGHT:
                m = np.array([[0.0, v], [u, 0.0]])
            case Tip.LEFT:
                m = np.array([[0.0, -v], [-u, 0.0]])
        return m, np.array([cx, cy]) - m @ np.array([0.0, middle])

    @property
    def _tip(self) -> float:
        return self.style.length

    def spot(self, along: float, across: float) -> tuple[float, float]:
        """Return where a place lies in the picture."""
        matrix, offset = self._affine()
        x, y = matrix @ np.array([across, along]) + offset
        return round(float(x), 1), round(float(y), 1)

    def back(self) -> list[float]:
        """Return six numbers: across = a x + b y + c, along = d x + e y + f [m]."""
        matrix, offset = self._affine()
        inverse = np.linalg.inv(matrix)
        shift = -inverse @ offset
        return [float(f"{n:.9g}") for n in (*inverse[0], shift[0], *inverse[1], shift[1])]

    def outline(self) -> list[tuple[float, float]]:
        """Return positions, tip first, and half the width at each [m]."""
        along = np.linspace(self._tip, self.bottom, 25)
        half = self.style.outline.half_width(along)
        return [(float(a), float(h)) for a, h in zip(along, half, strict=True)]


def place_said(place: Place, *, held: Held, counting: Counting, words: Words) -> str:
    """Return a place in words, its side named as the reed is held.

    Examples
    --------
    >>> from crowlight.report.words import in_locale
    >>> place_said(Place(Blade.MARKED, 0.0686, -2e-3), held=Held(), words=in_locale("en"),
    ...            counting=Counting(length=0.07)).replace(chr(160), " ")
    'marked blade, 68.6 mm from the bottom rim, 2.0 mm left'
    """
    where = counting.where(place.along, words)
    if place.across == 0:
        side = words(mark("centreline"))
    else:
        name = held.side("left" if place.across < 0 else "right", words)
        side = f"{words.mm(abs(place.across), 1)} {name}"
    return f"{words.blade(place.blade)}, {where}, {side}"


def measure_picture(
    drawing: Drawing,
    blade: Blade,
    places: Sequence[Place],
    *,
    labels: Mapping[Place, str],
    values: Mapping[Place, str],
    counting: Counting,
    words: Words,
) -> str:
    """Draw one blade with the points to be measured.

    Parameters
    ----------
    drawing : Drawing
        See `Drawing.of`.
    blade : Blade
        Which blade.
    places : sequence of Place
        Points of this blade, each once, in their order.
    labels : mapping of Place to str
        What each is called, with what was read there.
    values : mapping of Place to str
        What was read last, as shown beside the point.
    counting : Counting
        What the scale counts from.
    words : Words
        The language.

    Returns
    -------
    str
        An ``<svg>`` in which every point is a button and one of them is a stop of the tab key.
    """
    width, height = drawing.size
    edge = drawing.outline()
    right = [drawing.spot(a, h) for a, h in edge]
    left = [drawing.spot(a, -h) for a, h in edge]
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in [*left, *reversed(right)]) + "Z"
    (x0, y0), (x1, y1) = drawing.spot(edge[0][0], 0.0), drawing.spot(edge[-1][0], 0.0)
    parts = [
        f'<path d="{path}" class="blade"/>',
        f'<path d="M{x0:g} {y0:g}L{x1:g} {y1:g}" class="centreline"/>',
        *_edges(drawing, words),
        *_scale(drawing, counting, words),
    ]
    points = [
        _point(n, drawing.spot(p.along, p.across), labels[p], values.get(p, ""), blade)
        for n, p in enumerate(places)
    ]
    name = words.say(mark("%(blade)s: points to measure"), blade=words.blade(blade))
    data = escape(json.dumps({"back": drawing.back(), "outline": edge}), quote=True)
    return (
        f'<svg class="reed entry-blade" viewBox="0 0 {width:g} {height:g}" role="group" '
        f'aria-label="{escape(name)}" data-blade="{blade.value}" data-drawn="{data}">'
        f'<g aria-hidden="true">{"".join(parts)}</g>{"".join(points)}</svg>'
    )


def _point(n: int, spot: tuple[float, float], label: str, value: str, blade: Blade) -> str:
    x, y = spot
    filled = " read" if value else ""
    return (
        f'<g class="pt{filled}" role="button" tabindex="{0 if n == 0 else -1}" '
        f'data-place="{blade.value}-{n}" aria-label="{escape(label, quote=True)}">'
        f'<circle class="hit" cx="{x:g}" cy="{y:g}" r="{_HIT:g}"/>'
        f'<circle class="spot" cx="{x:g}" cy="{y:g}" r="7"/>'
        f'<text class="val" x="{x:g}" y="{y - 11:g}" text-anchor="middle">{escape(value)}</text>'
        "</g>"
    )


def _edges(drawing: Drawing, words: Words) -> list[str]:
    """Name both edges as they are seen: beyond the tip, or above and below a reed held across."""
    out: list[str] = []
    tip, half = drawing.outline()[0]
    for side in drawing.held.edges().values():
        sign = -1 if side == "left" else 1
        if drawing.held.sideways:
            x, y = drawing.spot(tip - 2e-3, sign * half)
            y += -7.0 if y < drawing.size[1] / 2 else 17.0
        else:
            x, y = drawing.spot(tip + 1e-3, 0.6 * sign * half)
            y = min(max(y, 14.0), drawing.size[1] - 6.0)
        said = escape(drawing.held.side(side, words))
        out.append(f'<text class="edge" x="{x:g}" y="{y:g}" text-anchor="middle">{said}</text>')
    return out


def _scale(drawing: Drawing, counting: Counting, words: Words) -> list[str]:
    """Draw marks along the edge of the picture, in the numbers of the counting."""
    out: list[str] = []
    sideways = drawing.held.sideways
    for along, mm in counting.marks(drawing.bottom, drawing.style.length):
        x, y = drawing.spot(along, 0.0)
        if sideways:
            y = drawing.size[1] - 4.0
        else:
            x, y = 12.0, y + 4.0
        said = words.number(mm, 0)
        out.append(f'<text class="scale" x="{x:g}" y="{y:g}" text-anchor="middle">{said}</text>')
    return out
