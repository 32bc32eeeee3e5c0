"""Blades from a thickness map: what the blade model is asked about a kept reed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from crowlight.blade import WET, Blades, BladeShape, MapSpread, ThicknessGrid
from crowlight.errors import InputError
from crowlight.reed import CaneState, Reading
from crowlight.reed.thickness import ThicknessMap

__all__ = ["reed_blades", "wet_readings"]

#: Rest opening of a reed nobody measured [m] (common practice, no source).
USUAL_OPENING = 0.7e-3


def reed_blades(
    found: ThicknessMap, *, opening: float | None, tip_width: float | None
) -> tuple[Blades, MapSpread, MapSpread]:
    """Turn a thickness map into blades and the spread of both maps.

    Parameters
    ----------
    found : ThicknessMap
        The map.
    opening : float or None
        Height of the opening at rest [m]; the usual one if None.
    tip_width : float or None
        Width of the tip [m]; the style's outline if None.

    Returns
    -------
    tuple of Blades, MapSpread and MapSpread
        The reed, and the spread of the marked and of the plain blade's map.
    """
    style = found.style
    # the blade model counts from the thread; -1 across is one physical edge for both blades
    along = found.along[::-1] - style.thread_top
    marked = found.mean[0][::-1]
    plain = found.mean[1][::-1, ::-1]
    draws = found.samples(60, np.random.default_rng(20))
    width = tip_width or 2.0 * float(style.outline.half_width(style.length))
    shape = BladeShape(
        length=style.length - style.thread_top,
        tip_width=width,
        height=(opening or USUAL_OPENING) / 2.0,
    )
    least = 6e-6
    blades = Blades(
        ThicknessGrid(along, found.fraction, np.maximum(marked, least)),
        ThicknessGrid(along, found.fraction, np.maximum(plain, least)),
        shape=shape,
        cane=WET,
        interference=0.01e-3,
    )
    return (
        blades,
        MapSpread.from_samples(draws[:, 0, ::-1]),
        MapSpread.from_samples(draws[:, 1, ::-1, ::-1]),
    )


def wet_readings(inputs: Mapping[str, Any]) -> list[Reading]:
    """Return the readings of wet cane, or ask for what the blade model needs."""
    if not inputs.get("style"):
        msg = "the blade model needs the scrape style of the reed; choose one for it"
        raise InputError(msg)
    readings = [r for r in inputs["readings"] if r.state is CaneState.WET]
    if not readings:
        msg = "the blade model needs readings of wet cane; measure the reed soaked"
        raise InputError(msg)
    return readings
