"""Left against right of one photograph."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.look.backlight import Backlight, fit_backlight
from crowlight.look.cells import Cells, bilinear, cell_means
from crowlight.look.edges import edges_of
from crowlight.look.frame import Frame, Marks, plane_map, turned
from crowlight.look.values import RISK, TOLERANCE, Answer, Look, Part, Reason
from crowlight.reed.styles import Zone

__all__ = ["BANDS", "measure"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Bands along, rows of cells in each, columns of cells a side.
BANDS, _ROWS, _COLUMNS = 8, 6, 10
#: What is compared, as fractions of the half width: not the centreline, not the edge itself.
_INNER, _OUTER = 0.12, 0.85
#: Where the background is looked at, as fractions of the half width, and in how many columns.
_NEAR, _FAR, _STRIPS = 1.2, 1.7, 4
#: Left out at tip and thread, as a share of the length.
_TIP_MARGIN, _FOOT_MARGIN = 0.02, 0.03
#: Standard uncertainty of a mark: pixels, or a share of the tip's width, whichever is more.
_MARK_PIXELS, _MARK_SHARE = 1.5, 0.01
#: Share of the samples taken where only the move of a mark is looked at.
_SPARSE = 0.5
#: Fewest pixels across the tip.
SMALLEST = 60.0
#: Below this, black level and rounding of an 8-bit picture count as much as light (our choice).
DARK = 0.004
#: A cell with more clipped pixels than this is clipped.
_CLIPPED = 0.01
#: A part with a larger share of unusable cells cannot tell.
_BAD = 0.2
#: How much brighter than the cane the background must be.
_BRIGHTER = 1.15
#: Scatter of the background around its fit that is no even background any more.
_UNEVEN = 0.15
#: Zones across which there are no two sides.
_ONE = frozenset({"spine"})


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one set of marks gives."""

    ratio: Array  # ln left - ln right, backlight divided out, shape (rows, columns)
    left: Cells
    right: Cells
    strips: tuple[Cells, Cells]
    backlight: Backlight | None


def measure(
    picture: NDArray[np.floating[Any]],
    clipped: NDArray[np.bool_],
    marks: Marks,
    frame: Frame,
    *,
    zones: Sequence[Zone] = (),
    risk: float = RISK,
    tolerance: float = TOLERANCE,
) -> Look:
    r"""Compare the light of the two sides of a reed, along its length.

    In every cell, and its mirror image on the other side of the midline between the marks,

    .. math:: d = \ln(Y_l / B_l) - \ln(Y_r / B_r)

    and a part's value is the mean of its cells. Its uncertainty combines the scatter of its columns
    and rows around a slanted plane (the grain runs along: a fibre is a column), where the marks
    were set, and the backlight.

    Parameters
    ----------
    picture : ndarray, shape (n_rows, n_columns)
        Linear luminance, upright as the marks were set, 0 to 1.
    clipped : ndarray of bool, same shape
        Where a colour is at its end.
    marks : Marks
        Four points [pixels].
    frame : Frame
        The blade they belong to.
    zones : sequence of Zone, optional
        Those of the reed's style, on its length; the first that contains a place counts.
    risk : float
        Largest chance that any part of a reed without a difference is named; 0 < risk < 1.
    tolerance : float
        Differences of the logarithm up to this do not count; >= 0.

    Returns
    -------
    Look
        Band by band and zone by zone.

    Raises
    ------
    InputError
        If the arrays do not match or hold anything but numbers of 0 or more.

    References
    ----------
    ISO 14253-1:2017 for when a difference counts; R. G. Miller, *Simultaneous Statistical
    Inference* (1981), chapter 1, for the Bonferroni intervals.
    """
    if picture.ndim != 2 or picture.shape != clipped.shape or min(picture.shape) < 2:
        msg = f"picture {picture.shape} and clipped {clipped.shape} must be of one shape, 2 × 2 up"
        raise InputError(msg)
    if not (np.isfinite(picture).all() and float(picture.min()) >= 0):
        msg = "the picture holds values that are no light; all must be numbers of 0 or more"
        raise InputError(msg)
    corners = marks.array()
    if (reason := _unusable(corners, picture.shape)) is not None:
        return Look(reason=reason)
    across_px = float(np.linalg.norm(corners[1] - corners[0]))
    if across_px < SMALLEST:
        return Look(reason=Reason.TOO_SMALL, pixels_across=across_px)
    looking = _Looking(np.asarray(picture, float), clipped.astype(float), frame, corners)
    seen = looking.seen()
    profiles = looking.profile(corners, -1), looking.profile(corners, 1)
    edge, shows, looking.off = edges_of(*profiles, looking.us)
    if seen.backlight is None and not (shows and edge is Reason.NOT_ON_EDGES):
        return Look(reason=_background_reason(seen), pixels_across=across_px)
    if edge is not None:
        return Look(reason=edge, pixels_across=across_px)
    return looking.look(seen, zones, risk=risk, tolerance=tolerance, across_px=across_px)


