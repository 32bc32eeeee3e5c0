"""Typical scrapes as thickness grids, for reeds nobody has measured yet.

Common practice, no source: middles of the ranges makers state. Schools differ by more than the
difference between the two.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from crowlight.blade.thickness import ThicknessGrid, grid_from_tip

__all__ = ["typical_scrape"]

# millimetres from the tip: thickness in mm at the middle, half way, and the edge
LONG = {
    0.0: (0.070, 0.060, 0.040),
    2.0: (0.110, 0.100, 0.085),
    3.3: (0.150, 0.140, 0.125),
    5.0: (0.340, 0.310, 0.270),
    6.0: (0.450, 0.420, 0.380),
    9.0: (0.470, 0.430, 0.385),
    11.0: (0.480, 0.420, 0.390),
    13.0: (0.520, 0.405, 0.445),
    18.5: (0.530, 0.410, 0.450),
    20.0: (0.590, 0.530, 0.450),
    23.0: (0.600, 0.540, 0.450),
}
SHORT = {
    0.0: (0.095, 0.080, 0.055),
    2.0: (0.170, 0.150, 0.125),
    3.5: (0.220, 0.200, 0.170),
    5.0: (0.310, 0.280, 0.250),
    7.5: (0.410, 0.380, 0.330),
    11.0: (0.530, 0.480, 0.400),
    12.0: (0.590, 0.530, 0.450),
    23.0: (0.600, 0.540, 0.450),
}


def typical_scrape(
    style: Literal["long", "short"] = "long", *, length: float = 23e-3, spacing: float = 0.5e-3
) -> ThicknessGrid:
    """Typical long or short scrape on a blade of free `length` [m].

    Parameters
    ----------
    style : {"long", "short"}
        Long (with windows and spine) or short (bark below the heart).
    length : float
        Free length [m].
    spacing : float
        Distance between grid rows [m].

    Examples
    --------
    >>> typical_scrape().values.shape
    (47, 9)
    """
    table = {"long": LONG, "short": SHORT}[style]
    rows = np.array(list(table.values())) * 1e-3
    stations = np.array(list(table)) * 1e-3
    from_tip = np.linspace(0, length, round(length / spacing) + 1)
    columns = np.stack([np.interp(from_tip, stations, rows[:, k]) for k in range(3)], axis=1)
    across = np.linspace(-1, 1, 9)
    values = np.stack([np.interp(np.abs(across), [0, 0.5, 1], row) for row in columns])
    return grid_from_tip(from_tip, across, values, length=length)
