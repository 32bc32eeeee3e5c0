"""The blade model's answer in the units of the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from crowlight.bench.mechanics import CUT, STROKE_RADIUS, BladesShown, OutputShown

__all__ = ["OUTPUT_WORDS", "SHOWN_UNITS", "blades_plain", "blades_text"]

#: Output -> unit shown and the factor to it from SI.
SHOWN_UNITS: Mapping[str, tuple[str, float]] = {
    "rest_area": ("mm²", 1e6),
    "rest_height": ("mm", 1e3),
    "area": ("mm²", 1e6),
    "height": ("mm", 1e3),
    "tilt": ("%", 1e2),
    "unevenness": ("%", 1e2),
    "closing_pressure": ("kPa", 1e-3),
    "compliance": ("mm²/kPa", 1e9),
    "stiffness": ("kPa/mm", 1e-6),
    "effective_area": ("mm²", 1e6),
    "separation": ("1", 1.0),
    "mode_free": ("Hz", 1.0),
    "mode_held": ("Hz", 1.0),
    "mode_loaded": ("Hz", 1.0),
}
#: English sources of the catalogue.
OUTPUT_WORDS: Mapping[str, str] = {
    "rest_area": "opening area at rest",
    "rest_height": "opening height at rest",
    "area": "opening area while playing",
    "height": "opening height while playing",
    "tilt": "opening wider on the right",
    "unevenness": "marked blade closes more",
    "closing_pressure": "pressure that closes it",
    "compliance": "opening lost per pressure",
    "stiffness": "pressure per opening lost",
    "effective_area": "blade area that moves",
    "separation": "tip gives, compared with heart",
    "mode_free": "lowest mode, blade alone",
    "mode_held": "lowest mode, edges held",
    "mode_loaded": "lowest mode while playing",
}


def blades_plain(found: BladesShown) -> dict[str, Any]:
    """Return an answer as values that JSON knows, in the units of the bench.

    Parameters
    ----------
    found : BladesShown
        The answer.

    Returns
    -------
    dict
        ``outputs`` by name with value, low, high, unit, level, method, basis and mesh_error;
        ``curve``; ``effects`` per `cut_mm` taken off at each grid point; ``flexibility_mm_per_n``;
        ``cane_left``; ``modes_hz``; ``notes``.
    """
    return {
        "basis": "physics and your data" if found.learned_from else "physics",
        "your_data": list(found.learned_from),
        "opening_known": found.opening_known,
        "outputs": {o.name: _output(o) for o in found.outputs},
        "curve": {
            "pressure_kpa": [p * 1e-3 for p in found.pressures],
            "area_mm2": [a * 1e6 for a in found.areas],
            "area_low_mm2": [a * 1e6 for a in found.area_low],
            "area_high_mm2": [a * 1e6 for a in found.area_high],
            "height_mm": [h * 1e3 for h in found.heights],
        },
        "playing_pressure_kpa": found.playing_pressure * 1e-3,
        "from_tip_mm": [x * 1e3 for x in found.from_tip],
        "fraction": list(found.fraction),
        "cut_mm": CUT * 1e3,
        "cut_radius_mm": STROKE_RADIUS * 1e3,
        "effects": {
            name: {
                "unit": SHOWN_UNITS[name][0],
                **{
                    blade.value: [[v * SHOWN_UNITS[name][1] for v in row] for row in rows]
                    for blade, rows in blades.items()
                },
            }
            for name, blades in found.effects.items()
        },
        "flexibility_mm_per_n": {
            blade.value: [[v * 1e3 for v in row] for row in rows]
            for blade, rows in found.flexibility.items()
        },
        "light_stroke_mm": found.stroke * 1e3,
        "light_stroke_basis": found.stroke_basis,
        "cane_left": [
            {
                "zone": c.zone,
                "blade": c.blade.value,
                "least_mm": c.least * 1e3,
                "light_strokes": c.strokes,
                "basis": "common practice",
            }
            for c in found.cane_left
        ],
        "modes_hz": {name: list(values) for name, values in found.modes.items()},
        "notes": list(found.notes),
    }


def _output(o: OutputShown) -> dict[str, Any]:
    unit, factor = SHOWN_UNITS[o.name]
    return {
        "value": _finite(o.value * factor),
        "low": _finite(o.low * factor),
        "high": _finite(o.high * factor),
        "unit": unit,
        "level": o.level,
        "method": o.method,
        "basis": "physics",
        "shares": dict(o.shares),
        "mesh_error": _finite(o.mesh_error),
    }


def blades_text(found: BladesShown) -> str:
    """Return an answer as lines of text, for a terminal."""
    lines = ["Physics with stated spread; modes are not the pitch of the crow."]
    if not found.opening_known:
        lines.append("The opening was not measured: a usual one was taken (common practice).")
    if found.learned_from:
        lines.append("Cane and tie rest on your data as well: see `crowlight calibrate`.")
    for o in found.outputs:
        unit, factor = SHOWN_UNITS[o.name]
        shown = "" if unit == "1" else f" {unit}"
        lines.append(
            f"  {OUTPUT_WORDS[o.name]:32} {o.value * factor:8.4g}{shown} "
            f"({o.low * factor:.4g} to {o.high * factor:.4g}, {o.level:.0%}, {o.method}; "
            f"mesh {o.mesh_error:+.1%})"
        )
    lines.append(
        f"Cane left, in light strokes of {found.stroke * 1e3:.2g} mm ({found.stroke_basis}):"
    )
    for c in found.cane_left:
        lines.append(f"  {c.blade.value:6} {c.zone:10} {c.strokes:3}  ({c.least * 1e3:+.3f} mm)")
    lines += [f"note: {note}" for note in found.notes]
    return "\n".join(lines)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
