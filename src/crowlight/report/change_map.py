"""What changed between two moments of a reed: pictures of both blades, and rows with intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from crowlight.bench.measuring import repeat_limit
from crowlight.bench.moments import Compared, MapChange
from crowlight.reed import Blade, instruments
from crowlight.reed.styles import Style
from crowlight.report.counting import Counting
from crowlight.report.maps import flat_png, framed, resampled, sure_share, swatches
from crowlight.report.svg import width_usual
from crowlight.report.words import Words, mark

__all__ = ["ChangeRow", "change_picture", "change_rows", "thickness_rows"]

#: Band limits [mm]: a light stroke or two is the first.
_STEPS = (0.005, 0.01, 0.02, 0.04)
_SURE = 1.96  # pointwise
_MOST_ROWS = 40


@dataclass(frozen=True, slots=True)
class _Outline:
    along: tuple[float, ...]
    half_width: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """One thing that was known at both moments.

    Parameters
    ----------
    name : str
        What.
    before, after, change, interval : str
        As shown; empty where there is none.
    told : bool
        Whether the interval excludes no change.
    """

    name: str
    before: str
    after: str
    change: str
    interval: str
    told: bool


def change_picture(
    change: MapChange, blade: Blade, *, tip: float, counting: Counting, words: Words, name: str
) -> str:
    """Draw what a blade's map has more or less than it had.

    Parameters
    ----------
    change : MapChange
        After less before.
    blade : Blade
        Which blade, as seen facing it.
    tip : float
        Where the tip is now, from the bottom rim [m].
    counting : Counting
        What positions are counted from.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    outline = _Outline(change.along, tuple(width_usual(max(tip - a, 0.0)) for a in change.along))
    mean, sd = np.array(change.change[blade]), np.array(change.sd[blade])
    value, unsure = resampled(outline, change.fraction, [mean, sd])
    band = np.digitize(np.abs(np.nan_to_num(value)) * 1e3, _STEPS)
    index = np.where(value >= 0, 2 + band, 7 + band)
    index = np.where(np.abs(value) > _SURE * unsure, index, 1)
    index[np.isnan(value)] = 0
    palette = words.palette
    fine = words.shown.unit == "um"
    steps = [words.number(s * (1e3 if fine else 100), 0 if fine else 1) for s in _STEPS]
    unit = words.thickness_unit if fine else words(mark("hundredths of a mm"))
    told = words.say(
        mark("Over %(share)s %% of the area a change can be told, each place on its own."),
        share=words.number(100.0 * sure_share(mean, sd), 0),
    )
    return framed(
        outline,
        flat_png(index.astype(np.uint8), [palette.nothing, *palette.more, *palette.less]),
        words=words,
        name=name,
        title=words.say(mark("%(blade)s: after less before"), blade=words.blade(blade)),
        told=told,
        key=swatches(
            [*palette.less[::-1], palette.nothing, *palette.more],
            [*steps[::-1], "", *steps],
            [unit, words(mark("blue: cane gone; orange: thicker; grey: cannot be told"))],
        ),
        counting=counting,
    )


def change_rows(compared: Compared, words: Words) -> list[ChangeRow]:
    """Return length, opening, clips and grade at both moments, with intervals where known."""
    one, other, d = compared.before, compared.after, compared.difference
    rows: list[ChangeRow] = []
    if one.length is not None and other.length is not None and d.length is not None:
        # what clips alone explain carries no uncertainty of the ruler
        clipped = math.isclose(d.length, -d.clipped, abs_tol=1e-6)
        spread = (
            0.0
            if clipped
            else math.hypot(one.length_uncertainty or 0.0, other.length_uncertainty or 0.0)
        )
        rows.append(_mm_row(mark("Length"), one.length, other.length, spread, words))
    if one.opening is not None and other.opening is not None:
        spread = math.hypot(one.opening.uncertainty, other.opening.uncertainty)
        rows.append(
            _mm_row(mark("Opening"), one.opening.height, other.opening.height, spread, words)
        )
    if d.clipped:
        rows.append(
            ChangeRow(
                name=words(mark("Clipped between")),
                before="",
                after="",
                change=words.mm(d.clipped, 2),
                interval="",
                told=True,
            )
        )
    if one.grade is not None and other.grade is not None:
        rows.append(
            ChangeRow(
                name=words(mark("Grade, 1 to 5")),
                before=words.number(one.grade, 0),
                after=words.number(other.grade, 0),
                change=words.number(other.grade - one.grade, 0, signed=True),
                interval="",
                told=one.grade != other.grade,
            )
        )
    return rows


def _mm_row(name: str, before: float, after: float, spread: float, words: Words) -> ChangeRow:
    change, reach = after - before, _SURE * spread
    return ChangeRow(
        name=words(name),
        before=words.mm(before, 2),
        after=words.mm(after, 2),
        change=words.mm(change, 2, signed=True),
        interval=words.say(
            mark("%(low)s to %(high)s"),
            low=words.number((change - reach) * 1e3, 2, signed=True),
            high=words.number((change + reach) * 1e3, 2, signed=True),
        )
        if reach
        else "",
        told=abs(change) > reach,
    )


def thickness_rows(
    compared: Compared, *, style: Style | None, counting: Counting, words: Words
) -> list[ChangeRow]:
    """Return the places read at both moments, those that changed most first.

    The interval is that of two single readings with the gauge that is usual, wider where cane is
    steep: see `crowlight.bench.measuring.repeat_limit`.
    """
    rows: list[tuple[float, ChangeRow]] = []
    for c in compared.difference.thickness:
        change = c.after - c.before
        reach = repeat_limit(c.place, instruments()["dial"], style)
        side = words(mark("centreline"))
        if c.place.across:
            name = words.side("left" if c.place.across < 0 else "right")  # pyright: ignore[reportArgumentType]  # their codes
            side = f"{words.mm(abs(c.place.across), 1)} {name}"
        rows.append(
            (
                -abs(change) / reach,
                ChangeRow(
                    name=f"{words.blade(c.place.blade)}, "
                    f"{counting.where(c.place.along, words)}, {side} ({words.state(c.state)})",
                    before=words.thick(c.before, 3),
                    after=words.thick(c.after, 3),
                    change=words.thick(change, 3, signed=True),
                    interval=words.interval(change - reach, change + reach, 3),
                    told=abs(change) > reach,
                ),
            )
        )
    return [row for _, row in sorted(rows, key=lambda r: r[0])[:_MOST_ROWS]]
