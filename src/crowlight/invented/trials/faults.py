"""Faults that are put into invented reeds on purpose: listed findings that the trial represents.

Sizes are the developers' choice around what common practice calls a fault; no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.invented.trials.truth import FRACTION, TrueReed

__all__ = ["CURABLE", "FAULTS", "Fault", "Kind", "draw_faults", "put_in"]

Real = NDArray[np.float64]

_BLADES, _SIDES = ("marked", "plain"), ("left", "right")


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault.

    Parameters
    ----------
    places : str
        As in the catalogue of findings: ``reed``, ``blade``, ``side``, ``quarter``.
    low, high : float
        Size: thickness or length [m], or the natural log of the opening.
    curable : bool
        Whether anything on the ladder mends it.
    weight : float
        How often it is drawn, against the others.
    faint : float
        Size far below what a gauge tells, same unit.
    """

    places: str
    low: float
    high: float
    curable: bool = True
    weight: float = 1.0
    faint: float = 0.0


_MM = 1e-3
FAULTS: Mapping[str, Kind] = {
    "heart-heavier": Kind("blade", 0.055 * _MM, 0.085 * _MM, weight=1.5, faint=0.006 * _MM),
    "heart-side-heavier": Kind("quarter", 0.055 * _MM, 0.080 * _MM, faint=0.006 * _MM),
    "heart-thick": Kind("reed", 0.045 * _MM, 0.075 * _MM, weight=1.5, faint=0.005 * _MM),
    "back-thick": Kind("reed", 0.050 * _MM, 0.080 * _MM, faint=0.005 * _MM),
    "tip-thick": Kind("reed", 0.018 * _MM, 0.028 * _MM, weight=1.5, faint=0.002 * _MM),
    "tip-heavier": Kind("blade", 0.018 * _MM, 0.030 * _MM, weight=1.5, faint=0.002 * _MM),
    "thick-corners": Kind("reed", 0.018 * _MM, 0.028 * _MM, faint=0.002 * _MM),
    "thick-corner": Kind("quarter", 0.022 * _MM, 0.035 * _MM, weight=1.5, faint=0.003 * _MM),
    "thin-side-of-tip": Kind("quarter", -0.020 * _MM, -0.014 * _MM, faint=-0.002 * _MM),
    "too-long": Kind("reed", 0.8 * _MM, 1.4 * _MM, faint=0.08 * _MM),
    "too-open": Kind("reed", 0.22, 0.35, faint=0.02),
    "closed": Kind("reed", -0.35, -0.22, faint=-0.02),
    "heart-thin": Kind("reed", -0.060 * _MM, -0.040 * _MM, curable=False, weight=0.5),
    "tip-thin": Kind("reed", -0.018 * _MM, -0.013 * _MM, curable=False, weight=0.5),
    "hand-thins-one-corner": Kind("side", -0.018 * _MM, -0.012 * _MM, curable=False, weight=0.5),
}
CURABLE = frozenset(code for code, kind in FAULTS.items() if kind.curable)
#: How many faults a reed has, and how often one is too faint for any gauge.
_COUNTS, _FAINT = (0.10, 0.75, 0.15), 0.10


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault in one reed: a finding of the catalogue, where it sits, and how large it is."""

    code: str
    blade: str
    side: str
    size: float
    faint: bool


def draw_faults(rng: np.random.Generator) -> tuple[Fault, ...]:
    """Draw none, one or two faults of different kinds."""
    count = int(rng.choice(3, p=_COUNTS))
    weights = np.array([kind.weight for kind in FAULTS.values()])
    codes = rng.choice(list(FAULTS), size=count, replace=False, p=weights / weights.sum())
    found: list[Fault] = []
    for code in codes.tolist():
        kind = FAULTS[code]
        blade = str(rng.choice(_BLADES)) if kind.places in ("blade", "quarter") else ""
        side = str(rng.choice(_SIDES)) if kind.places in ("side", "quarter") else ""
        size = float(rng.uniform(kind.low, kind.high))
        faint = bool(rng.random() < _FAINT) and kind.faint != 0.0
        found.append(Fault(code, blade, side, kind.faint if faint else size, faint))
    return tuple(found)


def put_in(reed: TrueReed, fault: Fault) -> TrueReed:
    """Return the reed with a fault."""
    if fault.code == "too-long":
        return replace(reed, length=reed.length + fault.size)
    if fault.code in ("too-open", "closed"):
        factor = float(np.exp(fault.size))
        return replace(reed, opening=reed.opening * factor, settled=reed.settled * factor)
    shape = _shape(reed, fault)
    blades = [fault.blade in ("", b) for b in _BLADES]
    return replace(
        reed, thick=reed.thick + fault.size * np.array(blades, float)[:, None, None] * shape
    )


def _shape(reed: TrueReed, fault: Fault) -> Real:
    """Return where a fault adds cane, 1 where it is most."""
    zones = reed.zones()
    u = np.broadcast_to(FRACTION[None, :], (len(reed.along), len(FRACTION)))
    side = {"": np.ones(u.shape), "left": _ramp(-u, 0.4), "right": _ramp(u, 0.4)}[fault.side]
    near = np.clip(1.0 - (reed.length - reed.along) / 3e-3, 0.0, 1.0)[:, None]
    tip = (zones["tip"] | (reed.along > reed.length)[:, None]).astype(float)
    match fault.code:
        case "heart-heavier" | "heart-side-heavier" | "heart-thick" | "heart-thin":
            return _soft(reed, zones["heart"].astype(float)) * side
        case "back-thick":
            return _soft(reed, zones["windows"].astype(float))
        case "thick-corners" | "thick-corner":
            return tip * near * _ramp(np.abs(u) - 0.3, 0.4) * side
        case _:
            return tip * side


def _ramp(x: Real, width: float) -> Real:
    return np.clip(x / width, 0.0, 1.0)


def _soft(reed: TrueReed, mask: Real) -> Real:
    """Let a patch end over half a millimetre, not as a step."""
    rows = np.ones(5) / 5.0
    padded = np.pad(mask, ((2, 2), (0, 0)), mode="edge")
    shifted = [w * padded[i : i + len(reed.along)] for i, w in enumerate(rows)]
    return np.sum(shifted, axis=0)
