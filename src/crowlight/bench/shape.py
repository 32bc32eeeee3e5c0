"""The shape of a reed as the findings and a plan take it, from readings alone.

Pure: what is read off the gauge goes in, what is known of the shape comes out. The trials use it as
the desk does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.assess import TOLERANCE
from crowlight.bench.learned import middle_of, unknowns_of
from crowlight.bench.mapping import Rows, thickness_map
from crowlight.bench.mechanics import reed_blades, wet_readings
from crowlight.bench.ports import Report
from crowlight.blade import evaluate
from crowlight.errors import OutsideModel
from crowlight.judge import paired_differences
from crowlight.judge.findings import BladeKnown, Geometry, Measured, SideKnown, geometry_of_map
from crowlight.judge.findings import Model as ModelKnown
from crowlight.judge.geometry import Geometry as Judged
from crowlight.judge.geometry import Measured as Length
from crowlight.judge.geometry import judge_geometry
from crowlight.judge.pooled import from_pairs
from crowlight.plan.cut import Lines, Model, ReedNow, lines_of, unknown_slopes
from crowlight.reed import Reading
from crowlight.reed.thickness import ThicknessMap

__all__ = [
    "Kept",
    "Shaped",
    "kept_shape",
    "merged",
    "model_known",
    "model_of",
    "shaped",
    "solved_lines",
    "widened",
]


@dataclass(frozen=True)
class Shaped:
    """A thickness map and the first judgement of it."""

    found: ThicknessMap
    judged: Judged

    def geometry(self, *, doubt: float = 1.0) -> Geometry:
        """Return what it tells the findings; see `crowlight.judge.findings.geometry_of_map`."""
        return geometry_of_map(self.found, self.judged, doubt=doubt)


def shaped(inputs: Mapping[str, Any], readings: Sequence[Reading] | None = None) -> Shaped:
    """Map and judge the wet readings of a reed.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`.
    readings : sequence of Reading, optional
        Instead of those of `inputs`.

    Raises
    ------
    InputError
        If there is no style, or no reading of wet cane.
    """
    wet = list(readings) if readings is not None else wet_readings(inputs)
    found = thickness_map(inputs, wet)
    lengths: dict[str, Length] = {}
    if inputs.get("length") is not None:
        u = inputs.get("length_uncertainty") or 0.25e-3
        lengths["overall"] = Length(inputs["length"], u)
    if inputs.get("thread_top") is not None:
        lengths["staple"] = Length(inputs["thread_top"])
    differences = paired_differences(wet, tolerance=TOLERANCE, gauges=inputs.get("gauges") or {})
    judged = judge_geometry(found, lengths=lengths)
    return Shaped(found, from_pairs(judged, differences, found.zones))


def solved_lines(
    inputs: Mapping[str, Any], found: ThicknessMap, report: Report = lambda _: None
) -> Lines:
    """Solve the blades of a map, and what is unknown of them.

    Raises
    ------
    OutsideModel
        If the model has no answer for this reed.
    """
    blades, _, _ = reed_blades(
        found, opening=inputs.get("opening"), tip_width=inputs.get("tip_width")
    )
    learned = inputs.get("learned")
    blades = middle_of(blades, learned)
    answer = evaluate(blades.apart(), report=lambda f: report(0.5 * f))
    slopes = unknown_slopes(answer, unknowns_of(blades, learned))
    report(1.0)
    return lines_of(found, answer, slopes)


# --- other reeds: loved, good, of the same batch --------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A reed's shape as it is kept, to compare others with.

    Parameters
    ----------
    geometry : Geometry
        Against its style, the style's own spread left out; and with it, for ranking it by itself.
    doubted : Geometry
        The same with the spread.
    style : str
        Code of the style.
    thickness : tuple of Rows
        The map of the marked and of the plain blade, tip first [m].
    length : float or None
        Overall length, if it was measured [m].
    opening : float or None
        Height of the opening, if it was measured [m].
    outputs : mapping of str to float
        Of the blade model; empty if it was not asked or has no answer.
    """

    geometry: Geometry
    doubted: Geometry
    style: str
    thickness: tuple[Rows, Rows]
    length: float | None = None
    opening: float | None = None
    outputs: Mapping[str, float] = field(default_factory=dict[str, float])


def kept_shape(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Kept:
    """Work out a reed's shape to compare others with.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`, with ``solve``: whether the blades are solved.
    report : callable
        Called with the fraction done; may raise `Cancelled`.
    """
    own = shaped(inputs)
    report(0.3)
    outputs: dict[str, float] = {}
    if inputs.get("solve"):
        blades, _, _ = reed_blades(
            own.found, opening=inputs.get("opening"), tip_width=inputs.get("tip_width")
        )
        blades = middle_of(blades, inputs.get("learned"))
        try:
            answer = evaluate(blades.apart(), maps=False, report=lambda f: report(0.3 + 0.7 * f))
            outputs = {n: float(v) for n, v in answer.values.items() if math.isfinite(v)}
        except OutsideModel:
            outputs = {}
    marked, plain = (_rows(blade) for blade in own.found.mean)
    return Kept(
        geometry=own.geometry(doubt=0.0),
        doubted=own.geometry(),
        style=inputs["style"],
        thickness=(marked, plain),
        length=inputs.get("length"),
        opening=inputs.get("opening"),
        outputs=outputs,
    )


def _rows(values: NDArray[np.float64]) -> Rows:
    return tuple(tuple(row) for row in np.round(values, 8).tolist())


def model_of(several: Sequence[Kept], reed: ReedNow) -> Model:
    """Return the mean of some reeds, to come close to; see `crowlight.plan.cut.Model`.

    Maps of one style and grid are laid on each other by distance from the tip and as a fraction
    across, as they are kept.
    """
    shape = reed.mean.shape
    maps = [np.asarray(k.thickness, float) for k in several]
    maps = [m for m in maps if m.shape == shape]
    outputs: dict[str, float] = {}
    spread: dict[str, float] = {}
    for name in {n for k in several for n in k.outputs}:
        values = [k.outputs[name] for k in several if name in k.outputs]
        outputs[name] = float(np.mean(values))
        if len(values) > 1:
            spread[name] = float(np.std(values, ddof=1))
    lengths = [k.length for k in several if k.length is not None]
    openings = [k.opening for k in several if k.opening is not None]
    if openings and "rest_height" not in outputs:
        outputs["rest_height"] = float(np.mean(openings))
    return Model(
        outputs=outputs,
        thickness=np.mean(maps, axis=0) if maps else None,
        length=float(np.mean(lengths)) if lengths else None,
        spread=spread or None,
    )


# --- putting together -----------------------------------------------------------------------------


def model_known(reed: ReedNow, wanted: Mapping[str, float]) -> ModelKnown:
    """Return what the blade model tells the findings."""

    def against(name: str) -> Measured | None:
        value = wanted.get(name)
        if value is None or value <= 0 or name not in reed.names:
            return None
        logs = np.log(reed.now[:, reed.names.index(name)] / value)
        return Measured(float(logs.mean()), float(logs.std()))

    uneven = None
    if "unevenness" in reed.names:
        # which blade closes more, as the logarithm of the ratio of their stiffness
        share = np.clip(reed.now[:, reed.names.index("unevenness")], -0.99, 0.99)
        drawn = -2.0 * np.arctanh(share)
        uneven = Measured(float(drawn.mean()), float(drawn.std()))
    return ModelKnown(
        closing_pressure=against("closing_pressure"),
        separation=against("separation"),
        unevenness=uneven,
    )


def merged(geometry: Geometry, extras: Geometry) -> Geometry:
    """Return a geometry with what only `extras` knows: opening, cane, tie, lengths."""
    more = {
        f.name: getattr(extras, f.name)
        for f in fields(extras)
        if getattr(geometry, f.name) is None and getattr(extras, f.name) is not None
    }
    return replace(geometry, **more)


def widened(geometry: Geometry, other: Geometry) -> Geometry:
    """Widen each quantity by how far it differs from the same in `other`.

    `other` is the same reed under one standard deviation of something both share, such as the size
    of the strokes made since it was measured.
    """
    marked, plain = (
        _wider_blade(a, b)
        for a, b in ((geometry.marked, other.marked), (geometry.plain, other.plain))
    )
    between = {n: _wider(v, other.blades.get(n)) for n, v in geometry.blades.items()}
    return replace(_wider_all(geometry, other), marked=marked, plain=plain, blades=between)


def _wider_blade(own: BladeKnown, other: BladeKnown) -> BladeKnown:
    return replace(
        _wider_all(own, other),
        left=_wider_all(own.left, other.left),
        right=_wider_all(own.right, other.right),
        sides={n: _wider(v, other.sides.get(n)) for n, v in own.sides.items()},
    )


def _wider_all(own: Any, other: Any) -> Any:
    kinds: tuple[type, ...] = (Geometry, BladeKnown, SideKnown)
    assert isinstance(own, kinds)  # noqa: S101 callers are above
    changed = {
        f.name: _wider(getattr(own, f.name), getattr(other, f.name))
        for f in fields(own)
        if isinstance(getattr(own, f.name), Measured)
    }
    return replace(own, **changed)


def _wider(own: Measured, other: Measured | None) -> Measured:
    if other is None:
        return own
    return Measured(own.value, math.hypot(own.uncertainty, own.value - other.value))
