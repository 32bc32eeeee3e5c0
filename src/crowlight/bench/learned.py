"""What measurements of one reed taught of its cane and tie, as the blade model takes it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import Blades, Unknown, usual_unknowns
from crowlight.errors import InputError

__all__ = ["Learned", "middle_of", "symmetric_root", "unknowns_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """Mean and covariance of what is not known of the blades, in prior standard deviations.

    Parameters
    ----------
    names : tuple of str
        Of the unknowns, as `crowlight.blade.usual_unknowns`.
    mean : tuple of float, length n
        0 before data.
    covariance : tuple of tuple of float, shape (n, n)
        The unit matrix before data.
    data : tuple of str
        Kinds of measurement it rests on, each once.
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    data: tuple[str, ...]


def middle_of(blades: Blades, learned: Learned | None) -> Blades:
    """Move a reed from the middle of the prior to that of what was learned.

    The thickness maps are not moved: they keep their own spread, which leaves the intervals rather
    too wide.

    Raises
    ------
    InputError
        If what was learned is about other unknowns.
    """
    if learned is None:
        return blades
    return _moved(blades, _usual(blades, learned), np.array(learned.mean))


def unknowns_of(blades: Blades, learned: Learned | None) -> tuple[Unknown, ...]:
    """Return what is not known of a reed at the middle of what was learned.

    Parameters
    ----------
    blades : Blades
        The reed.
    learned : Learned or None
        None gives the usual unknowns.

    Returns
    -------
    tuple of Unknown
        Independent, standard normal. Each moves all of the usual ones a little, its namesake most.

    Raises
    ------
    InputError
        If what was learned is about other unknowns.
    """
    if learned is None:
        return usual_unknowns(blades)
    usual = _usual(blades, learned)
    root = symmetric_root(np.array(learned.covariance))

    def direction(column: NDArray[np.float64]) -> Callable[[Blades, float], Blades]:
        return lambda b, t: _moved(b, usual, column * t)

    return tuple(
        Unknown(u.name, f"{u.basis}; your data", direction(root[:, k])) for k, u in enumerate(usual)
    )


def _usual(blades: Blades, learned: Learned) -> tuple[Unknown, ...]:
    usual = usual_unknowns(blades)
    if learned.names != tuple(u.name for u in usual):
        msg = "what was learned of this reed is of an older version; compute it again"
        raise InputError(msg)
    return usual


def _moved(blades: Blades, unknowns: Sequence[Unknown], by: NDArray[np.float64]) -> Blades:
    """Apply all unknowns; they scale different numbers, so their order does not matter."""
    for unknown, t in zip(unknowns, by.tolist(), strict=True):
        blades = unknown.apply(blades, t)
    return blades


def symmetric_root(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the symmetric square root of a covariance: of all roots the one nearest to unity.

    Examples
    --------
    >>> symmetric_root(np.diag([4.0, 1.0])).round(12).tolist()
    [[2.0, 0.0], [0.0, 1.0]]
    """
    value, vector = np.linalg.eigh(covariance)
    return (vector * np.sqrt(np.clip(value, 0.0, None))) @ vector.T
