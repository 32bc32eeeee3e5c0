"""Our advice as a policy: findings ranked and the next cut planned, as at a maker's bench.

Everything here is what a bench does around the advice: it maps the readings, solves the blades,
keeps count, and does what is advised. The advice itself is `judge.findings` and `plan.cut`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from crowlight.blade import (
    WET,
    Blades,
    BladeShape,
    ThicknessGrid,
    Unknown,
    evaluate,
    usual_unknowns,
)
from crowlight.errors import OutsideModel
from crowlight.invented.trials.bench import STOP, Deed, Done, Gauged, Seen, Told, content
from crowlight.judge.findings import (
    Crow,
    Findings,
    Geometry,
    History,
    Known,
    Measured,
    Model,
    Playing,
    against,
    geometry_of_map,
    rank,
)
from crowlight.judge.geometry import Measured as Length
from crowlight.judge.geometry import judge_geometry
from crowlight.plan.cut import (
    Earlier,
    Expected,
    Lines,
    LoggedCut,
    Option,
    Part,
    Plan,
    ReedNow,
    SeenFall,
    StrokeSize,
    bare_reed,
    draw_chance,
    learn_strokes,
    lines_of,
    logged_cut,
    next_cut,
    patch,
    read_share,
    reed_now,
    slope_at,
    target,
    unknown_slopes,
)
from crowlight.plan.cut import Model as Wanted
from crowlight.plan.cut.lines import moved
from crowlight.reed import Blade, Reading, instrument
from crowlight.reed.styles import Style
from crowlight.reed.thickness import ThicknessMap, map_thickness

__all__ = ["Planner"]

Real = NDArray[np.float64]

#: Standard uncertainties the maker knows of photograph and caliper [m].
_OPENING, _LENGTH = 0.03e-3, 0.08e-3
#: Remedies without a knife that this simulation gives an effect.
_SQUEEZES = frozenset({"squeeze-flat", "squeeze-sides", "mandrel"})
#: Gaugings before the first cut of a sitting: every point twice, mounted anew (common practice).
_TWICE = 2
#: Gaugings of one sitting after which more of them are not worth the time.
_LOOKS = 4
#: A place where a gauge sees less than this share of a cut is as it was.
_UNTOUCHED = 0.02
#: Sittings after which a reed that three tests did not help is left for good.
_SITTINGS = 2


@dataclass(frozen=True)
class _Loved:
    """The loved reed as the bench knows it."""

    found: ThicknessMap
    geometry: Geometry
    values: Mapping[str, float]
    lines: Lines | None
    by_opening: Real | None
    opening: float
    length: float


_known: dict[int, tuple[Gauged, _Loved]] = {}


class Planner:
    """Does what the plan advises, gauges when it asks for it, and stops when it says leave it."""

    def __init__(self) -> None:
        self._reed: ReedNow | None = None
        self._lines: Lines | None = None
        self._by_opening: Real | None = None
        self._opening = 0.0
        self._geometry = Geometry()
        self._model = Model()
        self._of: Gauged | None = None
        self._logged: list[LoggedCut] = []
        self._done: set[str] = set()
        self._last: tuple[Option, StrokeSize] | None = None
        self._held: Gauged | None = None
        self._readings: list[Reading] = []
        self._openings: list[float] = []
        self._lengths: list[float] = []
        self._earlier: list[Earlier] = []

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Return what the plan advises."""
        first = seen.gauged is None or not any(
            d.deed.kind == "gauge" and d.sitting == seen.sitting for d in seen.log
        )
        if seen.gauged is not None and self._held is not seen.gauged:
            self._hold(seen, seen.gauged)
        if first or len(self._openings) < _TWICE:
            return Deed("gauge")  # every point twice, mounted anew
        cuts = [d for d in seen.since("gauge") if d.deed.cuts]
        anew = any(d.deed.kind in ("clip", "squeeze", "rest") for d in seen.since("gauge"))
        if len(cuts) >= 3 or anew or any(d.result == "worse" for d in cuts):
            return Deed("gauge")
        changing = ("scrape", "clip", "squeeze", "rest")
        if seen.playing is None or any(d.deed.kind in changing for d in seen.since("play")):
            return Deed("play")
        if seen.gauged is not None and self._of is not seen.gauged:
            self._gauged(seen, seen.gauged, rng)
        elif self._last is not None and seen.log and seen.log[-1].deed.kind == "play":
            self._carry(rng)
        plan, findings = self._plan(seen, rng)
        return self._deed(seen, plan, findings)

    # --- the reed as it is known ------------------------------------------------------------------

    def _hold(self, seen: Seen, gauged: Gauged) -> None:
        """Keep readings of this sitting; what was read yesterday is not today's."""
        if self._last is not None:
            self._carry(np.random.default_rng(0))
        kinds = {d.deed.kind for d in _since_last_but_one_gauging(seen.log)}
        if kinds & {"clip", "squeeze", "rest"}:
            self._openings, self._lengths = [], []
        if "rest" in kinds:
            self._readings = []
        self._readings = [r for r in self._readings if r.place.along < gauged.length - 0.2e-3]
        seat = 1 + max((r.seating for r in self._readings), default=-1)
        new = [replace(r, seating=r.seating + seat) for r in gauged.readings]
        self._readings = [*self._readings, *new]
        self._openings.append(gauged.opening)
        self._lengths.append(gauged.length)
        self._held = gauged

    def _gauged(self, seen: Seen, last: Gauged, rng: np.random.Generator) -> None:
        """Map the readings, and solve the blades unless a reed near this was solved."""
        loved = _loved_of(seen)
        gauged = Gauged(
            tuple(self._readings), float(np.mean(self._lengths)), float(np.mean(self._openings))
        )
        found = map_thickness(gauged.readings, seen.style.placed(gauged.length))
        if self._lines is None and loved.lines is not None:
            # a sister of the loved reed is often near enough to follow its lines
            self._lines, self._by_opening = loved.lines, loved.by_opening
            self._opening = loved.opening
        if self._lines is None or not self._lines.near(found):
            self._lines, self._by_opening = _solved(found, gauged.opening)
            self._opening = gauged.opening
        lines = self._lines
        if lines is not None and self._by_opening is not None:
            lines = _opened(lines, self._by_opening, gauged.opening / self._opening)
        self._learn(seen, last)
        self._reed = reed_now(found, lines, rng=rng, length_uncertainty=_LENGTH)
        self._geometry = _against(found, gauged, loved)
        self._model = _model(self._reed, loved)
        self._of, self._last = last, None

    def _carry(self, rng: np.random.Generator) -> None:
        """Take the last cut off the reed as it is known, with the doubt of its strokes."""
        if self._last is None or self._reed is None:
            return
        option, strokes = self._last
        reed, act, self._last = self._reed, option.act, None
        if act.shape is None:
            return
        cane = strokes.cane(act.strokes, rng.standard_normal(len(reed.draws)))
        slope = -np.tensordot(reed.by_cane, act.shape, axes=3)
        middle = act.strokes * strokes.median
        self._earlier.append(Earlier(act.zone, act.part, act.blades, middle, act.oblique))
        # what was read where it was cut no longer holds; the next gauging tells it anew
        cut = _laid(reed, act.shape)
        self._readings = [r for r in self._readings if _read(cut, reed, r) < _UNTOUCHED]
        self._reed = replace(
            reed,
            mean=np.maximum(reed.mean - middle * act.shape, 0.0),
            draws=np.maximum(reed.draws - cane[:, None, None, None] * act.shape, 0.0),
            values=moved(reed.names, reed.values, middle * slope),
            now=reed.now + reed.changed(cane[:, None] * slope, np.zeros(len(cane))),
        )

    def _learn(self, seen: Seen, now: Gauged) -> None:
        """Learn cane per stroke from readings before and after, if nothing else changed."""
        before, reed = self._of, self._reed
        if before is None or reed is None:
            return
        since = _since_last_but_one_gauging(seen.log)
        if any(d.deed.kind in ("rest", "clip", "squeeze") for d in since):
            return
        scraped = [d.deed for d in since if d.deed.kind == "scrape"]
        self._logged += _cane_off(reed, scraped, before, now, knife=seen.sitting)

    # --- what is advised --------------------------------------------------------------------------

    def _plan(self, seen: Seen, rng: np.random.Generator) -> tuple[Plan, Findings]:
        reed, loved = self._reed, _loved_of(seen)
        assert reed is not None  # noqa: S101 - gauged before
        cuts = [d for d in seen.log if d.deed.cuts]
        known = Known(
            geometry=self._geometry,
            model=self._model,
            crow=seen.crow or Crow(),
            playing=seen.playing or Playing(),
            history=History(
                clips=sum(d.deed.kind == "clip" for d in cuts),
                cuts_since_measured=sum(d.deed.cuts for d in seen.since("gauge")),
                tests_without_gain=_without_gain(seen),
                last_cut=cuts[-1].result if cuts else None,
                changed_together="no",
                wet_states_alike="yes",
            ),
        )
        findings = rank(known)
        strokes = learn_strokes(self._logged, knife=seen.sitting)
        wanted = target(reed, loved=_wanted(reed, loved))
        done = self._done | ({"rest"} if seen.sitting else set[str]())
        plan = next_cut(
            reed, wanted, findings, known, draw_chance(reed, rng), strokes=strokes, done=done,
            earlier=self._earlier,
        )  # fmt: skip
        self._last = (plan.options[plan.advised], strokes)
        return plan, findings

    def _deed(self, seen: Seen, plan: Plan, findings: Findings) -> Deed:
        option = plan.options[plan.advised]
        act = option.act
        named = tuple(
            (r.finding.code, r.where.blade.value if r.where.blade else "",
             r.where.side.value if r.where.side else "", r.support.value)
            for r in findings.ranked[:5]
        )  # fmt: skip
        told = tuple(
            Told(e.name, *_points(e)) for e in option.expected if e.name not in ("rest_height",)
        )
        match act.kind:
            case "scrape":
                return Deed(
                    "scrape", act.zone, act.part.value, act.blades, act.strokes, 0.0, told, named
                )
            case "clip":
                return Deed("clip", "", "whole", act.blades, 0, act.clip, told, named)
            case "rest":
                return Deed("rest", named=named)
            case "act":
                self._done.add(act.code)
                self._last = None
                if act.code in _SQUEEZES:
                    gauged = seen.gauged
                    assert gauged is not None  # noqa: S101 - gauged before
                    wider = seen.loved.opening - gauged.opening
                    return Deed("squeeze", amount=wider, named=named)
                if act.code == "dry":
                    return Deed("rest", named=named)
                return Deed("other", named=named)
            case _:
                if _worth_another_look(seen):
                    return Deed("gauge", named=named)
                tired = any(s.code == "three-tests" for s in plan.stops)
                if tired and seen.sitting < _SITTINGS:
                    return Deed("rest", named=named)  # "stop cutting today"
                return replace(STOP, named=named)