def _unusable(corners: Array, shape: tuple[int, ...]) -> Reason | None:
    high, wide = shape
    limits = np.array([wide, high], float)
    if not (np.isfinite(corners).all() and (corners >= 0).all() and (corners <= limits).all()):
        return Reason.MARKS_OUTSIDE
    # all turns the same way round, and none nearly straight
    long = float(np.abs(corners - corners.mean(axis=0)).max())
    if not (turned(corners) > 1e-3 * long * long).all():
        return Reason.MARKS_CROSSED
    return None


def _background_reason(seen: _Seen) -> Reason:
    over = sum(float((c.clipped > _CLIPPED).mean()) for c in seen.strips) / 2
    return Reason.BACKGROUND_CLIPPED if over > 0.25 else Reason.BACKGROUND_NOT_BRIGHT


def _background(strip: Cells, side: Cells) -> Array:
    """Return the light of a strip; NaN where it is clipped or no brighter than the cane."""
    with np.errstate(invalid="ignore"):
        cane = np.median(side.light, axis=1, keepdims=True)
        good = (strip.clipped <= _CLIPPED) & (strip.light >= _BRIGHTER * cane)
    return np.where(good, strip.light, np.nan)


class _Looking:
    """One picture and the blade in it."""

    def __init__(self, picture: Array, clipped: Array, frame: Frame, corners: Array) -> None:
        self.picture, self.clipped, self.frame, self.corners = picture, clipped, frame, corners
        self.off = 0.0
        span = frame.tip - frame.foot
        low, high = frame.foot + _FOOT_MARGIN * span, frame.tip - _TIP_MARGIN * span
        self.along = np.linspace(high, low, BANDS * _ROWS + 1)  # tip first
        self.across = np.linspace(_INNER, _OUTER, _COLUMNS + 1)
        self.strip = np.linspace(_NEAR, _FAR, _STRIPS + 1)
        self.s = (self.along[1:] + self.along[:-1]) / 2
        self.u = (self.across[1:] + self.across[:-1]) / 2
        half = frame.outline.half_width(self.s) / frame.outline.half_width(frame.tip)
        self.y = np.broadcast_to(
            ((self.s - frame.foot) / span * 2 - 1)[:, None], (len(self.s), len(self.u))
        )
        self.x = self.u[None, :] * half[:, None]
        self.strip_x = ((self.strip[1:] + self.strip[:-1]) / 2)[None, :] * half[:, None]
        length_px = float(np.linalg.norm(corners[:2].mean(axis=0) - corners[2:].mean(axis=0)))
        width_px = float(np.linalg.norm(corners[1] - corners[0])) / 2
        self.row_px = length_px / len(self.s)
        self.half_px = width_px
        self.us = np.linspace(0.5, 1.5, 1 + max(20, min(120, math.ceil(width_px))))

    def _map(self, corners: Array) -> Any:
        return plane_map(self.frame.corners(), corners)

    def _means(
        self, picture: Array, to_picture: Any, across: Array, *, share: float = 1.0
    ) -> Array:
        """Average over cells whose limits across are given from the midline outwards.

        `share` of the samples are taken, in either direction.
        """
        width = float(np.abs(np.diff(across)).mean()) * self.half_px
        return cell_means(
            picture,
            to_picture,
            self.frame,
            along=self.along,
            across=across,
            pixels=(share * self.row_px, share * width),
        )

    def seen(self) -> _Seen:
        """Look with the marks as they were set."""
        limits = (-self.across, self.across, -self.strip, self.strip)
        there = self._map(self.corners)
        left, right, *strips = (
            Cells(
                self._means(self.picture, there, across),
                self._means(self.clipped, there, across),
            )
            for across in limits
        )
        behind = [_background(s, side) for s, side in zip(strips, (left, right), strict=True)]
        backlight = self._backlight(behind)
        ratio = self._ratio(left.light, right.light, backlight)
        return _Seen(ratio, left, right, (strips[0], strips[1]), backlight)

    def moved(self, seen: _Seen) -> list[tuple[Array, Array]]:
        """Return the ratio with each coordinate of each mark moved up and down."""
        width = float(np.linalg.norm(self.corners[1] - self.corners[0]))
        # marks that visibly lie off the edges are doubted by as much
        step = max(_MARK_PIXELS, _MARK_SHARE * width, self.off * self.half_px)
        sides = zip(seen.strips, (seen.left, seen.right), strict=True)
        usable = [np.isfinite(_background(strip, side)) for strip, side in sides]

        def ratio(corners: Array) -> Array:
            there = self._map(corners)
            left, right, *strips = (
                self._means(self.picture, there, across, share=_SPARSE)
                for across in (-self.across, self.across, -self.strip, self.strip)
            )
            behind = [np.where(u, s, np.nan) for u, s in zip(usable, strips, strict=True)]
            return self._ratio(left, right, self._backlight(behind))

        found: list[tuple[Array, Array]] = []
        for n in range(8):
            shift = np.zeros(8)
            shift[n] = step
            moved = shift.reshape(4, 2)
            found.append((ratio(self.corners + moved), ratio(self.corners - moved)))
        return found

    def _backlight(self, behind: Sequence[Array]) -> Backlight | None:
        x = np.concatenate([-self.strip_x, self.strip_x], axis=1)
        y = np.broadcast_to(self.y[:, :1], x.shape)
        return fit_backlight(x, y, np.concatenate(behind, axis=1))

    def _ratio(self, left: Array, right: Array, backlight: Backlight | None) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.log(left) - np.log(right)
        return ratio if backlight is None else ratio - backlight.difference(self.x, self.y)

    def profile(self, corners: Array, side: int) -> Array:
        """Return the light across an edge in every row of cells, shape (rows, len(us))."""
        rows, each = len(self.s), 4
        fine = np.linspace(self.along[0], self.along[-1], rows * each)
        x = side * self.us[None, :] * self.frame.outline.half_width(fine)[:, None]
        column, row = self._map(corners)(x, np.broadcast_to(fine[:, None], x.shape))
        return bilinear(self.picture, column, row).reshape(rows, each, -1).mean(axis=1)

    # --- parts -----------------------------------------------------------------------------------

    def look(
        self,
        seen: _Seen,
        zones: Sequence[Zone],
        *,
        risk: float,
        tolerance: float,
        across_px: float,
    ) -> Look:
        """Judge every part."""
        moved = self.moved(seen)
        row = np.arange(len(self.s))[:, None] // _ROWS
        every = [np.broadcast_to(row == b, self.x.shape) for b in range(BANDS)]
        bands = [self._part(seen, moved, mask, "") for mask in every]
        found = [self._part(seen, moved, mask, name) for name, mask in self._zones(zones)]
        count = sum(math.isfinite(p.value) for p in (*bands, *found))

        def judged(part: Part) -> Part:
            return _judged(part, count, risk, tolerance)

        return Look(
            bands=tuple(
                replace(judged(p), left=self._outline(b, -1), right=self._outline(b, 1))
                for b, p in enumerate(bands)
            ),
            zones=tuple(judged(p) for p in found),
            comparisons=count,
            pixels_across=across_px,
        )

    def _zones(self, zones: Sequence[Zone]) -> list[tuple[str, Mask]]:
        taken = np.zeros(self.x.shape, bool)
        found: dict[str, Mask] = {}
        s, u = np.broadcast_to(self.s[:, None], taken.shape), np.broadcast_to(self.u, taken.shape)
        for zone in zones:
            mask = zone.contains(s, u) & ~taken
            taken |= mask
            enough = mask.any(axis=1).sum() >= 4 and mask.any(axis=0).sum() >= 4
            if enough and zone.name not in _ONE:
                found[zone.name] = mask
        return sorted(found.items(), key=lambda item: -float(s[item[1]].mean()))

    def _part(self, seen: _Seen, moved: list[tuple[Array, Array]], mask: Mask, name: str) -> Part:
        """Return the value of a part and its uncertainty, not judged yet."""
        rows = mask.any(axis=1)
        edge = np.abs(np.diff(self.along)).mean() / 2
        start, stop = float(self.s[rows].min() - edge), float(self.s[rows].max() + edge)
        reason, good = self._usable(seen, mask)
        if reason is not None or seen.backlight is None:
            answer = Answer.CANNOT_TELL
            return Part(name=name, start=start, stop=stop, answer=answer, reason=reason)
        value, parts = _mean_of(seen.ratio, good)
        x, y = self.x[good], self.y[good]
        backlight = math.hypot(
            float(seen.backlight.shift(x, y).mean()), seen.backlight.spread(x, y)
        )
        with np.errstate(invalid="ignore"):
            steps = [float(np.nanmean(up[good]) - np.nanmean(down[good])) / 2 for up, down in moved]
        marks = math.sqrt(math.fsum(d * d for d in steps))
        scatter = math.sqrt(math.fsum(u * u for u, _ in parts))
        total = math.sqrt(scatter**2 + marks**2 + backlight**2)
        return Part(
            name=name,
            start=start,
            stop=stop,
            answer=Answer.NO_DIFFERENCE_SEEN,
            value=value,
            standard_uncertainty=total,
            from_scatter=scatter,
            from_marks=marks,
            from_backlight=backlight,
            scatter=tuple(parts),
        )

    def _usable(self, seen: _Seen, mask: Mask) -> tuple[Reason | None, Mask]:
        """Return why a part cannot tell, and which of its cells can be used on both sides."""
        left, right = seen.left, seen.right
        over = (np.maximum(left.clipped, right.clipped) > _CLIPPED) & mask
        with np.errstate(invalid="ignore"):
            dark = ~(np.minimum(left.light, right.light) >= DARK) & mask & ~over
        rows = mask.any(axis=1)
        good = mask & ~over & ~dark
        if (over | dark).sum() > _BAD * mask.sum():
            return (Reason.CLIPPED if over.sum() >= dark.sum() else Reason.DARK), good
        for strip, side in zip(seen.strips, (left, right), strict=True):
            usable = np.isfinite(_background(strip, side)[rows]).mean(axis=1) >= 0.5
            if usable.mean() < 1 - _BAD:
                clipped = (strip.clipped[rows] > _CLIPPED).mean() > 0.25
                return (
                    Reason.BACKGROUND_CLIPPED if clipped else Reason.BACKGROUND_NOT_BRIGHT
                ), good
        if seen.backlight is not None:
            for side in np.split(seen.backlight.residual[rows], 2, axis=1):
                if math.sqrt(float(np.nanmean(side**2))) > _UNEVEN:
                    return Reason.BACKGROUND_UNEVEN, good
        return None, good

    def _outline(self, band: int, side: int) -> tuple[tuple[float, float], ...]:
        s = np.linspace(self.along[band * _ROWS], self.along[(band + 1) * _ROWS], 4)
        half = side * self.frame.outline.half_width(s)
        x = np.concatenate([_INNER * half, _OUTER * half[::-1]])
        column, row = self._map(self.corners)(x, np.concatenate([s, s[::-1]]))
        return tuple(zip(column.tolist(), row.tolist(), strict=True))


