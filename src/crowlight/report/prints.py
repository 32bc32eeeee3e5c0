"""Prints at true scale: blades with lines of equal thickness, a measuring card, tube labels.

Lengths on paper are those of the reed, or five times them; each page bears a ruler of 100 mm to
check the printer by. Drawings are SVG in millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from typing import Any
from uuid import UUID

import numpy as np
from babel.dates import format_date

from crowlight.bench.assess import Judged
from crowlight.bench.desk import Desk
from crowlight.bench.moments import Sheet
from crowlight.bench.ports import Player, Reed
from crowlight.bench.state import ReedState, state_of
from crowlight.bench.story import style_of
from crowlight.errors import InputError
from crowlight.reed import Blade
from crowlight.reed.styles import Point, Style
from crowlight.report.contours import contour
from crowlight.report.letter_findings import mapped_group
from crowlight.report.letter_pictures import standalone
from crowlight.report.paper import Paper, Printed, typeset
from crowlight.report.words import Words, in_locale, mark

__all__ = [
    "EDGE",
    "LARGE",
    "PRINTS",
    "RULER",
    "Label",
    "blades_print",
    "card_print",
    "label_of",
    "labels_print",
    "print_of",
]

#: What can be printed, and what it is called.
PRINTS = {
    "blades": mark("Blades with lines of equal thickness"),
    "card": mark("Measuring card"),
    "labels": mark("Tube labels"),
}
#: Thicknesses lines are drawn at [mm]; heavy ones at every tenth.
LEVELS = (0.06, 0.08, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60)
#: Only the ruler and the edge of a blade have these colours, so that a page can be measured.
RULER, EDGE = "#00304a", "#2b1f10"
#: Enlargement of the larger drawing.
LARGE = 5
_AROUND = 8.0  # mm of paper around a drawing for its scale


@dataclass(frozen=True, slots=True)
class _Figure:
    """A drawing: SVG in millimetres on paper, and how wide it is [mm]."""

    svg: str
    width: float
    caption: str
    told: str

    def plain(self) -> dict[str, Any]:
        """Return it as typst is given it."""
        return {"svg": self.svg, "width": self.width, "caption": self.caption, "told": self.told}


class _Plan:
    """Places of a blade on paper, tip up, in millimetres."""

    def __init__(self, along: np.ndarray, half: np.ndarray, scale: int) -> None:
        self.scale, self.tip, self.bottom = scale, float(along.max()), float(along.min())
        self.wide = 2e3 * float(half.max()) * scale + 2 * _AROUND
        self.tall = (self.tip - self.bottom) * 1e3 * scale + _AROUND
        self.along, self.half = along, half

    def x(self, across: float | np.ndarray) -> Any:
        return np.round(self.wide / 2 + np.asarray(across) * 1e3 * self.scale, 3)

    def y(self, along: float | np.ndarray) -> Any:
        return np.round(_AROUND / 2 + (self.tip - np.asarray(along)) * 1e3 * self.scale, 3)

    def outline(self) -> str:
        """Return the blade's edge as a path."""
        left = zip(self.x(-self.half), self.y(self.along), strict=True)
        right = zip(self.x(self.half)[::-1], self.y(self.along)[::-1], strict=True)
        spots = "L".join(f"{x:g} {y:g}" for x, y in (*left, *right))
        return f'<path d="M{spots}Z" fill="none" stroke="{EDGE}" stroke-width="0.2"/>'

    def scale_marks(self) -> Iterator[str]:
        """Yield a mark at every five millimetres of the blade from its tip."""
        edge = float(self.half.max())
        for n in range(0, int((self.tip - self.bottom) * 1e3 + 1e-6) + 1, 5):
            y = self.y(self.tip - n * 1e-3)
            yield (
                f'<path d="M{self.x(-edge) - 2.5:g} {y:g}h1.5" stroke="#4f595b" '
                'stroke-width="0.15"/>'
            )
            if self.scale > 1:
                yield _text(self.x(-edge) - 3, y + 1, str(n), anchor="end", size=2.8)

    def figure(self, parts: Sequence[str], *, caption: str, told: str) -> _Figure:
        """Return a drawing of these parts."""
        body = f'<svg viewBox="0 0 {self.wide:g} {self.tall:g}">{"".join(parts)}</svg>'
        return _Figure(standalone(body), self.wide, caption, told)


def _text(x: float, y: float, said: str, *, anchor: str = "middle", size: float = 2.6) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" style="font-size:{size:g}px;'
        f'paint-order:stroke;stroke:#fff;stroke-width:0.7px">{escape(said)}</text>'
    )


# --- blades ---------------------------------------------------------------------------------------


