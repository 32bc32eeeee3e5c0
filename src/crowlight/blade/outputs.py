"""The quantities a maker feels, as numbers with derivatives.

Every output is a simple function of probes, so the chain rule gives its derivatives.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from crowlight.blade.arrays import Array
from crowlight.blade.body import rows_at
from crowlight.blade.opening import CLOSED_SHARE, OpeningCurve
from crowlight.blade.pair import Pair, State
from crowlight.blade.probes import ComplianceProbe, ModeProbe, Nearby, Probe, StateProbe
from crowlight.blade.tangent import Tangent, dot, tangent_at
from crowlight.blade.tip import closed_by, right_area, tilt_of, unevenness_of
from crowlight.blade.vibration import BladeModes

__all__ = [
    "HEART_FROM_TIP",
    "OUTPUTS",
    "Output",
    "compliance_outputs",
    "mode_outputs",
    "outputs_of",
    "state_outputs",
]

HEART_FROM_TIP = 7e-3

# name: (unit, what it is)
OUTPUTS: Mapping[str, tuple[str, str]] = {
    "rest_area": ("m²", "opening area at rest, under the lip if there is one"),
    "rest_height": ("m", "opening height at rest, at the middle of the tip"),
    "area": ("m²", "opening area at the playing pressure"),
    "height": ("m", "opening height at the playing pressure"),
    "tilt": ("1", "right minus left of the opening at the playing pressure, share of the whole"),
    "unevenness": ("1", "marked minus plain blade in what has closed, share of both"),
    "closing_pressure": ("Pa", "pressure at which a tenth of the rest area is left"),
    "compliance": ("m²/Pa", "opening area lost per pressure when the reed starts to close"),
    "stiffness": ("Pa/m", "pressure per opening height lost when the reed starts to close"),
    "effective_area": ("m²", "volume swept by both blades per opening height lost"),
    "separation": ("1", "deflection of the tip over that of the heart, 7 mm behind it"),
    "mode_free": ("Hz", "lowest mode with both sides alike, blade alone; mean of both blades"),
    "mode_held": ("Hz", "the same with the side edges held"),
    "mode_loaded": ("Hz", "the same at the playing pressure, touching where it touches"),
}


@dataclass(frozen=True)
class Output:
    """One output and how it depends on its probes.

    Parameters
    ----------
    name : str
        Key of `OUTPUTS`.
    value : float
        In the unit given there.
    parts : tuple of (float, Probe)
        Derivative by each probe, and the probe.
    """

    name: str
    value: float
    parts: tuple[tuple[float, Probe], ...]

    def by_thickness(self, cache: dict[int, list[Array]]) -> list[Array]:
        """Differentiate by thickness per body and quadrature point, times area.

        `cache` keeps what probes gave, as outputs share them.
        """
        total: list[Array] | None = None
        for factor, probe in self.parts:
            if id(probe) not in cache:
                cache[id(probe)] = probe.by_thickness()
            scaled = [factor * g for g in cache[id(probe)]]
            total = scaled if total is None else [a + b for a, b in zip(total, scaled, strict=True)]
        assert total is not None  # noqa: S101  every output has a part
        return total

    def by_parameter(self, nearby: Nearby, cache: dict[int, float]) -> float:
        """Differentiate by one parameter."""
        total = 0.0
        for factor, probe in self.parts:
            if id(probe) not in cache:
                cache[id(probe)] = probe.by_parameter(nearby)
            total += factor * cache[id(probe)]
        return total


def area_rows(pair: Pair) -> list[Array]:
    """Gradient of the opening area."""
    return [pair.copies * b.tip_row for b in pair.bodies]


def height_rows(pair: Pair) -> list[Array]:
    """Gradient of the opening height."""
    return [pair.copies * b.middle_row for b in pair.bodies]


def right_rows(pair: Pair) -> list[Array]:
    """Gradient of the right half of the opening."""
    return [pair.copies * b.right_row for b in pair.bodies]


def volume_rows(pair: Pair) -> list[Array]:
    """Gradient of the volume swept inward."""
    return [pair.copies * b.push for b in pair.bodies]


def heart_rows(pair: Pair) -> list[Array]:
    """Gradient of the height between the blades at the heart."""
    rows = []
    for b in pair.bodies:
        eta = np.array([1 - HEART_FROM_TIP / b.shape.free_length])
        rows.append(pair.copies * rows_at(b.patch, np.zeros(1), eta)[0])
    return rows


def closed_rows(pair: Pair, *, which: int) -> list[Array]:
    """Gradient of the area closed by one blade."""
    return [-b.tip_row if k == which else 0 * b.tip_row for k, b in enumerate(pair.bodies)]


def area_left(pair: Pair, u: Sequence[Array]) -> float:
    """Area over that at which the reed counts as closed [m²]."""
    return pair.area(u) - CLOSED_SHARE * pair.shape_area


def ratio(name: str, top: Probe, bottom: Probe, factor: float = 1.0) -> Output:
    """Output ``factor · top / bottom``."""
    t, b = top.value, bottom.value
    parts = ((factor / b, top), (-factor * t / b**2, bottom))
    return Output(name, factor * t / b, parts)


def state_outputs(playing: Tangent, rest: Tangent) -> list[Output]:
    """Build outputs of the opening at rest and at the playing pressure."""
    area = StateProbe(playing, Pair.area, area_rows)
    height = StateProbe(playing, Pair.height, height_rows)
    right = StateProbe(playing, right_area, right_rows)
    rest_area = StateProbe(rest, Pair.area, area_rows)
    rest_height = StateProbe(rest, Pair.height, height_rows)
    open_area = area.value or np.nan
    lean = ((2.0 / open_area, right), (-2.0 * right.value / open_area**2, area))
    out = [
        Output("rest_area", rest_area.value, ((1.0, rest_area),)),
        Output("rest_height", rest_height.value, ((1.0, rest_height),)),
        Output("area", area.value, ((1.0, area),)),
        Output("height", height.value, ((1.0, height),)),
        Output("tilt", tilt_of(area.value, right.value), lean),
    ]
    if not playing.pair.alike:
        marked, plain = (
            StateProbe(playing, partial(closed_by, which=k), partial(closed_rows, which=k))
            for k in (0, 1)
        )
        m, p = marked.value, plain.value
        square = (m + p) ** 2 or np.nan  # nothing moved: no slope
        parts = ((2 * p / square, marked), (-2 * m / square, plain))
        out.append(Output("unevenness", unevenness_of(m, p), parts))
    return out


def closing_output(pair: Pair, state: State, *, snaps: bool) -> Output:
    """Build the closing pressure: where the area equals a tenth of the shape's rest area.

    Its derivatives are not numbers where the reed snaps shut or the lip alone closes it.
    """
    closing = tangent_at(pair, state)
    probe = StateProbe(closing, area_left, area_rows)
    slope = dot(area_rows(pair), closing.pressure_response())
    factor = np.nan if snaps or state.pressure == 0 else -1.0 / slope
    return Output("closing_pressure", state.pressure, ((factor, probe),))


def compliance_outputs(rest: Tangent) -> list[Output]:
    """Build outputs of the first small pressure."""
    area = ComplianceProbe(rest, area_rows)
    height = ComplianceProbe(rest, height_rows)
    volume = ComplianceProbe(rest, volume_rows)
    heart = ComplianceProbe(rest, heart_rows)
    h = height.value
    return [
        Output("compliance", -area.value, ((-1.0, area),)),
        Output("stiffness", -1 / h, ((1 / h**2, height),)),
        ratio("effective_area", volume, height, -1.0),
        ratio("separation", height, heart),
    ]


def mode_output(name: str, pair: Pair, modes: list[BladeModes], tangent: Tangent | None) -> Output:
    """Mean over the blades of the lowest frequency with both sides alike."""
    probes = []
    for k, m in enumerate(modes):
        i = m.first_symmetric
        probes.append(ModeProbe(float(m.frequencies[i]), m.shapes[:, i], k, tangent, pair))
    share = 1.0 / len(probes)
    return Output(name, share * sum(p.value for p in probes), tuple((share, p) for p in probes))


def mode_outputs(
    playing: Tangent, free: list[BladeModes], held: list[BladeModes], loaded: list[BladeModes]
) -> list[Output]:
    """Build outputs of the modes."""
    pair = playing.pair
    return [
        mode_output("mode_free", pair, free, None),
        mode_output("mode_held", pair, held, None),
        mode_output("mode_loaded", pair, loaded, playing),
    ]


def outputs_of(
    curve: OpeningCurve,
    playing: Tangent,
    free: list[BladeModes],
    held: list[BladeModes],
    loaded: list[BladeModes],
) -> dict[str, Output]:
    """All outputs of a solved reed, in the order of `OUTPUTS`."""
    found = [
        *state_outputs(playing, curve.rest),
        closing_output(playing.pair, curve.closing_state, snaps=curve.snaps),
        *compliance_outputs(curve.rest),
        *mode_outputs(playing, free, held, loaded),
    ]
    named = {o.name: o for o in found}
    return {name: named[name] for name in OUTPUTS if name in named}
