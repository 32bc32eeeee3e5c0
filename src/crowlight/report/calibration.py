"""What was learned of a reed, in the units of the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from crowlight.bench.calibration import Calibrated
from crowlight.bench.measured import Datum
from crowlight.calibrate import Belief
from crowlight.report.words import Words, mark

__all__ = [
    "DATA_WORDS",
    "BeliefRow",
    "belief_rows",
    "calibration_plain",
    "calibration_text",
    "datum_said",
    "together_said",
]

#: Quantity -> its name, unit shown, and the factor to it from SI.
SHOWN: Mapping[str, tuple[str, str, float]] = {
    "cane_along": (mark("cane stiffness along the fibres"), "GPa", 1e-9),
    "cane_across": (mark("cane stiffness across the fibres"), "GPa", 1e-9),
    "cane_shear": (mark("cane stiffness in shear"), "GPa", 1e-9),
    "cane_density": (mark("density of the wet cane"), "kg/m³", 1.0),
    "throat_height": (mark("height of one blade at the thread"), "mm", 1e3),
    "preload": (mark("preload of the tie"), "mm", 1e3),
    "rest_height": (mark("opening height at rest"), "mm", 1e3),
    "rest_area": (mark("opening area at rest"), "mm²", 1e6),
    "closing_pressure": (mark("pressure that closes it"), "kPa", 1e-3),
    "stiffness": (mark("pressure per opening lost"), "kPa/mm", 1e-6),
    "mode_held": (mark("lowest mode, edges held"), "Hz", 1.0),
    "swept_volume": (mark("volume the blades sweep"), "mm³", 1e9),
    "damping": (mark("damping of the blades"), "", 1.0),
    "felt_closing_pressure": (mark("closing pressure as the air feels it"), "kPa", 1e-3),
    "felt_frequency": (mark("resonance as the air feels it"), "Hz", 1.0),
}
DATA_WORDS: Mapping[str, str] = {
    "force": mark("force test"),
    "crow": mark("pitch of the crow"),
    "peep": mark("pitch of the peep"),
    "start": mark("pressure at which the crow starts"),
}
#: Unknowns of the calibration and its model errors.
UNKNOWN_WORDS: Mapping[str, str] = {
    "cane stiffness along": mark("cane stiffness along the fibres"),
    "cane stiffness across": mark("cane stiffness across the fibres"),
    "cane stiffness in shear": mark("cane stiffness in shear"),
    "cane density": mark("density of the wet cane"),
    "height at the thread": mark("height of the blades at the thread"),
    "rest opening": mark("opening at rest"),
    "tie preload": mark("preload of the tie"),
    "thickness maps": mark("thickness maps"),
    "how the reed closes": mark("how the reed closes"),
    "opening as felt by the air": mark("opening as the air feels it"),
    "closing as felt by the air": mark("closing pressure as the air feels it"),
    "swept volume": mark("volume the blades sweep"),
    "frequency as felt by the air": mark("resonance as the air feels it"),
    "damping": mark("damping of the blades"),
    "model error: opening": mark("error of the model of the opening"),
    "model error: force": mark("error of the model of the force test"),
    "model error: crow": mark("error of the model of the crow's pitch"),
    "model error: peep": mark("error of the model of the peep's pitch"),
    "model error: start": mark("error of the model of the crow's start"),
}
_GRAMS = 1e3 / 9.80665


@dataclass(frozen=True, slots=True, kw_only=True)
class BeliefRow:
    """One quantity before and after the data, ready to be shown.

    Parameters
    ----------
    name, label, unit : str
        Code, words and unit.
    before, before_range, after, after_range : str
        Middle and interval.
    width : int
        Width of the interval after the data in per cent of that before.
    bars : tuple of float
        Low, middle and high before, then after, as shares of the picture's width, 0 to 1.
    """

    name: str
    label: str
    unit: str
    before: str
    before_range: str
    after: str
    after_range: str
    width: int
    bars: tuple[float, float, float, float, float, float]


def belief_rows(found: Calibrated, *, words: Words) -> list[BeliefRow]:
    """Return every quantity before and after; intervals of ratios, so drawn on a log scale."""
    return [
        _row(name, found.prior[name], found.posterior[name], words)
        for name in SHOWN
        if name in found.prior
    ]


def _row(name: str, prior: Belief, posterior: Belief, words: Words) -> BeliefRow:
    label, unit, factor = SHOWN[name]
    digits = _digits(prior.value * factor)

    def said(value: float) -> str:
        return words.number(value * factor, digits)

    def span(b: Belief) -> str:
        return words.say(mark("%(low)s to %(high)s"), low=said(b.low), high=said(b.high))

    six = [math.log(v) for b in (prior, posterior) for v in (b.low, b.value, b.high)]
    low, wide = min(six), max(max(six) - min(six), 1e-9)
    a, b, c, d, e, f = ((x - low) / wide for x in six)
    return BeliefRow(
        name=name,
        label=words(label),
        unit=unit,
        before=said(prior.value),
        before_range=span(prior),
        after=said(posterior.value),
        after_range=span(posterior),
        width=round(100 * (six[5] - six[3]) / max(six[2] - six[0], 1e-9)),
        bars=(a, b, c, d, e, f),
    )


def _digits(value: float) -> int:
    """Return how many digits after the point leave three that count."""
    return max(0, 2 - math.floor(math.log10(abs(value)))) if value else 0


def datum_said(datum: Datum, words: Words) -> str:
    """Return one measurement in the units of the bench."""
    value, spread = datum.value, datum.spread
    match datum.kind:
        case "force":
            text = mark("%(value)s ± %(spread)s g for %(depth)s mm")
            depth = words.number(datum.depth * 1e3, 2)
            return words.say(
                text,
                value=words.number(value * _GRAMS, 0),
                spread=words.number(spread * _GRAMS, 0),
                depth=depth,
            )
        case "start":
            unit, factor, digits = "hPa", 1e-2, 1
        case _:
            unit, factor, digits = "Hz", 1.0, 0
    said = words.say(
        mark("%(value)s ± %(spread)s %(unit)s"),
        value=words.number(value * factor, digits),
        spread=words.number(spread * factor, digits),
        unit=unit,
    )
    return f"{said} {words(mark('(upper note)'))}" if datum.upper else said


def together_said(found: Calibrated, words: Words) -> tuple[list[str], list[str]]:
    """Return what the data see only together, and what they do not see."""

    def named(names: tuple[str, ...], joint: str) -> str:
        return joint.join(words(UNKNOWN_WORDS.get(n, n)) for n in names)

    # two directions of the same unknowns are told once
    alike = list({frozenset(c.names): c for c in found.cannot_separate}.values())
    together = [named(c.names, " + ") for c in alike if c.code == "only_together"]
    unseen = [named(c.names, ", ") for c in alike if c.code == "unseen"]
    return together, unseen


def calibration_plain(found: Calibrated) -> dict[str, Any]:
    """Return what was learned as values that JSON knows, in the units of the bench.

    Returns
    -------
    dict
        ``used``, ``questions``, ``data``, ``quantities`` by name with ``prior`` and ``posterior``,
        ``cannot_separate``, ``quality`` and ``notes``.
    """
    return {
        "basis": "physics and your data" if found.data else "physics",
        "used": found.used,
        "questions": [
            {
                "code": c.code,
                "entries": [found.data[i].entry for i in c.about],
                "standard_deviations": c.surprise,
                "question": c.question,
            }
            for c in found.conflicts
        ],
        "data": [
            {
                "kind": d.kind,
                "value": d.value,
                "spread": d.spread,
                "unit": d.unit,
                "entry": d.entry,
                "upper_note": d.upper,
            }
            for d in found.data
        ],
        "left_out_before_the_last_cut": found.passed_over,
        "map_older_than_the_last_cut": found.map_older,
        "opening_known": found.opening_known,
        "quantities": {
            name: {
                "unit": unit or "1",
                "prior": _belief(found.prior[name], factor),
                "posterior": _belief(found.posterior[name], factor),
            }
            for name, (_, unit, factor) in SHOWN.items()
            if name in found.prior
        },
        "cannot_separate": [
            {"code": c.code, "names": list(c.names), "shares": list(c.shares), "left": c.spread}
            for c in found.cannot_separate
        ],
        "chance": found.chance,
        "quality": {
            "method": found.quality.method,
            "effective_share": found.quality.effective_share,
            "blade_error": _finite(found.quality.blade_error),
        },
        "notes": list(found.notes),
    }


def _belief(belief: Belief, factor: float) -> dict[str, float]:
    return {
        "value": belief.value * factor,
        "low": belief.low * factor,
        "high": belief.high * factor,
        "level": belief.level,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def calibration_text(found: Calibrated, words: Words) -> str:
    """Return what was learned as lines of text, for a terminal."""
    lines = [f"question: {c.question}" for c in found.conflicts]
    if not found.data:
        lines.append("Nothing was measured that tells of cane and tie; the usual ranges stand.")
    for d in found.data:
        lines.append(f"  entry {d.entry:3}  {words(DATA_WORDS[d.kind])}: {datum_said(d, words)}")
    if found.passed_over:
        lines.append(f"left out, measured before the last cut or clip: {found.passed_over}")
    if found.map_older:
        lines.append("The reed was cut after its readings: measure it again.")
    level = next(iter(found.prior.values())).level
    lines.append(f"Before and after the data, {level:.0%} ranges (physics and your data):")
    for row in belief_rows(found, words=words):
        lines.append(
            f"  {row.label:38} {row.before_range} -> {row.after_range} {row.unit} "
            f"({row.width} % of the width)"
        )
    together, unseen = together_said(found, words)
    lines += [f"seen only together: {names}" for names in together]
    if unseen and found.data:
        lines.append(f"not seen by the data: {', '.join(unseen)}")
    if found.data and not found.used:
        lines.append("Blades and air do not use this while something is in doubt.")
    return "\n".join(lines)
