"""A photograph against the light in words, as plain values, and drawn over."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from crowlight.bench.light_kinds import LightMarks
from crowlight.bench.lit import LightFound, Lit
from crowlight.look import TOLERANCE, Answer, Look, Part, Reason
from crowlight.report.finding import zone_name
from crowlight.report.words import Words, mark

__all__ = [
    "CAUTIONS",
    "FACING",
    "NOTES",
    "PASSED",
    "USUAL_LENGTH",
    "LightRow",
    "facing_said",
    "headline",
    "light_picture",
    "light_plain",
    "light_rows",
    "light_text",
    "marks_said",
    "reason_said",
]

#: Why a photograph, or a part of it, cannot tell, and what to do about it.
_REASONS: Mapping[Reason, str] = {
    Reason.MARKS_OUTSIDE: mark("a mark lies outside the picture: mark all four points again"),
    Reason.MARKS_CROSSED: mark(
        "the marks do not go round the reed: is left left, and the tip up, as you see it?"
    ),
    Reason.TOO_SMALL: mark("the reed is too small in the picture: go nearer, or crop less"),
    Reason.NOT_ON_EDGES: mark(
        "no edge of the reed was found near the lines between the marks: mark its edges again"
    ),
    Reason.BLURRED: mark(
        "the edges are blurred: rest the camera, and let it focus on the edge of the reed"
    ),
    Reason.BACKGROUND_CLIPPED: mark(
        "the background is over-exposed: expose so that it is bright but not white"
    ),
    Reason.BACKGROUND_NOT_BRIGHT: mark(
        "there is no bright background on both sides: leave some of it left and right of the reed"
    ),
    Reason.BACKGROUND_UNEVEN: mark(
        "the background is not even: use a plain lit surface, and keep fingers out of the picture"
    ),
    Reason.CLIPPED: mark("over-exposed: expose less"),
    Reason.DARK: mark("too dark: too little light comes through here; expose more if you can"),
}
_CANNOT = mark("cannot be told")
_NONE = mark("no difference the photo can show")
_LEFT, _RIGHT = mark("more light on the left"), mark("more light on the right")
#: What was in doubt about the file.
NOTES: Mapping[str, str] = {
    "profile": mark(
        "What the file says of its colours could not be used; they were taken for sRGB."
    ),
}
#: Which blade faces the camera.
FACING: Mapping[str, str] = {
    "unsure": mark("not known"),
    "marked": mark("marked blade"),
    "plain": mark("plain blade"),
}
#: How many blades the light went through.
PASSED: Mapping[str, str] = {
    "both": mark("both blades, as tied"),
    "one": mark("one blade alone"),
}
CAUTIONS: tuple[str, ...] = (
    mark(
        "Lamps get hot: keep fingers, cane and thread off them, and never look into a bright one."
    ),
    mark(
        "Do not let the reed dry out while it is held there; wet it again (common practice, no "
        "source)."
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LightRow:
    """One part as it is shown.

    Parameters
    ----------
    part : Part
        The part.
    where, says, interval : str
        Its name, what may be said of it, and within which limits.
    """

    part: Part
    where: str
    says: str
    interval: str


def reason_said(reason: Reason | None, words: Words) -> str:
    """Return why nothing can be told, and the remedy; empty for None."""
    return "" if reason is None else words(_REASONS[reason])


def facing_said(marks: LightMarks, words: Words) -> str:
    """Say what left and right mean in this picture."""
    if marks.passed == "one":
        seen = words(
            mark(
                "Left and right are as seen in the picture with the tip up. The light went through "
                "one blade alone, as you say."
            )
        )
    else:
        seen = words(
            mark(
                "The light passes both blades at once: a side means both together. What is left as "
                "seen of one blade is right as seen of the other."
            )
        )
    here = {
        "marked": mark("Here left and right are as seen facing the marked blade."),
        "plain": mark("Here left and right are as seen facing the plain blade."),
        "unsure": mark("Which blade faces the camera was not said."),
    }[marks.facing]
    return f"{seen} {words(here)}"


def light_rows(parts: Sequence[Part], tip: float, words: Words) -> list[LightRow]:
    """Return parts as they are shown.

    Parameters
    ----------
    parts : sequence of Part
        Bands or zones.
    tip : float
        Where the tip lies, from the bottom rim [m].
    words : Words
        The language.
    """
    return [
        LightRow(
            part=p,
            where=_where(p, tip, words),
            says=_says(p, words),
            interval=_interval(p, words),
        )
        for p in parts
    ]


def headline(look: Look, words: Words) -> str:
    """Return the answer in a sentence: zones that differ, and bands no such zone tells of."""
    if look.reason is not None:
        return f"{words(mark('Cannot be told'))}: {reason_said(look.reason, words)}."
    parts = (*look.zones, *look.bands)
    told = [p for p in parts if p.answer is not Answer.CANNOT_TELL]
    if not told:
        return words(mark("Cannot be told anywhere; the list says why."))
    said: list[str] = []
    for text, sign in ((_LEFT, 1), (_RIGHT, -1)):
        zones, bands = (
            [p for p in found if p.answer is Answer.DIFFERS and p.value * sign > 0]
            for found in (look.zones, look.bands)
        )
        alone = [b for b in bands if not any(_within(b, z) for z in zones)]
        where = ", ".join(zone_name(z.name, words) for z in zones)
        count = words.count("in %(num)s band", "in %(num)s bands", len(alone))
        if where and alone:
            said.append(f"{words(text)}: {where}, {count}")
        elif where or alone:
            said.append(f"{words(text)}: {where}" if where else f"{words(text)} {count}")
    if said:
        text = "; ".join(said)
    elif any(p.low > 0 or p.high < 0 for p in told):
        size = _percent(TOLERANCE, words)
        text = words.say(mark("no difference of more than %(size)s %% is sure"), size=size)
    elif len(told) == len(parts):
        text = words(_NONE)
    else:
        text = words(mark("no difference the photo can show where it can tell"))
    return f"{text[0].upper()}{text[1:]}."


def _within(band: Part, zone: Part) -> bool:
    """Whether at least half of a band lies beside a zone."""
    shared = min(band.stop, zone.stop) - max(band.start, zone.start)
    return shared >= 0.5 * (band.stop - band.start)


def _where(part: Part, tip: float, words: Words) -> str:
    start, stop = max(tip - part.stop, 0.0) * 1e3, (tip - part.start) * 1e3
    from_tip = words.say(
        mark("about %(start)s to %(stop)s mm from the tip"),
        start=words.number(start, 0),
        stop=words.number(stop, 0),
    )
    return f"{zone_name(part.name, words)}, {from_tip}" if part.name else from_tip


def _says(part: Part, words: Words) -> str:
    if part.answer is Answer.CANNOT_TELL:
        return f"{words(_CANNOT)}: {reason_said(part.reason, words)}"
    if part.answer is Answer.DIFFERS:
        return words(_LEFT if part.value > 0 else _RIGHT)
    if part.low > 0 or part.high < 0:
        size = _percent(TOLERANCE, words)
        return words.say(mark("a difference of more than %(size)s %% is not sure"), size=size)
    return words(_NONE)


def _interval(part: Part, words: Words) -> str:
    """Say by how much more light, with the limits that hold for all parts together."""
    if part.answer is Answer.CANNOT_TELL:
        return ""
    low, high = sorted((abs(part.low), abs(part.high)))
    if part.answer is Answer.DIFFERS:
        said = mark("by %(low)s to %(high)s %%")
        return words.say(said, low=_percent(low, words), high=_percent(high, words))
    if part.low > 0 or part.high < 0:
        said = mark("%(low)s to %(high)s %% more light on the left")
        if part.value < 0:
            said = mark("%(low)s to %(high)s %% more light on the right")
        return words.say(said, low=_percent(low, words), high=_percent(high, words))
    return words.say(
        mark("between %(left)s %% more on the left and %(right)s %% more on the right"),
        left=_percent(part.high, words),
        right=_percent(-part.low, words),
    )


def _percent(log: float, words: Words) -> str:
    return words.number(math.expm1(log) * 100, 0)


# --- drawn over the photograph --------------------------------------------------------------------


def light_picture(found: LightFound, address: str, words: Words) -> str:
    """Return the reed in its photograph with what was compared drawn over it, as an SVG.

    The side with more light has a thick line and a plus in it; where nothing differs lines are
    thin; where nothing can be told they are dashed: shapes say it, not colours alone.

    Parameters
    ----------
    found : LightFound
        With bands.
    address : str
        Of the upright photograph.
    words : Words
        The language.
    """
    points = [p for band in found.look.bands for p in (*band.left, *band.right)]
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    top, bottom = min(y for _, y in points), max(y for _, y in points)
    room = 0.1 * max(right - left, bottom - top)
    box = (left - room, top - room, right - left + 2 * room, bottom - top + 2 * room)
    size = 0.22 * room
    parts = [
        f'<svg class="light-drawn" viewBox="{" ".join(f"{v:.1f}" for v in box)}" role="img" '
        f'aria-label="{escape(words(mark("The reed, with the bands that were compared")))}">'
        f'<image href="{escape(address)}" width="{found.columns}" height="{found.rows}" '
        'preserveAspectRatio="none"/>'
    ]
    for number, band in enumerate(found.look.bands, 1):
        for side, sign in ((band.left, 1), (band.right, -1)):
            path = " ".join(f"{x:.1f},{y:.1f}" for x, y in side)
            kind = {
                Answer.CANNOT_TELL: "light-cannot",
                Answer.NO_DIFFERENCE_SEEN: "light-even",
                Answer.DIFFERS: "light-more" if band.value * sign > 0 else "light-less",
            }[band.answer]
            # drawn twice, dark below and light above: to be seen on cane and on the lamp
            wide = " wide" if kind == "light-more" else ""
            parts.append(f'<polygon class="light-under{wide}" points="{path}"/>')
            parts.append(f'<polygon class="{kind}" points="{path}"/>')
            if kind == "light-more":
                parts.append(_plus(side))
        parts.append(_number(band.left, band.right, number, size))
    parts.append("</svg>")
    return "".join(parts)


def _number(
    left: Sequence[tuple[float, float]],
    right: Sequence[tuple[float, float]],
    number: int,
    size: float,
) -> str:
    """Return the number of a band, beyond its right side."""
    (x, y), (u, v) = _middle(left), _middle(right)
    outer = _middle(right[len(right) // 2 :])
    away = 1.6 * size / max(math.dist((x, y), (u, v)), 1e-9)
    at = (outer[0] + away * (u - x), outer[1] + away * (v - y))
    return f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-size="{1.4 * size:.1f}">{number}</text>'


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return (
        math.fsum(p[0] for p in points) / len(points),
        math.fsum(p[1] for p in points) / len(points),
    )


def _plus(side: Sequence[tuple[float, float]]) -> str:
    x, y = _middle(side)
    arm = 0.16 * min(math.dist(side[0], side[-1]), math.dist(side[0], side[3]))
    path = f"M{x - arm:.1f} {y:.1f}H{x + arm:.1f}M{x:.1f} {y - arm:.1f}V{y + arm:.1f}"
    return f'<path class="light-under wide" d="{path}"/><path class="light-plus" d="{path}"/>'


# --- elsewhere ------------------------------------------------------------------------------------


def marks_said(marks: LightMarks, words: Words) -> str:
    """Return what an entry of marks says in the log."""
    text = words.say(
        mark("four points marked; facing the camera: %(facing)s; light through %(passed)s"),
        facing=words(FACING[marks.facing]),
        passed=words(PASSED[marks.passed]),
    )
    return f"{text}. {marks.remark}" if marks.remark else text


def light_plain(name: str, lit: Lit) -> dict[str, Any]:
    """Return a measurement as values that JSON knows.

    Returns
    -------
    dict
        ``reed``, ``photo``, ``facing``, ``passed``, ``style``, ``length_known``, ``reason`` (why
        the photograph as a whole cannot tell), ``comparisons``, ``pixels_across``, ``notes``, and
        ``bands`` and ``zones``, tip first: ``zone``, ``from_tip_mm`` (two ends), ``answer``,
        ``reason``, ``ln_left_over_right``, ``low``, ``high``, ``standard_uncertainty`` and its
        parts ``from_scatter``, ``from_marks``, ``from_backlight``. What is not known is None.
    """
    look = lit.found.look

    def part(p: Part) -> dict[str, Any]:
        ends = sorted(((lit.tip - p.stop) * 1e3, (lit.tip - p.start) * 1e3))
        return {
            "zone": p.name or None,
            "from_tip_mm": [round(e, 2) for e in ends],
            "answer": p.answer.value,
            "reason": p.reason.value if p.reason else None,
            "ln_left_over_right": _known(p.value),
            "low": _known(p.low),
            "high": _known(p.high),
            "standard_uncertainty": _known(p.standard_uncertainty),
            "from_scatter": _known(p.from_scatter),
            "from_marks": _known(p.from_marks),
            "from_backlight": _known(p.from_backlight),
        }

    return {
        "reed": name,
        "photo": str(lit.photo.uuid),
        "facing": lit.marks.facing,
        "passed": lit.marks.passed,
        "style": lit.style or None,
        "length_known": lit.length_known,
        "reason": look.reason.value if look.reason else None,
        "comparisons": look.comparisons,
        "pixels_across": round(look.pixels_across, 1),
        "notes": list(lit.found.notes),
        "bands": [part(p) for p in look.bands],
        "zones": [part(p) for p in look.zones],
    }


def _known(value: float) -> float | None:
    return round(value, 5) if math.isfinite(value) else None


def light_text(name: str, lit: Lit, words: Words) -> str:
    """Return a measurement as lines of text."""
    look = lit.found.look
    lines = [name, headline(look, words), facing_said(lit.marks, words)]
    if not lit.length_known:
        lines.append(words(USUAL_LENGTH))
    lines += [words(NOTES[n]) for n in lit.found.notes]
    for parts in (look.zones, look.bands):
        lines += [
            f"  {r.where}: {r.says}" + (f" ({r.interval})" if r.interval else "")
            for r in light_rows(parts, lit.tip, words)
        ]
    lines.append(words(DENIAL))
    if any(p.answer is Answer.DIFFERS for p in (*look.zones, *look.bands)):
        lines.append(words(NEXT))
    lines += [words(c) for c in CAUTIONS]
    return "\n".join(lines)


#: What this does not say, and what to do next.
DENIAL = mark(
    "This is light, not thickness: density, wetness and colour of the cane count as well. Only the "
    "gauge tells thickness."
)
NEXT = mark("Measure here with the gauge before any cut.")
#: Where no length was measured before the photograph.
USUAL_LENGTH = mark(
    "The length of the reed on that day is not known: places are laid on the one known now, or on "
    "the usual one of the style."
)
