"""The virtual maker's knife: where strokes land and how much each takes, which no policy knows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, shift

from crowlight.invented.trials.bench import Deed
from crowlight.invented.trials.truth import FRACTION, TrueReed, clipped_opening, unevenly
from crowlight.reed import Blade

__all__ = ["Knife", "Outcome", "clip", "draw_knife", "scrape"]

Real = NDArray[np.float64]

#: One light stroke [m], and how far a maker's may be from that (natural log).
_STROKE, _MAKERS, _SITTINGS, _EACH = 3e-6, 0.4, 0.2, 0.35
#: Contact of this knife, as standard deviations along and across [rows and columns of the truth].
_SMEAR = (2.6, 3.6)
#: Where a patch lands against where it was meant: along [rows] and across [columns].
_MISS = (1.2, 0.5)
#: Chance that one stroke tears sound cane, by place, and cane thinner than its floor (our choice).
_TEAR = {"tip": 2e-5, "": 2e-6}
_TEAR_THIN = 0.02
#: Clips: scatter against the stop [m], and how often the edge nicks.
_CLIP, _NICK = 0.04e-3, 1e-4
_LEAST = 6e-6


@dataclass(frozen=True, slots=True)
class Knife:
    """How much this maker takes per light stroke [m], and how sharp the knife is today."""

    stroke: float
    today: float = 1.0

    def next_day(self, rng: np.random.Generator) -> Knife:
        """Return the knife in the next sitting."""
        return replace(self, today=float(np.exp(_SITTINGS * rng.standard_normal())))


@dataclass(frozen=True, slots=True)
class Outcome:
    """A reed after a cut, and whether it tore."""

    reed: TrueReed
    torn: bool


def draw_knife(rng: np.random.Generator) -> Knife:
    """Draw a maker's hand."""
    return Knife(_STROKE * float(np.exp(_MAKERS * rng.standard_normal()))).next_day(rng)


def scrape(reed: TrueReed, deed: Deed, knife: Knife, rng: np.random.Generator) -> Outcome:
    """Take light strokes on a part of a zone."""
    shape = _shape(reed, deed, rng)
    thick, torn = reed.thick.copy(), False
    floor = reed.floor()
    for b, blade in enumerate(Blade):
        if blade not in deed.blades:
            continue
        each = knife.stroke * knife.today * np.exp(_EACH * rng.standard_normal(deed.strokes))
        for cane in each:
            rough = np.clip(1.0 + unevenly(rng, (1, *shape.shape), 0.15)[0], 0.4, 1.6)
            thick[b] = np.maximum(thick[b] - cane * shape * rough, _LEAST)
            on = shape > 0.5
            thin = float((thick[b] < floor - 3e-6)[on].mean()) if on.any() else 0.0
            chance = _TEAR["tip" if deed.zone == "tip" else ""] + _TEAR_THIN * (thin > 0.2)
            torn |= bool(rng.random() < chance)
    return Outcome(replace(reed, thick=thick), torn)


def clip(reed: TrueReed, amount: float, rng: np.random.Generator) -> Outcome:
    """Clip against a stop, then dust the edge again."""
    off = max(amount + _CLIP * rng.standard_normal(), 0.0)
    length = reed.length - off
    wider = clipped_opening(reed, length) - reed.opening
    shorter = replace(
        reed, length=length, opening=reed.opening + wider, settled=reed.settled + wider
    )
    edge = np.clip(1.0 - (shorter.length - reed.along) / 1.2e-3, 0.0, 1.0)[:, None]
    dusted = shorter.thick - 3e-6 * edge * np.exp(0.3 * rng.standard_normal())
    return Outcome(replace(shorter, thick=np.maximum(dusted, _LEAST)), rng.random() < _NICK)


def _shape(reed: TrueReed, deed: Deed, rng: np.random.Generator) -> Real:
    """Return where cane comes off, 1 where it is most."""
    zones = reed.zones()
    inside = zones.get(deed.zone)
    u = np.broadcast_to(FRACTION[None, :], (len(reed.along), len(FRACTION)))
    if inside is None or not inside.any():
        return np.zeros(u.shape)
    from_tip = (reed.length - reed.along)[:, None]
    part = deed.part
    if "corner" in part:
        inside = inside & (from_tip <= 2.2e-3) & (np.abs(u) >= 0.45)
    if "foot" in part:
        rows = np.flatnonzero(inside.any(axis=1))
        inside = inside & (np.arange(len(u))[:, None] >= rows.mean())
    if part == "upper":
        rows = np.flatnonzero(inside.any(axis=1))
        inside = inside & (np.arange(len(u))[:, None] >= rows.max() - 12)
    keep = _keep(u, part)
    mask = (inside & (keep > 0)).astype(float)
    if not mask.any():
        return mask
    miss = (_MISS[0] * rng.standard_normal(), _MISS[1] * rng.standard_normal())
    shape = gaussian_filter(mask, _SMEAR, mode="nearest")
    shape = shift(shape, miss, order=1, mode="nearest") * keep
    for name in ("spine", "rails", "bark"):
        if name in zones and name != deed.zone:
            shape = np.where(zones[name], 0.15 * shape, shape)
    shape = np.where((from_tip >= 0.0) & (shape > 0.02 * shape.max()), shape, 0.0)
    return shape / shape.max()


def _keep(u: Real, part: str) -> Real:
    if part.startswith("left"):
        return np.clip(-u / 0.3, 0.0, 1.0)
    if part.startswith("right"):
        return np.clip(u / 0.3, 0.0, 1.0)
    if part in ("sides", "corners"):
        return np.clip((np.abs(u) - 0.15) / 0.25, 0.0, 1.0)
    return np.ones(u.shape)