def _blade(group: Judged, blade: Blade, scale: int, words: Words) -> _Figure:
    if group.mapped is None:
        msg = "these readings have no map"
        raise ValueError(msg)
    shown = group.mapped.shown
    along, half = np.array(shown.along), np.array(shown.half_width)
    plan = _Plan(along, half, scale)
    x = plan.x(np.array(shown.fraction)[None, :] * half[:, None])
    y = plan.y(np.repeat(along[:, None], len(shown.fraction), axis=1))
    z = np.array(shown.mean[blade]) * 1e3
    parts = [plan.outline(), *plan.scale_marks()]
    labels: list[str] = []
    lowest = -10.0
    for level in LEVELS:
        lines = contour(x, y, z, level)
        if not len(lines):
            continue
        path = "".join(f"M{a[0]:.2f} {a[1]:.2f}L{b[0]:.2f} {b[1]:.2f}" for a, b in lines)
        heavy = round(level * 100) % 10 == 0
        parts.append(
            f'<path d="{path}" fill="none" stroke="#8c3408" stroke-linecap="round" '
            f'stroke-width="{0.3 if heavy else 0.15}"/>'
        )
        spots = lines.reshape(-1, 2)
        at = spots[np.argmin(np.abs(spots[:, 0] - plan.wide / 2))]
        if scale > 1 and abs(at[0] - plan.wide / 2) < 2.0 and at[1] - lowest > 2.8:
            lowest = float(at[1])
            labels.append(_text(float(at[0]), lowest + 0.9, words.number(level, 2)))
    name = words.blade(blade)
    caption = words.say(
        mark("%(blade)s, %(scale)s : 1"), blade=name[:1].upper() + name[1:], scale=str(scale)
    )
    told = words.say(
        mark("%(caption)s: outline with lines of equal thickness from %(least)s to %(most)s mm."),
        caption=caption,
        least=words.number(float(z.min()), 2),
        most=words.number(float(z.max()), 2),
    )
    return plan.figure([*parts, *labels], caption=caption, told=told)


def blades_print(sheet: Sheet, *, words: Words, paper: Paper = "a4") -> Printed:
    """Return both blades at 1 : 1 and 5 : 1, with lines of equal thickness.

    Raises
    ------
    InputError
        If the reed has no thickness map.
    """
    words = in_locale(str(words.locale))
    group = mapped_group(sheet)
    if group is None or group.mapped is None:
        msg = (
            f"reed {sheet.reed.name!r} has no thickness map to print; write down its scrape style "
            f"and at least six readings of each blade"
        )
        raise InputError(msg)
    sd = [np.array(rows) for rows in group.mapped.shown.sd.values()]
    notes = [
        words.say(
            mark(
                "Lines of equal thickness in mm, %(state)s. The map they follow is known to about "
                "%(best)s to %(worst)s mm (one standard deviation). Width and outline are those of "
                "a usual blade of this scrape, not measured."
            ),
            state=words.state(group.state),
            best=words.number(1e3 * float(np.min(sd)), 3),
            worst=words.number(1e3 * float(np.max(sd)), 3),
        )
    ]
    if not group.mapped.length_known:
        notes.append(words(mark("The length is not known; the usual one was taken.")))
    rows = [[_blade(group, blade, scale, words).plain() for blade in Blade] for scale in (1, LARGE)]
    title = words.say(mark("Blades of “%(reed)s”"), reed=sheet.reed.name)
    return typeset("prints", _data(sheet, title, words) | {"notes": notes, "rows": rows},
                   paper=paper)  # fmt: skip


# --- measuring card -------------------------------------------------------------------------------


def card_print(sheet: Sheet, style: Style | None, *, words: Words, paper: Paper = "a4") -> Printed:
    """Return the standard points of a reed's style: where they lie, what is usual, room to write.

    Raises
    ------
    InputError
        If the style is not known.
    """
    words = in_locale(str(words.locale))
    if style is None:
        msg = (
            f"the scrape style of {sheet.reed.name!r} is not known, so its points are not either; "
            f"write it down under Description"
        )
        raise InputError(msg)
    tip = max(max(zone.stop) for zone in style.zones)
    along = np.linspace(tip, style.thread_top, 50)
    plan = _Plan(along, np.asarray(style.outline.half_width(along)), LARGE)
    parts = [plan.outline(), *plan.scale_marks()]
    for p in style.full:
        x, y = float(plan.x(p.across)), float(plan.y(p.along))
        parts.append(f'<circle cx="{x:g}" cy="{y:g}" r="0.6" fill="#1b5791"/>')
        parts.append(_text(x, y - 1.1, p.code))
    caption = words(mark("Points as seen facing either blade, tip up; 5 : 1"))
    figure = plan.figure(parts, caption=caption, told=caption)
    notes = [
        words(
            mark(
                "All in mm. Wet it as usual, take the points in this order, and read the first "
                "one again at the end. Twice each, mounted anew, is better than once."
            )
        )
    ]
    heads = (mark("Point"), mark("From tip"), mark("From rim"), mark("From centre"),
             mark("Usual"), mark("Marked"), mark("Plain"))  # fmt: skip
    data = _data(sheet, words.say(mark("Measuring card: “%(reed)s”"), reed=sheet.reed.name), words)
    data |= {
        "notes": notes,
        "rows": [],
        "card": figure.plain(),
        "heads": [words(head) for head in heads],
        "points": [_point(p, style, tip, words) for p in style.full],
    }
    return typeset("prints", data, paper=paper)


