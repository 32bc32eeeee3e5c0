"""Reeds to plan cuts on: a style's shape with faults, drawn doubt, and made-up slopes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from crowlight.plan.cut import ReedNow
from crowlight.reed.styles import style

Real = NDArray[np.float64]
Shape = Callable[[Real, Real, Real], Real]

LONG = style("long")
NAMES = ("rest_height", "closing_pressure", "tilt", "unevenness", "stiffness", "compliance",
         "separation")  # fmt: skip
VALUES = np.array([0.65e-3, 6e3, 0.0, 0.0, 8e6, 8e-10, 1.4])
#: Plausible sizes: change of each output, as a share, if the whole reed got 10 µm thicker.
SHARES = np.array([0.01, 0.1, 0.0, 0.0, 0.1, -0.1, -0.02])


def grids(rows: int = 24, columns: int = 11) -> tuple[Real, Real]:
    return np.linspace(LONG.length, LONG.thread_top, rows), np.linspace(-1.0, 1.0, columns)


def styled(along: Real, fraction: Real) -> Real:
    across = LONG.outline.half_width(along)[:, None] * fraction
    one = LONG.thickness(along[:, None], across)
    return np.stack([one, one])


def fake_reed(
    *,
    fault: Shape | None = None,
    count: int = 60,
    sd: float = 6e-6,
    seed: int = 5,
    rows: int = 24,
    columns: int = 11,
    length: float = 0.0,
) -> ReedNow:
    """Make a reed; `fault(blade, from_tip, fraction)` is added to the style's thickness [m]."""
    along, fraction = grids(rows, columns)
    mean = styled(along, fraction)
    if fault is not None:
        blade = np.arange(2)[:, None, None]
        mean = mean + fault(blade, (LONG.length - along)[None, :, None], fraction[None, None, :])
    rng = np.random.default_rng(seed)
    # smooth doubt: an offset, a fall across, a fall along, for each blade
    u, s = fraction[None, None, None, :], np.linspace(0.0, 1.0, rows)[None, None, :, None]
    a, b, c = (rng.standard_normal((count, 2, 1, 1)) for _ in range(3))
    grain = 0.3 * rng.standard_normal((count, *mean.shape))
    draws = np.maximum(mean + sd * (0.8 * a + 0.5 * b * u + 0.5 * c * (s - 0.5) + grain), 1e-6)
    area = np.ones(mean.shape) / mean.size
    scale = np.where(VALUES != 0, VALUES, 1.0)
    by_cane = (SHARES * scale / 10e-6)[:, None, None, None] * area
    by_cane[NAMES.index("tilt")] = 2e3 * area * np.sign(fraction) * np.array([1, -1])[:, None, None]
    by_cane[NAMES.index("unevenness")] = 2e3 * area * np.array([-1, 1])[:, None, None]
    step = (draws - mean).reshape(count, -1) @ by_cane.reshape(len(NAMES), -1).T
    now = np.where(VALUES == 0, step, VALUES * np.exp(step / scale))
    return ReedNow(
        LONG, along, fraction, mean, draws,
        LONG.length + length + 0.1e-3 * rng.standard_normal(count),
        NAMES, VALUES, now, by_cane, np.array([0.05, 1e6, 0.0, 0.0, 5e8, -1e-7, -20.0]),
    )  # fmt: skip
