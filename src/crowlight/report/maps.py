"""Pictures of the thickness map: both blades, and where sides or blades differ.

A map is a small PNG of a few flat bands inside an SVG with scale, outline and name: a few
kilobytes, the same in the page and in the report. Thickness runs from pale (thin) to dark (thick),
as a reed held against the light, so that its lightness alone tells; differences run from blue
(thinner) over grey (cannot be told) to orange (thicker).
"""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Sequence
from html import escape
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.assess import Judged
from crowlight.bench.mapping import Mapped
from crowlight.reed import Blade, Origin
from crowlight.report.counting import Counting
from crowlight.report.words import Words, mark

__all__ = [
    "BANDS",
    "Outlined",
    "difference_picture",
    "flat_png",
    "framed",
    "resampled",
    "sure_share",
    "swatches",
    "thickness_picture",
]

Array = NDArray[np.float64]


class Outlined(Protocol):
    """A blade's outline: distance from the bottom rim, tip first, and half its width there [m]."""

    @property
    def along(self) -> Sequence[float]:
        """Distance from the bottom rim, falling [m]."""
        ...

    @property
    def half_width(self) -> Sequence[float]:
        """Half the width at each of them [m]."""
        ...


_WIDTH, _LEFT, _TOP = 330.0, 74.0, 26.0
_SPAN = 208.0  # units across
_PER_MM = 16.0  # units along
_PIXELS_ACROSS = 140
_PER_MM_PIXELS = 9
#: Band limits of a thickness map [mm]: finer where thin cane matters most.
BANDS = (0.05, 0.08, 0.11, 0.15, 0.20, 0.26, 0.33, 0.40, 0.45, 0.50, 0.55, 0.60)
#: Band limits of a difference map [mm].
_STEPS = (0.01, 0.02, 0.04, 0.08)
#: Pointwise: the difference is taken to be told where it exceeds this many standard uncertainties.
_SURE = 1.96


def flat_png(index: NDArray[np.uint8], colours: Sequence[tuple[int, int, int]]) -> str:
    """Return a palette image as a data address; index 0 is transparent."""
    height, width = index.shape
    rows = np.zeros((height, width + 1), np.uint8)
    rows[:, 1:] = index

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    palette = bytes(v for c in [(0, 0, 0), *colours] for v in c)
    data = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0))
        + chunk(b"PLTE", palette)
        + chunk(b"tRNS", b"\x00")
        + chunk(b"IDAT", zlib.compress(rows.tobytes(), 9))
        + chunk(b"IEND", b"")
    )
    return "data:image/png;base64," + base64.b64encode(data).decode()


def resampled(shown: Outlined, fraction: Sequence[float], values: Sequence[Array]) -> list[Array]:
    """Return maps on a grid of equal steps along and across, NaN off the blade."""
    along, half = np.array(shown.along), np.array(shown.half_width)
    rows = max(round((along[0] - along[-1]) * 1e3 * _PER_MM_PIXELS), 2)
    a = np.linspace(along[0], along[-1], rows)
    wide = half.max()
    x = np.linspace(-wide, wide, _PIXELS_ACROSS)
    width = np.interp(a, along[::-1], half[::-1])
    f = x[None, :] / width[:, None]
    inside = np.abs(f) <= 1.0
    # rows: where each new row lies between two old ones
    r = np.interp(a, along[::-1], np.arange(len(along))[::-1].astype(float))
    low = np.clip(np.floor(r).astype(int), 0, len(along) - 2)
    part = (r - low)[:, None]
    old = np.array(fraction)
    c = np.interp(f, old, np.arange(len(old), dtype=float))
    left = np.clip(np.floor(c).astype(int), 0, len(old) - 2)
    aside = c - left
    i = low[:, None]
    found: list[Array] = []
    for v in values:
        upper = v[i, left] * (1 - aside) + v[i, left + 1] * aside
        lower = v[i + 1, left] * (1 - aside) + v[i + 1, left + 1] * aside
        found.append(np.where(inside, upper * (1 - part) + lower * part, np.nan))
    return found


