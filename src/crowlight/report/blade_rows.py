"""The blade model's answer as lines people read: numbers with intervals and what they rest on."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from crowlight.bench.cuts import Cut, Foreseen
from crowlight.bench.mechanics import BladesShown, CaneLeft
from crowlight.bench.whatif import Moved
from crowlight.report.blades import OUTPUT_WORDS, SHOWN_UNITS
from crowlight.report.words import Words, mark

__all__ = [
    "SIGNED",
    "CutRow",
    "OutputRow",
    "cane_warnings",
    "cut_rows",
    "decimals_of",
    "output_rows",
    "significant",
]

#: Outputs that are signed shares: their change is told in points, not as a share of themselves.
SIGNED = ("tilt", "unevenness")
#: What an interval may rest on.
_RESTS_ON: Mapping[str, str] = {
    "cane stiffness along": mark("stiffness of the cane along the fibres"),
    "cane stiffness across": mark("stiffness of the cane across"),
    "cane stiffness in shear": mark("stiffness of the cane in shear"),
    "cane density": mark("density of the cane"),
    "height at the thread": mark("height at the thread"),
    "rest opening": mark("opening at rest"),
    "tie preload": mark("how it was tied"),
    "marked map": mark("thickness of the marked blade"),
    "plain map": mark("thickness of the plain blade"),
}
_METHODS: Mapping[str, str] = {
    "linearised": mark("to first order"),
    "curved": mark("to second order, checked on drawn reeds"),
    "sampled": mark("from drawn reeds"),
}


@dataclass(frozen=True, slots=True)
class OutputRow:
    """One output.

    Parameters
    ----------
    name, label : str
        Code, and what it is called.
    value, interval, unit : str
        The number, its interval, the unit of both.
    method : str
        How the interval was found.
    rests_on : tuple of (str, str)
        What the interval comes from: name and share in per cent, largest first.
    mesh : str
        Error of the mesh with its unit.
    mode : bool
        Whether it is the frequency of a mode, which is not the crow's pitch.
    """

    name: str
    label: str
    value: str
    interval: str
    unit: str
    method: str
    rests_on: tuple[tuple[str, str], ...]
    mesh: str
    mode: bool


@dataclass(frozen=True, slots=True)
class CutRow:
    """One output before and after a cut, as words."""

    name: str
    label: str
    unit: str
    before: str
    before_interval: str
    after: str
    after_interval: str
    change: str
    change_interval: str
    open_sign: bool


def significant(words: Words, value: float, figures: int = 3, *, signed: bool = False) -> str:
    """Return a number with so many figures, none of them after more than four decimals.

    Examples
    --------
    >>> from crowlight.report.words import in_locale
    >>> [significant(in_locale("en"), v) for v in (3512.4, 7.6411, 0.03337)]
    ['3,512', '7.64', '0.0334']
    """
    return words.number(value, decimals_of(value, figures), signed=signed)


def decimals_of(value: float, figures: int = 3) -> int:
    """Return the decimals that leave a number so many figures; 4 at most."""
    if not math.isfinite(value) or value == 0.0:
        return 0
    return min(max(figures - 1 - math.floor(math.log10(abs(value))), 0), 4)


def _between(words: Words, low: float, high: float, decimals: int, *, signed: bool = False) -> str:
    if not (math.isfinite(low) and math.isfinite(high)):
        return words(mark("not known"))
    return words.say(
        mark("%(low)s to %(high)s"),
        low=words.number(low, decimals, signed=signed),
        high=words.number(high, decimals, signed=signed),
    )


def _unit(name: str) -> tuple[str, float]:
    unit, factor = SHOWN_UNITS[name]
    return ("" if unit == "1" else unit), factor


def output_rows(found: BladesShown, *, words: Words) -> list[OutputRow]:
    """Return every output as a line.

    Parameters
    ----------
    found : BladesShown
        The blade model's answer.
    words : Words
        The language.
    """
    rows: list[OutputRow] = []
    for o in found.outputs:
        unit, factor = _unit(o.name)
        signed = o.name in SIGNED
        decimals = 1 if signed else decimals_of(o.value * factor, 3)
        shares = sorted(o.shares.items(), key=lambda kv: -kv[1])
        rests = tuple(
            (words(_RESTS_ON.get(k, k)), words.number(100 * v, 0)) for k, v in shares if v >= 0.1
        )
        rows.append(
            OutputRow(
                name=o.name,
                label=words(OUTPUT_WORDS[o.name]),
                value=words.number(o.value * factor, decimals, signed=signed),
                interval=_between(words, o.low * factor, o.high * factor, decimals, signed=signed),
                unit=unit,
                method=words(_METHODS.get(o.method, o.method)),
                rests_on=rests[:3],
                mesh=words.number(100 * o.mesh_error, 1, signed=True),
                mode=o.name.startswith("mode_"),
            )
        )
    return rows


def cut_rows(
    found: BladesShown,
    told: Mapping[str, Moved] | Mapping[str, Foreseen],
    *,
    words: Words,
) -> list[CutRow]:
    """Return every output before and after a cut as a line.

    Parameters
    ----------
    found : BladesShown
        The blade model's answer as it is.
    told : mapping
        Of `crowlight.bench.whatif`: solved in full, or foreseen. What was foreseen takes the
        intervals of the reed as it is, moved by the change.
    words : Words
        The language.
    """
    now = {o.name: o for o in found.outputs}
    rows: list[CutRow] = []
    for name, t in told.items():
        unit, factor = _unit(name)
        signed = name in SIGNED
        decimals = 1 if signed else decimals_of(t.before * factor, 3)
        if isinstance(t, Moved):
            before, after = (t.before_low, t.before_high), (t.after_low, t.after_high)
            change, value = (t.change_low, t.change_high), t.after
        else:
            before, value = (now[name].low, now[name].high), t.before + t.change
            change, after = None, (before[0] + t.change, before[1] + t.change)
        # a change is told as a share of the value; of a signed share, in points
        scale, sign = (1e2, " ") if signed else (1e2 / t.before if t.before else math.nan, " %")
        fine = 1
        moved = words.number(t.change * scale, fine, signed=True)
        rows.append(
            CutRow(
                name=name,
                label=words(OUTPUT_WORDS[name]),
                unit=unit,
                before=words.number(t.before * factor, decimals, signed=signed),
                before_interval=_between(
                    words, before[0] * factor, before[1] * factor, decimals, signed=signed
                ),
                after=words.number(value * factor, decimals, signed=signed),
                after_interval=_between(
                    words, after[0] * factor, after[1] * factor, decimals, signed=signed
                ),
                change=(moved + sign).strip() if math.isfinite(t.change) else moved,
                change_interval=(
                    _between(words, change[0] * scale, change[1] * scale, fine, signed=True)
                    if change
                    else ""
                ),
                open_sign=bool(change and change[0] < 0.0 < change[1]),
            )
        )
    return rows


def cane_warnings(found: BladesShown, cut: Cut) -> tuple[CaneLeft, ...]:
    """Return the zones in which a scrape would cross the floor."""
    return tuple(
        c
        for c in found.cane_left
        if cut.depth and c.zone == cut.zone and c.blade in cut.blades and cut.depth > c.least
    )
