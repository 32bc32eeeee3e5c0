"""The blade model as straight lines in logarithms about one reed, from adjoint slopes.

Stiffness, pressure and opening follow cane and size as products of powers, so lines in logarithms
hold over the whole prior; `calibrate` solves the blades again at its answer and says how well.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import Blades, MapSpread, Mechanics, Unknown, build, evaluate
from crowlight.blade.effects import effects_of, slopes_of
from crowlight.blade.probes import Nearby
from crowlight.blade.threads import one_thread
from crowlight.blade.uncertainty import moved
from crowlight.calibrate.measurements import Pad
from crowlight.calibrate.press import Pressed, press
from crowlight.errors import InputError

__all__ = ["OUTPUTS_USED", "BladeLine", "Press", "Reed", "blade_line", "solved"]

Real = NDArray[np.float64]

Press = tuple[Pad, float]
"""Pad and depth of a force test."""

OUTPUTS_USED = (
    "rest_height",
    "rest_area",
    "closing_pressure",
    "compliance",
    "stiffness",
    "effective_area",
    "mode_held",
)
_STEP = 1e-3  # standard deviations, for the difference in forces
_SILENT = 1e-7  # change of any logarithm below which a direction of the maps says nothing


@dataclass(frozen=True)
class Reed:
    """The question about one reed: blades and what is not known of them.

    Parameters
    ----------
    blades : Blades
        Middle of the prior.
    unknowns : tuple of Unknown
        Standard normal, independent.
    maps : tuple of MapSpread or None
        Uncertainty of the marked and of the plain map.
    presses : tuple of Press
        Force tests to predict, each once.
    turn : ndarray, shape (k, n_maps)
        The directions of both maps' uncertainty that anything here depends on, as orthonormal
        rows; the rest of a map's uncertainty changes nothing that is computed.
    """

    blades: Blades
    unknowns: tuple[Unknown, ...]
    maps: tuple[MapSpread | None, MapSpread | None] = (None, None)
    presses: tuple[Press, ...] = ()
    turn: Real = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def size(self) -> int:
        """How many numbers describe what is not known."""
        return len(self.unknowns) + len(self.turn)

    def at(self, t: Real, rest: Real | None = None) -> Blades:
        """Return the reed `t` prior standard deviations off.

        Parameters
        ----------
        t : ndarray, shape (size,)
            Unknowns.
        rest : ndarray, shape (n_maps,), optional
            Standard normal numbers of the maps, used in the directions that `turn` leaves out;
            0 there if None.
        """
        n = len(self.unknowns)
        maps = t[n:] @ self.turn
        if rest is not None:
            maps = maps + rest - (rest @ self.turn.T) @ self.turn
        return moved(self.blades, self.unknowns, self.maps, np.concatenate([t[:n], maps]))


@dataclass(frozen=True)
class BladeLine:
    """Logarithms of the outputs as straight lines.

    Parameters
    ----------
    reed : Reed
        The question.
    centre : ndarray, shape (reed.size,)
        Where the lines touch the model.
    logs : ndarray, shape (n_outputs,)
        Values there: `OUTPUTS_USED`, then one force per press [log SI].
    slopes : ndarray, shape (n_outputs, reed.size)
        Per prior standard deviation.
    """

    reed: Reed
    centre: Real
    logs: Real
    slopes: Real

    def __call__(self, t: Real) -> Real:
        """Logarithms of the outputs at many reeds, shape (..., n_outputs) for (..., reed.size)."""
        return self.logs + (t - self.centre) @ self.slopes.T

    def column(self, name: str) -> int:
        """Where an output stands."""
        return OUTPUTS_USED.index(name)

    def press_column(self, which: Press) -> int:
        """Where the force of a test stands.

        Raises
        ------
        InputError
            If the blades were not solved for this test.
        """
        if which not in self.reed.presses:
            msg = "this pad and depth were not solved; give every force test when drawing the lines"
            raise InputError(msg)
        return len(OUTPUTS_USED) + self.reed.presses.index(which)


def _solve(blades: Blades, presses: Sequence[Press]) -> tuple[Mechanics, list[Pressed], Real]:
    answer = evaluate(blades, maps=False, modes=4)
    pressed = [press(answer.pair, *p) for p in presses]
    values = [answer.values[n] for n in OUTPUTS_USED] + [p.force for p in pressed]
    return answer, pressed, np.log(values)


@one_thread
def solved(reed: Reed, t: Real) -> Real:
    """Logarithms of the outputs from the model itself, shape (n_outputs,)."""
    return _solve(reed.at(t), reed.presses)[2]


def _map_slopes(
    answer: Mechanics, pressed: Sequence[Pressed], maps: Sequence[MapSpread | None]
) -> Real:
    """Slopes by the standard normal numbers behind both maps, shape (n_outputs, n_maps).

    The tie stays as it is, as in `Effects`; a preloaded reed whose map had been another all along
    differs by about one per cent of these slopes.
    """
    used = {n: answer.outputs[n] for n in OUTPUTS_USED}
    effects = effects_of(answer.blades, answer.pair, used)
    parts: list[Real] = []
    for k, spread in enumerate(maps):
        if spread is None:
            continue
        table = (effects.marked_table, effects.plain_table)[k].reshape(len(used), -1)
        if answer.pair.alike:
            table = 2 * table
        forces = [p.by_grid()[k] for p in pressed]
        parts.append(np.vstack([table, *(f[None] for f in forces)]) @ spread.root)
    return np.hstack(parts) if parts else np.zeros((len(used) + len(pressed), 0))


def _useful(map_slopes: Real) -> Real:
    """Orthonormal rows spanning the directions of the maps that move any output."""
    if not map_slopes.shape[1]:
        return np.zeros((0, 0))
    _, size, rows = np.linalg.svd(map_slopes, full_matrices=False)
    return rows[size > _SILENT]


@one_thread
def blade_line(
    reed: Reed,
    centre: Real | None = None,
    *,
    report: Callable[[float], None] | None = None,
) -> BladeLine:
    """Solve the blades and draw the lines.

    Parameters
    ----------
    reed : Reed
        The question; with `centre` None its `turn` is found here.
    centre : ndarray, shape (reed.size,), optional
        Where to draw the lines; the middle of the prior if None.
    report : callable, optional
        Called with the share done.

    Raises
    ------
    OutsideModel
        If the blade model has no answer there.
    """
    tell = report or (lambda _: None)
    where = reed.blades if centre is None else reed.at(centre)
    answer, pressed, logs = _solve(where, reed.presses)
    tell(0.4)
    scale = np.exp(logs)
    columns: list[list[float]] = []
    used = {n: answer.outputs[n] for n in OUTPUTS_USED}
    for k, unknown in enumerate(reed.unknowns):
        plus, minus = (build(unknown.apply(where, s * _STEP)) for s in (1, -1))
        nearby = Nearby(plus, minus, _STEP)
        found = slopes_of(used, nearby)
        columns.append([*found.values(), *(p.by_parameter(nearby) for p in pressed)])
        tell(0.4 + 0.5 * (k + 1) / len(reed.unknowns))
    by_map = _map_slopes(answer, pressed, reed.maps) / scale[:, None]
    if centre is None:
        reed = replace(reed, turn=_useful(by_map))
        centre = np.zeros(reed.size)
    by_unknown = np.array(columns).reshape(len(reed.unknowns), len(logs)).T / scale[:, None]
    tell(1.0)
    return BladeLine(reed, centre, logs, np.hstack([by_unknown, by_map @ reed.turn.T]))