def _laid(reed: ReedNow, shape: Real) -> Callable[[Real], Real]:
    """Return a map of a cut, shape (2, n_along, n_across), by blade, along and fraction."""
    rows = reed.along[::-1]
    return RegularGridInterpolator((np.arange(2.0), rows, reed.fraction), shape[:, ::-1])


def _read(cut: Callable[[Real], Real], reed: ReedNow, reading: Reading) -> float:
    """Return the share of a cut a gauge sees where it was read."""
    b = float(list(Blade).index(reading.place.blade))
    gauge = instrument(reading.instrument)

    def there(points: Real) -> Real:
        return cut(np.column_stack([np.full(len(points), b), points]))

    return read_share(there, reed.style, reading.place, gauge.foot, gauge.placement)


def _worth_another_look(seen: Seen) -> bool:
    """Whether the gauge could still change that nothing is to be done.

    It was cut since it was gauged, or the player complains and every point was read but twice.
    """
    if any(d.deed.cuts for d in seen.since("gauge")):
        return True
    looks = sum(d.deed.kind == "gauge" and d.sitting == seen.sitting for d in seen.log)
    return looks < _LOOKS and not content(seen)


def _points(e: Expected) -> tuple[float, float, float, bool]:
    if np.isnan(e.share_middle):
        return e.low, e.middle, e.high, False
    return e.share_low, e.share_middle, e.share_high, True


