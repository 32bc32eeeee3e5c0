"""Named quantities that evidence is taken from: a value with its uncertainty, or nothing.

Each is a function of what is known and of a place. Two values are subtracted as if independent;
where the caller knows a difference better, its own value is used. A mean keeps the uncertainty of
one of its values, because gauge zero and wet state are shared and do not average out. The family of
a quantity says what it hangs together with: all that comes from one zone of one gauging, or from
one recording. Outputs of the blade model are worked out from the same map and share the family of
the zone that moves them most; beside a thickness of that zone they count a quarter.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from crowlight.judge.findings.evidence import BladeKnown, Known, Measured, SideKnown
from crowlight.judge.findings.where import Where
from crowlight.reed import Blade, Side

__all__ = ["FROM_MODEL", "MEASURES", "Measure"]

Take = Callable[[Known, Where], "Measured | None"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity evidence is taken from.

    Parameters
    ----------
    code : str
        Its name in the catalogue.
    family : str
        What it hangs together with.
    unit : str
        Unit of the catalogue and of what people read.
    scale : float
        One such unit in SI.
    usual : float
        Standard uncertainty a usual measurement has, in that unit; for weighing what to measure.
    of : callable
        From what is known and a place to the value in SI.
    centre : float
        Where it lies on a reed without fault, in that unit: nothing for a deviation, a usual value
        for what is not one (common practice, no source).
    """

    code: str
    family: str
    unit: str
    scale: float
    usual: float
    of: Take
    centre: float = 0.0


def _usable(value: Measured | None) -> Measured | None:
    return value if value is not None and value.tells else None


def _minus(a: Measured | None, b: Measured | None) -> Measured | None:
    a, b = _usable(a), _usable(b)
    if a is None or b is None:
        return None
    return Measured(a.value - b.value, math.hypot(a.uncertainty, b.uncertainty))


def _mean(values: Iterable[Measured | None]) -> Measured | None:
    """Return the plain mean of what there is."""
    there = [v for v in values if v is not None and v.tells]
    if not there:
        return None
    n = len(there)
    # sums without rounding, so that their order cannot matter
    return Measured(
        math.fsum(v.value for v in there) / n,
        math.sqrt(math.fsum(v.uncertainty**2 for v in there) / n),
    )


def _smaller(a: Measured | None, b: Measured | None) -> Measured | None:
    """Return what two differences have in common: the smaller one, without its noise's share.

    Of two equal differences the smaller reading lies below both by chance alone, so two that differ
    by less than their doubt count as their mean. Rises with either; at most half that doubt above
    the smaller one.
    """
    a, b = _usable(a), _usable(b)
    if a is None or b is None:
        return None
    u = max(a.uncertainty, b.uncertainty)
    apart = math.hypot(a.value - b.value, u) - u
    return Measured(0.5 * (a.value + b.value - apart), u)


def _signed(value: Measured | None, plus: bool) -> Measured | None:
    if value is None or plus:
        return value
    return Measured(-value.value, value.uncertainty)


def _sides(known: Known, where: Where) -> list[SideKnown]:
    return [known.geometry.blade(b).side(s) for b in where.blades for s in where.sides]


def _blades(known: Known) -> tuple[BladeKnown, BladeKnown]:
    return known.geometry.marked, known.geometry.plain


def _either_side(known: Known, blade: Blade, side: Side, name: str) -> Measured | None:
    """Return how much more that side of a blade has than its other side."""
    of = known.geometry.blade(blade)
    given = _usable(of.sides.get(name))
    if given is not None:
        return _signed(given, side is Side.LEFT)
    return _minus(getattr(of.side(side), name), getattr(of.side(side.other), name))


def _level(name: str) -> Take:
    """Take the mean of a blade's own quantity over the place's blades."""

    def take(known: Known, where: Where) -> Measured | None:
        return _mean(getattr(known.geometry.blade(b), name) for b in where.blades)

    return take


def _side_level(name: str) -> Take:
    """Take the mean of a side's quantity over the place's sides."""

    def take(known: Known, where: Where) -> Measured | None:
        return _mean(getattr(side, name) for side in _sides(known, where))

    return take


