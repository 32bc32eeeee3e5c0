"""Whether the marks lie on the edges of the reed, and whether these are sharp."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from crowlight.look.values import Reason

__all__ = ["edges_of"]

Array = NDArray[np.float64]
#: An edge shows where background and cane differ by this share of the background.
_SHOWS = 0.2
#: Fewest rows in which it must show, as a share.
_ROWS = 0.3
#: How far the steepest place may lie from the marked edge, and how wide the step from cane to
#: background may be, as shares of the half width (our choice). A wider step lets light of the
#: background spill over the cane that is compared.
_OFF, _WIDE = 0.15, 0.2


def edges_of(left: Array, right: Array, us: Array) -> tuple[Reason | None, bool, float]:
    """Return what is wrong with the edges, whether both show at all, and how far off they lie.

    Parameters
    ----------
    left, right : ndarray, shape (n_rows, n)
        Light across each edge, from the cane outwards.
    us : ndarray, shape (n,)
        Where, as fractions of the half width; the marked edge is at 1.

    Returns
    -------
    reason : Reason or None
        None if nothing is wrong.
    shows : bool
        Whether both edges show at all.
    off : float
        How far the edge that lies further off is from its mark, as a fraction of the half width.
    """
    step = float(us[1] - us[0])
    reason: Reason | None = None
    furthest = 0.0
    for profile in (left, right):
        outside = profile[:, us >= 1.3].mean(axis=1)
        inside = profile[:, (us >= 0.65) & (us <= 0.8)].mean(axis=1)
        contrast = outside - inside
        slope = (profile[:, 2:] - profile[:, :-2]) / (2 * step)
        with np.errstate(invalid="ignore"):
            shows = contrast > _SHOWS * outside
        if shows.mean() < _ROWS:
            return Reason.NOT_ON_EDGES, False, furthest
        steepest = np.argmax(slope[shows], axis=1)
        off = abs(float(np.median(us[1:-1][steepest])) - 1)
        furthest = max(furthest, off)
        width = float(np.median(contrast[shows] / slope[shows].max(axis=1)))
        if width > _WIDE:
            reason = reason or Reason.BLURRED
        elif off > _OFF:
            reason = reason or Reason.NOT_ON_EDGES
    return reason, True, furthest