def _since_last_but_one_gauging(log: Sequence[Done]) -> list[Done]:
    gauged = [i for i, d in enumerate(log) if d.deed.kind == "gauge"]
    return list(log[gauged[-2] + 1 : gauged[-1]]) if len(gauged) > 1 else []


def _cane_off(
    reed: ReedNow, deeds: Sequence[Deed], before: Gauged, now: Gauged, *, knife: int
) -> list[LoggedCut]:
    """Return what all strokes between two gaugings took off, by blade."""
    found: list[LoggedCut | None] = []
    fine = bare_reed(reed.style, *_finely(reed.style))  # a map's grid is too coarse for windows
    for b, blade in enumerate(Blade):
        cuts = [d for d in deeds if blade in d.blades]
        strokes = sum(d.strokes for d in cuts)
        if not strokes:
            continue
        there = np.zeros(fine.mean.shape)
        for d in cuts:
            there[b] += d.strokes / strokes * patch(fine, d.zone, Part(d.part))
        cut = _laid(fine, there)
        seen = [
            SeenFall(
                _read(cut, reed, r), r.thickness - after.thickness, 2.0 * _variance(r, reed),
                math.sqrt(2.0) * instrument(r.instrument).seating,
            )
            for r, after in zip(before.readings, now.readings, strict=True)
            if r.place.blade is blade
        ]  # fmt: skip
        found.append(logged_cut(strokes, seen, knife=knife))
    return [c for c in found if c is not None]


