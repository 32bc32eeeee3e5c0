"""What a batch needs to know of one reed besides its readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from math import fsum

from crowlight.bench.batch_kinds import SplitTest
from crowlight.bench.kinds import Clip, Rest
from crowlight.bench.state import ReedState
from crowlight.bench.workshop_kinds import CaneTube, Gouge, ShapedWith, Tie

__all__ = ["ReedFacts", "facts_of"]

_DAY = 86_400.0  # seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedFacts:
    """Facts of one reed.

    Parameters
    ----------
    begun : datetime or None
        The first thing that happened to it.
    grade : int or None
        1 to 5.
    opening, opening_uncertainty : float or None
        [m]; None if it was cut since.
    clips : int
        How often it was clipped.
    rest_days : float or None
        How long it was laid aside, all rests together; None if none was noted with its length.
    steps : mapping of str to float
        From cane to blank, by code of `crowlight.batch.tracking.tolerances` [m].
    cane, shape : str
        Where the cane came from and what it was shaped with.
    splits : mapping of str to bool
        Split tests it was made for, and whether with the change.
    """

    begun: datetime | None = None
    grade: int | None = None
    opening: float | None = None
    opening_uncertainty: float | None = None
    clips: int = 0
    rest_days: float | None = None
    steps: Mapping[str, float] = field(default_factory=dict[str, float])
    cane: str = ""
    shape: str = ""
    splits: Mapping[str, bool] = field(default_factory=dict[str, bool])


def facts_of(state: ReedState) -> ReedFacts:
    """Gather the facts of a reed from what counts of its entries."""
    payloads = [e.payload for e in state.entries]
    rests = [p.duration for p in payloads if isinstance(p, Rest) and p.duration is not None]
    opening = None if state.opening_old else state.opening
    tube = next((p for p in reversed(payloads) if isinstance(p, CaneTube)), CaneTube())
    shaped = next((p for p in reversed(payloads) if isinstance(p, ShapedWith)), ShapedWith())
    return ReedFacts(
        begun=state.entries[0].happened_at if state.entries else None,
        grade=state.grade,
        opening=opening.height if opening else None,
        opening_uncertainty=opening.uncertainty if opening else None,
        clips=sum(isinstance(p, Clip) for p in payloads),
        rest_days=fsum(rests) / _DAY if rests else None,
        steps=_steps(state, tube),
        cane=tube.lot or state.described.cane.source,
        shape=shaped.tool,
        splits={p.test: p.made == "changed" for p in payloads if isinstance(p, SplitTest)},
    )


def _steps(state: ReedState, tube: CaneTube) -> dict[str, float]:
    """Return what is known of the way from cane to blank; own measurements before descriptions."""
    payloads = [e.payload for e in state.entries]
    gouge = next((p for p in reversed(payloads) if isinstance(p, Gouge)), Gouge())
    tie = next((p for p in reversed(payloads) if isinstance(p, Tie)), Tie())
    said = state.described
    least, most = tube.diameter_least, tube.diameter_most
    found = {
        "diameter": said.cane.diameter if least is None or most is None else (least + most) / 2.0,
        "out-of-round": _less(most, least),
        "rocking": tube.rocking,
        "gouge-centre": said.cane.gouge_centre if gouge.centre is None else gouge.centre,
        "gouge-side": said.cane.gouge_side
        if gouge.left is None or gouge.right is None
        else (gouge.left + gouge.right) / 2.0,
        "gouge-left-right": _less(gouge.left, gouge.right),
        "gouge-ends": _less(gouge.near_end, gouge.far_end),
        "tip-width": said.shape.tip_width,
        "waist-width": said.shape.waist_width,
        "staple-length": said.staple.length,
        "tie-length": said.tie_length,
        "thread-end": tie.thread_end,
        "overlap": said.overlap,
    }
    return {code: value for code, value in found.items() if value is not None}


def _less(first: float | None, second: float | None) -> float | None:
    return None if first is None or second is None else first - second
