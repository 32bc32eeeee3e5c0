"""Intervals of outputs that straight lines do not describe: a bent line, checked on solved reeds.

Along the steepest direction the reed was solved one standard deviation up and down; through these
points goes a parabola, in other directions the adjoint slopes hold. A few reeds are drawn and
solved; what the bent line misses of them is drawn again with every point of the interval. Where it
misses much, more are solved, and the line only steers: its part is what solved reeds bear out.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import numpy as np

from crowlight.blade.arrays import Array, Ints
from crowlight.errors import InputError, OutsideModel

__all__ = ["GOOD_ENOUGH", "SIGNED", "BentLine", "Drawn", "bent_line", "drawn"]

GOOD_ENOUGH = 0.2
SIGNED = ("tilt", "unevenness")
CHECKS = 6  # reeds solved before asking whether the bent lines hold
POINTS = 4000
SMOOTHING = 0.5  # of a few misses, in their standard deviation, so that tails are not cut off
FARTHEST = 3.0  # standard deviations up to which the parabola is believed


@dataclass(frozen=True)
class BentLine:
    """One output over standard normal unknowns: ``start + slope·t + extra·x + bend·x²``.

    Parameters
    ----------
    log : bool
        Whether it gives the logarithm of the output.
    start : float
        Value in the middle.
    slope : ndarray, shape (k,)
        By each unknown; 0 where none is known.
    direction : ndarray, shape (k,)
        Unit vector; ``x = direction · t``.
    extra, bend : float
        What the solved reeds add along it.
    """

    log: bool
    start: float
    slope: Array
    direction: Array
    extra: float
    bend: float

    def __call__(self, t: Array) -> Array:
        """Value at points, shape (...) for (..., k)."""
        x = np.clip(t @ self.direction, -FARTHEST, FARTHEST)
        return self.start + t @ self.slope + self.extra * x + self.bend * x**2

    def scaled(self, value: float) -> float:
        """Output as the line gives it."""
        return float(np.log(value)) if self.log else value

    def spread(self) -> float:
        """Return the standard deviation to first order."""
        return float(np.linalg.norm(self.slope + self.extra * self.direction))


@dataclass(frozen=True)
class Drawn:
    """Outputs drawn from a bent line and what it missed.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In the output's unit.
    held : bool
        Whether the line missed solved reeds by less than a fifth of its spread.
    """

    values: Array
    held: bool


def bent_line(
    name: str, value: float, slope: Array, direction: Array, solved: tuple[float, float] | None
) -> BentLine:
    """Draw a line through the middle and the reeds solved at ``+direction`` and ``−direction``."""
    known = [value] if solved is None else [value, *solved]
    log = name not in SIGNED and min(known) > 0
    scale = 1.0 / value if log else 1.0
    along = np.where(np.isfinite(slope), slope, 0.0) * scale
    line = BentLine(log, 0.0, along, direction, 0.0, 0.0)
    start = line.scaled(value)
    if solved is None:
        return BentLine(log, start, along, direction, 0.0, 0.0)
    up, down = (line.scaled(v) - start for v in solved)
    extra = (up - down) / 2 - float(along @ direction)
    return BentLine(log, start, along, direction, extra, (up + down) / 2)


def missed(line: BentLine, points: Array, values: Array) -> Array:
    """Solved outputs minus the line."""
    return np.array([line.scaled(v) for v in values]) - line(points)


def holds(line: BentLine, points: Array, values: Array) -> bool:
    """Whether the line describes the solved reeds well enough."""
    if line.log and np.min(values) <= 0:
        return False
    left = missed(line, points, values)
    return bool(np.sqrt(np.mean(left**2)) <= GOOD_ENOUGH * line.spread())


def drawn(
    lines: Mapping[str, BentLine],
    solve: Callable[[Array, Collection[str]], Mapping[str, float]],
    count: int,
    rng: np.random.Generator,
    report: Callable[[float], None] | None = None,
) -> dict[str, Drawn]:
    """Solve a few reeds and draw many outputs.

    Parameters
    ----------
    lines : mapping of str to BentLine
        By output.
    solve : callable
        ``solve(t, names)`` gives these outputs of the reed at standard normal `t`; reeds outside
        the model are left out.
    count : int
        Most reeds to solve.
    rng : numpy.random.Generator
        For drawing.
    report : callable, optional
        Called with the share done.

    Raises
    ------
    OutsideModel
        If fewer than half of the reeds have an answer.
    """
    size = len(next(iter(lines.values())).slope)
    points: list[Array] = []
    rows: list[Mapping[str, float]] = []
    asked = 0
    while asked < count:
        asked += 1
        t = rng.standard_normal(size)
        try:
            rows.append(solve(t, list(lines)))
            points.append(t)
        except (OutsideModel, InputError):
            continue
        finally:
            if report:
                report(asked / count)
        if len(rows) == CHECKS and all(
            holds(line, np.array(points), np.array([r[n] for r in rows]))
            for n, line in lines.items()
        ):
            break
    if len(rows) < max(4, asked // 2):
        msg = (
            f"only {len(rows)} of {asked} reeds drawn within the given uncertainty have an answer; "
            "measure the map or the opening better"
        )
        raise OutsideModel(msg)
    where = rng.standard_normal((POINTS, size))
    again, rest = rng.integers(len(rows), size=POINTS), rng.standard_normal(POINTS)
    return {
        name: one_drawn(
            line, np.array(points), np.array([r[name] for r in rows]), where, again, rest
        )
        for name, line in lines.items()
    }


def one_drawn(
    line: BentLine, points: Array, values: Array, where: Array, again: Ints, rest: Array
) -> Drawn:
    """Draw one output many times: its line, and one of the misses each time."""
    if line.log and np.min(values) <= 0:
        return Drawn(values[again], False)
    guess, found = line(points), np.array([line.scaled(v) for v in values])
    left = found - guess
    many = line(where)
    held = holds(line, points, values)
    if not held:
        # the line's share that solved reeds bear out, as any regression would give it
        off = guess - guess.mean()
        share = float(off @ found / (off @ off)) if off @ off > 0 else 0.0
        share = min(max(share, 0.0), 1.5)
        left = found - share * guess
        middle = left.mean()
        left = middle + (left - middle) * np.sqrt(len(left) / max(len(left) - 2, 1))
        many = share * many
    many = many + left[again] + SMOOTHING * float(np.std(left)) * rest
    return Drawn(np.exp(many) if line.log else many, held)