def _finely(style: Style) -> tuple[Real, Real]:
    """Return rows and columns a cut is laid out on, as the bench does."""
    return np.linspace(style.length, style.thread_top, 40), np.linspace(-1.0, 1.0, 21)


def _variance(r: Reading, reed: ReedNow) -> float:
    """Variance of a reading but for its seating [m²]."""
    gauge = instrument(r.instrument)
    placed = gauge.placement * slope_at(reed.style, r.place)
    return gauge.repeatability**2 + gauge.resolution**2 / 12.0 + placed**2


def _without_gain(seen: Seen) -> int:
    count = 0
    for done in reversed([d for d in seen.log if d.deed.cuts and d.sitting == seen.sitting]):
        if done.result == "better":
            break
        count += 1
    return count


# --- solving and comparing ------------------------------------------------------------------------


def _solved(found: ThicknessMap, opening: float) -> tuple[Lines | None, Real | None]:
    """Return the lines of a mapped reed, and its outputs' slopes by the log of the opening."""
    blades = _blades(found, opening)
    try:
        answer = evaluate(blades.apart(), modes=2)
    except OutsideModel:
        return None, None
    unknowns: Sequence[Unknown] = usual_unknowns(blades)
    slopes = unknown_slopes(answer, unknowns)
    lines = lines_of(found, answer, slopes)
    order = [list(answer.values).index(n) for n in lines.names]
    k = next(i for i, u in enumerate(unknowns) if u.name == "rest opening")
    return lines, slopes[order, k] / 0.07


def _blades(found: ThicknessMap, opening: float) -> Blades:
    """Return the blades of a map, as `bench.mechanics.reed_blades` without their spreads."""
    style = found.style
    along = found.along[::-1] - style.thread_top
    thick = np.maximum(found.mean, 6e-6)
    return Blades(
        ThicknessGrid(along, found.fraction, thick[0][::-1]),
        ThicknessGrid(along, found.fraction, thick[1][::-1, ::-1]),
        shape=BladeShape(
            length=style.length - style.thread_top,
            tip_width=2.0 * float(style.outline.half_width(style.length)),
            height=opening / 2.0,
        ),
        cane=WET,
        interference=0.01e-3,
    )


def _opened(lines: Lines, by_opening: Real, ratio: float) -> Lines:
    """Return the lines of the same reed with another opening."""
    values = moved(lines.names, lines.values, by_opening * float(np.log(ratio)))
    return replace(lines, values=values)


def _loved_of(seen: Seen) -> _Loved:
    """Return the loved reed as the bench knows it, worked out once for each player."""
    kept = _known.get(seen.player)
    if kept is not None and kept[0] is seen.loved:
        return kept[1]
    found = map_thickness(seen.loved.readings, seen.style.placed(seen.loved.length))
    lines, by_opening = _solved(found, seen.loved.opening)
    values = {} if lines is None else dict(zip(lines.names, lines.values.tolist(), strict=True))
    loved = _Loved(
        found,
        _shape(found, seen.loved),
        values,
        lines,
        by_opening,
        seen.loved.opening,
        seen.loved.length,
    )
    _known[seen.player] = (seen.loved, loved)
    return loved


def _shape(found: ThicknessMap, gauged: Gauged) -> Geometry:
    judged = judge_geometry(found, lengths={"overall": Length(gauged.length, _LENGTH)})
    return geometry_of_map(found, judged, doubt=0.0)


def _against(found: ThicknessMap, gauged: Gauged, loved: _Loved) -> Geometry:
    opening = Measured(gauged.opening - loved.opening, float(np.hypot(_OPENING, _OPENING)))
    return replace(against(_shape(found, gauged), loved.geometry), opening=opening)


def _model(reed: ReedNow, loved: _Loved) -> Model:
    """Return what the blade model makes of the map, against the loved reed."""

    def ratio(name: str) -> Measured | None:
        wanted = loved.values.get(name)
        if name not in reed.names or not wanted or wanted <= 0:
            return None
        logs = np.log(np.maximum(reed.now[:, reed.names.index(name)], 1e-12) / wanted)
        return Measured(float(np.median(logs)), float(logs.std()))

    return Model(closing_pressure=ratio("closing_pressure"), separation=ratio("separation"))


def _wanted(reed: ReedNow, loved: _Loved) -> Wanted:
    """Return the loved reed laid on the grid of the reed planned for, row by row from the rim."""
    of = loved.found
    thickness = np.stack(
        [
            np.stack(
                [
                    np.interp(-reed.along, -of.along, of.mean[b][:, c])
                    for c in range(len(of.fraction))
                ],
                axis=1,
            )
            for b in range(len(Blade))
        ]
    )
    return Wanted(loved.values, thickness, loved.length)
