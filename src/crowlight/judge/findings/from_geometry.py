"""From the first judgement of a reed's shape to what is known of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from crowlight.judge.decision import Outcome
from crowlight.judge.findings.evidence import BladeKnown, Geometry, Measured, SideKnown
from crowlight.judge.geometry import Against, Finding, Quantity
from crowlight.judge.geometry import Geometry as Judged
from crowlight.reed import Blade, Side
from crowlight.reed.styles import Style

__all__ = ["geometry_known"]

#: Names of what is compared between the sides of a blade, by zone.
_SIDES: Mapping[str, str] = {
    "tip": "tip",
    "heart": "heart",
    "windows": "window",
    "rails": "rail",
}
#: Names of what is compared between blades, by zone.
_BLADES: Mapping[str, str] = {"tip": "tip", "heart": "heart", "spine": "spine", "bark": "gouge"}


def geometry_known(judged: Judged, style: Style) -> Geometry:
    """Return what the judged shape tells the findings.

    Parameters
    ----------
    judged : judge.geometry.Geometry
        The first judgement, against `style`.
    style : Style
        The scrape style; tells how short a blade may become.

    Returns
    -------
    Geometry
        Deviations from the style with their standard uncertainties; what was not measured is
        missing, and so is what the first judgement does not ask (opening, cane, tie).

    Notes
    -----
    The map leans towards the style where little was measured; here every deviation is what the
    readings say by themselves (`as_read`). A corner counts by its fall
    from the centre of the tip.
    """
    known = [f for f in judged.findings if f.decision.outcome is not Outcome.NOT_MEASURED]
    return Geometry(
        marked=_blade(known, Blade.MARKED),
        plain=_blade(known, Blade.PLAIN),
        blades=_between_blades(known),
        length=_only(known, Quantity.OVERALL_LENGTH),
        tip_length=_shared(known, Quantity.TIP_LENGTH),
        clipping_room=_room(known, style),
    )


def as_read(value: float, u: float, told: float) -> Measured:
    """Return what the readings say by themselves of a deviation that a map draws towards zero.

    Parameters
    ----------
    value, u : float
        Deviation as mapped and its standard uncertainty.
    told : float
        Share of the prior variance that the readings took away; 0 < told <= 1.

    Notes
    -----
    A normal quantity of prior variance P, read with variance N, is mapped as the share
    P / (P + N) of its reading, which is also the share of P that was taken away; its variance is
    that share of N. How usual a deviation is, is in a finding's prior odds and must not count
    twice.

    Examples
    --------
    >>> m = as_read(0.010, 0.004, 0.64)
    >>> round(m.value, 6), round(m.uncertainty, 6)
    (0.015625, 0.005)
    """
    return Measured(value / told, u / told**0.5)


def _value(finding: Finding, sign: float = 1.0) -> Measured:
    d = finding.decision
    return as_read(sign * d.value, d.standard_uncertainty, finding.told)


def _of(known: Iterable[Finding], quantity: Quantity, against: Against) -> list[Finding]:
    return [f for f in known if f.quantity is quantity and f.against is against]


def _only(known: Iterable[Finding], quantity: Quantity) -> Measured | None:
    return next((_value(f) for f in _of(known, quantity, Against.STYLE)), None)


def _shared(known: Iterable[Finding], quantity: Quantity) -> Measured | None:
    """Mean of both blades; what they share, such as the overall length, does not average out."""
    found = [_value(f) for f in _of(known, quantity, Against.STYLE)]
    if not found:
        return None
    mean = sum(v.value for v in found) / len(found)
    return Measured(mean, max(v.uncertainty for v in found))


def _room(known: Iterable[Finding], style: Style) -> Measured | None:
    known = list(known)
    overall = next(iter(_of(known, Quantity.OVERALL_LENGTH, Against.STYLE)), None)
    if overall is None:
        return None
    staple = next(iter(_of(known, Quantity.STAPLE_LENGTH, Against.STYLE)), None)
    figure = style.lengths["staple"]
    length, u = (
        (figure.value, figure.spread)
        if staple is None
        else (staple.value, staple.decision.standard_uncertainty)
    )
    left = overall.value - length - style.lengths["shortest_blade"].value
    return Measured(left, (overall.decision.standard_uncertainty**2 + u**2) ** 0.5)


def _between_blades(known: Iterable[Finding]) -> dict[str, Measured]:
    known = list(known)
    found = {
        _BLADES[f.zone]: _value(f)
        for f in _of(known, Quantity.THICKNESS, Against.BLADES)
        if f.zone is not None and f.zone in _BLADES
    }
    for f in _of(known, Quantity.HEART_LENGTH, Against.BLADES):
        found["heart_length"] = _value(f)
    return found


def _blade(known: Iterable[Finding], blade: Blade) -> BladeKnown:
    own = [f for f in known if f.blade is blade]
    found = BladeKnown(
        left=_side(own, Side.LEFT), right=_side(own, Side.RIGHT), sides=_between_sides(own)
    )
    for f in own:
        if f.against is not Against.STYLE:
            continue
        if f.quantity is Quantity.THICKNESS and f.zone == "heart":
            found = replace(found, heart=_value(f))
        elif f.quantity is Quantity.TRANSITION_POSITION:
            found = replace(found, transition=_value(f))
        elif f.quantity is Quantity.HEART_LENGTH:
            found = replace(found, heart_length=_value(f))
    return found


def _between_sides(own: Iterable[Finding]) -> dict[str, Measured]:
    found: dict[str, Measured] = {}
    for f in own:
        if f.against is not Against.SIDES:
            continue
        if f.quantity is Quantity.THICKNESS and f.zone is not None and f.zone in _SIDES:
            found[_SIDES[f.zone]] = _value(f)
        elif f.quantity is Quantity.TRANSITION_STEEPNESS:
            found["steepness"] = _value(f)
        elif f.quantity is Quantity.TRANSITION_POSITION:
            found["transition"] = _value(f)
    return found


def _side(own: Iterable[Finding], side: Side) -> SideKnown:
    found = SideKnown()
    for f in own:
        if f.against is not Against.STYLE or f.side is not side:
            continue
        if f.quantity is Quantity.SIDE_DROP:
            found = replace(found, tip_slope=_value(f))
        elif f.quantity is Quantity.CORNER_DROP:
            found = replace(found, corner=_value(f, -1.0))
    return found