def _zone_level(name: str) -> Take:
    """Take the mean over centre and sides of a zone."""

    def take(known: Known, where: Where) -> Measured | None:
        centre = [getattr(known.geometry.blade(b), name) for b in where.blades]
        return _mean([*centre, *(getattr(side, name) for side in _sides(known, where))])

    return take


def _centre_level(name: str) -> Take:
    """Take the mean over the centrelines; over the sides where no centre was measured."""
    centre, sides = _level(name), _side_level(name)

    def take(known: Known, where: Where) -> Measured | None:
        return centre(known, where) or sides(known, where)

    return take


def _blade_excess(name: str) -> Take:
    """Take how much more that blade has than the other."""

    def take(known: Known, where: Where) -> Measured | None:
        blade = where.blade or Blade.MARKED
        given = _usable(known.geometry.blades.get(name))
        if given is not None:
            return _signed(given, blade is Blade.MARKED)
        a, b = known.geometry.blade(blade), known.geometry.blade(blade.other)
        return _minus(getattr(a, name), getattr(b, name))

    return take


def _side_excess(name: str, *, less: bool = False) -> Take:
    """Take how much more (or less) that side of that blade has than its other side."""

    def take(known: Known, where: Where) -> Measured | None:
        found = _either_side(known, where.blade or Blade.MARKED, where.side or Side.LEFT, name)
        return _signed(found, not less)

    return take


def _alone(name: str, *, less: bool = False) -> Take:
    """Take by how much that side has more (or less) than its other side and than the other blade.

    The smaller of the two: a side is thin only if nothing else explains the difference. Where the
    blades were not compared, its other side alone must do.
    """
    between = _blade_excess(name)

    def take(known: Known, where: Where) -> Measured | None:
        own = _either_side(known, where.blade or Blade.MARKED, where.side or Side.LEFT, name)
        blade = between(known, where)
        if own is None or blade is None:
            return _signed(own, not less)
        # half the difference of the sides lies to either side of the blade's mean
        u = math.hypot(blade.uncertainty, 0.5 * own.uncertainty)
        other = Measured(blade.value + 0.5 * own.value, u)
        return _smaller(_signed(own, not less), _signed(other, not less))

    return take


def _surest(known: Known, blade: Blade, side: Side, names: Iterable[str]) -> Measured | None:
    """Return how much more that side has of whichever quantity is known best."""
    found = [_usable(_either_side(known, blade, side, name)) for name in names]
    return min((v for v in found if v is not None), key=lambda v: v.uncertainty, default=None)


def _habit(*names: str, less: bool = False) -> Take:
    """Take what both blades have more (or less) of on the same side as seen."""

    def take(known: Known, where: Where) -> Measured | None:
        side = where.side or Side.LEFT
        a, b = (_signed(_surest(known, x, side, names), not less) for x in Blade)
        return _smaller(a, b)

    return take


def _edge(*names: str) -> Take:
    """Take what both blades have less of at the same physical edge."""

    def take(known: Known, where: Where) -> Measured | None:
        side = where.side or Side.LEFT
        a = _surest(known, Blade.MARKED, side.other, names)
        b = _surest(known, Blade.PLAIN, side, names)
        return _smaller(a, b)

    return take


def _corner_excess(known: Known, where: Where) -> Measured | None:
    """How much thicker that corner is than the others."""
    blade, side = where.blade or Blade.MARKED, where.side or Side.LEFT
    given = _usable(known.geometry.blade(blade).side(side).corner_excess)
    if given is not None:
        # a corner of a blade whose whole tip is thicker is no thick corner
        return _smaller(given, _either_side(known, blade, side, "corner")) or given
    own = _mean(side.corner for side in _sides(known, where))
    others = [
        known.geometry.blade(b).side(s).corner
        for b in Blade
        for s in Side
        if not (b in where.blades and s in where.sides)
    ]
    return _minus(own, _mean(others)) if sum(_usable(o) is not None for o in others) >= 2 else None


def _geometry(name: str) -> Take:
    def take(known: Known, where: Where) -> Measured | None:
        return getattr(known.geometry, name)

    return take


def _lopsided(known: Known, where: Where) -> Measured | None:
    """How much more closed the opening is at that physical edge."""
    value = known.geometry.opening_lopsided
    left = (where.side or Side.LEFT) is Side.LEFT
    if where.blade is Blade.PLAIN:
        left = not left
    return _signed(value, not left)


