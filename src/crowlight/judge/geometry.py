"""The first judgement, from geometry: what differs between sides, between blades, from the style.

Everything judged here is a weighted sum of the thickness map, so each comparison has a standard
uncertainty that knows gauge, placing, seating and all that was not measured. Two families are kept
apart, each with its own risk shared among its members: *evenness* (left against right, marked
against plain) and *style* (this reed against its style).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from crowlight.errors import InputError
from crowlight.judge.decision import Decision, Outcome, decide, effective_dof
from crowlight.judge.sums import (
    ThicknessSum,
    evaluate,
    fall,
    heart_length,
    strip_mean,
    transition_position,
    transition_steepness,
    zone_mean,
)
from crowlight.reed import Blade, Side
from crowlight.reed.instruments import ASSUMED_DOF
from crowlight.reed.styles import Figure, Style
from crowlight.reed.thickness import BLADES, ThicknessMap

__all__ = [
    "Against",
    "Finding",
    "Geometry",
    "Measured",
    "Quantity",
    "judge_geometry",
    "of_style",
]

#: A quantity counts as measured when the readings took away this share of what was open about it.
TOLD = 1.0 / 3.0
#: Fraction across where a blade's side is looked at.
AT_SIDE = 0.7
#: Distance of the corners from the tip edge [m].
CORNER = 0.8e-3


class Against(StrEnum):
    """What a quantity is compared with."""

    SIDES = "sides"
    BLADES = "blades"
    STYLE = "style"


class Quantity(StrEnum):
    """What is compared."""

    THICKNESS = "thickness"
    SIDE_DROP = "side-drop"
    CORNER_DROP = "corner-drop"
    TRANSITION_POSITION = "transition-position"
    TRANSITION_STEEPNESS = "transition-steepness"
    TIP_LENGTH = "tip-length"
    HEART_LENGTH = "heart-length"
    OVERALL_LENGTH = "overall-length"
    STAPLE_LENGTH = "staple-length"


@dataclass(frozen=True, slots=True)
class Measured:
    """A length measured with a ruler or caliper.

    Parameters
    ----------
    value : float
        [m].
    uncertainty : float
        Standard uncertainty [m]; the default is that of a ruler read to half a millimetre (common
        practice, no source).
    dof : float
        Its degrees of freedom.

    Raises
    ------
    InputError
        If the length or its uncertainty is negative or not a number.
    """

    value: float
    uncertainty: float = 0.125e-3
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not (self.uncertainty >= 0.0 and math.isfinite(self.value) and self.value > 0.0):
            msg = (
                f"length {self.value * 1e3:g} mm with standard uncertainty "
                f"{self.uncertainty * 1e3:g} mm is not usable: the length must be above 0 mm, "
                "the uncertainty 0 mm or more"
            )
            raise InputError(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One comparison.

    Parameters
    ----------
    quantity : Quantity
        What.
    against : Against
        ``sides``: left minus right as seen; ``blades``: marked minus plain; ``style``: this reed
        minus its style.
    zone : str or None
        Where, for a thickness.
    blade : Blade or None
        The blade; None when blades are compared, or for the reed as a whole.
    side : Side or None
        The side as seen, for a quantity that has one.
    value : float
        The quantity itself; where two are compared, their mean. [m], but [1] for the steepness;
        NaN when not measured.
    decision : Decision
        The difference and what may be said of it, same unit.
    told : float
        Share of what was open about the difference that was measured away, 0 to 1; the map draws
        the rest towards what is usual.
    """

    quantity: Quantity
    against: Against
    zone: str | None = None
    blade: Blade | None = None
    side: Side | None = None
    value: float
    decision: Decision
    told: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """All comparisons of one reed.

    Parameters
    ----------
    findings : tuple of Finding
        Evenness from the tip down, then against the style.
    risk : float
        Largest chance that any evenness finding is wrongly called ``differs``, and again for those
        against the style.
    """

    findings: tuple[Finding, ...]
    risk: float

    def differing(self) -> tuple[Finding, ...]:
        """Return what differs, the largest excess over its uncertainty first."""
        found = [f for f in self.findings if f.decision.outcome is Outcome.DIFFERS]
        return tuple(sorted(found, key=_excess, reverse=True))


