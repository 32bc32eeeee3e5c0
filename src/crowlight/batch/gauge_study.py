"""A crossed gauge study: the same places, measured by everybody (or in every mounting) repeatedly.

The two-way random model: reading = mean + place + mounting + place x mounting + repeatability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.errors import InputError

__all__ = ["GaugeStudy", "crossed_study"]

#: An interaction less sure than this is pooled with the repeatability, as gauge studies usually do.
POOL_ABOVE = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeStudy:
    """What a gauge study tells; all standard deviations in the unit of the readings.

    Parameters
    ----------
    places, mountings, repeats : int
        Size of the study.
    repeatability : float
        Of one reading, everything else the same.
    repeatability_low, repeatability_high : float
        Its interval.
    reproducibility : float
        Between mountings (or people), the interaction included where it was kept.
    gauge : float
        Both together.
    between : float
        Between the places measured.
    dof : float
        Degrees of freedom of the repeatability.
    interaction_p : float
        Chance of an interaction this large where there is none.
    pooled : bool
        Whether the interaction was pooled with the repeatability.
    level : float
        Of the interval.
    """

    places: int
    mountings: int
    repeats: int
    repeatability: float
    repeatability_low: float
    repeatability_high: float
    reproducibility: float
    gauge: float
    between: float
    dof: float
    interaction_p: float
    pooled: bool
    level: float

    @property
    def steps(self) -> float:
        """How many sizes the gauge can tell apart over these places: 1.41 spread per gauge."""
        return math.sqrt(2.0) * self.between / self.gauge if self.gauge > 0.0 else math.inf


def crossed_study(
    readings: ArrayLike, *, level: float = 0.95, pool_above: float = POOL_ABOVE
) -> GaugeStudy:
    """Estimate repeatability and reproducibility by the analysis of variance.

    Parameters
    ----------
    readings : array_like, shape (places, mountings, repeats)
        All places in all mountings, equally often; each count >= 2.
    level : float
        Of the interval of the repeatability.
    pool_above : float
        The interaction is pooled where its p-value exceeds this; 1 never pools.

    Returns
    -------
    GaugeStudy
        Components of variance, restricted to 0 or more.

    Raises
    ------
    InputError
        If the study is not crossed and balanced, or a reading is not a number.

    References
    ----------
    R. K. Burdick, C. M. Borror, D. C. Montgomery, *Design and Analysis of Gauge R&R Studies*
    (2005), chapters 2 and 3.

    Examples
    --------
    >>> rng = np.random.default_rng(3)
    >>> true = rng.normal(0.4, 0.1, (8, 1, 1)) + rng.normal(0.0, 0.004, (1, 3, 1))
    >>> found = crossed_study(true + rng.normal(0.0, 0.01, (8, 3, 2)))
    >>> found.pooled, 0.007 < found.repeatability < 0.013
    (True, True)
    """
    from scipy.special import chdtri, fdtrc

    x = np.asarray(readings, dtype=float)
    if x.ndim != 3 or min(x.shape, default=0) < 2 or not np.isfinite(x).all():
        msg = (
            f"a gauge study of shape {x.shape} cannot be used; give (places, mountings, repeats), "
            "each two or more, every reading taken"
        )
        raise InputError(msg)
    a, b, n = x.shape
    cells, grand = x.mean(axis=2), x.mean()
    rows, columns = x.mean(axis=(1, 2)), x.mean(axis=(0, 2))
    place = b * n * float(((rows - grand) ** 2).sum()) / (a - 1)
    mounting = a * n * float(((columns - grand) ** 2).sum()) / (b - 1)
    residue = cells - rows[:, None] - columns[None, :] + grand
    both_dof, own_dof = (a - 1) * (b - 1), a * b * (n - 1)
    both_sum, own_sum = n * float((residue**2).sum()), float(((x - cells[..., None]) ** 2).sum())
    both, own = both_sum / both_dof, own_sum / own_dof
    chance = float(fdtrc(both_dof, own_dof, both / own)) if own > 0.0 else 0.0
    pooled = chance > pool_above
    if pooled:
        own_dof += both_dof
        own = both = (own_sum + both_sum) / own_dof
    together = 0.0 if pooled else max((both - own) / n, 0.0)
    reproduced = max((mounting - both) / (a * n), 0.0) + together
    tail = (1.0 - level) / 2.0
    return GaugeStudy(
        places=a,
        mountings=b,
        repeats=n,
        repeatability=math.sqrt(own),
        repeatability_low=math.sqrt(own_dof * own / float(chdtri(own_dof, tail))),
        repeatability_high=math.sqrt(own_dof * own / float(chdtri(own_dof, 1.0 - tail))),
        reproducibility=math.sqrt(reproduced),
        gauge=math.sqrt(own + reproduced),
        between=math.sqrt(max((place - both) / (b * n), 0.0)),
        dof=float(own_dof),
        interaction_p=chance,
        pooled=pooled,
        level=level,
    )
