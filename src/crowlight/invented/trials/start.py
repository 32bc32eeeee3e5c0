"""Players with the reeds they love, and the reeds that are brought to the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import OutsideModel
from crowlight.invented.reeds import draw_reed, measure, planned_places
from crowlight.invented.trials.bench import Gauged
from crowlight.invented.trials.faults import Fault, draw_faults, put_in
from crowlight.invented.trials.feel import Ear, draw_ear
from crowlight.invented.trials.knife import Knife, draw_knife
from crowlight.invented.trials.seeds import PER_PLAYER, Variant
from crowlight.invented.trials.truth import (
    FRACTION,
    Solved,
    TrueReed,
    Tube,
    along_of,
    solve,
    unevenly,
)
from crowlight.reed import Blade
from crowlight.reed.styles import Style, style

__all__ = ["Player", "Start", "gauge", "player_of", "start"]

Real = NDArray[np.float64]

_STYLE = "long"
#: Standard uncertainty of an opening from a photograph and of a length from a caliper [m].
OPENING, LENGTH = 0.03e-3, 0.08e-3
#: How the maker's reeds scatter about the loved one: levels of a zone, on both blades and on each
#: [m]; the opening (natural log); the length [m]; the cane from tube to tube (natural log).
_LEVELS: Mapping[str, float] = {"tip": 3e-6, "heart": 9e-6, "windows": 9e-6, "spine": 9e-6}
_BLADE, _UNEVEN = 0.35, 4e-6
_OPENINGS, _LENGTHS, _TUBES = 0.05, 0.15e-3, 0.08
#: How the world is off from the planner's cane, the same for all reeds of a player (natural log).
_CANE = 0.15
_TRIES = 20


@dataclass(frozen=True)
class Player:
    """A player with a maker: what they love, the ear, the hand.

    Parameters
    ----------
    number : int
        Which.
    loved : TrueReed
        The loved reed.
    wanted : mapping of str to float
        What it truly does.
    gauged : Gauged
        The loved reed as it was measured.
    ear : Ear
        The player's.
    knife : Knife
        The maker's.
    """

    number: int
    loved: TrueReed
    wanted: Mapping[str, float]
    gauged: Gauged
    ear: Ear
    knife: Knife


@dataclass(frozen=True)
class Start:
    """A reed brought to the bench, the same for all policies."""

    player: Player
    solved: Solved
    faults: tuple[Fault, ...]


@lru_cache(maxsize=4)
def player_of(number: int, variant: Variant) -> Player:
    """Draw a player, the same each time."""
    rng = np.random.default_rng([8_211, number])
    for _ in range(_TRIES):
        nominal = style(_STYLE)
        drawn = draw_reed(rng, even=True)
        along = along_of(nominal, nominal.lengths["overall"].value + 3e-3)
        half = nominal.outline.half_width(along)[:, None]
        thick = np.stack(
            [drawn.surfaces[b](*np.broadcast_arrays(along[:, None], FRACTION)) for b in Blade]
        )
        # a loved reed is one whose unevenness was worked out
        even = thick.mean(axis=0)
        even = 0.5 * (even + even[:, ::-1])
        thick = even + 0.35 * (thick - even)
        opening = float(rng.uniform(0.58e-3, 0.75e-3))
        loved = TrueReed(
            nominal,
            along,
            np.maximum(thick, 0.03e-3) + 0.0 * half,
            float(np.mean(list(drawn.transition.values()))),
            drawn.style.length,
            opening,
            opening,
            _tube(rng, Tube(along=variant.stiff, across=variant.soft, shear=variant.soft), _CANE),
        )
        try:
            wanted = solve(loved).answer.values
        except OutsideModel:
            continue
        return Player(
            number,
            loved,
            wanted,
            gauge(loved, rng, half=False, rough=variant.rough),
            draw_ear(rng),
            draw_knife(rng),
        )
    msg = f"no invented reed of player {number} has an answer"
    raise OutsideModel(msg)


def _tube(rng: np.random.Generator, of: Tube, spread: float) -> Tube:
    def factor(share: float) -> float:
        return float(np.exp(share * spread * rng.standard_normal()))

    return Tube(
        of.along * factor(1.0),
        of.across * factor(1.0),
        of.shear * factor(1.0),
        of.density * factor(0.4),
        of.throat * factor(0.3),
        of.interference * factor(3.0),
    )


def _other_cane(rng: np.random.Generator, of: Tube, off: float) -> Tube:
    factor = float(np.exp(off * rng.choice((-1.0, 1.0))))
    return replace(of, along=of.along * factor, across=of.across * factor, shear=of.shear * factor)


@lru_cache(maxsize=2)
def start(seed: int, variant: Variant) -> Start:
    """Draw and solve the reed of a seed, the same each time."""
    player = player_of(seed // PER_PLAYER, variant)
    rng = np.random.default_rng([8_212, seed])
    for _ in range(_TRIES):
        faults = draw_faults(rng)
        reed = _sister(rng, player.loved)
        if variant.unlike:
            reed = replace(reed, tube=_other_cane(rng, reed.tube, variant.unlike))
        for fault in faults:
            reed = put_in(reed, fault)
        reed = replace(reed, thick=np.maximum(reed.thick, 0.02e-3))
        try:
            return Start(player, solve(reed), faults)
        except OutsideModel:
            continue
    msg = f"no invented reed of seed {seed} has an answer"
    raise OutsideModel(msg)


def _sister(rng: np.random.Generator, loved: TrueReed) -> TrueReed:
    """Return another reed of the same hand, as good as that hand usually is."""
    zones = loved.zones()
    off = unevenly(rng, loved.thick.shape, _UNEVEN)
    off = off * np.clip(loved.thick / 0.3e-3, 0.3, 1.0)
    for name, size in _LEVELS.items():
        both, each = rng.standard_normal(), rng.standard_normal(len(Blade))
        level = size * (both + _BLADE * each)
        off = off + level[:, None, None] * zones[name]
    opening = loved.opening * float(np.exp(_OPENINGS * rng.standard_normal()))
    return replace(
        loved,
        thick=loved.thick + off,
        length=loved.length + _LENGTHS * float(rng.standard_normal()),
        opening=opening,
        settled=opening,
        tube=_tube(rng, loved.tube, _TUBES),
    )


def gauge(reed: TrueReed, rng: np.random.Generator, *, half: bool, rough: float = 0.0) -> Gauged:
    """Let the maker measure a reed: wet, drying while it is measured, few points, real noise."""
    drawn = reed.to_gauge()
    length = reed.length + LENGTH * float(rng.standard_normal())
    placed: Style = reed.style.placed(length)
    readings = measure(drawn, planned_places(placed, quick=half), rng, seconds=5.0)
    if rough:
        off = rough * rng.standard_normal(len(readings))
        readings = tuple(
            replace(r, thickness=max(r.thickness + float(e), 0.03e-3))
            for r, e in zip(readings, off, strict=True)
        )
    return Gauged(readings, length, reed.opening + OPENING * float(rng.standard_normal()))
