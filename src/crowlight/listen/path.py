"""The likeliest path through the candidates of many frames."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.periodicity import Candidates

__all__ = ["best_path"]

_JUMP_COST = 0.35  # per octave, and at most


def best_path(found: Candidates) -> NDArray[np.intp]:
    """Choose one candidate per frame: most repetition for the least jumping.

    Viterbi's algorithm on the sum of scores less ``0.35 min(1, |octaves jumped|)`` per step. The
    cap lets a slurred leap through.

    Parameters
    ----------
    found : Candidates

    Returns
    -------
    ndarray of int, shape (frames,)
        Column of the candidate chosen in each frame.
    """
    octave = np.log2(found.pitch)
    cost = np.maximum(-_JUMP_COST * np.abs(octave[1:, :, None] - octave[:-1, None, :]), -_JUMP_COST)
    # Four by four numbers a step: plain lists beat array calls here by three to one.
    scores = found.score.tolist()
    if not scores:
        return np.empty(0, np.intp)
    total = scores[0]
    came_from: list[list[int]] = []
    for steps, score in zip(cost.tolist(), scores[1:], strict=True):
        new: list[float] = []
        origin: list[int] = []
        for row, own in zip(steps, score, strict=True):
            reach = [step + before for step, before in zip(row, total, strict=True)]
            best = max(reach)
            new.append(best + own)
            origin.append(reach.index(best))
        total = new
        came_from.append(origin)
    column = total.index(max(total))
    path = [column]
    for origin in reversed(came_from):
        column = origin[column]
        path.append(column)
    return np.array(path[::-1], np.intp)
