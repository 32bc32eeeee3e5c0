"""What a reed's thickness map means for stiffness and closing, as plain values that can be kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.cane import GAUGE, THINNEST
from crowlight.bench.cuts import STROKE_RADIUS
from crowlight.bench.from_map import reed_blades, wet_readings
from crowlight.bench.learned import Learned, unknowns_of
from crowlight.bench.mapping import Rows
from crowlight.bench.ports import Report
from crowlight.bench.solved import solved
from crowlight.blade import (
    OUTPUTS,
    Interval,
    Lumped,
    Mechanics,
    ThicknessGrid,
    intervals,
    lumped,
    mesh_error,
    stroke_map,
)
from crowlight.errors import OutsideModel
from crowlight.reed import Blade, CaneState
from crowlight.reed.styles import Style
from crowlight.reed.thickness import ThicknessMap

__all__ = [
    "CUT",
    "STROKE_RADIUS",
    "BladesShown",
    "CaneLeft",
    "OutputShown",
    "mechanics",
    "mechanics_outputs",
    "reed_blades",
    "wet_readings",
]

#: What the effect maps take off at each place [m], by a soft stroke of `STROKE_RADIUS`.
CUT = 0.01e-3
#: One light stroke of a sharp knife [m] (common practice, no source), until the maker's own cuts
#: tell.
LIGHT_STROKE = 0.003e-3
#: One-sided 95 % of the normal distribution.
SURE = 1.645
#: Outputs whose effect maps are shown.
EFFECTS_SHOWN = ("closing_pressure", "stiffness", "separation", "area", "mode_held")
#: Reeds drawn for what is not linear in the unknowns.
SAMPLES = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputShown:
    """One output of the blade model.

    Parameters
    ----------
    name, unit : str
        See `crowlight.blade.OUTPUTS`.
    value, low, high : float
        Best value and its interval.
    level : float
        Probability of the interval.
    method : str
        ``linearised`` or ``sampled``.
    shares : mapping of str to float
        Share of the variance from each unknown.
    mesh_error : float
        This value less that of a finer mesh, as a share of it; absolute for tilt and unevenness.
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    level: float
    method: str
    shares: Mapping[str, float]
    mesh_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CaneLeft:
    """How much cane a zone of one blade has above its floor.

    Parameters
    ----------
    zone : str
        The zone.
    blade : Blade
        The blade.
    least : float
        What a tenth of the zone has no more than above its floor [m], 95 % sure on the map;
        negative where the floor may be crossed already.
    strokes : int
        Light strokes until then.
    """

    zone: str
    blade: Blade
    least: float
    strokes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BladesShown:
    """The blade model's answer about one reed.

    Parameters
    ----------
    opening_known : bool
        Whether the opening was measured; else the usual one was taken.
    state : CaneState
        State of the cane.
    outputs : tuple of OutputShown
        Every output.
    pressures, areas, heights : tuple of float
        The opening curve [Pa, m², m].
    area_low, area_high : tuple of float
        Its band: the curve scaled by the intervals of rest area and closing pressure.
    profile_across, profile_rest, profile_playing : tuple
        Opening across the tip [m]: positions; heights of the marked and the plain blade.
    playing_pressure : float
        Where playing outputs are read [Pa].
    from_tip, fraction : tuple of float
        Grid of the maps: distance from the tip [m], -1 (left as seen of the marked blade) to 1.
    half_width : tuple of float
        Half the width of a usual blade of this style at each distance [m], for drawing.
    effects : mapping of str to mapping of Blade to Rows
        Change of an output if a soft stroke takes `CUT` off around each place; each blade as seen
        facing it.
    flexibility_from_tip, flexibility_across : tuple of float
        Grid of the flexibility maps.
    flexibility : mapping of Blade to Rows
        Deflection per force pressed [m/N].
    cane_left : tuple of CaneLeft
        Per zone and blade.
    modes : mapping of str to tuple of float
        Frequencies of free, held and loaded modes of the marked blade [Hz]; not the crow's pitch.
    notes : tuple of str
        Where to read with care.
    lumped : Lumped
        The reed as one spring and mass, for the model of reed and air.
    learned_from : tuple of str
        Kinds of measurement of this reed that cane and tie rest on beside physics; see
        `crowlight.bench.measured`.
    stroke : float
        Cane per light stroke that `cane_left` counts in [m].
    stroke_basis : str
        ``"your data"`` or ``"common practice"``.
    """

    opening_known: bool
    state: CaneState
    outputs: tuple[OutputShown, ...]
    pressures: tuple[float, ...]
    areas: tuple[float, ...]
    heights: tuple[float, ...]
    area_low: tuple[float, ...]
    area_high: tuple[float, ...]
    profile_across: tuple[float, ...]
    profile_rest: tuple[tuple[float, ...], tuple[float, ...]]
    profile_playing: tuple[tuple[float, ...], tuple[float, ...]]
    playing_pressure: float
    from_tip: tuple[float, ...]
    fraction: tuple[float, ...]
    half_width: tuple[float, ...]
    effects: Mapping[str, Mapping[Blade, Rows]]
    flexibility_from_tip: tuple[float, ...]
    flexibility_across: tuple[float, ...]
    flexibility: Mapping[Blade, Rows]
    cane_left: tuple[CaneLeft, ...]
    modes: Mapping[str, tuple[float, ...]]
    notes: tuple[str, ...]
    lumped: Lumped
    learned_from: tuple[str, ...] = ()
    stroke: float = LIGHT_STROKE
    stroke_basis: str = "common practice"

    def in_strokes(self, stroke: float, basis: str) -> BladesShown:
        """Return the answer with the cane left counted in strokes of `stroke` [m]."""
        left = tuple(replace(c, strokes=max(int(c.least // stroke), 0)) for c in self.cane_left)
        return replace(self, cane_left=left, stroke=stroke, stroke_basis=basis)


def mechanics(inputs: Mapping[str, Any], report: Report = lambda _: None) -> BladesShown:
    """Solve the blades of a reed from its readings.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.assess.assess`, with a style; optionally ``opening`` (height at
        rest), ``opening_uncertainty`` and ``tip_width`` [m], and ``learned`` (`Learned`).
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    BladesShown
        The answer.

    Raises
    ------
    InputError
        If there is no style or too few readings.
    OutsideModel
        If the model has no answer for this reed; the message says why.
    """
    reed = solved(inputs, lambda f: report(0.4 * f))
    answer = reed.answer
    learned: Learned | None = inputs.get("learned")
    ranges = intervals(
        answer,
        unknowns_of(answer.blades, learned),
        marked=reed.marked,
        plain=reed.plain,
        samples=SAMPLES,
        rng=np.random.default_rng(1),
        report=lambda f: report(0.4 + 0.4 * f),
    )
    errors = mesh_error(answer)
    report(0.95)
    known = inputs.get("opening") is not None
    shown = _shown(reed.found, answer, ranges, errors, opening_known=known)
    return replace(shown, learned_from=learned.data) if learned else shown


def _shown(
    found: ThicknessMap,
    answer: Mechanics,
    ranges: Mapping[str, Interval],
    errors: Mapping[str, float],
    *,
    opening_known: bool,
) -> BladesShown:
    curve = answer.curve
    grid = answer.blades.marked
    if answer.effects is None or len(answer.flexibility) != len(Blade):
        msg = "the blade model gave no maps for this reed"
        raise OutsideModel(msg)
    area, closing = ranges["rest_area"], ranges["closing_pressure"]
    low, high = (
        _stretched(curve.pressures, curve.areas, a / area.value, c / max(closing.value, 1.0))
        for a, c in ((area.low, closing.low), (area.high, closing.high))
    )
    flexibility = {
        Blade.MARKED: answer.flexibility[0].values,
        Blade.PLAIN: answer.flexibility[1].values[:, ::-1],
    }
    rest, playing = answer.rest_profile, answer.playing_profile
    return BladesShown(
        opening_known=opening_known,
        state=CaneState.WET,
        outputs=tuple(
            OutputShown(
                name=name,
                unit=OUTPUTS[name][0],
                value=r.value,
                low=r.low,
                high=r.high,
                level=r.level,
                method=r.method,
                shares=r.shares,
                mesh_error=errors.get(name, float("nan")),
            )
            for name, r in ranges.items()
        ),
        pressures=_line(curve.pressures),
        areas=_line(curve.areas),
        heights=_line(curve.heights),
        area_low=low,
        area_high=high,
        profile_across=_line(rest.across),
        profile_rest=(_line(rest.marked), _line(rest.plain)),
        profile_playing=(_line(playing.marked), _line(playing.plain)),
        playing_pressure=answer.playing_pressure,
        from_tip=_line(found.style.length - found.along),
        fraction=_line(found.fraction),
        half_width=_line(found.style.outline.half_width(found.along)),
        effects={
            name: _effect(answer, name, grid)
            for name in EFFECTS_SHOWN
            if name in answer.effects.names
        },
        flexibility_from_tip=_line(answer.flexibility[0].from_tip),
        flexibility_across=_line(answer.flexibility[0].across),
        flexibility={blade: _rows(values) for blade, values in flexibility.items()},
        cane_left=tuple(_cane_left(found)),
        modes={
            name: _line(modes[0].frequencies)
            for name, modes in (
                ("free", answer.free),
                ("held", answer.held),
                ("loaded", answer.loaded),
            )
        },
        notes=answer.notes,
        lumped=lumped(answer),
    )


def _stretched(
    pressures: NDArray[np.floating[Any]],
    areas: NDArray[np.floating[Any]],
    area: float,
    closing: float,
) -> tuple[float, ...]:
    """Scale the curve in area and pressure and read it at the same pressures."""
    return _line(np.interp(pressures, pressures * closing, areas * area))


def _effect(answer: Mechanics, name: str, grid: ThicknessGrid) -> dict[Blade, Rows]:
    effects = answer.effects
    if effects is None:
        return {}
    marked = stroke_map(effects.marked(name), grid, cane=CUT, radius=STROKE_RADIUS)
    plain = stroke_map(effects.plain(name), grid, cane=CUT, radius=STROKE_RADIUS)
    # rows tip first; the plain blade as seen facing it
    return {Blade.MARKED: _rows(marked[::-1]), Blade.PLAIN: _rows(plain[::-1, ::-1])}


def _cane_left(found: ThicknessMap) -> list[CaneLeft]:
    style: Style = found.zones
    rows, columns = np.meshgrid(found.along, found.fraction, indexing="ij")
    left: list[CaneLeft] = []
    for zone in style.zones:
        inside = zone.contains(rows, columns)
        if not inside.any():
            continue
        floor = zone.tolerance.floor + np.abs(columns) * (
            zone.tolerance.floor_edge - zone.tolerance.floor
        )
        for b, blade in enumerate(Blade):
            spare = (found.mean[b] - SURE * found.sd[b] - floor - GAUGE)[inside]
            least = float(np.quantile(spare, THINNEST))
            strokes = max(int(least // LIGHT_STROKE), 0)
            left.append(CaneLeft(zone=zone.name, blade=blade, least=least, strokes=strokes))
    return left


def _line(values: Any) -> tuple[float, ...]:
    return tuple(float(f"{v:.7g}") for v in np.asarray(values, dtype=float))


def _rows(values: Any) -> Rows:
    return tuple(_line(row) for row in np.asarray(values, dtype=float))


def mechanics_outputs(shown: BladesShown) -> dict[str, OutputShown]:
    """Return the outputs of an answer by name."""
    return {output.name: output for output in shown.outputs}