def _lopsided_at_all(known: Known, where: Where) -> Measured | None:
    value = _usable(known.geometry.opening_lopsided)
    return None if value is None else Measured(abs(value.value), value.uncertainty)


def _model(name: str) -> Take:
    def take(known: Known, where: Where) -> Measured | None:
        return getattr(known.model, name)

    return take


def _stiffer(known: Known, where: Where) -> Measured | None:
    return _signed(known.model.unevenness, where.blade is not Blade.PLAIN)


def _crow(name: str) -> Take:
    def take(known: Known, where: Where) -> Measured | None:
        return getattr(known.crow, name)

    return take


def _counted(value: float | None, u: float) -> Measured | None:
    """Return what was counted or noted, with the little it may be off."""
    return None if value is None else Measured(value, u)


def _history(name: str, u: float) -> Take:
    def take(known: Known, where: Where) -> Measured | None:
        return _counted(getattr(known.history, name), u)

    return take


def _rise(known: Known, where: Where) -> Measured | None:
    """Altitude gained since the reed was last liked."""
    climate = known.climate
    if climate.altitude_home is None or climate.altitude_now is None:
        return None
    return Measured(climate.altitude_now - climate.altitude_home, 20.0)


def _drier(known: Known, where: Where) -> Measured | None:
    """Relative humidity lost since then."""
    climate = known.climate
    if climate.humidity_home is None or climate.humidity_now is None:
        return None
    return Measured(climate.humidity_home - climate.humidity_now, 0.05)


def _room(name: str, u: float) -> Take:
    def take(known: Known, where: Where) -> Measured | None:
        return _counted(getattr(known.climate, name), u)

    return take


def _lump(known: Known, where: Where) -> Measured | None:
    there = [b.lump for b in _blades(known) if b.lump is not None and b.lump.tells]
    return max(there, key=lambda v: (v.value, v.uncertainty), default=None)


