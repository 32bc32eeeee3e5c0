"""The reed a cut is planned on: thickness drawn with its doubt, and what cane does to the outputs.

Everything is laid out as seen facing each blade, tip up and tip first: axis 0 of a map is marked,
plain; the last axis runs from left to right as seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import Mechanics
from crowlight.blade.threads import one_thread
from crowlight.blade.uncertainty import SIGNED
from crowlight.errors import InputError
from crowlight.plan.cut.lines import Lines, lines_of, moved
from crowlight.reed import Place
from crowlight.reed.styles import Style
from crowlight.reed.thickness import BLADES, ThicknessMap
from crowlight.reed.thickness.map import LEAST

__all__ = ["ReedNow", "bare_reed", "reed_now"]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class ReedNow:
    """A reed before a cut.

    Parameters
    ----------
    style : Style
        Laid on the reed, its zones divided where this reed's transition is.
    along : ndarray, shape (n_along,)
        Rows, tip first [m from the bottom rim].
    fraction : ndarray, shape (n_across,)
        Columns, -1 to 1.
    mean : ndarray, shape (2, n_along, n_across)
        Best estimate of thickness [m].
    draws : ndarray, shape (n, 2, n_along, n_across)
        Reeds this one may be [m].
    length : ndarray, shape (n,)
        Overall length of each [m].
    names : tuple of str
        Outputs of the blade model that have a value and a derivative.
    values : ndarray, shape (n_outputs,)
        Best estimates.
    now : ndarray, shape (n, n_outputs)
        The outputs of each drawn reed.
    by_cane : ndarray, shape (n_outputs, 2, n_along, n_across)
        Change of each output per thickness added at each node [unit/m].
    by_clip : ndarray, shape (n_outputs,)
        Change of each output per length clipped [unit/m].

    Raises
    ------
    InputError
        If the arrays do not fit together.
    """

    style: Style
    along: Real
    fraction: Real
    mean: Real
    draws: Real
    length: Real
    names: tuple[str, ...]
    values: Real
    now: Real
    by_cane: Real
    by_clip: Real

    def __post_init__(self) -> None:
        grid = (2, len(self.along), len(self.fraction))
        n, k = len(self.draws), len(self.names)
        shapes = (
            (self.mean.shape, grid),
            (self.draws.shape, (n, *grid)),
            (self.length.shape, (n,)),
            (self.values.shape, (k,)),
            (self.now.shape, (n, k)),
            (self.by_cane.shape, (k, *grid)),
            (self.by_clip.shape, (k,)),
        )
        for got, wanted in shapes:
            if got != wanted:
                msg = f"an array has shape {got}, but {wanted} is needed to fit the other parts"
                raise InputError(msg)

    @cached_property
    def area(self) -> Real:
        """Share of the blade each node stands for, shape (n_along, n_across); sums to 1."""
        rows = np.abs(np.gradient(self.along)) * self.style.outline.half_width(self.along)
        columns = np.gradient(self.fraction)
        columns[[0, -1]] *= 0.5
        cells = rows[:, None] * columns[None, :]
        return cells / cells.sum()

    @cached_property
    def floor(self) -> Real:
        """Thickness never to scrape below, shape (n_along, n_across) [m]; 0 off all zones."""
        rows, columns = np.meshgrid(self.along, self.fraction, indexing="ij")
        out = np.zeros(rows.shape)
        for zone in reversed(self.style.zones):  # first match wins
            t = zone.tolerance
            limit = t.floor + (t.floor_edge - t.floor) * np.abs(columns)
            out = np.where(zone.contains(rows, columns), limit, out)
        return out

    @cached_property
    def where(self) -> dict[str, NDArray[np.bool_]]:
        """Nodes of each zone; each node belongs to one zone only."""
        rows, columns = np.meshgrid(self.along, self.fraction, indexing="ij")
        taken = np.zeros(rows.shape, bool)
        out: dict[str, NDArray[np.bool_]] = {}
        for zone in self.style.zones:
            mine = zone.contains(rows, columns) & ~taken
            taken |= mine
            if mine.any():
                out[zone.name] = mine
        return out

    @property
    def signed(self) -> NDArray[np.bool_]:
        """Outputs that may be negative; the others are told by ratios."""
        return np.array([name in SIGNED for name in self.names], bool)

    def changed(self, cane: Real, clip: Real) -> Real:
        """Change of the outputs of each drawn reed, to first order, shape (n, n_outputs).

        Parameters
        ----------
        cane : ndarray, shape (n, n_outputs)
            Sum over nodes of `by_cane` times the change of thickness.
        clip : ndarray, shape (n,)
            Clipped off [m].

        Notes
        -----
        A positive output changes by the same ratio on every drawn reed: stiffness and pressure are
        products of powers, so lines hold best in logarithms.
        """
        step = cane + clip[:, None] * self.by_clip
        ratio = np.divide(step, self.values, out=np.zeros_like(step), where=self.values != 0)
        return np.where(self.signed, step, self.now * np.expm1(np.clip(ratio, -5.0, 5.0)))

    def mirrored(self) -> ReedNow:
        """Return the mirror image: left and right as seen exchanged on both blades."""
        sign = np.where(np.array([name == "tilt" for name in self.names]), -1.0, 1.0)
        return replace(
            self,
            mean=self.mean[..., ::-1],
            draws=self.draws[..., ::-1],
            values=self.values * sign,
            now=self.now * sign,
            by_cane=self.by_cane[..., ::-1] * sign[:, None, None, None],
            by_clip=self.by_clip * sign,
        )


def bare_reed(style: Style, along: Real, fraction: Real) -> ReedNow:
    """Return a reed of which nothing but its style is known: to lay out where a cut takes cane.

    Parameters
    ----------
    style : Style
        Laid on the reed's length.
    along, fraction : ndarray
        Grid, tip first; see `ReedNow`.
    """
    across = style.outline.half_width(along)[:, None] * fraction
    one = np.asarray(style.thickness(along[:, None], across), np.float64)
    mean = np.stack([one, one])
    none = np.zeros((0, *mean.shape))
    return ReedNow(
        style, along, fraction, mean, mean[None], np.array([style.length]),
        (), np.zeros(0), np.zeros((1, 0)), none, np.zeros(0),
    )  # fmt: skip


@one_thread
def reed_now(
    found: ThicknessMap,
    answer: Mechanics | Lines | None,
    *,
    by_unknown: Real | None = None,
    rng: np.random.Generator,
    count: int = 200,
    length_uncertainty: float = 0.125e-3,
) -> ReedNow:
    """Put together what a plan needs.

    Parameters
    ----------
    found : ThicknessMap
        The map, with its style laid on the reed's length.
    answer : Mechanics, Lines or None
        The blades of that map solved apart, with maps, or the lines of a map near it; None plans on
        thickness alone.
    by_unknown : ndarray, shape (n_outputs, n_unknowns), optional
        As in `lines_of`; lines have their own.
    rng : Generator
        Source of chance.
    count : int
        Reeds drawn.
    length_uncertainty : float
        Standard uncertainty of the overall length [m]; the default is a ruler's.

    Raises
    ------
    InputError
        If the blades were solved on another grid, as alike, or without maps.
    """
    draws = _drawn(found, count, rng)
    length = found.style.length + length_uncertainty * rng.standard_normal(count)
    style = found.zones
    if answer is None:
        none = np.zeros((0, *found.mean.shape))
        return ReedNow(
            style, found.along, found.fraction, found.mean, draws, length,
            (), np.zeros(0), np.zeros((count, 0)), none, np.zeros(0),
        )  # fmt: skip
    lines = answer if isinstance(answer, Lines) else lines_of(found, answer, by_unknown)
    lines = lines.moved_to(found)
    step = np.tensordot(draws - found.mean, lines.by_cane, axes=([1, 2, 3], [1, 2, 3]))
    if lines.by_unknown.shape[1]:
        t = rng.standard_normal((count, lines.by_unknown.shape[1]))
        step = step + t @ lines.by_unknown.T
    now = moved(lines.names, lines.values, step)
    return ReedNow(
        style, found.along, found.fraction, found.mean, draws, length,
        lines.names, lines.values, now, lines.by_cane, lines.by_clip,
    )  # fmt: skip


#: Every so many rows of the map are drawn, the others lie between them.
_STRIDE = 2


def _drawn(found: ThicknessMap, count: int, rng: np.random.Generator) -> Real:
    """Draw maps: jointly normal on every second row, in between straight, then the map's own sd.

    As `ThicknessMap.samples`, but several times faster; rows lie half a millimetre apart and the
    thickness is far smoother than that.
    """
    rows = np.unique([*range(0, len(found.along), _STRIDE), len(found.along) - 1])
    half = found.style.outline.half_width(found.along[rows])
    places = [
        Place(blade, float(s), float(u * h))
        for blade in BLADES
        for s, h in zip(found.along[rows], half, strict=True)
        for u in found.fraction
    ]
    covariance = found.at(places).covariance
    slack = 1e-9 * np.trace(covariance) / len(covariance)
    root = np.linalg.cholesky(covariance + slack * np.eye(len(covariance)))
    drawn = (rng.standard_normal((count, len(root))) @ root.T).reshape(
        count, 2, len(rows), len(found.fraction)
    )
    sd = np.sqrt(np.diagonal(covariance)).reshape(drawn.shape[1:])
    # weights of the drawn rows at every row
    between = np.stack(
        [np.interp(-found.along, -found.along[rows], unit) for unit in np.eye(len(rows))], axis=1
    )
    score = np.einsum("rk,nbkc->nbrc", between, drawn / sd)
    score = score / np.sqrt(_variance(between, covariance, sd))
    return np.clip(found.mean + found.sd * score, LEAST, found.ceiling)


def _variance(between: Real, covariance: Real, sd: Real) -> Real:
    """Variance of the scores laid between drawn rows, shape (2, n_along, n_across)."""
    blades, rows, columns = sd.shape
    scale = sd.reshape(-1)
    correlation = (covariance / np.outer(scale, scale)).reshape(blades, rows, columns, -1)
    out = np.empty((blades, len(between), columns))
    for b in range(blades):
        block = correlation[b].reshape(rows, columns, blades, rows, columns)[:, :, b]
        for c in range(columns):
            out[b, :, c] = np.einsum("rk,kl,rl->r", between, block[:, c, :, c], between)
    return np.maximum(out, 1e-6)
