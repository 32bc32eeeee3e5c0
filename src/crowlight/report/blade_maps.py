"""Pictures of what the knife does where: effect of a stroke at each place, and what a thumb feels.

Both blades as the maker holds them: each as seen facing it, tip up. Orange is more, blue is less,
grey next to nothing; signed numbers laid over the map say the same without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crowlight.bench.mechanics import BladesShown, mechanics_outputs
from crowlight.reed import Blade, Origin
from crowlight.report.blades import OUTPUT_WORDS
from crowlight.report.counting import Counting
from crowlight.report.maps import flat_png, framed, resampled, swatches
from crowlight.report.words import Words, mark

__all__ = ["effect_picture", "flexibility_picture"]

#: Places whose numbers are written on a map: from the tip [m], and part of the half width.
_ROWS = (0.6e-3, 2.5e-3, 5e-3, 8e-3, 12e-3, 17e-3)
_COLUMNS = (-0.62, 0.0, 0.62)
#: Band limits of an effect, as parts of its largest value on either blade.
_PARTS = (0.06, 0.2, 0.4, 0.6, 0.8)


#: From the tip, wherever that is.
_TIP = Counting(origin=Origin.TIP, length=0.0)


@dataclass(frozen=True, slots=True)
class _Outline:
    """Outline of a blade, tip first."""

    along: tuple[float, ...]
    half_width: tuple[float, ...]


def _outline(from_tip: Sequence[float], half: Sequence[float], counting: Counting) -> _Outline:
    """Return an outline, its tip where positions are counted."""
    tip = counting.length or 0.0
    return _Outline(tuple(tip - x for x in from_tip), tuple(half))


def _numbers(
    outline: _Outline, fraction: Sequence[float], values: np.ndarray, *, words: Words, digits: int
) -> list[tuple[float, float, str]]:
    """Write a value at a few places, with its sign where values have one."""
    along, half = np.array(outline.along), np.array(outline.half_width)
    signed = bool((values < 0).any())
    written: list[tuple[float, float, str]] = []
    for row in _ROWS:
        if row > along[0] - along[-1]:
            break
        i = int(np.argmin(np.abs(along[0] - along - row)))
        for column in _COLUMNS:
            value = float(np.interp(column, fraction, values[i]))
            told = words.number(value, digits, signed=signed)
            written.append((float(along[i]), column * float(half[i]), told))
    return written


def _digits(largest: float) -> int:
    """Return decimals that leave two figures of the largest value."""
    return int(np.clip(1 - np.floor(np.log10(largest)), 0, 3)) if largest > 0 else 0


def effect_picture(
    found: BladesShown,
    output: str,
    blade: Blade,
    *,
    words: Words,
    name: str,
    counting: Counting | None = None,
) -> str:
    """Draw what a soft stroke at each place does to an output, in per cent of it.

    Parameters
    ----------
    found : BladesShown
        The blade model's answer.
    output : str
        One of its effects.
    blade : Blade
        Which blade, seen facing it.
    words : Words
        The language.
    name : str
        Prefix of the ids in the picture; must be unique on the page.
    counting : Counting, optional
        What positions are counted from, with the length; the tip if not given.

    Returns
    -------
    str
        An ``<svg>`` element. Bands share their limits on both blades.
    """
    now = mechanics_outputs(found)[output].value
    percent = {b: 100.0 * np.array(rows) / now for b, rows in found.effects[output].items()}
    values = percent[blade]
    largest = float(max(np.nanmax(np.abs(v)) for v in percent.values()))
    limits = [part * largest for part in _PARTS]
    counting = counting or _TIP
    outline = _outline(found.from_tip, found.half_width, counting)
    (fine,) = resampled(outline, found.fraction, [values])
    band = np.digitize(np.abs(np.nan_to_num(fine)), limits)
    palette = words.palette
    shown = len(palette.more)
    index = np.where(fine >= 0, 1 + band, 1 + shown + band)
    index = np.where(band == 0, 1, index)
    index[np.isnan(fine)] = 0
    digits = _digits(largest)
    row, _ = np.unravel_index(int(np.nanargmax(np.abs(values))), values.shape)
    told = words.say(
        mark("A stroke changes it by %(least)s to %(most)s %%; by most at %(where)s."),
        least=words.number(float(np.nanmin(values)), digits, signed=True),
        most=words.number(float(np.nanmax(values)), digits, signed=True),
        where=counting.where(outline.along[int(row)], words),
    )
    title = words.say(
        mark("%(blade)s: what a stroke at each place does to: %(output)s"),
        blade=words.blade(blade),
        output=words(OUTPUT_WORDS[output]),
    )
    steps = [words.number(limit, digits) for limit in limits]
    labels = [*(f"\N{MINUS SIGN}{s}" for s in steps[::-1]), *(f"+{s}" for s in steps)]
    labels = [text if i % 2 == 0 else "" for i, text in enumerate(labels)]  # else they touch
    return framed(
        outline,
        flat_png(index.astype(np.uint8), [palette.nothing, *palette.more, *palette.less]),
        words=words,
        name=name,
        title=title,
        told=told,
        key=swatches(
            [*palette.less[::-1], palette.nothing, *palette.more],
            labels,
            [
                words(mark("change in % for one stroke of a hundredth of a mm")),
                words(mark("orange, +: more; blue, −: less; grey: next to nothing")),
            ],
        ),
        over=_numbers(outline, found.fraction, values, words=words, digits=digits),
        counting=counting,
    )


def flexibility_picture(
    found: BladesShown,
    blade: Blade,
    *,
    words: Words,
    name: str,
    counting: Counting | None = None,
) -> str:
    """Draw how far each place of a blade gives under a newton pressed there.

    Parameters
    ----------
    found, blade, words, name, counting
        As for `effect_picture`.

    Returns
    -------
    str
        An ``<svg>`` element; bands in equal ratios.
    """
    unit, factor = "mm/N", 1e3
    order = np.argsort(found.flexibility_from_tip)
    tips = np.array(found.flexibility_from_tip)[order]
    both = {b: factor * np.array(rows)[order] for b, rows in found.flexibility.items()}
    values = both[blade]
    counting = counting or _TIP
    half = np.interp(tips, found.from_tip, found.half_width)
    outline = _outline(tips.tolist(), half.tolist(), counting)
    held = max(float(np.nanmax(v)) for v in both.values())
    least = max(float(min(np.nanmin(v[v > 0]) for v in both.values())), held * 1e-4)
    colours = words.palette.felt
    limits = np.geomspace(least, held, len(colours) + 1)[1:-1]
    fraction = np.array(found.flexibility_across) / max(abs(found.flexibility_across[0]), 1e-9)
    (fine,) = resampled(outline, tuple(fraction), [values])
    index = np.digitize(np.nan_to_num(fine), limits) + 1
    index[np.isnan(fine)] = 0
    title = words.say(
        mark("%(blade)s: how far it gives where a thumb presses"), blade=words.blade(blade)
    )
    told = words.say(
        mark("From %(least)s to %(most)s mm per newton; most at the tip."),
        least=words.number(float(np.nanmin(values)), 3),
        most=words.number(float(np.nanmax(values)), 2),
    )
    labels = [words.number(v, 2 if v >= 0.01 else 3) if i % 2 else "" for i, v in enumerate(limits)]
    return framed(
        outline,
        flat_png(index.astype(np.uint8), colours),
        words=words,
        name=name,
        title=title,
        told=told,
        key=swatches(
            colours,
            labels,
            [words.say(mark("%(unit)s: dark gives most; 1 N is about 100 g"), unit=unit)],
        ),
        over=_numbers(outline, tuple(fraction), values, words=words, digits=2),
        counting=counting,
    )
