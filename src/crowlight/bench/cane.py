"""Cane left above the floors of each zone, after what may be done to a reed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from crowlight.plan.cut import CaneLeft, Limits, Option, Plan, ReedNow, StrokeSize
from crowlight.reed import Blade

__all__ = ["GAUGE", "THINNEST", "with_cane_left"]

Real = NDArray[np.float64]

#: Floors are kept this much further away than the map says: an error of the gauge that no reading
#: shows [m].
GAUGE = Limits().gauge
#: What is left is told at the thinnest places, this share of a zone: it ends where its neighbour
#: begins, and its very edge is not yet its own.
THINNEST = 0.1


def with_cane_left(plan: Plan, reed: ReedNow, size: StrokeSize) -> Plan:
    """Return a plan that tells, for each option, what every zone has left after it.

    Every place is 95 % sure on the map. Whether to cut there is weighed more strictly, by the
    chance that any of the thinnest places crosses its floor.

    Parameters
    ----------
    plan : Plan
        Its shapes still in it.
    reed : ReedNow
        What it was planned on.
    size : StrokeSize
        Cane per light stroke of this maker.
    """
    sure = np.quantile(reed.draws, 0.05, axis=0) - reed.floor - GAUGE
    options = tuple(replace(o, cane_left=_left(o, sure, reed, size)) for o in plan.options)
    return replace(plan, options=options)


def _left(option: Option, sure: Real, reed: ReedNow, size: StrokeSize) -> tuple[CaneLeft, ...]:
    taken = 0.0 if option.act.shape is None else option.cane[1] * option.act.shape
    after = sure - taken
    found: list[CaneLeft] = []
    for zone, nodes in reed.where.items():
        if reed.floor[nodes].max() <= 0.0:
            continue
        for b, blade in enumerate(Blade):
            least = float(np.quantile(after[b][nodes], THINNEST))
            strokes = max(int(least // size.median), 0)
            found.append(CaneLeft(zone=zone, blade=blade, least=least, strokes=strokes))
    return tuple(found)
