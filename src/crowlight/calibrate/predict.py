"""What the model says would be measured: logarithms of the data as a function of all unknowns.

Order of the unknowns, all standard normal before data: those of the blades, directions of the
thickness maps, `AIR_UNKNOWNS`, then one model error per kind of measurement (shared by repeats, so
that repeats do not wear it away).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.calibrate.air import AIR_UNKNOWNS, first_notes, reeds_at
from crowlight.calibrate.line import BladeLine
from crowlight.calibrate.measurements import (
    CrowPitch,
    ForceTest,
    Measurement,
    Pad,
    PeepPitch,
)
from crowlight.crow import ReedArrays, Resonances

__all__ = ["KINDS", "MAPS", "Model", "labels", "presses"]

Real = NDArray[np.float64]

KINDS = ("opening", "force", "crow", "peep", "start")
MAPS = "thickness maps"
_STEP = 1e-4


def labels(line: BladeLine) -> tuple[str, ...]:
    """Name of every unknown, in order."""
    return (
        *(u.name for u in line.reed.unknowns),
        *[MAPS] * len(line.reed.turn),
        *AIR_UNKNOWNS,
        *(f"model error: {kind}" for kind in KINDS),
    )


@dataclass(frozen=True)
class Model:
    """Predictions for a set of measurements.

    Parameters
    ----------
    line : BladeLine
        Of the blades.
    bore : Resonances
        Of staple and cavity; used by pitches and pressures.
    data : tuple of Measurement
        In order.
    """

    line: BladeLine
    bore: Resonances
    data: tuple[Measurement, ...]

    @property
    def size(self) -> int:
        """How many unknowns."""
        return self.line.reed.size + len(AIR_UNKNOWNS) + len(KINDS)

    @property
    def physical(self) -> int:
        """How many of them, the first, describe the reed; the rest are model errors."""
        return self.size - len(KINDS)

    @property
    def loading(self) -> Real:
        """How model errors enter the data, shape (m, kinds)."""
        out = np.zeros((len(self.data), len(KINDS)))
        for i, d in enumerate(self.data):
            out[i, KINDS.index(d.name)] = d.model_error
            if isinstance(d, PeepPitch):
                out[i, KINDS.index("crow")] = CrowPitch.model_error
        return out

    @property
    def sounds(self) -> bool:
        """Whether any measurement needs the air model."""
        return any(d.name in ("crow", "peep", "start") for d in self.data)

    @property
    def measured(self) -> Real:
        """Logarithms of what was read, shape (m,)."""
        return np.log(np.array([d.value for d in self.data]))

    @property
    def spread(self) -> Real:
        """Their standard deviations, shape (m,)."""
        return np.array([d.relative for d in self.data])

    def reeds(self, t: Real) -> ReedArrays:
        """Reeds for the air at many unknowns, shape (reeds, size)."""
        n = self.line.reed.size
        return reeds_at(self.line, t[:, :n], t[:, n : n + len(AIR_UNKNOWNS)])

    def onset(self, t: Real) -> tuple[float, float] | None:
        """Pressure and frequency of the onset at one reed, to start others from."""
        if not self.sounds:
            return None
        found = first_notes(self.reeds(t[None]), self.bore, None)
        if not np.isfinite(found.pressure[0]):
            return None
        return float(found.pressure[0]), float(found.frequency[0])

    def many(self, t: Real, near: tuple[float, float] | None = None) -> Real:
        """Logarithms of the predictions, shape (reeds, m); NaN where a reed never sounds."""
        logs = self.line(t[:, : self.line.reed.size])
        known: dict[str, Real] = {"opening": logs[:, self.line.column("rest_height")]}
        if self.sounds:
            found = first_notes(self.reeds(t), self.bore, near)
            known |= {
                "crow": np.log(found.frequency),
                "peep": np.log(found.frequency),
                "start": np.log(found.pressure),
            }
        out = np.empty((len(t), len(self.data)))
        for i, d in enumerate(self.data):
            if isinstance(d, ForceTest):
                base = logs[:, self.line.press_column((d.pad, d.depth))]
            else:
                base = known[d.name]
            out[:, i] = base
        return out + t[:, self.physical :] @ self.loading.T

    def one(self, t: Real) -> Real:
        """Logarithms of the predictions for one reed, shape (m,)."""
        return self.many(t[None])[0]

    def slopes(self, t: Real) -> Real:
        """Differentiate by every unknown, shape (m, size), by central differences."""
        step = _STEP * np.eye(self.size)
        both = self.many(np.concatenate([t + step, t - step]), self.onset(t))
        return (both[: self.size] - both[self.size :]).T / (2 * _STEP)


def presses(data: Sequence[Measurement]) -> tuple[tuple[Pad, float], ...]:
    """List pads and depths of all force tests, each once."""
    return tuple(dict.fromkeys((d.pad, d.depth) for d in data if isinstance(d, ForceTest)))
