"""Three invented reeds, and what shell and solid say about one blade of each."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from tests.referee import ccx
from tests.referee.solid import Bricks, Solid, Through, bricks

from crowlight.blade import Blades, BladeShape, MeshSize, ThicknessGrid, build, typical_scrape
from crowlight.blade.equilibrium import settle
from crowlight.blade.layers import layers_of
from crowlight.blade.pair import Pair, rest_guess
from crowlight.blade.tangent import rest_tangent
from crowlight.blade.threads import one_thread
from crowlight.blade.vibration import BladeModes, free_modes, held_modes

__all__ = [
    "PRESSURES",
    "REEDS",
    "Numbers",
    "by_shell",
    "by_solid",
    "free_deflections",
    "recognised",
    "scaled",
]

PRESSURES = (2e3, 4e3, 6e3)  # Pa
MODES = 6
NEAR = 0.03  # modes whose frequencies are no further apart may mix
FAR = 1.0  # m: a gap that never closes


def leaning(grid: ThicknessGrid, share: float) -> ThicknessGrid:
    """Make one edge thicker by a share and the other thinner."""
    return replace(grid, values=grid.values * (1 + share * grid.across))


REEDS: Mapping[str, Blades] = {
    "long": Blades(typical_scrape("long")),
    "short": Blades(typical_scrape("short")),
    "lopsided": Blades(leaning(typical_scrape("long"), 0.12), shape=BladeShape(tilt=0.2)),
}


def scaled(blades: Blades, share: float) -> Blades:
    """Scale the thickness everywhere."""
    return replace(blades, marked=replace(blades.marked, values=share * blades.marked.values))


@dataclass(frozen=True)
class Numbers:
    """What one model says about one blade.

    Parameters
    ----------
    free, held : ndarray, shape (6,)
        Frequencies with the thread alone held, and with the inner edges held in z too [Hz].
    free_tip, held_tip : float
        Fall of the middle of the tip per pressure, at first [m/Pa].
    gap : ndarray, shape (3,)
        Opening at the middle of the tip at 2, 4, 6 kPa, edges held, in parts of the rest opening.
    free_shapes, held_shapes : ndarray, shape (3 n_points, 6)
        Modes at the points of the solid's inner face.
    processor_s, wall_s : float
        What it took.
    """

    free: np.ndarray
    held: np.ndarray
    free_tip: float
    held_tip: float
    gap: np.ndarray
    free_shapes: np.ndarray
    held_shapes: np.ndarray
    processor_s: float
    wall_s: float


def free_deflection(pair: Pair) -> float:
    """Fall of the middle of the tip per pressure, thread alone held [m/Pa]."""
    body = pair.bodies[0]
    factor = body.shell.factor(body.shell.strain(np.zeros(body.shell.mesh.n_dof)))
    assert factor is not None
    return -float(body.middle_row @ factor.solve(body.push))


def at_points(pair: Pair, solid: Solid, modes: BladeModes) -> np.ndarray:
    """Shapes of the shell at the inner nodes of a solid."""
    xi, eta, _ = solid.parameters[solid.where(out=0.0)].T
    weights = pair.bodies[0].patch.weights(xi, eta)
    moved = np.einsum("pa,acm->pcm", weights, modes.shapes.reshape(weights.shape[1], 3, -1))
    return moved.reshape(3 * len(weights), -1)


def equal_layers(pair: Pair) -> Pair:
    """Return the same reed with every layer as wide as the inner face, as thin shells have it."""
    bodies = []
    for body in pair.bodies:
        old = body.shell.layers
        flat = layers_of(np.zeros_like(old.curvature), old.law, old.offset)
        bodies.append(replace(body, shell=replace(body.shell, layers=flat)))
    return replace(pair, bodies=tuple(bodies), shells=tuple(b.shell for b in bodies))


@one_thread
def by_shell(
    blades: Blades,
    *,
    count: Bricks | None = None,
    size: MeshSize | None = None,
    equal: bool = False,
) -> Numbers:
    """Ask the shell; shapes are given at the inner nodes of a solid of `count` bricks.

    `equal` gives every layer the width of the inner face.
    """
    work, wall = time.process_time(), time.perf_counter()
    pair = build(blades if size is None else replace(blades, size=size))
    pair = equal_layers(pair) if equal else pair
    body = pair.bodies[0]
    free, held = free_modes(body, count=MODES), held_modes(body, count=MODES)
    free_tip = free_deflection(pair)
    held_tip = -float(body.middle_row @ rest_tangent(pair).pressure_response()[0])
    # Only the edges may meet, as in the solid, which knows no contact.
    apart = replace(pair, gap=np.where(body.on_edge, pair.gap, FAR))
    state, gap = rest_guess(apart), []
    for pressure in PRESSURES:
        state = settle(apart, pressure, state)
        gap.append(apart.height(state.u) / apart.shape_height)
    work, wall = time.process_time() - work, time.perf_counter() - wall
    solid = bricks(*blades.blade(0)[:2], count)
    return Numbers(
        free=free.frequencies,
        held=held.frequencies,
        free_tip=free_tip,
        held_tip=held_tip,
        gap=np.array(gap),
        free_shapes=at_points(pair, solid, free),
        held_shapes=at_points(pair, solid, held),
        processor_s=work,
        wall_s=wall,
    )


def by_solid(
    blades: Blades,
    *,
    count: Bricks | None = None,
    acts: str = "dead",
    through: Through | None = None,
) -> Numbers:
    """Ask CalculiX."""
    shape, grid, cane = blades.blade(0)
    solid = bricks(shape, grid, count)
    free, held = (
        ccx.run(ccx.linear(solid, cane, held=h, modes=MODES, through=through))
        for h in (False, True)
    )
    load = ccx.Loaded(tuple(1e-6 * p for p in PRESSURES), acts)
    bent = ccx.run(ccx.loaded(solid, cane, load, through=through))
    inner = solid.where(out=0.0)
    tip = int(np.flatnonzero(inner == solid.tip_middle)[0])
    for answer in (free, held, bent):
        assert answer.displacements.shape[1:] == (len(inner), 3), "CalculiX left out nodes"
    assert len(bent.displacements) == len(PRESSURES)
    assert len(free.frequencies) == len(held.frequencies) == MODES
    return Numbers(
        free=free.frequencies,
        held=held.frequencies,
        free_tip=-1e-3 * free.displacements[0, tip, 2],
        held_tip=-1e-3 * held.displacements[0, tip, 2],
        gap=1 + bent.displacements[:, tip, 2] / solid.nodes[solid.tip_middle, 2],
        free_shapes=free.shapes.reshape(MODES, -1).T,
        held_shapes=held.shapes.reshape(MODES, -1).T,
        processor_s=sum(a.processor_s for a in (free, held, bent)),
        wall_s=sum(a.wall_s for a in (free, held, bent)),
    )


def free_deflections(blades: Blades) -> tuple[float, float, float]:
    """Fall of the middle of the tip per pressure, thread alone held.

    By the shell, by the shell with equal layers, and by the solid.
    """
    solid = bricks(*blades.blade(0)[:2])
    answer = ccx.run(ccx.linear(solid, blades.cane, held=False, modes=1))
    tip = np.flatnonzero(solid.where(out=0.0) == solid.tip_middle)[0]
    pair, solid_fall = build(blades), -1e-3 * float(answer.displacements[0, tip, 2])
    return free_deflection(pair), free_deflection(equal_layers(pair)), solid_fall


def recognised(frequencies: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Share of each shape of `a` that its namesake of `b` explains, shape (n_modes,).

    The modal assurance criterion; modes of `b` nearer than `NEAR` to the namesake's frequency may
    help, as two such modes mix at the least change.
    """
    shares = []
    for k, shape in enumerate(a.T):
        near = np.abs(frequencies / frequencies[k] - 1) < NEAR
        fitted = b[:, near] @ np.linalg.lstsq(b[:, near], shape)[0]
        shares.append(fitted @ fitted / (shape @ shape))
    return np.array(shares)