_MM = 1e-3
_ROWS: tuple[tuple[str, str, str, float, float, Take], ...] = (
    # tip
    ("tip-thickness", "tip", "mm", _MM, 0.006, _zone_level("tip")),
    ("tip-slope", "tip", "mm", _MM, 0.008, _side_level("tip_slope")),
    ("corner-thickness", "tip", "mm", _MM, 0.006, _side_level("corner")),
    ("corner-excess", "tip", "mm", _MM, 0.010, _corner_excess),
    ("tip-excess-of-blade", "tip", "mm", _MM, 0.010, _blade_excess("tip")),
    ("thin-side-of-tip", "tip", "mm", _MM, 0.010, _alone("tip", less=True)),
    ("thick-side-of-tip", "tip", "mm", _MM, 0.010, _alone("tip")),
    ("habit-thin-corner", "tip", "mm", _MM, 0.010, _habit("corner", "tip", less=True)),
    ("edge-thin-corner", "tip", "mm", _MM, 0.010, _edge("corner", "tip")),
    ("lump", "tip", "mm", _MM, 0.008, _lump),
    # transition
    ("transition", "blend", "mm", _MM, 0.3, _zone_level("transition")),
    ("steepness", "blend", "mm/mm", 1.0, 0.03, _side_level("steepness")),
    ("habit-steep", "blend", "mm/mm", 1.0, 0.03, _habit("steepness")),
    ("steep-side", "blend", "mm/mm", 1.0, 0.03, _side_excess("steepness")),
    ("separation", "blend", "1", 1.0, 0.15, _model("separation")),
    # heart and back
    ("heart-thickness", "heart", "mm", _MM, 0.008, _centre_level("heart")),
    ("heart-excess-of-blade", "heart", "mm", _MM, 0.014, _blade_excess("heart")),
    ("heart-excess-of-side", "heart", "mm", _MM, 0.014, _alone("heart")),
    ("thin-side-of-heart", "heart", "mm", _MM, 0.014, _alone("heart", less=True)),
    ("heart-length", "heart", "mm", _MM, 0.5, _level("heart_length")),
    ("heart-length-excess-of-blade", "heart", "mm", _MM, 0.6, _blade_excess("heart_length")),
    ("closing-pressure", "heart", "1", 1.0, 0.20, _model("closing_pressure")),
    ("stiffness-excess-of-blade", "heart", "1", 1.0, 0.10, _stiffer),
    ("spine-thickness", "back", "mm", _MM, 0.010, _level("spine")),
    ("window-thickness", "back", "mm", _MM, 0.010, _side_level("window")),
    ("rail-thickness", "back", "mm", _MM, 0.010, _side_level("rail")),
    ("window-excess-of-side", "back", "mm", _MM, 0.014, _side_excess("window")),
    # what came before the knife
    ("gouge-thickness", "bark", "mm", _MM, 0.010, _level("gouge")),
    ("gouge-excess-of-blade", "bark", "mm", _MM, 0.014, _blade_excess("gouge")),
    ("diameter", "cane", "mm", _MM, 0.15, _geometry("diameter")),
    ("hardness", "cane", "1", 1.0, 0.5, _geometry("hardness")),
    ("tip-width", "shape", "mm", _MM, 0.05, _geometry("tip_width")),
    ("tie-beyond", "tie", "mm", _MM, 0.3, _geometry("tie_beyond")),
    ("overlap", "tie", "mm", _MM, 0.1, _geometry("overlap")),
    # lengths and opening
    ("length", "length", "mm", _MM, 0.1, _geometry("length")),
    ("tip-length", "tip length", "mm", _MM, 0.3, _geometry("tip_length")),
    ("room-to-clip", "length", "mm", _MM, 0.25, _geometry("clipping_room")),
    ("opening", "opening", "mm", _MM, 0.07, _geometry("opening")),
    ("opening-closed-side", "opening", "mm", _MM, 0.05, _lopsided),
    ("opening-lopsided", "opening", "mm", _MM, 0.05, _lopsided_at_all),
    # sound
    ("crow-cents", "crow", "cents", 1.0, 8.0, _crow("cents")),
    ("pitched-share", "crow", "%", 0.01, 8.0, _crow("pitched_share")),
    ("low-octave", "crow", "dB", 1.0, 3.0, _crow("low_octave")),
    ("unsteadiness", "crow", "cents", 1.0, 5.0, _crow("unsteadiness")),
    ("threshold", "threshold", "1", 1.0, 0.08, _crow("threshold")),
    ("peep-cents", "peep", "cents", 1.0, 20.0, _crow("peep_cents")),
    ("played-cents", "pitch", "cents", 1.0, 5.0, _crow("played_cents")),
    # history and climate
    ("played-hours", "age", "h", 3600.0, 2.0, _history("played", 2 * 3600.0)),
    ("days-since-tied", "fresh", "d", 86400.0, 0.5, _history("since_tied", 0.5 * 86400.0)),
    ("hours-since-cut", "fresh", "h", 3600.0, 0.5, _history("since_cut", 0.5 * 3600.0)),
    ("soaked-minutes", "soak", "min", 60.0, 2.0, _history("soaked", 60.0)),
    ("sitting-minutes", "sitting", "min", 60.0, 5.0, _history("crowing", 300.0)),
    ("clips", "clips", "1", 1.0, 0.0, _history("clips", 0.0)),
    (
        "strokes-since-sharpened",
        "knife",
        "1",
        1.0,
        20.0,
        _history("strokes_since_sharpened", 20.0),
    ),
    ("altitude-gained", "climate", "m", 1.0, 20.0, _rise),
    ("humidity-lost", "climate", "%", 0.01, 5.0, _drier),
    ("room-temperature", "climate", "K", 1.0, 1.0, _room("temperature_now", 1.0)),
)

#: Usual values of what is not a deviation (common practice, no source).
_CENTRES: Mapping[str, float] = {
    "room-to-clip": 1.5,
    "tie-beyond": -0.4,
    "played-hours": 5.0,
    "days-since-tied": 7.0,
    "hours-since-cut": 36.0,
    "soaked-minutes": 4.0,
    "sitting-minutes": 20.0,
    "clips": 1.0,
    "strokes-since-sharpened": 150.0,
    "room-temperature": 294.0,
}

#: What the blade model works out from the thicknesses of the same map.
FROM_MODEL = frozenset({"closing-pressure", "stiffness-excess-of-blade", "separation"})

#: Every quantity by its name.
MEASURES: Mapping[str, Measure] = MappingProxyType(
    {row[0]: Measure(*row, centre=_CENTRES.get(row[0], 0.0)) for row in _ROWS}
)
