"""The task behind every advice: map, findings, blades and plan of one reed from plain inputs."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.cane import with_cane_left
from crowlight.bench.counsel import COUNSEL, Counsel, Now, without_shapes
from crowlight.bench.desk import LIKED
from crowlight.bench.mechanics import wet_readings
from crowlight.bench.own_correcting import correcting_of
from crowlight.bench.ports import Report
from crowlight.bench.shape import (
    Kept,
    Shaped,
    merged,
    model_known,
    model_of,
    shaped,
    solved_lines,
    widened,
)
from crowlight.bench.styles import ENOUGH_READINGS
from crowlight.blade import OUTPUTS
from crowlight.errors import InputError, OutsideModel
from crowlight.judge.findings import Geometry, Known, against, mean_of, rank
from crowlight.plan.cut import (
    Lines,
    Plan,
    ReedNow,
    StrokeSize,
    Words,
    draw_chance,
    next_act,
    next_cut,
    reed_now,
    target,
)
from crowlight.reed import Blade, CaneState, Reading

__all__ = ["Answered", "AnsweredCodec", "Wanted", "advise", "lines_in", "lines_out"]

#: Seeds of the reeds drawn and of what is left to chance: the same inputs give the same advice.
_DRAWN, _CHANCE = 11, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What this player wants, from the best source there is.

    Parameters
    ----------
    loved : Kept or None
        A reed they love, measured.
    name : str
        Its name.
    words : tuple of (float or None)
        Easy to resistant, covered to bright, closed to open, each from -1 to 1.
    good : tuple of Kept
        The maker's good reeds.
    """

    loved: Kept | None = None
    name: str = ""
    words: tuple[float | None, float | None, float | None] = (None, None, None)
    good: tuple[Kept, ...] = ()

    @property
    def like(self) -> tuple[Kept, ...]:
        """The reeds it is to be like: the loved one, else the good ones unless words say more."""
        if self.loved is not None:
            return (self.loved,)
        return () if any(w is not None for w in self.words) else self.good


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What the task gives: what is said, and the lines of blades that were solved anew."""

    counsel: Counsel
    lines: bytes | None = None


class AnsweredCodec:
    """Keeps what is said; the lines are kept under a key of their own."""

    def to_bytes(self, value: Answered) -> bytes:
        """Return it as JSON."""
        return COUNSEL.to_bytes(value.counsel)

    def from_bytes(self, data: bytes) -> Answered:
        """Read what `to_bytes` wrote."""
        return Answered(counsel=COUNSEL.from_bytes(data))


def advise(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Answered:
    """Rank what may be wrong with a reed and plan what to do next.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics` (``readings`` may be empty, ``style`` none);
        ``most``, the readings after strokes one standard deviation larger, or nothing; ``known``,
        what is known besides the shape; ``extras``, opening, cane and tie; ``wanted`` (`Wanted`);
        ``strokes`` (`StrokeSize`); ``earlier``, cuts since the reed came (`Earlier`); ``knife``,
        ``rough``, ``done``; ``grade``, the latest, 1 to 5, or None; ``notes``; ``lines``, as
        `lines_out` wrote them, or None.
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    Answered
        Never an error for want of readings: then what is known still ranks, and measuring comes
        before any cut.
    """
    known: Known = inputs["known"]
    extras: Geometry = inputs["extras"]
    wanted: Wanted = inputs["wanted"]
    strokes: StrokeSize = inputs["strokes"]
    notes, refused = list(inputs["notes"]), ""
    own, why = _own(inputs)
    if own is None:
        notes += [why] if not why or " " not in why else ["refused"]
        refused = why if " " in why else ""
        known = replace(known, geometry=merged(known.geometry, extras))
        plan, said = _left(next_act(rank(known), done=inputs["done"]), inputs)
        notes += said
        counsel = Counsel(
            name=inputs["name"], known=known, plan=plan, strokes=strokes, liked=wanted.name,
            style=inputs.get("style") or "", style_text=inputs.get("style_text") or "",
            length=inputs.get("length"), notes=tuple(notes), refused=refused,
        )  # fmt: skip
        return Answered(counsel=counsel)
    report(0.1)
    lines, blades, new = _lines(inputs, own, lambda f: report(0.1 + 0.7 * f))
    notes += ["outside"] if blades == "outside" else []
    report(0.8)
    more = shaped(inputs, _wet(inputs["most"])) if inputs["most"] else None
    geometry = _geometry(own, wanted)
    if more is not None:
        geometry = widened(geometry, _geometry(more, wanted))
    known = replace(known, geometry=merged(geometry, extras))
    reed, known, plan = _planned(inputs, own, lines, known)
    report(0.95)
    if more is not None:
        larger = replace(known, geometry=merged(_geometry(more, wanted), extras))
        if _other(plan, _planned(inputs, more, lines, larger)[2]):
            # with larger strokes behind it something else would be advised: a reading tells
            _, known, plan = _planned(inputs, own, lines, known, gauge=True)
            notes.append("gauge-could-change")
    plan, said = _left(with_cane_left(plan, reed, strokes), inputs)
    notes += said
    report(1.0)
    counsel = Counsel(
        name=inputs["name"],
        known=known,
        plan=without_shapes(plan),
        strokes=strokes,
        blades=blades,
        style=inputs["style"],
        style_text=inputs.get("style_text") or "",
        length=inputs.get("length"),
        moved=_moved(own),
        liked=wanted.name,
        now=_now(reed),
        notes=tuple(notes),
    )
    return Answered(counsel=counsel, lines=lines_out(new) if new is not None else None)


def _own(inputs: Mapping[str, Any]) -> tuple[Shaped | None, str]:
    """Return the reed's shape, or why there is none: a code, or the words it was refused in."""
    if not inputs.get("style"):
        return None, "no-style"
    wet = _wet(inputs["readings"])
    if not wet:
        return None, "no-readings"
    if min(sum(r.place.blade is b for r in wet) for b in Blade) < ENOUGH_READINGS:
        return None, "few-readings"
    try:
        return shaped(inputs, wet_readings(inputs)), ""
    except InputError as error:
        return None, str(error)


def _wet(readings: Sequence[Reading]) -> list[Reading]:
    return [r for r in readings if r.state is CaneState.WET]


def _lines(
    inputs: Mapping[str, Any], own: Shaped, report: Report
) -> tuple[Lines | None, Any, Lines | None]:
    """Return the lines of the blades, how they were found, and new ones to be kept."""
    kept = lines_in(inputs["lines"]) if inputs.get("lines") else None
    if kept is not None and kept.near(own.found):
        same = bool(np.allclose(kept.mean, own.found.mean, atol=1e-7))
        return kept, "solved" if same else "near", None
    try:
        new = solved_lines(inputs, own.found, report)
    except OutsideModel:
        return None, "outside", None
    return new, "solved", new


def _geometry(own: Shaped, wanted: Wanted) -> Geometry:
    """Return the shape against what is wanted: other reeds if there are any, else the style."""
    if not wanted.like:
        return own.geometry()
    like = mean_of([k.geometry for k in wanted.like])
    return against(own.geometry(doubt=0.0), like)


def _planned(
    inputs: Mapping[str, Any],
    own: Shaped,
    lines: Lines | None,
    known: Known,
    *,
    gauge: bool = False,
) -> tuple[ReedNow, Known, Plan]:
    u = inputs.get("length_uncertainty") or 0.25e-3
    reed = reed_now(own.found, lines, rng=np.random.default_rng(_DRAWN), length_uncertainty=u)
    wanted: Wanted = inputs["wanted"]
    like = model_of(wanted.like, reed) if wanted.like else None
    known = replace(known, model=model_known(reed, like.outputs if like else {}))
    loved = like if wanted.loved is not None else None
    aim = target(
        reed,
        loved=loved,
        words=Words(*wanted.words),
        good=None if loved is not None else like,
    )
    chance = draw_chance(reed, np.random.default_rng(_CHANCE))
    plan = next_cut(
        reed,
        aim,
        rank(known),
        known,
        chance,
        strokes=inputs["strokes"],
        knife=inputs["knife"],
        rough=inputs["rough"],
        done=inputs["done"],
        gauge=gauge,
        correcting=correcting_of(
            inputs.get("own_cuts"), maker=inputs.get("maker", ""), batch=inputs.get("batch", "")
        ),
        earlier=inputs["earlier"],
    )
    return reed, known, plan


def _left(plan: Plan, inputs: Mapping[str, Any]) -> tuple[Plan, tuple[str, ...]]:
    """Leave a reed nothing may load, and a liked one nobody finds fault with; with the reason."""
    loads = any("loads" in stop.kinds for stop in plan.stops)
    asked = plan.named or plan.source in ("words", "loved reed")
    liked = (inputs.get("grade") or 0) >= LIKED and not asked
    if not loads and not liked:
        return plan, ()
    leave = next(i for i, o in enumerate(plan.options) if o.act.kind == "leave")
    return replace(plan, advised=leave), () if loads else ("liked",)


def _other(one: Plan, two: Plan) -> bool:
    """Whether two plans advise different things to different places."""
    a, b = one.options[one.advised].act, two.options[two.advised].act
    return (a.code, a.zone, a.part, a.blades) != (b.code, b.zone, b.part, b.blades)


def _moved(own: Shaped) -> float:
    found = own.found
    index = found.style.mean.index("transition.position")
    nominal = found.style.profile["transition.position"].value
    return float(found.fit.values[:, index].mean()) - nominal


def _now(reed: ReedNow) -> dict[str, Now]:
    out: dict[str, Now] = {}
    for k, name in enumerate(reed.names):
        low, middle, high = (float(v) for v in np.quantile(reed.now[:, k], [0.05, 0.5, 0.95]))
        out[name] = Now(OUTPUTS[name][0], low, middle, high)
    return out


# --- lines as bytes -------------------------------------------------------------------------------

Real = NDArray[np.float64]
_ARRAYS = ("values", "by_cane", "by_clip", "by_unknown", "mean")


def lines_out(lines: Lines) -> bytes:
    """Return lines as bytes, to a part in ten million."""
    out = io.BytesIO()
    arrays: dict[str, Any] = {n: np.asarray(getattr(lines, n), np.float32) for n in _ARRAYS}
    np.savez(out, names=np.array(lines.names), length=np.array(lines.length), **arrays)
    return out.getvalue()


def lines_in(data: bytes) -> Lines:
    """Read what `lines_out` wrote."""
    with np.load(io.BytesIO(data), allow_pickle=False) as kept:
        arrays: dict[str, Real] = {n: kept[n].astype(np.float64) for n in _ARRAYS}
        return Lines(
            names=tuple(str(n) for n in kept["names"]), length=float(kept["length"]), **arrays
        )
