"""The full answer for one reed: opening, closing, modes, flexibility, effects, in one call."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from crowlight.blade.band import Factor
from crowlight.blade.blades import Blades, build, notes_on
from crowlight.blade.effects import Effects, effects_of
from crowlight.blade.equilibrium import settle
from crowlight.blade.flexibility import FlexibilityMap, flexibility_map
from crowlight.blade.geometry import CHECK_MESH, MeshSize
from crowlight.blade.opening import OpeningCurve, opening_curve
from crowlight.blade.outputs import Output, outputs_of
from crowlight.blade.pair import Pair
from crowlight.blade.tangent import Tangent, tangent_at
from crowlight.blade.threads import one_thread
from crowlight.blade.tip import TipProfile, tip_profile
from crowlight.blade.vibration import (
    BladeModes,
    TrackedModes,
    free_modes,
    held_modes,
    loaded_modes,
    track,
)

__all__ = ["Lumped", "Mechanics", "evaluate", "lumped", "mesh_error"]

PLAYING = 4e3
MOST_CLOSED = 0.9


@dataclass(frozen=True)
class Lumped:
    """The reed as one spring and mass, for a model of reed and air.

    Parameters
    ----------
    rest_area : float
        Opening area at rest [m²].
    rest_height : float
        Opening height at rest [m].
    closing_pressure : float
        Pressure that leaves a tenth of the rest area [Pa].
    linear_closing_pressure : float
        Rest area over its first loss per pressure [Pa]; stiffness per area times rest height.
    stiffness : float
        Pressure per mean opening height lost, at first [Pa/m].
    swept_volume : float
        Volume swept per pressure, at first [m³/Pa]; acts as an air compliance.
    effective_area : float
        Volume swept by both blades per opening height lost [m²].
    mode : float
        Lowest mode with both sides alike, edges held [Hz].
    """

    rest_area: float
    rest_height: float
    closing_pressure: float
    linear_closing_pressure: float
    stiffness: float
    swept_volume: float
    effective_area: float
    mode: float


@dataclass(frozen=True)
class Mechanics:
    """What the blade model says about one reed.

    Parameters
    ----------
    blades : Blades
        The question.
    pair : Pair
        Meshed reed, for further questions.
    curve : OpeningCurve
        Opening against pressure.
    playing_pressure : float
        Pressure at which playing outputs are read [Pa].
    playing : Tangent
        The reed linearised there.
    values : mapping of str to float
        Outputs by name; see `crowlight.blade.OUTPUTS` for units.
    outputs : mapping of str to Output
        The same with their derivatives.
    effects : Effects or None
        What thickness at each grid node does to every output.
    free, held, loaded : tuple of BladeModes
        Modes of each blade: alone, edges held at rest, under the playing pressure.
    tracked : tuple of TrackedModes
        Modes of each blade along the opening curve; empty unless asked for.
    flexibility : tuple of FlexibilityMap
        Of each blade.
    rest_profile, playing_profile : TipProfile
        Opening across the tip.
    notes : tuple of str
        Where to read with care.
    """

    blades: Blades
    pair: Pair
    curve: OpeningCurve
    playing_pressure: float
    playing: Tangent
    values: Mapping[str, float]
    outputs: Mapping[str, Output]
    effects: Effects | None
    free: tuple[BladeModes, ...]
    held: tuple[BladeModes, ...]
    loaded: tuple[BladeModes, ...]
    tracked: tuple[TrackedModes, ...]
    flexibility: tuple[FlexibilityMap, ...]
    rest_profile: TipProfile
    playing_profile: TipProfile
    notes: tuple[str, ...]

    @property
    def tip_width(self) -> float:
        """Width of the tip as it is now [m]."""
        edges = self.pair.bodies[0].patch.control[-1, [0, -1], 0]
        return float(edges[1] - edges[0])


@one_thread
def evaluate(
    blades: Blades,
    *,
    playing_pressure: float = PLAYING,
    modes: int = 6,
    maps: bool = True,
    follow_modes: bool = False,
    warm: Mechanics | None = None,
    report: Callable[[float], None] | None = None,
) -> Mechanics:
    """Solve a reed.

    Parameters
    ----------
    blades : Blades
        The reed.
    playing_pressure : float
        Where playing outputs are read [Pa]; lowered to 0.9 of closing if the reed closes earlier.
    modes : int
        How many modes of each kind.
    maps : bool
        Whether to compute the effect and flexibility maps.
    follow_modes : bool
        Whether to follow the modes along the opening curve.
    warm : Mechanics, optional
        Answer for a similar reed, to start modes from.
    report : callable, optional
        Called with the share done; may raise `Cancelled`.

    Raises
    ------
    OutsideModel
        If the model has no answer for this reed; the message says why.

    Examples
    --------
    >>> from crowlight.blade import typical_scrape
    >>> answer = evaluate(Blades(typical_scrape()), maps=False)
    >>> 6e3 < answer.values["closing_pressure"] < 10e3
    True
    """
    tell = report or (lambda _: None)
    pair = build(blades)
    curve = opening_curve(pair, report=lambda done: tell(0.6 * done))
    pressure = min(playing_pressure, MOST_CLOSED * curve.closing_pressure)
    notes = list(notes_on(pair))
    if curve.closing_pressure == 0:
        notes.append(
            "the lip alone closes this reed: playing outputs are those at rest, and effects on the "
            "closing pressure are not defined"
        )
    elif pressure < playing_pressure:
        notes.append(f"closes early: playing outputs are read at {pressure / 1e3:.2f} kPa")
    if curve.snaps:
        notes.append("snaps shut: effects on the closing pressure are not defined")
    below = max((s for s in curve.states if s.pressure <= pressure), key=lambda s: s.pressure)
    playing = tangent_at(pair, settle(pair, pressure, below))
    tell(0.65)
    free, held, loaded = modes_of(curve.rest, playing, modes, warm)
    count = range(len(pair.bodies))
    tell(0.75)
    outputs = outputs_of(curve, playing, free, held, loaded)
    followed = tuple(track(pair, k, curve.states, count=modes) for k in count if follow_modes)
    tell(0.8)
    return Mechanics(
        blades=blades,
        pair=pair,
        curve=curve,
        playing_pressure=pressure,
        playing=playing,
        values={name: o.value for name, o in outputs.items()},
        outputs=outputs,
        effects=effects_of(blades, pair, outputs) if maps else None,
        free=tuple(free),
        held=tuple(held),
        loaded=tuple(loaded),
        tracked=followed,
        flexibility=tuple(flexibility_map(pair, k, curve.rest) for k in count) if maps else (),
        rest_profile=tip_profile(pair, curve.rest.state),
        playing_profile=tip_profile(pair, playing.state),
        notes=tuple(notes),
    )


def modes_of(
    rest: Tangent,
    playing: Tangent,
    modes: int,
    warm: Mechanics | None,
    *,
    tolerance: float = 1e-9,
) -> tuple[list[BladeModes], list[BladeModes], list[BladeModes]]:
    """Free, held and loaded modes of each blade, with the factors that are there already.

    Each search starts from the shapes of the blade or kind of mode before it.
    """
    pair = rest.pair
    old = warm if warm is not None and len(warm.free) == len(pair.bodies) else None
    if old is not None and (
        old.free[0].start.shape[0] != pair.bodies[0].shell.mesh.n_dof
        or old.free[0].start.shape[1] <= modes
    ):
        old = None
    free: list[BladeModes] = []
    held: list[BladeModes] = []
    loaded: list[BladeModes] = []
    for k, body in enumerate(pair.bodies):
        still = np.zeros(body.shell.mesh.n_dof)
        unbent = pair.shells[k] is body.shell and not rest.state.u[k].any()
        done = rest.factors[k] if unbent else body.shell.factor(body.shell.strain(still))
        done = done if isinstance(done, Factor) else None
        start = old.free[k].start if old else free[0].start if free else None
        free.append(free_modes(body, count=modes, start=start, done=done, tolerance=tolerance))
        start = (old.held[k] if old else (held or free)[0]).start
        held.append(held_modes(body, count=modes, start=start, done=done, tolerance=tolerance))
        bent = playing.factors[k]
        start = (old.loaded[k] if old else loaded[0] if loaded else held[k]).start
        loaded.append(
            loaded_modes(
                pair,
                k,
                playing.state,
                count=modes,
                start=start,
                done=bent if isinstance(bent, Factor) else None,
                tolerance=tolerance,
            )
        )
    return free, held, loaded


def mesh_error(answer: Mechanics, *, size: MeshSize = CHECK_MESH) -> dict[str, float]:
    """Compare every output with the same reed on a finer mesh.

    Returns
    -------
    dict of str to float
        Ours minus the finer mesh's, as a share of the finer; absolute for tilt and unevenness.
    """
    fine = evaluate(
        replace(answer.blades, size=size),
        playing_pressure=answer.playing_pressure,
        modes=len(answer.free[0].frequencies),
        maps=False,
    ).values
    signed = ("tilt", "unevenness")
    return {
        name: value - fine[name] if name in signed else value / fine[name] - 1.0
        for name, value in answer.values.items()
    }


def lumped(answer: Mechanics) -> Lumped:
    """Reduce a solved reed to one spring and mass.

    Examples
    --------
    >>> from crowlight.blade import typical_scrape
    >>> one = lumped(evaluate(Blades(typical_scrape()), maps=False))
    >>> one.linear_closing_pressure > one.closing_pressure  # arch flattening softens the reed
    True
    """
    values = answer.values
    height_lost = 1.0 / values["stiffness"]
    return Lumped(
        rest_area=values["rest_area"],
        rest_height=values["rest_height"],
        closing_pressure=values["closing_pressure"],
        linear_closing_pressure=values["rest_area"] / values["compliance"],
        stiffness=answer.tip_width / values["compliance"],
        swept_volume=values["effective_area"] * height_lost,
        effective_area=values["effective_area"],
        mode=values["mode_held"],
    )
