"""Readings of an invented sitting as they are written down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from crowlight.reed import Reading

__all__ = ["counted"]


def counted(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Count the repeats of each place anew; the first point comes once more at the end."""
    seen: dict[object, int] = {}
    found: list[Reading] = []
    for reading in readings:
        found.append(replace(reading, repeat=seen.get(reading.place, 0)))
        seen[reading.place] = seen.get(reading.place, 0) + 1
    return tuple(found)