def _mean_of(ratio: Array, good: Mask) -> tuple[float, list[tuple[float, float]]]:
    """Return a mean and, of columns and rows, the standard uncertainty and degrees of freedom.

    Cells of one column share their fibres, cells of one row their place along: each counts as one
    cluster; two neighbours count as one where that gives more, for a fibre may lie in both. What a
    plane over the part explains is no scatter; it takes two degrees of freedom.
    """
    row, column = np.nonzero(good)
    d = ratio[good]
    design = np.stack([np.ones(len(d)), row - row.mean(), column - column.mean()], axis=1)
    rest = d - design @ np.linalg.lstsq(design, d, rcond=None)[0]
    parts: list[tuple[float, float]] = []
    for index in (column, row):
        variance, nu = _clustered(rest, index)
        paired, _ = _clustered(rest, np.unique(index, return_inverse=True)[1] // 2)
        parts.append((math.sqrt(max(variance, paired)), nu))
    return float(d.mean()), parts


def _clustered(rest: Array, index: NDArray[np.intp]) -> tuple[float, float]:
    """Return the variance of a mean from what is left in each cluster, and degrees of freedom."""
    sums = np.bincount(index, weights=rest)[np.unique(index)]
    nu = max(len(sums) - 2.0, 1.0)
    return len(sums) / nu * float(sums @ sums) / len(rest) ** 2, nu


def _judged(part: Part, count: int, risk: float, tolerance: float) -> Part:
    """Say whether a part's interval lies wholly outside the tolerance (ISO 14253-1).

    Each part of the uncertainty is widened by its own factor and these are combined: effective
    degrees of freedom (Welch-Satterthwaite) named differences on 6 % of like sides in trials, for a
    scatter that comes out too small by chance then counts as well known.
    """
    from scipy.special import ndtri, stdtrit

    if part.answer is Answer.CANNOT_TELL:
        return part
    tail = 1 - risk / (2 * count)
    rest = math.hypot(part.from_marks, part.from_backlight)
    guard = math.hypot(
        float(ndtri(tail)) * rest, *(float(stdtrit(nu, tail)) * u for u, nu in part.scatter)
    )
    low, high = part.value - guard, part.value + guard
    differs = low > tolerance or high < -tolerance
    answer = Answer.DIFFERS if differs else Answer.NO_DIFFERENCE_SEEN
    return replace(part, low=low, high=high, answer=answer)
