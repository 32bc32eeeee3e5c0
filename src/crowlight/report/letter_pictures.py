"""Pictures of a letter: maps before and after, the crow, the place to try; each stands alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from html import escape

import numpy as np

from crowlight.bench.moments import Sheet
from crowlight.bench.story import Crow, Story
from crowlight.reed import Blade, Side
from crowlight.reed.styles import Style
from crowlight.report.letter_findings import Change, mapped_group
from crowlight.report.maps import thickness_picture
from crowlight.report.sound_charts import spectrogram_svg, spectrogram_told
from crowlight.report.words import Words, mark

__all__ = ["Drawn", "change_picture", "letter_pictures", "standalone"]

#: How pictures of a reed look where no style sheet reaches them: on paper.
_LOOK = """
text{font-family:"Libertinus Serif",Georgia,serif;font-size:13px;fill:#1a1f20}
.edge,.scale{fill:#4f595b}.band{font-size:11.5px}.outline{fill:none;stroke:#a5802e;stroke-width:1.5}
.tick{fill:none;stroke:#4f595b}.reading{fill:#fff;stroke:#111}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A picture.

    Parameters
    ----------
    svg : str
        It, as a file of its own.
    caption : str
        What stands below it.
    told : str
        What it shows, for those who do not see it.
    width : float
        How wide it is printed [m].
    """

    svg: str
    caption: str
    told: str
    width: float


def standalone(svg: str) -> str:
    """Return an SVG of a page as a file of its own, with its look inside."""
    head = svg.index(">") + 1
    opening = svg[:head]
    if "xmlns=" not in opening:
        opening = opening.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    return f"{opening}<style>{_LOOK}</style>{svg[head:]}"


def letter_pictures(story: Story, *, words: Words) -> Iterator[Drawn]:
    """Yield the pictures of a letter, in the order in which they are looked at."""
    moments = [(mark("%(blade)s, as it came"), story.arrival, "a")]
    if story.measured_again:
        moments.append((mark("%(blade)s, now"), story.now, "b"))
    for caption, sheet, name in moments:
        for blade in Blade:
            if (drawn := _map(sheet, blade, caption, name, words)) is not None:
                yield drawn
    for caption, crow in (
        (mark("Its crow as it came"), story.crow_before),
        (mark("Its crow now"), story.crow_after),
    ):
        if crow is not None:
            yield _crow(crow, words(caption), words)


def _map(sheet: Sheet, blade: Blade, caption: str, name: str, words: Words) -> Drawn | None:
    group = mapped_group(sheet)
    if group is None:
        return None
    svg = thickness_picture(group, blade, words=words, name=f"{name}{blade.value}")
    told = re.search(r"<desc[^>]*>(.*?)</desc>", svg)
    said = words.say(caption, blade=words.blade(blade))
    said = said[:1].upper() + said[1:]
    return Drawn(
        svg=standalone(svg),
        caption=said,
        told=f"{said}. {told.group(1) if told else ''}".strip(),
        width=80e-3,
    )


def _crow(crow: Crow, caption: str, words: Words) -> Drawn:
    svg = spectrogram_svg(crow.sound.sound, crow.sound.rate, crow.heard, words=words)
    return Drawn(
        svg=standalone(svg.replace('font-family="system-ui, sans-serif" font-size="13"', "", 1)),
        caption=words.say(
            mark("%(which)s: time runs to the right, pitch upwards, dark is loud"), which=caption
        ),
        told=f"{caption}. {spectrogram_told(crow.heard, words)}",
        width=160e-3,
    )


_SCALE = 12.0  # units for a millimetre
_TOP = 34.0


def change_picture(change: Change, style: Style, *, words: Words) -> Drawn:
    """Draw a blade with the place to try shaded.

    Parameters
    ----------
    change : Change
        Where.
    style : Style
        The reed's style, laid on its length: the outline and the zones are its.
    words : Words
        The language.
    """
    tip = max(style.outline.along[-1], max(style.zone("tip").stop))
    bottom = style.thread_top
    along = np.linspace(tip, bottom, 60)
    half = style.outline.half_width(along)
    middle = float(half.max()) * 1e3 * _SCALE + 60.0

    def x(across: float) -> float:
        return round(middle + across * 1e3 * _SCALE, 1)

    def y(at: float) -> float:
        return round(_TOP + (tip - at) * 1e3 * _SCALE, 1)

    edge = [(x(-h), y(a)) for a, h in zip(along, half, strict=True)]
    edge += [(x(h), y(a)) for a, h in zip(along[::-1], half[::-1], strict=True)]
    left, right = words(mark("left")), words(mark("right"))
    parts = [
        f'<path d="M{"L".join(f"{a:g} {b:g}" for a, b in edge)}Z" fill="#f6e8bf" '
        'stroke="#a5802e" stroke-width="1.5"/>',
        *_shaded(change, style, x, y),
        f'<path d="M{x(0.0)} {_TOP}V{y(bottom)}" stroke="#a5802e" stroke-dasharray="3 5"/>',
        f'<text x="{x(-0.6 * float(half[0])):g}" y="16" text-anchor="middle">{escape(left)}</text>',
        f'<text x="{x(0.6 * float(half[0])):g}" y="16" text-anchor="middle">{escape(right)}</text>',
        f'<text x="4" y="{_TOP + 10:g}">{escape(words(mark("tip")))}</text>',
        f'<text x="4" y="{y(bottom) - 2:g}">{escape(words(mark("thread")))}</text>',
    ]
    wide, tall = 2 * middle, y(bottom) + 12
    svg = f'<svg viewBox="0 0 {wide:.0f} {tall:.0f}">{"".join(parts)}</svg>'
    said = words.say(
        mark(
            "The %(blade)s as you face it, tip up; shaded: the place to try; three times its size"
        ),
        blade=words.blade(change.blade),
    )
    return Drawn(svg=standalone(svg), caption=said, told=said, width=3.0 * wide / _SCALE / 1e3)


def _shaded(
    change: Change, style: Style, x: Callable[[float], float], y: Callable[[float], float]
) -> Iterator[str]:
    zone = style.zone(change.zone)
    sides = {Side.LEFT: (-1.0,), Side.RIGHT: (1.0,), None: (-1.0, 1.0)}[change.side]
    nodes = (0.0, 0.5, 1.0)
    part = np.linspace(zone.inner, zone.outer, 15)
    for sign in sides:
        stop, start = np.interp(part, nodes, zone.stop), np.interp(part, nodes, zone.start)
        line = [(s, f) for s, f in zip(stop, part, strict=True)]
        line += [(s, f) for s, f in zip(start[::-1], part[::-1], strict=True)]
        spots = [
            f"{x(sign * f * float(style.outline.half_width(s)))} {y(float(s))}" for s, f in line
        ]
        yield (
            f'<path d="M{"L".join(spots)}Z" fill="#e27a34" fill-opacity="0.7" stroke="#8c3408"/>'
        )