def framed(
    shown: Outlined,
    image: str,
    *,
    words: Words,
    name: str,
    title: str,
    told: str,
    key: str,
    dots: Sequence[tuple[float, float]] = (),
    over: Sequence[tuple[float, float, str]] = (),
    counting: Counting | None = None,
) -> str:
    """Return a map as an ``<svg>``: image, outline, scale, key, and dots or words laid over it.

    The scale counts from the tip of the outline if `counting` does not say otherwise.
    """
    counting = counting or Counting(origin=Origin.TIP, length=shown.along[0])
    along, half = np.array(shown.along), np.array(shown.half_width)
    tall = (along[0] - along[-1]) * 1e3 * _PER_MM
    wide = half.max()
    middle = _LEFT + _SPAN / 2

    def x(across: float) -> float:
        return round(middle + across / wide * _SPAN / 2, 1)

    def y(at: float) -> float:
        return round(_TOP + (along[0] - at) * 1e3 * _PER_MM, 1)

    edge = [(x(-h), y(a)) for a, h in zip(along, half, strict=True)]
    edge += [(x(h), y(a)) for a, h in zip(along[::-1], half[::-1], strict=True)]
    parts = [
        f'<image href="{image}" x="{_LEFT:g}" y="{_TOP:g}" width="{_SPAN:g}" height="{tall:.1f}" '
        f'preserveAspectRatio="none"/>',
        f'<path d="M{"L".join(f"{a:g} {b:g}" for a, b in edge)}Z" class="outline"/>',
        f'<text x="{x(-0.55 * wide):g}" y="14" class="edge" text-anchor="middle">'
        f"{escape(words(mark('left')))}</text>",
        f'<text x="{x(0.55 * wide):g}" y="14" class="edge" text-anchor="middle">'
        f"{escape(words(mark('right')))}</text>",
    ]
    for place, mm in counting.marks(along[-1], along[0]):
        at = y(place)
        parts.append(f'<path d="M36 {at:g}h8" class="tick"/>')
        said = words.number(mm, 0)
        parts.append(f'<text x="31" y="{at + 4.5:g}" class="scale" text-anchor="end">{said}</text>')
    label = escape(counting.axis(words))
    parts.append(
        f'<text class="scale" text-anchor="middle" '
        f'transform="translate(10 {_TOP + tall / 2:.1f}) rotate(-90)">{label}</text>'
    )
    parts += [
        f'<circle cx="{x(b):g}" cy="{y(a):g}" r="2.2" class="reading"/>'
        for a, b in dots
        if along[-1] <= a <= along[0]
    ]
    parts += [
        f'<text x="{x(b):g}" y="{y(a) + 4:g}" class="over" text-anchor="middle">{escape(t)}</text>'
        for a, b, t in over
    ]
    parts.append(f'<g transform="translate(0 {_TOP + tall + 16:.1f})">{key}</g>')
    return (
        f'<svg class="reed map" viewBox="0 0 {_WIDTH:g} {_TOP + tall + 70:.0f}" role="img" '
        f'aria-labelledby="{name}-title" aria-describedby="{name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(told)}</desc>{"".join(parts)}</svg>'
    )


def _hex(colour: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)


def swatches(
    colours: Sequence[tuple[int, int, int]], labels: Sequence[str], notes: Sequence[str]
) -> str:
    """Draw the key: flat swatches, the limits written between them."""
    step = (_WIDTH - 44.0) / len(colours)
    out = [
        f'<rect x="{36 + i * step:.1f}" y="0" width="{step:.1f}" height="12" fill="{_hex(c)}"/>'
        for i, c in enumerate(colours)
    ]
    out += [
        f'<text x="{36 + (i + 1) * step:.1f}" y="24" class="band" text-anchor="middle">'
        f"{escape(t)}</text>"
        for i, t in enumerate(labels)
    ]
    out += [
        f'<text x="36" y="{37 + 13 * i}" class="band">{escape(note)}</text>'
        for i, note in enumerate(notes)
    ]
    return "".join(out)