def _point(p: Point, style: Style, tip: float, words: Words) -> list[str]:
    low, high = style.band(p.along, p.across)
    usual = f"{words.number(1e3 * float(low), 2)}\N{EN DASH}{words.number(1e3 * float(high), 2)}"
    side = "" if p.across == 0 else words(mark("left") if p.across < 0 else mark("right"))
    off = f"{words.number(1e3 * abs(p.across), 1)} {side}".strip()
    return [
        p.code,
        words.number(1e3 * (tip - p.along), 1),
        words.number(1e3 * p.along, 1),
        off,
        usual,
    ]


# --- labels ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Label:
    """What stands on the label of a tube."""

    name: str
    lines: tuple[str, ...]
    invented: bool = False


def label_of(
    reed: Reed, state: ReedState, *, words: Words, player: str = "", at: datetime
) -> Label:
    """Return the label of a reed: name, thread, number, style, length, whose, and the day."""
    d = state.described
    first = ", ".join(
        part
        for part in (
            words.say(mark("thread %(colour)s"), colour=d.thread_colour) if d.thread_colour else "",
            words.say(mark("no. %(number)s"), number=d.cork_number) if d.cork_number else "",
        )
        if part
    )
    second = ", ".join(
        part
        for part in (
            words.style(d.style) if d.style else "",
            words.mm(state.length, 1) if state.length is not None else "",
        )
        if part
    )
    day = format_date(at.astimezone().date(), "medium", locale=words.locale)
    lines = (first, second, f"{player}, {day}" if player else day)
    return Label(reed.name, tuple(x for x in lines if x), invented=reed.invented)


def labels_print(labels: Sequence[Label], *, words: Words, paper: Paper = "a4") -> Printed:
    """Return labels of 60 by 20 mm with lines to cut along.

    Raises
    ------
    InputError
        If there are none, or more than 500.
    """
    if not 0 < len(labels) <= 500:
        msg = f"{len(labels)} labels; name 1 to 500 reeds"
        raise InputError(msg)
    made_up = words(mark("invented"))
    data = {
        "title": words(mark("Tube labels")),
        "lang": words.locale.language,
        "invented": "",
        "ruler": _ruler(words),
        "notes": [words(mark("Cut along the lines; each label is 60 mm by 20 mm."))],
        "rows": [],
        "labels": [
            {"name": x.name, "aside": made_up if x.invented else "", "lines": x.lines}
            for x in labels
        ],
    }
    return typeset("prints", data, paper=paper)


# --- for all of them ------------------------------------------------------------------------------


def _ruler(words: Words) -> dict[str, Any]:
    """Return a ruler of 100 mm as a drawing of 110 by 9 mm."""
    ticks = "".join(
        f'<path d="M{5 + n} 1v{4 if n % 10 == 0 else 3 if n % 5 == 0 else 2}" '
        f'stroke="{RULER}" stroke-width="{0.2 if n % 10 == 0 else 0.12}"/>'
        for n in range(101)
    )
    line = f'<path d="M5 1h100" stroke="{RULER}" stroke-width="0.2"/>'
    numbers = "".join(_text(5 + n, 7.6, str(n), size=2.8) for n in range(0, 101, 10))
    svg = standalone(f'<svg viewBox="0 0 110 9">{line}{ticks}{numbers}</svg>')
    caption = words(
        mark("Check: this ruler must be 100 mm long. Print at 100 %, not fitted to the page.")
    )
    told = words(mark("Ruler of 100 mm, to check the printer by."))
    return _Figure(svg, 110.0, caption, told).plain()


def _data(sheet: Sheet, title: str, words: Words) -> dict[str, Any]:
    return {
        "title": title,
        "lang": words.locale.language,
        "invented": words(mark("Invented data.")) if sheet.reed.invented else "",
        "ruler": _ruler(words),
    }


def print_of(
    desk: Desk, what: str, reeds: Sequence[str | UUID], *, words: Words, paper: Paper = "a4"
) -> Printed:
    """Return one of `PRINTS` of a kept reed, or labels of several.

    Raises
    ------
    NotFound
        If a reed is not kept.
    InputError
        If what has to be known of it is not, or too many labels are asked for.
    """
    if what == "labels":
        players = {p.uuid: p.name for p in desk.people.all() if isinstance(p, Player)}
        labels: list[Label] = []
        for key in dict.fromkeys(reeds):
            reed = desk.records.reed(key)
            state = state_of(desk.records.entries(reed.uuid))
            name = players.get(reed.player, "") if reed.player else ""
            labels.append(label_of(reed, state, words=words, player=name, at=desk.clock.now()))
        return labels_print(labels, words=words, paper=paper)
    sheet = desk.sheet(reeds[0])
    if what == "card":
        return card_print(sheet, style_of(desk, sheet), words=words, paper=paper)
    return blades_print(sheet, words=words, paper=paper)