def _excess(finding: Finding) -> float:
    d = finding.decision
    return (abs(d.value) - d.tolerance) / max(d.standard_uncertainty, 1e-12)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A comparison before it is decided: `difference` minus `reference`, against a tolerance."""

    quantity: Quantity
    against: Against
    tolerance: float
    difference: ThicknessSum | None
    level: ThicknessSum | None = None  # what is shown as the value
    reference: float = 0.0
    told: float = 1.0  # of parts that are no thickness
    length: Measured | None = None
    zone: str | None = None
    blade: Blade | None = None
    side: Side | None = None

    @property
    def family(self) -> bool:
        """Whether it belongs with the comparisons against the style."""
        return self.against is Against.STYLE


def judge_geometry(
    found: ThicknessMap,
    *,
    lengths: Mapping[str, Measured] | None = None,
    risk: float = 0.05,
) -> Geometry:
    """Judge a reed from its thickness map and lengths.

    Parameters
    ----------
    found : ThicknessMap
        The map.
    lengths : mapping of str to Measured, optional
        ``overall`` and ``staple`` as measured; without ``overall`` the length the style was placed
        on is taken with a ruler's uncertainty, and is not judged.
    risk : float
        Largest chance of naming any difference between sides or blades on a reed that has none;
        0 < risk < 1.

    Returns
    -------
    Geometry
        Every comparison with value, standard uncertainty, degrees of freedom, interval, outcome.

    Notes
    -----
    Decisions by `decide`; degrees of freedom by Welch-Satterthwaite from the gauge's part of each
    uncertainty. Prior knowledge draws differences towards zero, so on even reeds fewer than `risk`
    are wrongly named. Against the style, what lies within two of its spreads does not differ. A
    quantity of which the readings tell less than a third is ``not_measured``.

    Examples
    --------
    >>> from crowlight.reed import Reading
    >>> from crowlight.reed.styles import style
    >>> from crowlight.reed.thickness import map_thickness
    >>> long = style("long")
    >>> readings = [
    ...     Reading(p.on(b), float(long.thickness(p.along, p.across)) + (b is Blade.PLAIN) * 8e-5)
    ...     for b in Blade for p in long.full]
    >>> judged = judge_geometry(map_thickness(readings, long))
    >>> worst = next(f for f in judged.differing() if f.against is Against.BLADES)
    >>> worst.quantity.value, worst.decision.value < -0.06e-3
    ('thickness', True)
    """
    measured = dict(lengths or {})
    positions = {
        (b, u): transition_position(found, b, u) for b in (0, 1) for u in (-AT_SIDE, 0.0, AT_SIDE)
    }
    asked = [
        *_zones(found),
        *_transitions(found, positions),
        *_hearts(found, positions),
        *_tips(found, positions, measured.get("overall", Measured(found.style.length))),
        *_lengths(found.style, measured),
    ]
    asked.sort(key=lambda a: a.family)
    return Geometry(findings=_decided(found, asked, risk), risk=risk)


def _zones(found: ThicknessMap) -> Iterator[_Asked]:
    """Ask for the thickness of each zone between sides and between blades."""
    style, zones = found.style, found.zones.zones
    divided = "windows" in {zone.name for zone in zones}
    for zone in zones:
        if zone.name == "back" and divided:
            continue  # spine, windows and rails are its parts
        whole = [zone_mean(style, zone, b) for b in (0, 1)]
        sided = zone.outer > 0.3
        for b, blade in enumerate(BLADES if sided else ()):
            left, right = (zone_mean(style, zone, b, side) for side in (Side.LEFT, Side.RIGHT))
            yield _Asked(
                quantity=Quantity.THICKNESS,
                against=Against.SIDES,
                tolerance=zone.tolerance.sides,
                difference=left - right,
                level=whole[b],
                zone=zone.name,
                blade=blade,
            )
        yield _Asked(
            quantity=Quantity.THICKNESS,
            against=Against.BLADES,
            tolerance=zone.tolerance.blades,
            difference=whole[0] - whole[1],
            level=(whole[0] + whole[1]) * 0.5,
            zone=zone.name,
        )


def _transitions(
    found: ThicknessMap, positions: Mapping[tuple[int, float], ThicknessSum]
) -> Iterator[_Asked]:
    """Ask where the transition lies and how steep it is."""
    even, figure = found.style.even, found.style.profile["transition.position"]
    keys = list(positions)
    middles = evaluate(found, [positions[key] for key in keys]).values
    steep = {
        (b, u): transition_steepness(b, float(x), u)
        for (b, u), x in zip(keys, middles, strict=True)
    }
    pairs = [((b, -AT_SIDE), (b, AT_SIDE), blade) for b, blade in enumerate(BLADES)]
    for first, second, blade in [*pairs, ((0, 0.0), (1, 0.0), None)]:
        for quantity, name, of in (
            (Quantity.TRANSITION_POSITION, "position", positions),
            (Quantity.TRANSITION_STEEPNESS, "steepness", steep),
        ):
            yield _Asked(
                quantity=quantity,
                against=Against.BLADES if blade is None else Against.SIDES,
                tolerance=even[name].value,
                difference=of[first] - of[second],
                level=(of[first] + of[second]) * 0.5,
                blade=blade,
            )
    for b, blade in enumerate(BLADES):
        yield _style(Quantity.TRANSITION_POSITION, positions[b, 0.0], figure, blade)


def _hearts(
    found: ThicknessMap, positions: Mapping[tuple[int, float], ThicknessSum]
) -> Iterator[_Asked]:
    """Ask for the heart's length, and its thickness in the middle."""
    style = found.style
    heart = found.zones.zone("heart")
    low, high = heart.start[0], heart.stop[0]
    hearts = [heart_length(found, b, positions[b, 0.0]) for b in (0, 1)]
    told = min(share for _, share in hearts)
    yield _Asked(
        quantity=Quantity.HEART_LENGTH,
        against=Against.BLADES,
        tolerance=style.even["heart_length"].value,
        difference=hearts[0][0] - hearts[1][0],
        level=(hearts[0][0] + hearts[1][0]) * 0.5,
        told=told,
    )
    for b, blade in enumerate(BLADES):
        length, share = hearts[b]
        yield _style(Quantity.HEART_LENGTH, length, style.lengths["heart"], blade, told=share)
        middle = strip_mean(b, low + 0.3 * (high - low), low + 0.7 * (high - low), 0.15)
        yield _style(Quantity.THICKNESS, middle, of_style(style, middle), blade, zone="heart")


