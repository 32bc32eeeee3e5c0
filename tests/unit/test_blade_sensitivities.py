"""Adjoint derivatives of every output against central differences of the whole solution.

The touching points are the same on both sides of every difference; where they change, derivatives
are one-sided and not compared.
"""

from dataclasses import replace

import numpy as np
import pytest

from crowlight.blade import Blades, BladeShape, Lip, MeshSize, typical_scrape
from crowlight.blade.blades import build
from crowlight.blade.effects import effects_of
from crowlight.blade.equilibrium import settle
from crowlight.blade.opening import opening_curve
from crowlight.blade.outputs import OUTPUTS, outputs_of
from crowlight.blade.pair import Pair
from crowlight.blade.probes import Nearby
from crowlight.blade.tangent import tangent_at
from crowlight.blade.vibration import free_modes, held_modes, loaded_modes

COARSE = MeshSize(across=4, front=5, behind=3)
PLAYING = 2.5e3
MODES = ("mode_free", "mode_held", "mode_loaded")


def lopsided() -> Blades:
    long, short = typical_scrape("long"), typical_scrape("short")
    change = np.linspace(0, 30e-6, 9)[None, :]
    return Blades(long.changed(change), short, shape=BladeShape(tilt=0.1), size=COARSE)


def solved(pair: Pair, start=None):
    """All outputs, converged far below the default tolerances."""
    tight = {"step_ends": 1e-13}
    curve = opening_curve(pair, tolerance=1e-12, **tight)
    state = curve.nearest(0.0) if start is None else start
    playing = tangent_at(pair, settle(pair, PLAYING, state, **tight))
    modes = [[kind(b, count=4) for b in pair.bodies] for kind in (free_modes, held_modes)]
    loaded = [loaded_modes(pair, k, playing.state, count=4) for k in range(len(pair.bodies))]
    return outputs_of(curve, playing, *modes, loaded)


CASES = {
    "two different blades": lopsided(),
    "tied with preload": replace(lopsided(), interference=20e-6),
    "under the lip": replace(lopsided(), lip=Lip(centre=7e-3, force=0.2)),
}


@pytest.fixture(scope="module", params=list(CASES))
def base(request):
    blades = CASES[request.param]
    pair = build(blades)
    return blades, pair, solved(pair)


@pytest.fixture(scope="module")
def thickness_differences(base):
    """Central differences of all outputs along one random change of both thickness maps."""
    blades, pair, outputs = base
    rng = np.random.default_rng(7)
    change = [rng.uniform(0.2, 1.0, b.grid.values.shape) for b in pair.bodies]
    step = 5e-8
    sides = []
    for sign in (1, -1):
        grids = [b.grid.changed(sign * step * c) for b, c in zip(pair.bodies, change, strict=True)]
        sides.append(solved(pair.with_grids(grids)))
    slopes = {n: (sides[0][n].value - sides[1][n].value) / (2 * step) for n in outputs}
    effects = effects_of(blades, pair, outputs)
    return slopes, effects.predict(marked=change[0], plain=change[1])


@pytest.mark.parametrize("name", OUTPUTS)
def test_thickness_gradient_is_the_central_difference(thickness_differences, name):
    slopes, adjoint = thickness_differences
    if abs(slopes[name]) < 1e-9 and abs(adjoint[name]) < 1e-9:
        assert name in {"rest_area", "rest_height"}  # a measured rest shape stays as it is
        return
    assert adjoint[name] == pytest.approx(slopes[name], rel=2e-3 if name in MODES else 1e-5, abs=0)


PARAMETERS = {
    "clip": (lambda b, t: b.clip(t), 2e-6),
    "stiffness along": (
        lambda b, t: replace(b, cane=b.cane.scaled(along=1 + t)),
        1e-4,
    ),
    "stiffness across": (lambda b, t: replace(b, cane=b.cane.scaled(across=1 + t)), 1e-4),
    "height at the thread": (
        lambda b, t: replace(b, shape=replace(b.shape, throat_height=b.shape.throat_height + t)),
        5e-7,
    ),
    "height at the tip": (
        lambda b, t: replace(b, shape=replace(b.shape, height=b.shape.height + t)),
        2e-7,
    ),
}


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_parameter_gradient_is_the_central_difference(parameter):
    change, step = PARAMETERS[parameter]
    blades = replace(lopsided(), shape=BladeShape(clipped=0.1e-3, tilt=0.1))
    pair = build(blades)
    outputs = solved(pair)
    plus, minus = (build(change(blades, s * step)) for s in (1, -1))
    nearby = Nearby(plus, minus, step)
    far = [solved(p) for p in (plus, minus)]
    cache: dict[int, float] = {}
    for name, output in outputs.items():
        slope = (far[0][name].value - far[1][name].value) / (2 * step)
        ours = output.by_parameter(nearby, cache)
        scale = max(abs(slope), 1e-6 * abs(output.value) / step)
        tolerance = 2e-3 if name in MODES else 2e-5
        assert ours == pytest.approx(slope, abs=tolerance * scale), name
