"""What is known of a reed's shape besides thickness: opening, lengths, cane, width, tie."""

from __future__ import annotations

import math

from crowlight.bench.kinds import Opening
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import CaneTube, Tie
from crowlight.judge.findings import Geometry, Measured
from crowlight.reed.styles import Style

__all__ = ["extras_of"]

#: Usual opening of a finished reed, wet and at rest, and how far tastes differ [m]; what a cut may
#: have done to one measured before it (common practice, no source, and weak).
_OPENING, _TASTES, _CUT_SINCE = 0.65e-3, 0.08e-3, 0.05e-3
#: Usual diameter of the tube and how far makers differ [m] (common practice: 9.5 to 10.5 mm).
_DIAMETER, _MAKERS = 10.0e-3, 0.15e-3
#: Slip that is meant as a seal [m] (common practice, no source).
_MEANT = 0.3e-3


def extras_of(state: ReedState, style: Style | None, *, wanted: float | None = None) -> Geometry:
    """Return what was measured besides thickness.

    Parameters
    ----------
    state : ReedState
        The reed.
    style : Style or None
        Its style; tells the usual width.
    wanted : float, optional
        Opening of the reed it is to be like [m]; the usual one if not given.
    """
    return Geometry(
        length=_length(state, style),
        clipping_room=_room(state, style),
        opening=_opening(state, wanted),
        opening_lopsided=_lopsided(state.opening)
        if state.opening and not state.opening_old
        else None,
        diameter=_diameter(state),
        tip_width=_width(state, style),
        tie_beyond=_tie(state),
        overlap=_overlap(state),
    )


def _length(state: ReedState, style: Style | None) -> Measured | None:
    if state.length is None or style is None:
        return None
    usual = style.lengths["overall"].value
    return Measured(state.length - usual, state.length_uncertainty or 0.25e-3)


def _room(state: ReedState, style: Style | None) -> Measured | None:
    """Return the length that may still be clipped before the stop."""
    if state.length is None or style is None:
        return None
    staple = style.lengths["staple"]
    top = state.lengths.thread_top if state.lengths else None
    least = (staple.value if top is None else top) + style.lengths["shortest_blade"].value
    u = math.hypot(state.length_uncertainty or 0.25e-3, staple.spread if top is None else 0.125e-3)
    return Measured(state.length - least, u)


def _opening(state: ReedState, wanted: float | None) -> Measured | None:
    if state.opening is None:
        return None
    doubt = 0.0 if wanted is not None else _TASTES
    old = _CUT_SINCE if state.opening_old else 0.0
    usual = _OPENING if wanted is None else wanted
    return Measured(state.opening.height - usual, math.hypot(state.opening.uncertainty, doubt, old))


def _lopsided(opening: Opening) -> Measured | None:
    """Return mean height left of the centre minus right of it, facing the marked blade."""
    left = [h for x, h in opening.profile if x < 0]
    right = [h for x, h in opening.profile if x > 0]
    if not left or not right:
        return None
    value = math.fsum(left) / len(left) - math.fsum(right) / len(right)
    return Measured(value, opening.uncertainty)


def _diameter(state: ReedState) -> Measured | None:
    tube = next(
        (e.payload for e in reversed(state.entries) if isinstance(e.payload, CaneTube)), None
    )
    value = state.described.cane.diameter
    if tube is not None:
        ends = [d for d in (tube.diameter_least, tube.diameter_most) if d is not None]
        value = math.fsum(ends) / len(ends) if ends else value
    return None if value is None else Measured(value - _DIAMETER, _MAKERS)


def _width(state: ReedState, style: Style | None) -> Measured | None:
    width = state.described.shape.tip_width
    if width is None or style is None:
        return None
    return Measured(width - 2.0 * float(style.outline.half_width(style.length)), 0.1e-3)


def _tie(state: ReedState) -> Measured | None:
    tie = next((e.payload for e in reversed(state.entries) if isinstance(e.payload, Tie)), None)
    if tie is not None and tie.thread_end is not None:
        return Measured(tie.thread_end, 0.2e-3)
    return None


def _overlap(state: ReedState) -> Measured | None:
    slip = state.described.overlap
    return None if slip is None else Measured(abs(slip) - _MEANT, 0.1e-3)
