"""What a player feels and hears of a reed, against the reed they love, and how they say it.

Each sensation is a deviation from the loved reed over what this player lets pass, so the reed is
inside the target while all lie between -1 and 1. Which shape makes which sensation is common
practice, no source; sizes are the developers' choice. Taps, words and crow come from the sensations
through an ear with a bias of its own, which differs from player to player and from day to day.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.invented.trials.truth import FRACTION, TrueReed
from crowlight.judge.findings import Crow, Measured, Playing
from crowlight.judge.findings.evidence import Answer

__all__ = ["TOLERANCES", "Ear", "distance", "draw_ear", "hear", "inside", "play", "sensations"]

Real = NDArray[np.float64]

#: What a player lets pass: natural logs, lengths [m], balance [1].
TOLERANCES: Mapping[str, float] = {
    "effort": 0.26,
    "opening": 0.17,
    "attack": 0.014e-3,
    "corners": 0.014e-3,
    "chirp": 0.016e-3,
    "tips": 0.014e-3,
    "tip-sides": 0.014e-3,
    "heart": 0.035e-3,
    "hearts": 0.035e-3,
    "heart-sides": 0.035e-3,
    "back": 0.035e-3,
    "pitch": 0.6e-3,
    "balance": 0.10,
}


def sensations(
    reed: TrueReed,
    outputs: Mapping[str, float],
    loved: TrueReed,
    wanted: Mapping[str, float],
) -> dict[str, float]:
    """Return every sensation, in what this player lets pass."""
    mine, theirs = _shape(reed), _shape(loved)
    raw = {
        "effort": float(np.log(outputs["closing_pressure"] / wanted["closing_pressure"])),
        "opening": float(np.log(reed.opening / loved.opening)),
        "pitch": reed.length - loved.length,
        "balance": outputs["tilt"] - wanted["tilt"],
    }
    tip, heart, back = (
        mine[k] - theirs[k] for k in ("tip", "heart", "back")
    )  # (2, 2): blade, side
    corner = mine["corner"] - theirs["corner"]
    raw["attack"], raw["heart"], raw["back"] = (float(x.mean()) for x in (tip, heart, back))
    raw["corners"] = float(corner.mean())
    others = (corner.sum() - corner) / 3.0
    raw["chirp"] = float((corner - others).max())
    # unevenness is felt as it is, not against the loved reed
    raw["tips"] = float(np.subtract(*mine["tip"].mean(axis=1)))
    raw["hearts"] = float(np.subtract(*mine["heart"].mean(axis=1)))
    raw["tip-sides"], raw["heart-sides"] = (
        _largest(mine[k][:, 0] - mine[k][:, 1]) for k in ("tip", "heart")
    )
    return {name: raw[name] / tolerance for name, tolerance in TOLERANCES.items()}


def _largest(values: Real) -> float:
    return float(values[np.argmax(np.abs(values))])


def _shape(reed: TrueReed) -> dict[str, Real]:
    """Mean thickness of each zone by blade and side as seen, shape (2, 2) [m]."""
    zones = reed.zones()
    u = np.broadcast_to(FRACTION[None, :], zones["tip"].shape)
    near = (reed.length - reed.along <= 2.0e-3)[:, None]
    places = {
        "tip": zones["tip"],
        "corner": zones["tip"] & near & (np.abs(u) >= 0.55),
        "heart": zones["heart"],
        "back": zones["windows"],
    }
    return {
        name: np.array([[t[keep & (w * u > 0.05)].mean() for w in (-1, 1)] for t in reed.thick])
        for name, keep in places.items()
    }


def inside(felt: Mapping[str, float]) -> bool:
    """Return whether the reed is inside this player's target."""
    return max(abs(z) for z in felt.values()) <= 1.0


def distance(felt: Mapping[str, float]) -> float:
    """Return how far it is from it: quadratic near, linear far."""
    return float(sum(np.sqrt(1.0 + z * z) - 1.0 for z in felt.values()))


@dataclass(frozen=True, slots=True)
class Ear:
    """A player's ear: a lasting bias for each sensation, and scatter from one asking to the next.

    Parameters
    ----------
    bias : mapping of str to float
        In what they let pass.
    scatter : float
        The same.
    talks : float
        Chance that something felt is put into words.
    """

    bias: Mapping[str, float]
    scatter: float
    talks: float


def draw_ear(rng: np.random.Generator) -> Ear:
    """Draw a player's ear."""
    bias = {name: float(0.2 * rng.standard_normal()) for name in TOLERANCES}
    return Ear(bias, float(rng.uniform(0.15, 0.4)), float(rng.uniform(0.5, 0.9)))


