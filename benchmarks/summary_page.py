"""The page of figures: its head, its tables, and why a target is missed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
RESULTS = HERE / "results"

HEAD = """\
# Figures

Written by `benchmarks/summary.py` from `benchmarks/results/*.json`; do not edit by hand.

    make bench            # every bench_*.py
    OPENBLAS_NUM_THREADS=1 python benchmarks/bench_map.py       # one of them
    python benchmarks/summary.py                                # this page alone

Each file names its machine. Others used it as well (see the load); linear algebra had one thread.
**Trust the ratios to a named peer measured in the same run, not the milliseconds.** Recordings and
reeds are invented or synthetic; nothing here says how well any of it does on real reeds.
"""

#: Why a target is missed, by the name of its row; those without a line have no known reason.
WHY = {
    "blade: full answer with maps, cold": (
        "By the wall clock of a machine that others used; see the processor's own time beside it."
    ),
    "blade (stretch): warm curve": "Tried, not reached; see [the blade](../docs/theory/blade.md).",
    "blade (stretch): full answer with maps, cold": (
        "Tried, not reached; see [the blade](../docs/theory/blade.md)."
    ),
    "trials: success above the fixed order, points": (
        "What was tried, and which faults it leaves: see [the trials](../docs/theory/trials.md)."
    ),
    "trials: ruined by the planner": (
        "Floors crossed beside the zone that was scraped; see "
        "[the trials](../docs/theory/trials.md)."
    ),
    "calibration: force": "By the wall clock of a busy machine: 0.9 s of the processor's own time.",
    "calibration: crow's pitch": "The same.",
    "calibration: force and crow's pitch": "The same.",
    "blade: warm curve": "By the wall clock of a busy machine; 50 ms of the processor's own time.",
    "trials: true finding among the first three": (
        "Thick corners and thin sides of a tip lie near what one reading each at 0.01 mm can show."
    ),
}


def load(name: str) -> dict[str, Any]:
    """Return one file of figures; empty if it was never written."""
    file = RESULTS / f"{name}.json"
    return json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}


def n(value: Any, digits: int = 3) -> str:
    """Return a number with so many digits that count."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "**no**"
    return f"{value:,.{digits}g}" if abs(value) < 1e4 else f"{value:,.0f}"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table in Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(row)} |" for row in lines) + "\n"


class Page:
    """The page, and what is missed on it."""

    def __init__(self) -> None:
        self.parts = [HEAD]
        self.missed: list[str] = []

    def met(self, name: str, met: bool) -> str:
        """Return yes or no, and remember what is missed."""
        if not met:
            self.missed.append(name)
        return n(bool(met))

    def section(self, title: str, data: dict[str, Any], text: str) -> None:
        """Add a section with its machine."""
        machine = data.get("machine", "")
        if isinstance(machine, dict):
            machine = ", ".join(
                f"{k.replace('_', ' ')} {n(v) if isinstance(v, float) else v}"
                for k, v in machine.items()
            )
        self.parts += [f"## {title}\n", text]
        if machine:
            self.parts.append(f"Machine: {machine}.\n")
