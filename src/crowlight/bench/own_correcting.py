"""What a maker's own cuts teach: which of them may, and how predictions are put right by it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from crowlight.bench.own_cuts import OPENING, OwnChange, OwnCuts
from crowlight.calibrate.learning import (
    Between,
    Correction,
    Pair,
    Predicted,
    learn_correction,
    untouched,
)
from crowlight.plan.cut import Correcting

__all__ = ["confounded_cuts", "correcting_of", "learned_by", "taught"]

#: Openings of so many measures tell where they usually lie.
_USUAL = 6


def taught(own: OwnCuts) -> list[Pair]:
    """Return what may teach: what the model told, beside what was measured.

    Parameters
    ----------
    own : OwnCuts
        Of one maker.

    Returns
    -------
    list of Pair
        Without cuts that something else may have helped: a second deed, a night, a fresh soak or
        another place between the two measures. Openings are drawn towards the usual one by how
        unsurely they are read, since reeds are cut when they measure badly.
    """
    return [_pair(c, own.openings) for c in own.changes if not _between(c).confounds]


def confounded_cuts(own: OwnCuts) -> frozenset[str]:
    """Return the cuts whose openings something else may have changed as well."""
    return frozenset(c.cut for c in own.changes if _between(c).confounds)


def learned_by(own: OwnCuts) -> Correction:
    """Return how predictions of the opening are put right; the same ones while too few teach."""
    return learn_correction(taught(own), quantity=OPENING, along=True)


def correcting_of(
    own: OwnCuts | None, *, maker: str = "", batch: str = ""
) -> Correcting | None:  # fmt: skip
    """Return what puts a plan right; None while too little is known to put anything right.

    Parameters
    ----------
    own : OwnCuts or None
        Of the maker of the reed.
    maker, batch : str
        The reed's.
    """
    if own is None:
        return None
    found = learned_by(own)
    if found.learned is None:
        return None
    return Correcting({OPENING: found}, {"maker": maker, "batch": batch})


def _between(c: OwnChange) -> Between:
    return Between(
        c.before,
        c.after,
        changes=c.changes,
        nights=c.nights,
        soaked_anew=c.soaked_anew,
        place_changed=c.place_changed,
    )


def _pair(c: OwnChange, openings: Sequence[float]) -> Pair:
    before, u = c.before, c.before_uncertainty
    if len(openings) >= _USUAL:
        seen = float(np.var(openings, ddof=1))
        usual = math.sqrt(max(seen - u**2, (0.5 * u) ** 2))
        mean = float(np.mean(openings))
        before, u = untouched(before, usual_mean=mean, usual_sd=usual, repeatability=u)
    groups = {"cut": c.name, "zone": c.zone, "maker": c.maker, "batch": c.batch}
    uncertainty = math.hypot(u, c.after_uncertainty)
    return Pair(OPENING, Predicted(*c.told), c.after - before, uncertainty, c.cut, groups)
