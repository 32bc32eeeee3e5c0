"""A solved reed as lines: what cane, a clip and what is unknown do to each output."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import OUTPUTS, Change, Mechanics, Unknown, changed, evaluate
from crowlight.blade.uncertainty import SIGNED, slopes_by_unknown
from crowlight.errors import InputError
from crowlight.reed.thickness import ThicknessMap

__all__ = ["Lines", "lines_of", "moved", "solve_after", "unknown_slopes"]

Real = NDArray[np.float64]


def unknown_slopes(answer: Mechanics, unknowns: Sequence[Unknown]) -> Real:
    """Return the change of every output per standard deviation of every unknown.

    Takes about as long as solving the blades; keep it with them.

    Parameters
    ----------
    answer : Mechanics
        The blades, solved with maps.
    unknowns : sequence of Unknown
        What is not known of them.

    Returns
    -------
    ndarray, shape (n_outputs, n_unknowns)
        In the order of ``answer.values``.
    """
    slopes, _ = slopes_by_unknown(answer, unknowns, None, None, None)
    return np.asarray(slopes, np.float64)


def solve_after(answer: Mechanics) -> Callable[[Real, float, float], Mapping[str, float]]:
    """Return a function that solves the reed again after a cut.

    Parameters
    ----------
    answer : Mechanics
        The blades as they are, solved apart.

    Returns
    -------
    callable
        ``after(shape, cane, clip)`` gives the change of every output: `shape` of (2, n_along,
        n_across) as seen, tip first, times `cane` is taken off, and `clip` from the tip [m].

    Raises
    ------
    OutsideModel
        By the function, if the cut reed has no answer.
    """

    def after(shape: Real, cane: float, clip: float) -> Mapping[str, float]:
        off = -cane * shape
        cut = changed(answer.blades, Change(off[0, ::-1], off[1, ::-1, ::-1], clip)).apart()
        then = evaluate(
            cut,
            playing_pressure=answer.playing_pressure,
            modes=len(answer.free[0].frequencies),
            maps=False,
        )
        return {name: then.values[name] - value for name, value in answer.values.items()}

    return after


@dataclass(frozen=True)
class Lines:
    """What cane, a clip and what is unknown do to a solved reed: all a plan needs of the blades.

    Parameters
    ----------
    names : tuple of str
        Outputs of the blade model that have a value and a derivative.
    values : ndarray, shape (n_outputs,)
        Of the reed as it was solved.
    by_cane : ndarray, shape (n_outputs, 2, n_along, n_across)
        Change of each output per thickness added at each node, as seen, tip first [unit/m].
    by_clip : ndarray, shape (n_outputs,)
        Per length clipped [unit/m].
    by_unknown : ndarray, shape (n_outputs, n_unknowns)
        Per standard deviation of what is not known of the blades.
    mean : ndarray, shape (2, n_along, n_across)
        The thickness it was solved with [m].
    length : float
        And its overall length [m].
    """

    names: tuple[str, ...]
    values: Real
    by_cane: Real
    by_clip: Real
    by_unknown: Real
    mean: Real
    length: float

    def near(self, found: ThicknessMap, *, most: float = 15e-6, clip: float = 0.35e-3) -> bool:
        """Whether the lines still hold for a map: a few light cuts or one more reading away.

        Parameters
        ----------
        found : ThicknessMap
            The map of the reed as it is now.
        most : float
            Largest root mean square of what differs in thickness [m].
        clip : float
            Largest difference in length [m].
        """
        if self.mean.shape != found.mean.shape:
            return False
        away = float(np.sqrt(np.mean((found.mean - self.mean) ** 2)))
        return away <= most and abs(found.style.length - self.length) <= clip

    def moved_to(self, found: ThicknessMap) -> Lines:
        """Return the lines of a map near the one that was solved: what is positive by ratios."""
        step = np.tensordot(self.by_cane, found.mean - self.mean, axes=3)
        step = step + (self.length - found.style.length) * self.by_clip
        values = moved(self.names, self.values, step)
        signed = np.array([n in SIGNED for n in self.names], bool) | (self.values == 0)
        scale = np.divide(values, self.values, out=np.ones_like(values), where=~signed)
        return replace(
            self,
            values=values,
            by_cane=self.by_cane * scale[:, None, None, None],
            by_clip=self.by_clip * scale,
            by_unknown=self.by_unknown * scale[:, None],
            mean=np.asarray(found.mean, np.float64),
            length=float(found.style.length),
        )


def lines_of(found: ThicknessMap, answer: Mechanics, by_unknown: Real | None = None) -> Lines:
    """Return the lines of a solved reed.

    Parameters
    ----------
    found : ThicknessMap
        The map, with its style laid on the reed's length.
    answer : Mechanics
        The blades of that map solved apart, with maps.
    by_unknown : ndarray, shape (n_outputs, n_unknowns), optional
        What else is not known of the blades, from `unknown_slopes`; without it the outputs are
        known as well as the map lets them be.

    Raises
    ------
    InputError
        If the blades were solved on another grid, as alike, or without maps.
    """
    effects = answer.effects
    if (
        effects is None
        or answer.pair.alike
        or effects.marked_table.shape[1:] != found.mean[0].shape
    ):
        msg = (
            "the plan needs both blades solved apart, with maps, on the grid of the thickness map: "
            "evaluate(blades.apart(), maps=True)"
        )
        raise InputError(msg)
    # the blade model counts rows from the thread, and -1 across is one physical edge for both
    seen = np.stack([effects.marked_table[:, ::-1], effects.plain_table[:, ::-1, ::-1]], axis=1)
    names = [n for n in OUTPUTS if n in effects.names]
    rows = [effects.names.index(n) for n in names]
    usable = [
        (n, i)
        for n, i in zip(names, rows, strict=True)
        if np.all(np.isfinite(seen[i])) and np.isfinite(effects.clip_slopes[i])
    ]
    kept = [i for _, i in usable]
    order = [list(answer.values).index(n) for n, _ in usable]
    none = np.zeros((len(usable), 0))
    return Lines(
        names=tuple(n for n, _ in usable),
        values=np.array([answer.values[n] for n, _ in usable]),
        by_cane=np.asarray(seen[kept], np.float64),
        by_clip=np.asarray(effects.clip_slopes[kept], np.float64),
        by_unknown=none if by_unknown is None else by_unknown[order],
        mean=np.asarray(found.mean, np.float64),
        length=float(found.style.length),
    )


def moved(names: tuple[str, ...], values: Real, step: Real) -> Real:
    """Return outputs after a step [unit]; what cannot be negative moves by ratios."""
    signed = np.array([n in SIGNED for n in names], bool)
    ratio = np.divide(step, values, out=np.zeros_like(step), where=values != 0)
    return np.where(signed, values + step, values * np.exp(np.clip(ratio, -3.0, 3.0)))
