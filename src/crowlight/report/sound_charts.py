"""Pictures of recordings: the spectrogram with its octave lines, the intonation chart."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.report.png import Colour, data_address, palette_png
from crowlight.report.sounds import OCTAVES, octaves_said, pitch_said, swell_said
from crowlight.report.words import Words, mark

__all__ = ["LONGEST", "intonation_chart", "spectrogram_svg", "spectrogram_told", "spectrum_levels"]

Floats = NDArray[np.float64]

#: As much of a recording as a picture shows [s].
LONGEST = 60.0
LOW, HIGH = 180.0, 7_200.0
"""Range of the picture [Hz]."""
STEP, STEPS = 5.0, 13
"""Bands of level below the loudest, and how many [dB]."""
_WINDOW = 0.06
_SIZES = {False: (720, 300), True: (340, 260)}
_LEFT, _RIGHT, _TOP, _BOTTOM = 46, 34, 24, 34


@dataclass(frozen=True, slots=True)
class _Look:
    """Colours: quiet to loud by lightness alone, so that they are told apart by everyone."""

    quiet_to_loud: tuple[Colour, ...]
    ink: str
    soft: str
    mark: str
    edge: str


_LOOKS = {
    False: _Look(
        ((255, 255, 255), (190, 212, 236), (92, 136, 190), (30, 66, 124), (6, 14, 40)),
        "#1a1f20", "#4f595b", "#b3400a", "#cfc7b4",
    ),
    True: _Look(
        ((16, 20, 22), (32, 58, 92), (74, 122, 176), (160, 200, 232), (255, 252, 236)),
        "#f2eee4", "#b2bbbb", "#ff9d5c", "#424b4c",
    ),
}  # fmt: skip


def spectrum_levels(sound: ArrayLike, rate: float, *, columns: int, rows: int) -> Floats:
    """Return levels over time and log frequency.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Samples; the channel with most power is taken, and of it the first `LONGEST` seconds.
    rate : float
        Samples per second [Hz].
    columns, rows : int
        Size; rows run from `HIGH` down to `LOW`, evenly in octaves.

    Returns
    -------
    ndarray, shape (rows, columns)
        Level against the loudest place [dB], Hann windows of 60 ms; -inf above half the rate.
    """
    wave = np.asarray(sound, dtype=np.float64)
    wave = wave[:, None] if wave.ndim == 1 else wave
    wave = np.nan_to_num(wave, posinf=0.0, neginf=0.0)
    x = wave[: int(LONGEST * rate), int(np.argmax(np.sum(wave**2, axis=0)))]
    size = max(int(_WINDOW * rate), 8)
    hann = np.hanning(size + 2)[1:-1]
    padded = np.concatenate([np.zeros(size // 2), x, np.zeros(size)])
    starts = np.linspace(0, max(len(x) - 1, 0), columns).astype(int)
    length = 1 << int(np.ceil(np.log2(2 * size)))
    power = np.empty((rows, columns))
    edges = np.geomspace(HIGH, LOW, rows + 1)
    step = rate / length
    for first in range(0, columns, 128):  # few at a time: a minute's windows are large
        at = starts[first : first + 128]
        cut = padded[at[:, None] + np.arange(size)] * hann
        found = np.abs(np.fft.rfft(cut, length)) ** 2
        for row in range(rows):
            a, b = edges[row + 1] / step, edges[row] / step
            low, high = int(np.floor(a)), int(np.ceil(b)) + 1
            if low >= found.shape[1] - 1:
                power[row, first : first + 128] = 0.0
            elif b - a < 1.0:  # between two bins
                low, part = int(0.5 * (a + b)), 0.5 * (a + b) % 1.0
                pair = found[:, low : low + 2]
                power[row, first : first + 128] = pair @ np.array([1.0 - part, part])
            else:
                power[row, first : first + 128] = found[:, low:high].max(axis=1)
    top = float(power.max(initial=0.0))
    with np.errstate(divide="ignore"):
        return 10.0 * np.log10(power / top) if top > 0.0 else np.full_like(power, -np.inf)


def _palette(stops: Sequence[Colour]) -> list[Colour]:
    at = np.linspace(0.0, len(stops) - 1.0, STEPS)
    rgb = [np.interp(at, np.arange(len(stops)), [s[c] for s in stops]) for c in range(3)]
    return [
        (round(float(r)), round(float(g)), round(float(b))) for r, g, b in zip(*rgb, strict=True)
    ]


def spectrogram_svg(
    sound: ArrayLike,
    rate: float,
    heard: Mapping[str, Any],
    *,
    words: Words,
    dark: bool = False,
    narrow: bool = False,
) -> str:
    """Draw a recording: a small PNG of flat bands of level, with scales and marks around it.

    Parameters
    ----------
    sound, rate
        As for `spectrum_levels`.
    heard : mapping
        What was measured; see `crowlight.bench.sounds.listen`.
    words : Words
        The language.
    dark, narrow : bool
        Whether it stands on a dark page, on a narrow one.

    Returns
    -------
    str
        An SVG file. Octave lines stand where the pitch can be trusted, else at the target's
        octaves; notes are marked at their pitch.
    """
    width, height = _SIZES[narrow]
    wide, tall = width - _LEFT - _RIGHT, height - _TOP - _BOTTOM
    look = _LOOKS[dark]
    seconds = min(np.shape(sound)[0] / rate, LONGEST)
    level = spectrum_levels(sound, rate, columns=wide, rows=tall)
    band = np.clip(STEPS + np.floor(np.maximum(level, -1e3) / STEP), 0, STEPS - 1)
    image = data_address(palette_png(band.astype(np.uint8), _palette(look.quiet_to_loud)))

    def x(time: float) -> float:
        return round(_LEFT + time / seconds * wide, 1)

    def y(frequency: float) -> float:
        return round(_TOP + math.log(HIGH / frequency) / math.log(HIGH / LOW) * tall, 1)

    parts = [
        f'<image href="{image}" x="{_LEFT}" y="{_TOP}" width="{wide}" height="{tall}" '
        'preserveAspectRatio="none"/>',
        f'<rect x="{_LEFT}" y="{_TOP}" width="{wide}" height="{tall}" fill="none" '
        f'stroke="{look.edge}"/>',
    ]
    for f in (250.0, 500.0, 1_000.0, 2_000.0, 4_000.0):
        parts.append(_text(_LEFT - 5, y(f) + 4, f"{f:g}", look.soft, "end"))
    parts.append(_text(2, 14, words(mark("Hz")), look.soft, "start"))
    parts += [
        _text(x(t), height - 16, words.number(t, 1 if seconds < 4 else 0), look.soft, "middle")
        for t in _ticks(seconds, 4 if narrow else 8)
    ]
    parts.append(_text(_LEFT + wide, height - 3, words(mark("seconds")), look.soft, "end"))
    if heard.get("kind") == "notes":
        parts += [
            f'<path d="M{x(n["start_s"])} {y(n["pitch_hz"])}H{x(n["end_s"])}" '
            f'stroke="{look.mark}" stroke-width="2"/>'
            for n in heard.get("notes", ())
            if n["start_s"] < seconds and LOW < (n["pitch_hz"] or 0.0) < HIGH
        ]
    else:
        parts += _octave_lines(heard, y, look, _LEFT + wide)
        parts += _events(heard, x, seconds, tall, look, words)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="system-ui, sans-serif" font-size="13">'
        f"{''.join(parts)}</svg>"
    )


def _text(x: float, y: float, text: str, colour: str, anchor: str) -> str:
    return f'<text x="{x:g}" y="{y:g}" fill="{colour}" text-anchor="{anchor}">{escape(text)}</text>'


def _ticks(seconds: float, most: int) -> list[float]:
    step = next(s for s in (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0) if seconds / s <= most)
    return [step * i for i in range(int(seconds / step) + 1)]


def _lines_of(heard: Mapping[str, Any]) -> tuple[float, bool] | None:
    """Return the pitch that counts as 1, and whether it was measured or is only aimed at."""
    target, pitch = heard.get("target_hz"), heard.get("pitch_hz")
    if not target:
        return None
    if pitch is None:
        return float(target), False
    return float(pitch / 2.0 ** round(math.log2(pitch / target))), True


def _octave_lines(heard: Mapping[str, Any], y: Any, look: _Look, right: float) -> list[str]:
    lines = _lines_of(heard)
    if lines is None:
        return []
    one, measured = lines
    out: list[str] = []
    for (key, sign), ratio in zip(OCTAVES, (0.5, 1.0, 2.0, 4.0, 8.0), strict=True):
        if not LOW < one * ratio < HIGH:
            continue
        there = measured and (heard.get("octave_levels_db") or {}).get(key) is not None
        at = y(one * ratio)
        dash = "" if there else ' stroke-dasharray="2 6"'
        # heavy ticks at both sides; a hair across, so that the line itself stays to be seen
        out.append(
            f'<path d="M{_LEFT} {at}H{right}" stroke="{look.mark}" stroke-width="0.7"{dash}/>'
        )
        out.append(
            f'<path d="M{right} {at}h7M{_LEFT} {at}h-4" stroke="{look.mark}" stroke-width="2.5"/>'
        )
        out.append(_text(right + 10, at + 4.5, sign, look.ink, "start"))
    return out


def _events(
    heard: Mapping[str, Any], x: Any, seconds: float, tall: int, look: _Look, words: Words
) -> list[str]:
    swell = heard.get("swell") or {}
    out: list[str] = []
    free = 0.0  # where the next word may begin
    for key, word in (
        ("start", mark("speaks")),
        ("octave_joins", mark("octave")),
        ("rattles", mark("rattle")),
    ):
        moment = swell.get(key)
        together = key == "octave_joins" and swell.get("first_octave") == "both"
        if moment is None or moment["time_s"] > seconds or together:
            continue
        at = x(moment["time_s"])
        said = words(word)
        half = 3.6 * len(said)
        middle = max(at, free + half)
        free = middle + half + 6
        out.append(
            f'<path d="M{at} {_TOP - 5}V{_TOP + tall}" stroke="{look.mark}" stroke-width="1.2"/>'
        )
        out.append(_text(middle, _TOP - 8, said, look.ink, "middle"))
    return out


def spectrogram_told(heard: Mapping[str, Any], words: Words) -> str:
    """Return what the spectrogram shows, for those who do not see it."""
    if heard.get("kind") == "notes":
        return words.count(
            "Spectrogram with %(num)s note marked at its pitch; the table below holds the numbers.",
            "Spectrogram with %(num)s notes marked at their pitch; the table below holds the "
            "numbers.",
            len(heard.get("notes", ())),
        )
    parts = [
        words(mark("Spectrogram, 180 to 7200 Hz, level by lightness.")),
        pitch_said(heard, words),
        words.say(mark("Octave lines: %(levels)s."), levels=octaves_said(heard, words)),
        *swell_said(heard, words),
    ]
    return " ".join(parts)


def intonation_chart(
    heard: Mapping[str, Any], *, words: Words, dark: bool = False
) -> dict[str, Any]:
    """Return the intonation of a take: one line a note, highest on top.

    Parameters
    ----------
    heard : mapping
        Notes; see `crowlight.bench.sounds.listen`.
    words : Words
        The language.
    dark : bool
        Whether it stands on a dark page.

    Returns
    -------
    dict
        A Vega-Lite specification: points are medians, bars reach from lowest to highest.
    """
    look = _LOOKS[dark]
    rows = [
        {
            "note": row["name"],
            "cents": round(row["cents"], 1),
            "low": round(row["lowest"], 1),
            "high": round(row["highest"], 1),
        }
        for row in sorted(heard.get("intonation", ()), key=lambda r: -r["number"])
    ]
    reach = max([30.0, *(abs(row[k]) for row in rows for k in ("low", "high"))]) * 1.05
    x = {
        "type": "quantitative",
        "title": words(mark("cents from the tuning")),
        "scale": {"domain": [-reach, reach], "nice": False},
    }
    y = {
        "field": "note",
        "type": "ordinal",
        "sort": [row["note"] for row in rows],
        "title": None,
    }
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "background": None,
        "width": 270,
        "height": {"step": 22},
        "data": {"values": rows},
        "layer": [
            {
                "data": {"values": [{"zero": 0}]},
                "mark": {"type": "rule", "color": look.ink, "strokeWidth": 1.5},
                "encoding": {"x": {**x, "field": "zero"}},
            },
            {
                "mark": {"type": "rule", "color": look.mark, "strokeWidth": 3},
                "encoding": {"x": {**x, "field": "low"}, "x2": {"field": "high"}, "y": y},
            },
            {
                "mark": {"type": "point", "filled": True, "color": look.mark, "size": 60},
                "encoding": {"x": {**x, "field": "cents"}, "y": y},
            },
        ],
        "config": {
            "font": "sans-serif",
            "view": {"stroke": None},
            "axis": {
                "labelColor": look.ink,
                "titleColor": look.soft,
                "gridColor": look.edge,
                "domainColor": look.soft,
                "tickColor": look.soft,
                "labelFontSize": 13,
                "titleFontSize": 13,
                "titleFontWeight": "normal",
            },
        },
    }
