"""The likeliest path through the candidates of many frames."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from crowlight.listen.periodicity import Candidates

__all__ = ["JUMP_COST", "best_path"]

JUMP_COST = 0.35  # per octave, and at most
_FORBIDDEN = -1e9


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
    count, width = found.score.shape
    if count == 0:
        return np.empty(0, np.intp)
    octave = np.log2(found.pitch)
    jump = -JUMP_COST * np.abs(octave[1:, :, None] - octave[:-1, None, :])
    gain = np.maximum(jump, -JUMP_COST) + found.score[1:, :, None]

    # Blocks of frames are worked through side by side, axes (step, to, from, block): a step of
    # all blocks costs no more array calls than a step of one. Short by a few, the last block is
    # filled with steps that stay where they are.
    length = max(4, round(math.sqrt(count / 2.5)))
    blocks = max(1, -(-(count - 1) // length))
    steps = np.full((blocks * length, width, width), _FORBIDDEN)
    steps[:, range(width), range(width)] = 0
    steps[: count - 1] = gain
    steps = np.ascontiguousarray(steps.reshape(blocks, length, width, width).transpose(1, 2, 3, 0))

    across = steps[0]  # best sum from each start to each end of a block
    for step in steps[1:]:
        across = (step[:, :, None] + across).max(axis=1)
    total = found.score[0].tolist()
    starts = [total]
    for block in across.transpose(2, 0, 1).tolist()[:-1]:
        total = [max(map(float.__add__, row, total)) for row in block]
        starts.append(total)

    best = np.empty((length + 1, width, blocks))
    best[0] = np.array(starts).T
    for at, step in enumerate(steps):
        (step + best[at]).max(axis=1, out=best[at + 1])
    came_from = (steps + best[:-1, None]).argmax(axis=2)
    column = int(best[-1, :, -1].argmax())
    path = [column]
    for origin in reversed(came_from.transpose(2, 0, 1).reshape(-1, width)[: count - 1].tolist()):
        column = origin[column]
        path.append(column)
    return np.array(path[::-1], np.intp)
