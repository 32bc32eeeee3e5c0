"""The blades of a reed as they are drawn: its style laid on its length, divided where it is."""

from __future__ import annotations

import math

from crowlight.bench.desk import Desk, Sheet
from crowlight.bench.mapping import placed_style
from crowlight.errors import CrowlightError
from crowlight.judge.geometry import Against, Quantity
from crowlight.report.next_cut import BladeDrawn

__all__ = ["drawn_of"]


def drawn_of(desk: Desk, sheet: Sheet) -> BladeDrawn | None:
    """Return the blades of a reed; None if its style is not known.

    Parameters
    ----------
    desk : Desk
        The desk.
    sheet : Sheet
        The reed; if it was judged, its zones are divided where its own transition lies.
    """
    inputs = desk.reed_inputs(sheet.reed, sheet.state)
    if not inputs["style"]:
        return None
    try:
        style = placed_style(inputs["style"], inputs["length"], inputs["style_text"])
    except CrowlightError:
        return None
    return BladeDrawn(style.moved(_shift(sheet)))


def _shift(sheet: Sheet) -> float:
    """Return how much nearer to the tip the transition lies than the style's [m]."""
    groups = sheet.assessment.groups if sheet.assessment else ()
    mapped = next((g.mapped for g in groups if g.mapped is not None), None)
    if mapped is None:
        return 0.0
    away = [
        f.decision.value
        for f in mapped.geometry.findings
        if f.quantity is Quantity.TRANSITION_POSITION
        and f.against is Against.STYLE
        and math.isfinite(f.decision.value)
    ]
    return sum(away) / len(away) if away else 0.0
