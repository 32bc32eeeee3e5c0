"""What a knife can take: smooth patches, as wide as the knife's contact, along or oblique."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from numpy.typing import NDArray

from crowlight.plan.cut.now import ReedNow
from crowlight.reed import Blade, Place
from crowlight.reed.styles import Style

__all__ = ["GUARDED", "Earlier", "Part", "patch", "patches", "read_share", "slope_at", "taken_off"]

Real = NDArray[np.float64]

#: Width of the knife's contact and length of a short stroke's soft ends, as standard deviations of
#: a normal shape [m] (common practice, no source: about 2 mm of the edge touches).
_WIDE, _LONG = 0.8e-3, 0.5e-3
#: From which fraction across a part reaches out in full, and where it is nothing.
_FULL = 0.35
_CENTRE = 0.15
#: Corners: outside this fraction across, this near the tip edge [m].
_CORNER_OUT, _CORNER_DOWN = 0.5, 2.0e-3
#: Length of the strip below the heart that is opened when a heart is shortened [m].
_UPPER = 3.0e-3


class Part(StrEnum):
    """Part of a zone on one blade; sides as seen."""

    WHOLE = "whole"
    SIDES = "sides"
    LEFT = "left"
    RIGHT = "right"
    CORNERS = "corners"
    LEFT_CORNER = "left-corner"
    RIGHT_CORNER = "right-corner"
    LEFT_FOOT = "left-foot"
    RIGHT_FOOT = "right-foot"
    UPPER = "upper"

    @property
    def mirrored(self) -> Part:
        """The part with left and right exchanged."""
        return _MIRRORED.get(self, self)

    @property
    def lopsided(self) -> bool:
        """Whether it is on one side only."""
        return self in _MIRRORED


#: Zones scraped, and whether strokes there run along the grain, obliquely, or both ways.
_SCRAPED: Mapping[str, tuple[bool, ...]] = {
    "tip": (False, True),
    "transition": (True,),
    "heart": (False,),
    "windows": (False,),
    "back": (False,),
}
#: Zones never scraped on purpose, and the share of what spills over that reaches them.
GUARDED, _SPILL = ("spine", "rails", "bark"), 0.1
#: Less than this share of the most is no cut.
_LEAST = 0.01

#: Step a slope is taken over, each way [m].
_STEP = 0.25e-3
#: Points and weights of a mean over a standard normal.
_NODES, _WEIGHTS = hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()

_PARTS = (Part.WHOLE, Part.SIDES, Part.LEFT, Part.RIGHT)
_SPECIAL: Mapping[str, tuple[Part, ...]] = {
    "tip": (Part.CORNERS, Part.LEFT_CORNER, Part.RIGHT_CORNER),
    "transition": (Part.LEFT_FOOT, Part.RIGHT_FOOT),
    "windows": (Part.UPPER,),
    "back": (Part.UPPER,),
}
_PAIRS = (
    (Part.LEFT, Part.RIGHT),
    (Part.LEFT_CORNER, Part.RIGHT_CORNER),
    (Part.LEFT_FOOT, Part.RIGHT_FOOT),
)
_MIRRORED: Mapping[Part, Part] = {a: b for x, y in _PAIRS for a, b in ((x, y), (y, x))}


def patches(reed: ReedNow) -> dict[tuple[str, Part, bool], Real]:
    """Return every patch a plan may choose: by zone, part, and whether strokes run obliquely.

    Parameters
    ----------
    reed : ReedNow
        The reed.

    Returns
    -------
    dict
        Patches as by `patch`. Spine, rails and bark have none: they are left alone.
    """
    straight, slanting = _smear(reed, oblique=False), _smear(reed, oblique=True)
    out: dict[tuple[str, Part, bool], Real] = {}
    for zone, slants in _SCRAPED.items():
        if zone not in reed.where or (zone == "back" and "windows" in reed.where):
            continue
        for slant in slants:
            for part in (*_PARTS, *_SPECIAL.get(zone, ())):
                # straight strokes besides slanting ones only all over
                if len(slants) == 1 or slant or part is Part.WHOLE:
                    shape = _patch(reed, zone, part, slanting if slant else straight)
                    if shape.any():
                        out[zone, part, slant] = shape
    return out


def patch(reed: ReedNow, zone: str, part: Part, *, oblique: bool = False) -> Real:
    """Return the shape a few strokes on a part of a zone leave, on one blade as seen.

    Parameters
    ----------
    reed : ReedNow
        The reed.
    zone : str
        Name of one of its zones.
    part : Part
        Which part.
    oblique : bool
        Strokes outward towards the corners at 45 degrees instead of along the grain.

    Returns
    -------
    ndarray, shape (n_along, n_across)
        Cane taken off, 1 where it is most, >= 0; all zero if no node lies in the part.

    Notes
    -----
    The part smeared by an elliptic normal: the knife's contact across the stroke, soft ends along
    it. What is not meant to be touched is not: a part on one side stays off the other, sides and
    corners stay off the centre, and spine, rails and bark get a tenth of what spills over.
    """
    return _patch(reed, zone, part, _smear(reed, oblique=oblique))


@dataclass(frozen=True, slots=True)
class Earlier:
    """A cut made before.

    Parameters
    ----------
    zone, part, blades, oblique
        Where, as in `patch`, on which blades.
    cane : float
        Cane taken off where it took most, as best known [m].
    """

    zone: str
    part: Part
    blades: tuple[Blade, ...]
    cane: float
    oblique: bool = False


def taken_off(reed: ReedNow, earlier: Iterable[Earlier]) -> Real:
    """Return what earlier cuts took off together, shape (2, n_along, n_across) [m]."""
    out = np.zeros(reed.mean.shape)
    shapes: dict[tuple[str, Part, bool], Real] = {}
    for cut in earlier:
        key = cut.zone, cut.part, cut.oblique
        if key not in shapes:
            shapes[key] = patch(reed, cut.zone, cut.part, oblique=cut.oblique)
        for b, blade in enumerate(Blade):
            if blade in cut.blades:
                out[b] += cut.cane * shapes[key]
    return out


def read_share(
    shape: Callable[[Real], Real], style: Style, place: Place, foot: float, placement: float
) -> float:
    """Return what a gauge reads of a cut at a place, as a share of where it took most.

    Parameters
    ----------
    shape : callable
        Share taken, for places of shape (n, 2): along [m from the bottom rim] and fraction across.
    style : Style
        Laid on the reed's length.
    place : Place
        Where the foot was meant to stand.
    foot, placement : float
        Width of cane under the foot, and how far off it may stand, standard deviation [m].

    Notes
    -----
    A window may be hardly wider than the foot: then what was taken there reads less than it is. The
    foot's disc has a variance of ``(foot / 4)²`` along and across; together with the placement it
    is taken as a normal weight (Gauss-Hermite quadrature of 5 by 5 points).
    """
    reach = math.hypot(foot / 4.0, placement)
    along = np.clip(place.along + reach * _NODES[:, None], style.thread_top, style.length)
    across = place.across + reach * _NODES[None, :]
    fraction = np.clip(across / style.outline.half_width(along), -1.0, 1.0)
    points = np.stack([np.broadcast_to(along, fraction.shape), fraction], axis=-1).reshape(-1, 2)
    return float(np.outer(_WEIGHTS, _WEIGHTS).ravel() @ shape(points))


def slope_at(style: Style, place: Place) -> float:
    """Return how steep a style is at a place: thickness per length, along and across together.

    Parameters
    ----------
    style : Style
        Laid on the reed's length.
    place : Place
        Where; off the blade as at its edge.

    Returns
    -------
    float
        >= 0; over a quarter of a millimetre each way, at an edge over what there is of that.
    """
    at = np.clip(place.along, style.thread_top, style.length)
    s = np.clip(at + _STEP * np.array([-1.0, 1.0]), style.thread_top, style.length)
    half = style.outline.half_width(at)
    within = np.clip(place.across, -half, half)
    c = np.clip(within + _STEP * np.array([-1.0, 1.0]), -half, half)
    inside = np.clip(within, -style.outline.half_width(s), style.outline.half_width(s))
    along = np.diff(style.thickness(s, inside)) / np.diff(s)
    across = np.diff(style.thickness(at, c)) / np.diff(c)
    return math.hypot(along.item(), across.item())


def _patch(reed: ReedNow, zone: str, part: Part, smear: Real) -> Real:
    inside = _meant(reed, zone, part)
    shape = (smear @ inside.ravel()).reshape(inside.shape) * _kept_off(reed, part)
    for name in GUARDED:
        if name in reed.where:
            shape = np.where(reed.where[name], _SPILL * shape, shape)
    shape = np.where(shape > _LEAST * shape.max(), shape, 0.0)
    return shape / shape.max() if inside.any() else np.zeros(inside.shape)


def _smear(reed: ReedNow, *, oblique: bool) -> Real:
    """Return the matrix that smears a map by the knife; rows sum to 1."""
    x = (reed.style.outline.half_width(reed.along)[:, None] * reed.fraction[None, :]).ravel()
    y = np.repeat(reed.along, len(reed.fraction))
    dx, dy = x[:, None] - x, y[:, None] - y
    if oblique:
        # outward from the side the stroke starts on; from the centreline half each way
        left, right = (
            _normal((way * dx + dy) / np.sqrt(2.0), (dx - way * dy) / np.sqrt(2.0))
            for way in (-1.0, 1.0)
        )
        share = 0.5 * (1.0 + np.sign(np.round(x, 9)))
        near = left * (1.0 - share) + right * share
    else:
        near = _normal(dy, dx)
    near = near * reed.area.ravel()
    return near / near.sum(axis=1, keepdims=True)


def _normal(along: Real, across: Real) -> Real:
    return np.exp(-0.5 * ((along / _LONG) ** 2 + (across / _WIDE) ** 2))


def _meant(reed: ReedNow, zone: str, part: Part) -> NDArray[np.bool_]:
    """Nodes a part is meant to take cane from."""
    inside = reed.where.get(zone)
    rows, columns = np.meshgrid(reed.along, reed.fraction, indexing="ij")
    if inside is None:
        return np.zeros(rows.shape, bool)
    if part in (Part.CORNERS, Part.LEFT_CORNER, Part.RIGHT_CORNER):
        near = reed.style.length - rows <= _CORNER_DOWN
        inside = inside & near & (np.abs(columns) >= _CORNER_OUT)
    if part in (Part.LEFT_FOOT, Part.RIGHT_FOOT):
        of = reed.style.zone(zone)
        middle = 0.5 * (of.start[1] + of.stop[1])
        inside = inside & (rows >= middle)
    if part is Part.UPPER:
        inside = inside & (rows >= float(rows[inside].max()) - _UPPER)
    return inside & (_kept_off(reed, part) > 0)


def _kept_off(reed: ReedNow, part: Part) -> Real:
    """1 where a part may take cane in full, 0 where it must not, by column."""
    u = reed.fraction
    if part.lopsided:
        sign = -1.0 if part in (Part.LEFT, Part.LEFT_CORNER, Part.LEFT_FOOT) else 1.0
        return np.clip(sign * u / _FULL, 0.0, 1.0)[None, :]
    if part in (Part.SIDES, Part.CORNERS):
        return np.clip((np.abs(u) - _CENTRE) / (_FULL - _CENTRE), 0.0, 1.0)[None, :]
    return np.ones((1, len(u)))
