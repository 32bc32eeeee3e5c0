"""Find the blows in a take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.waveform import levels

__all__ = ["Blow", "find_blows", "find_blows_in_levels", "quiet_part", "steady_part"]

Floats = NDArray[np.float64]

HOP = 0.01
"""Spacing of the levels [s]."""
SILENT = -75.0
"""Below this nothing is a blow [dB re full scale]."""


@dataclass(frozen=True, slots=True)
class Blow:
    """One attempt.

    Parameters
    ----------
    start, end : float
        When it is heard [s].
    level : float
        Level of its loudest tenth [dB re full scale].
    """

    start: float
    end: float
    level: float

    @property
    def seconds(self) -> float:
        """Length [s]."""
        return self.end - self.start


def find_blows(
    x: Floats, rate: float, *, shortest: float = 0.2, pause: float = 0.12
) -> tuple[Blow, ...]:
    """Find the blows of a recording; see :func:`find_blows_in_levels`."""
    return find_blows_in_levels(levels(x, rate, hop=HOP), HOP, shortest=shortest, pause=pause)


def find_blows_in_levels(
    level: Floats, hop: float, *, shortest: float = 0.2, pause: float = 0.12
) -> tuple[Blow, ...]:
    """Find stretches clearly above the quiet of the take.

    A level counts as blown when it lies 8 dB above the 10th percentile of the take and within
    35 dB of its 98th. A take without 12 dB between those two has no quiet in it and is one blow.

    Parameters
    ----------
    level : ndarray, shape (n,)
        Levels [dB re full scale], evenly spaced by `hop` [s].
    shortest : float
        Shorter sounds are knocks and clicks [s].
    pause : float
        Shorter gaps do not end a blow [s].
    """
    if level.size == 0:
        return ()
    loud, quiet = float(np.percentile(level, 98.0)), float(np.percentile(level, 10.0))
    if loud < SILENT:
        return ()
    limit = max(quiet + 8.0, loud - 35.0) if loud - quiet >= 12.0 else -np.inf
    edge = np.flatnonzero(np.diff(np.concatenate([[False], level > limit, [False]]).astype(int)))
    runs: list[list[int]] = []
    for begin, end in zip(edge[::2], edge[1::2], strict=True):
        if runs and (begin - runs[-1][1]) * hop < pause:
            runs[-1][1] = int(end)
        else:
            runs.append([int(begin), int(end)])
    return tuple(
        Blow(b * hop, e * hop, float(np.percentile(level[b:e], 90.0)))
        for b, e in runs
        if (e - b) * hop >= shortest
    )


def steady_part(
    x: Floats, rate: float, blow: Blow, *, after: float = 0.15, before: float = 0.1
) -> tuple[float, float]:
    """Longest stretch within 12 dB of the blow's loudest tenth, its ends cut off.

    Returns
    -------
    (start, end) : tuple of float
        Times [s]; equal if nothing is left after `after` and `before` seconds are cut.
    """
    first = int(blow.start * rate)
    level = levels(x[first : int(blow.end * rate)], rate, hop=HOP)
    good = np.concatenate([[False], level > blow.level - 12.0, [False]])
    edge = np.flatnonzero(np.diff(good.astype(int)))
    if edge.size == 0:
        return blow.start, blow.start
    begin, end = max(zip(edge[::2], edge[1::2], strict=True), key=lambda run: run[1] - run[0])
    start, stop = blow.start + begin * HOP + after, blow.start + (end + 1) * HOP - before
    return start, max(start, min(stop, blow.end))


def quiet_part(x: Floats, rate: float, blows: tuple[Blow, ...]) -> Floats | None:
    """Return the longest pause of 0.15 s or more, 60 ms away from any blow; else None."""
    edges = [
        0.0,
        *[t for blow in blows for t in (blow.start - 0.06, blow.end + 0.06)],
        x.size / rate,
    ]
    gaps = list(zip(edges[::2], edges[1::2], strict=True))
    begin, end = max(gaps, key=lambda gap: gap[1] - gap[0])
    if end - begin < 0.15:
        return None
    return x[int(begin * rate) : int(end * rate)]