def hear(felt: Mapping[str, float], ear: Ear, rng: np.random.Generator) -> dict[str, float]:
    """Return the sensations as this ear has them today."""
    return {
        n: z + ear.bias[n] + ear.scatter * float(rng.standard_normal()) for n, z in felt.items()
    }


_OPPOSITE: Mapping[Answer, Answer] = {"yes": "no", "no": "yes", "unsure": "unsure"}
#: Words a sensation brings, by its sign.
_WORDS: Mapping[tuple[str, int], tuple[str, ...]] = {
    ("effort", 1): ("hard",),
    ("effort", -1): ("soft",),
    ("opening", 1): ("open",),
    ("opening", -1): ("closed",),
    ("attack", 1): ("late", "no-soft", "tongue"),
    ("attack", -1): ("buzzy", "bright"),
    ("corners", 1): ("no-soft", "late"),
    ("corners", -1): ("buzzy",),
    ("chirp", 1): ("chirps",),
    ("tips", 0): ("wobbles",),
    ("tip-sides", 0): ("wobbles", "chirps"),
    ("heart", 1): ("hard",),
    ("heart", -1): ("sags", "no-high"),
    ("hearts", 0): ("wobbles",),
    ("heart-sides", 0): ("wobbles",),
    ("back", 1): ("no-low",),
    ("back", -1): ("sags", "rattles"),
    ("pitch", 1): ("flat",),
    ("pitch", -1): ("sharp",),
    ("balance", 0): ("wobbles",),
}


def play(felt: Mapping[str, float], ear: Ear, rng: np.random.Generator) -> Playing:
    """Return the playing test and the player's words."""
    z = hear(felt, ear, rng)
    uneven = max(abs(z[n]) for n in ("tips", "tip-sides", "hearts", "heart-sides", "balance"))

    def answer(trouble: float) -> Answer:
        """Yes when all is well, no when it is not; near the limit nobody is sure."""
        if abs(trouble - 1.0) < 0.15:
            return "unsure"
        return "no" if trouble > 1.0 else "yes"

    loose = answer(max(-z["heart"], -z["back"], -z["effort"]))
    words: set[str] = set()
    for (name, sign), choice in _WORDS.items():
        size = abs(z[name]) if sign == 0 else sign * z[name]
        if size > 1.0 and rng.random() < ear.talks:
            words.add(str(rng.choice(choice)))
    return Playing(
        low_soft_attack=answer(max(z["attack"], z["corners"], z["effort"], z["back"])),
        slurred_octaves=answer(max(uneven - 0.3, z["heart"] - 0.2)),
        high_notes_hold=answer(max(-z["heart"], z["pitch"])),
        sags_when_lip_loosens=_OPPOSITE[loose],
        tongues_cleanly=answer(max(z["attack"], z["opening"], z["corners"] - 0.2)),
        soft_to_loud=answer(max(-z["effort"], -z["opening"], -z["attack"])),
        words=frozenset(words),
    )


def crow(felt: Mapping[str, float], rng: np.random.Generator) -> Crow:
    """Return what a recording of the crow would be taken for, at the level a plan uses."""
    z = {n: v + 0.2 * float(rng.standard_normal()) for n, v in felt.items()}
    uneven = max(abs(z[n]) for n in ("tips", "tip-sides", "hearts", "heart-sides", "balance"))
    thin = max(-z["attack"], -z["corners"], -z["back"])
    rough = max(uneven, z["chirp"], thin)
    score = np.array([1.6 * (1.0 - rough), 0.0, 1.6 * (max(thin, z["chirp"]) - 1.6)])
    score = score + 0.5 * rng.standard_normal(3)
    p = np.exp(score - score.max())
    p = p / p.sum()
    wobble = 7.0 * max(uneven - 0.7, 0.0) + 4.0 * float(rng.standard_normal())
    cents = (
        -9.0 * z["pitch"]
        + 12.0 * z["heart"]
        + 12.0 * z["back"]
        + 12.0 * float(rng.standard_normal())
    )
    stiff = max(z["back"], z["heart"])
    first = "rattle" if p[2] > 0.5 else "high" if stiff > 1.2 else "low" if stiff < -1.2 else "both"
    return Crow(
        clean=float(p[0]),
        mixed=float(p[1]),
        rattling=float(1.0 - p[0] - p[1]),
        speaks="yes",
        first=first,
        cents=Measured(cents, 14.0),
        unsteadiness=Measured(wobble, 5.0),
    )
