"""What came of a cut: predicted against found."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal
from uuid import UUID

from crowlight.bench.advice_kinds import Advised, AfterCheck, Offered
from crowlight.bench.best import BestMoment, best_moment
from crowlight.bench.carrying import CutsLaid
from crowlight.bench.kinds import Clip, Cut, Lengths, Opening
from crowlight.bench.mapping import placed_style
from crowlight.bench.payload import Followed
from crowlight.bench.ports import Entry
from crowlight.bench.state import ReedState, state_of
from crowlight.bench.stroking import pooled, sittings_of_blade
from crowlight.errors import InputError

__all__ = ["BestMoment", "Changed", "Found", "best_moment", "changed_by"]

#: 5 and 95 % points lie so many standard deviations from the middle of a normal distribution.
_ENDS = 1.645


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One thing predicted and found.

    Parameters
    ----------
    name, unit : str
        ``cane`` (taken off where it was most), ``clip``, or an output such as ``rest_height``.
    low, middle, high : float or None
        5, 50 and 95 % points of the prediction; None where nothing was predicted.
    value, uncertainty : float
        As found, with its standard uncertainty.
    within : bool or None
        Whether what was found fits the prediction: nearer to it than nineteen times in twenty by
        chance; None without a prediction.
    raw : tuple of float or None
        The prediction as the model alone made it, where own cuts put it right.
    """

    name: str
    unit: str
    low: float | None
    middle: float | None
    high: float | None
    value: float
    uncertainty: float
    within: bool | None
    raw: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """What came of one thing done.

    Parameters
    ----------
    done : Entry
        The cut, clip, rest or treatment.
    offered : Offered or None
        What was advised, if it followed an advice.
    followed : bool or None
        Whether what was done is one of the options; None without an advice.
    result : {"better", "same", "worse"} or None
        The check afterwards.
    better : float or None
        The probability of coming closer to the target that was given beforehand.
    found : tuple of Found
        What was measured before and after.
    """

    done: Entry
    offered: Offered | None
    followed: bool | None
    result: Literal["better", "same", "worse"] | None
    better: float | None
    found: tuple[Found, ...]


def changed_by(
    entries: Sequence[Entry], done: UUID | None = None, *, style_text: str = ""
) -> Changed | None:
    """Compare what was predicted of a deed with what was found since.

    Parameters
    ----------
    entries : sequence of Entry
        Of one reed.
    done : UUID, optional
        The entry of the deed; the latest one if not given.
    style_text : str
        Text of the reed's style, if it is a maker's own.

    Returns
    -------
    Changed or None
        None if there is no such deed.
    """
    state = state_of(entries)
    deeds = [e for e in state.entries if isinstance(e.payload, Followed)]
    deed = next((e for e in reversed(deeds) if done is None or e.uuid == done), None)
    if deed is None or not isinstance(deed.payload, Followed):
        return None
    offered, followed = _offered(state, deed.payload)
    checks = [e.payload for e in state.entries if isinstance(e.payload, AfterCheck)]
    check = next((c for c in reversed(checks) if c.follows == deed.uuid), None)
    return Changed(
        done=deed,
        offered=offered,
        followed=followed,
        result=check.result if check else None,
        better=offered.better if offered and followed else None,
        found=tuple(_found(state, deed, offered if followed else None, style_text)),
    )


def _offered(state: ReedState, deed: Followed) -> tuple[Offered | None, bool | None]:
    if deed.advised is None:
        return None, None
    advice = next((e.payload for e in state.entries if e.uuid == deed.advised), None)
    if not isinstance(advice, Advised):
        return None, None
    if deed.option is None or deed.option >= len(advice.options):
        return advice.options[advice.advised], False
    return advice.options[deed.option], True


def _found(
    state: ReedState, deed: Entry, offered: Offered | None, style_text: str
) -> Iterator[Found]:
    at = state.entries.index(deed)
    nexts = [i for i, e in enumerate(state.entries) if i > at and isinstance(e.payload, Followed)]
    until = nexts[0] if nexts else len(state.entries)
    before, after = state.entries[:at], state.entries[at + 1 : until]
    yield from _opening(before, after, offered)
    if isinstance(deed.payload, Cut):
        yield from _cane(state, deed, deed.payload, offered, style_text)
    if isinstance(deed.payload, Clip):
        yield from _clip(before, after, offered)


def _compared(
    name: str,
    unit: str,
    told: tuple[float, float, float] | None,
    value: float,
    u: float,
    raw: tuple[float, float, float] | None = None,
) -> Found:
    if told is None:
        return Found(
            name=name, unit=unit, low=None, middle=None, high=None, value=value,
            uncertainty=u, within=None,
        )  # fmt: skip
    low, middle, high = told
    spread = math.hypot((high - low) / (2 * _ENDS), u)
    within = abs(value - middle) <= 1.96 * spread if spread > 0 else value == middle
    return Found(
        name=name, unit=unit, low=low, middle=middle, high=high, value=value,
        uncertainty=u, within=within, raw=raw,
    )  # fmt: skip


def _opening(
    before: Sequence[Entry], after: Sequence[Entry], offered: Offered | None
) -> Iterator[Found]:
    old = next((e.payload for e in reversed(before) if isinstance(e.payload, Opening)), None)
    new = next((e.payload for e in reversed(after) if isinstance(e.payload, Opening)), None)
    if isinstance(old, Opening) and isinstance(new, Opening):
        told = (
            next((e for e in offered.expected if e.name == "rest_height"), None)
            if offered
            else None
        )
        yield _compared(
            "rest_height",
            "m",
            (told.low, told.middle, told.high) if told else None,
            new.height - old.height,
            math.hypot(old.uncertainty, new.uncertainty),
            told.raw if told else None,
        )


def _clip(
    before: Sequence[Entry], after: Sequence[Entry], offered: Offered | None
) -> Iterator[Found]:
    old = next((e.payload for e in reversed(before) if isinstance(e.payload, Lengths)), None)
    new = next((e.payload for e in reversed(after) if isinstance(e.payload, Lengths)), None)
    if isinstance(old, Lengths) and isinstance(new, Lengths):
        told = (offered.clip, offered.clip, offered.clip) if offered and offered.clip else None
        u = math.hypot(old.overall_uncertainty, new.overall_uncertainty)
        yield _compared("clip", "m", told, old.overall - new.overall, u)


def _cane(
    state: ReedState, deed: Entry, cut: Cut, offered: Offered | None, style_text: str
) -> Iterator[Found]:
    """Yield the cane that the gauge found gone, pooled with what else was cut in between."""
    code = state.described.style
    if not code or not cut.strokes:
        return
    try:
        laid = CutsLaid(placed_style(code, state.length, style_text))
    except InputError:
        return
    order = {e.uuid: i for i, e in enumerate(state.entries)}
    at = order[deed.uuid]
    for blade in cut.blades:
        sittings = sittings_of_blade(state, blade)
        before = [s for s in sittings if order[s[0].entry] < at]
        after = [s for s in sittings if order[s[0].entry] > at]
        if not before or not after:
            continue
        told = pooled(state, blade, before[-1], after[0], laid, ())
        if told is None:
            continue
        share = cut.strokes / told.strokes
        yield _compared(
            "cane", "m", offered.cane if offered else None, told.cane * share,
            told.uncertainty * share,
        )  # fmt: skip