def thickness_picture(
    group: Judged, blade: Blade, *, words: Words, name: str, counting: Counting | None = None
) -> str:
    """Draw the thickness map of one blade with the places that were measured.

    Parameters
    ----------
    group : Judged
        Readings with a map.
    blade : Blade
        Which blade.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.
    counting : Counting, optional
        What positions are counted from; the tip if its place is known, else the rim.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    mapped = _needed(group)
    shown = mapped.shown
    mean = np.array(shown.mean[blade])
    (thick,) = resampled(shown, shown.fraction, [mean])
    index = np.digitize(np.nan_to_num(thick) * 1e3, BANDS) + 1
    index[np.isnan(thick)] = 0
    sd = np.array(shown.sd[blade])
    told = words.say(
        mark(
            "Thickness of the map from %(least)s to %(most)s; standard uncertainty from %(best)s "
            "to %(worst)s."
        ),
        least=words.thick(float(mean.min()), 2),
        most=words.thick(float(mean.max()), 2),
        best=words.thick(float(sd.min()), 3),
        worst=words.thick(float(sd.max()), 3),
    )
    title = words.say(mark("thickness of the %(blade)s"), blade=words.blade(blade))
    labels = [words.thin(b * 1e-3, 2) if i % 2 == 0 else "" for i, b in enumerate(BANDS)]
    colours = words.palette.thick
    return framed(
        mapped.shown,
        flat_png(index.astype(np.uint8), colours),
        words=words,
        name=name,
        title=title,
        told=told,
        key=swatches(
            colours,
            labels,
            [words.say(mark("thickness, %(unit)s; dots: measured"), unit=words.thickness_unit)],
        ),
        dots=sorted(
            {(r.place.along, r.place.across) for r in group.readings if r.place.blade is blade}
        ),
        counting=counting or Counting.of_map(mapped),
    )


def difference_picture(
    group: Judged, blade: Blade | None, *, words: Words, name: str, counting: Counting | None = None
) -> str:
    """Draw where a blade is thicker than its other side, or the marked blade than the plain one.

    Parameters
    ----------
    group : Judged
        Readings with a map.
    blade : Blade or None
        The blade whose sides are compared; None for marked against plain.
    words, name, counting
        As for `thickness_picture`.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    mapped = _needed(group)
    shown = mapped.shown
    if blade is None:
        fraction = shown.fraction
        mean, sd = np.array(shown.marked_plain), np.array(shown.marked_plain_sd)
        title = words(mark("marked blade less plain blade, as seen facing the marked one"))
        note = words(mark("orange: marked blade thicker; grey: cannot be told"))
    else:
        half = np.array(shown.left_right_fraction)
        fraction = tuple(float(f) for f in np.concatenate([-half[:0:-1], half]))
        one, one_sd = np.array(shown.left_right[blade]), np.array(shown.left_right_sd[blade])
        mean = np.concatenate([one[:, :0:-1], -one], axis=1)
        sd = np.concatenate([one_sd[:, :0:-1], one_sd], axis=1)
        title = words.say(mark("%(blade)s, each side less the other"), blade=words.blade(blade))
        note = words(mark("orange: the thicker side; grey: cannot be told"))
    value, unsure = resampled(shown, fraction, [mean, sd])
    band = np.digitize(np.abs(np.nan_to_num(value)) * 1e3, _STEPS)
    sure = np.abs(value) > _SURE * unsure
    index = np.where(value >= 0, 2 + band, 7 + band)
    index = np.where(sure, index, 1)
    index[np.isnan(value)] = 0
    told = words.say(
        mark("Over %(share)s %% of the area a difference can be told, each place on its own."),
        share=words.number(100.0 * sure_share(mean, sd), 0),
    )
    palette = words.palette
    colours = [*palette.less[::-1], palette.nothing, *palette.more]
    fine = words.shown.unit == "um"
    steps = [words.number(s * (1e3 if fine else 100), 0) for s in _STEPS]
    labels = [*steps[::-1], "", *steps]
    unit = words.thickness_unit if fine else words(mark("hundredths of a mm"))
    return framed(
        mapped.shown,
        flat_png(index.astype(np.uint8), [palette.nothing, *palette.more, *palette.less]),
        words=words,
        name=name,
        title=title,
        told=told,
        key=swatches(colours, labels, [unit, note]),
        counting=counting or Counting.of_map(mapped),
    )


def sure_share(mean: Array, sd: Array) -> float:
    """Return the share of a difference map where the difference exceeds its uncertainty."""
    return float(np.mean(np.abs(mean) > _SURE * sd))


def _needed(group: Judged) -> Mapped:
    if group.mapped is None:
        msg = "these readings have no map"
        raise ValueError(msg)
    return group.mapped
