"""Cutting a pitch track into notes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.pitch import PitchTrack
from crowlight.listen.tuning import Tuning, cents_between, note_pitch

__all__ = ["Segment", "cut_notes"]

_BELOW_LOUDEST = 50.0  # softer frames are rests [dB]
_OFF = 60.0  # a frame this far from a note costs as much as a frame of rest [cents]
_FAR = 1.5  # cost of a frame however far off
_SWITCH = 20.0e-3  # a change costs as much as this time spent wrong [s]
_SHORTEST = 0.040  # shorter stretches are no notes [s]
_DIP = 9.0  # loudness that falls and rises by this much parts two notes [dB]
_QUICK = 0.150  # and does both within this time [s]
_AROUND = 0.100  # a dip is looked for this near to the change of pitch [s]


@dataclass(frozen=True, slots=True)
class Segment:
    """Frames ``first`` to ``last`` (not included) of one note.

    Parameters
    ----------
    note : int
        Semitone number; 69 is A4.
    first, last : int
        Frames of the pitch track.
    joined : bool
        Neither a rest nor a dip of 9 dB between this note and the one before.
    """

    note: int
    first: int
    last: int
    joined: bool


def cut_notes(
    track: PitchTrack, *, reference: float, tuning: Tuning, low: int, high: int
) -> tuple[Segment, ...]:
    """Find the notes of a pitch track.

    Frames without a pitch, or 50 dB below the loudest (the 95th percentile), do not sound. Of all
    readings of the track, each frame one of the notes or rest, the cheapest is taken. A frame costs
    ``min((cents off / 60)², 1.5)`` under a note and 1 under a rest, or the other way round where
    there is no pitch; every change of reading costs as much as 20 ms spent wrong. A vibrato thus
    stays one note and a glide is shared between its ends. Stretches of one note are cut again
    where its loudness dips by 9 dB or more within 150 ms.

    Parameters
    ----------
    track : PitchTrack
    reference : float
        Pitch of A4 [Hz].
    tuning : Tuning
    low, high : int
        Lowest and highest note.

    Returns
    -------
    tuple of Segment
        In order; none shorter than 40 ms.
    """
    loudest = np.quantile(track.level, 0.95)
    sounding = np.isfinite(track.pitch) & (track.level > loudest - _BELOW_LOUDEST)
    notes = np.arange(low, high + 1)
    target = note_pitch(notes, reference=reference, tuning=tuning)
    pitch = np.where(sounding, track.pitch, 1.0)
    off = cents_between(pitch[:, None], target[None, :])
    cost = np.full((pitch.size, notes.size + 1), 1.0)
    cost[:, :-1] = np.minimum((off / _OFF) ** 2, _FAR)
    cost[~sounding, :-1] = 1.0
    cost[:, -1] = sounding
    reading = _cheapest(cost, _SWITCH / track.hop)

    edges = np.flatnonzero(np.diff(reading)) + 1
    segments: list[Segment] = []
    rest = notes.size
    end_before = -1
    for first, last in zip([0, *edges.tolist()], [*edges.tolist(), reading.size], strict=True):
        which = int(reading[first])
        if which == rest or (last - first) * track.hop < _SHORTEST:
            continue
        cuts = [first, *_dips(track.level[first:last], first, track.hop), last]
        for start, stop in pairwise(cuts):
            joined = (
                start == first
                and start == end_before
                and _fall(track.level, segments[-1].first, start, stop, track.hop) < _DIP
            )
            segments.append(Segment(int(notes[which]), start, stop, joined))
        end_before = last
    return tuple(segments)


def _fall(level: NDArray[np.float64], first: int, edge: int, last: int, hop: float) -> float:
    """Depth of the dip around `edge` below the softer of the notes to both sides [dB]."""
    reach = round(_AROUND / hop)
    around = level[max(edge - reach, (first + edge) // 2) : min(edge + reach, (edge + last) // 2)]
    softer = min(np.median(level[first:edge]), np.median(level[edge:last]))
    return float(softer - around.min()) if around.size else 0.0


def _cheapest(cost: NDArray[np.float64], switch: float) -> NDArray[np.intp]:
    """Column of every row, least sum of costs plus `switch` per change of column."""
    total = cost[0].copy()
    stays = np.empty(cost.shape, bool)
    best = np.empty(len(cost), np.intp)
    for row in range(1, len(cost)):
        best[row] = total.argmin()
        moved = total[best[row]] + switch
        stays[row] = total <= moved
        total = np.minimum(total, moved) + cost[row]
    column = int(total.argmin())
    reading = np.empty(len(cost), np.intp)
    for row in range(len(cost) - 1, 0, -1):
        reading[row] = column
        if not stays[row, column]:
            column = int(best[row])
    reading[0] = column
    return reading


def _dips(level: NDArray[np.float64], offset: int, hop: float) -> list[int]:
    """Frames where the loudness falls by `_DIP` and comes back, the deepest of each dip.

    Fall and return must both happen within 150 ms: a slow swell is no new note.
    """
    reach = round(_QUICK / hop)
    if level.size < 3:
        return []
    around = np.lib.stride_tricks.sliding_window_view(np.pad(level, reach, mode="edge"), reach + 1)
    highest = around.max(axis=1)
    before, after = highest[: level.size], highest[reach:]
    deep = np.minimum(before, after) - level >= _DIP
    edges = np.flatnonzero(np.diff(np.concatenate([[False], deep, [False]]).astype(np.int8)))
    apart = _SHORTEST / hop
    found = [start + int(level[start:stop].argmin()) for start, stop in edges.reshape(-1, 2)]
    return [offset + at for at in found if apart <= at <= level.size - apart]