def _tips(
    found: ThicknessMap, positions: Mapping[tuple[int, float], ThicknessSum], overall: Measured
) -> Iterator[_Asked]:
    """Ask for the tip's length and its fall from the centre to sides and corners."""
    style = found.style
    front = found.zones.zone("tip").start[0]
    rows = {
        Quantity.SIDE_DROP: 0.5 * (front + style.length),
        Quantity.CORNER_DROP: style.length - CORNER,
    }
    for b, blade in enumerate(BLADES):
        length = (positions[b, 0.0] * -1.0).plus(overall.value, overall.uncertainty)
        yield _style(Quantity.TIP_LENGTH, length, style.lengths["tip"], blade)
        for quantity, along in rows.items():
            for side, fraction in ((Side.LEFT, -AT_SIDE), (Side.RIGHT, AT_SIDE)):
                drop = fall(b, along, fraction)
                yield _style(quantity, drop, of_style(style, drop), blade, zone="tip", side=side)


def _lengths(style: Style, lengths: Mapping[str, Measured]) -> Iterator[_Asked]:
    """Ask for the lengths a ruler measures."""
    for quantity, name in (
        (Quantity.OVERALL_LENGTH, "overall"),
        (Quantity.STAPLE_LENGTH, "staple"),
    ):
        yield _Asked(
            quantity=quantity,
            against=Against.STYLE,
            tolerance=2.0 * style.lengths[name].spread,
            difference=None,
            reference=style.lengths[name].value,
            length=lengths.get(name),
        )


def of_style(style: Style, total: ThicknessSum) -> Figure:
    """Return what a sum is in the style and how it spreads from reed to reed."""
    values, spreads = style.vector()
    mean, jacobian = style.mean.with_jacobian(values, total.along, total.fraction)
    spread = (total.weight @ jacobian) * spreads
    return Figure(float(total.weight @ mean), math.sqrt(float(spread @ spread)), "derived")


def _style(
    quantity: Quantity,
    total: ThicknessSum,
    figure: Figure,
    blade: Blade,
    *,
    told: float = 1.0,
    zone: str | None = None,
    side: Side | None = None,
) -> _Asked:
    return _Asked(
        quantity=quantity,
        against=Against.STYLE,
        tolerance=2.0 * figure.spread,
        difference=total,
        level=total,
        reference=figure.value,
        told=told,
        zone=zone,
        blade=blade,
        side=side,
    )


def _decided(found: ThicknessMap, asked: Sequence[_Asked], risk: float) -> tuple[Finding, ...]:
    """Evaluate all sums at once, then decide each."""
    sums = [s for a in asked for s in (a.difference, a.level) if s is not None]
    got = evaluate(found, sums)
    row = {id(s): i for i, s in enumerate(sums)}

    def told(a: _Asked) -> float:
        if a.difference is None:
            return float(a.length is not None)
        return min(a.told, float(got.told[row[id(a.difference)]]))

    def measured(a: _Asked) -> bool:
        return told(a) >= TOLD

    families = (False, True)
    count = {f: sum(measured(a) for a in asked if a.family is f) for f in families}
    findings: list[Finding] = []
    for a in asked:
        value, parts = math.nan, []
        if not measured(a):
            decision = Decision(outcome=Outcome.NOT_MEASURED, tolerance=a.tolerance, risk=risk)
        else:
            if a.difference is None:
                assert a.length is not None  # noqa: S101 measured() has seen it
                value = difference = a.length.value
                parts = [(a.length.uncertainty, a.length.dof)]
            else:
                i = row[id(a.difference)]
                value = float(got.values[row[id(a.level)]])
                difference = float(got.values[i])
                gauge, whole = float(got.gauge[i]), float(got.sd[i])
                rest = math.sqrt(max(whole**2 - gauge**2, 0.0))
                parts = [(gauge, ASSUMED_DOF), (rest, math.inf)]
            decision = decide(
                difference - a.reference,
                math.sqrt(math.fsum(u * u for u, _ in parts)),
                tolerance=a.tolerance,
                dof=effective_dof(parts),
                comparisons=count[a.family],
                risk=risk,
            )
        findings.append(
            Finding(
                quantity=a.quantity,
                against=a.against,
                zone=a.zone,
                blade=a.blade,
                side=a.side,
                value=value,
                decision=decision,
                told=told(a),
            )
        )
    return tuple(findings)
