"""What this player wants of this reed: values with tolerances, from the best that is known of them.

A reed they love, measured; else their words against the reed as it is; else the maker's good reeds;
else the scrape style. Evenness is always wanted, as even as the style calls even.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.plan.cut.features import Features, features
from crowlight.plan.cut.now import ReedNow

__all__ = ["Goal", "Model", "Source", "Target", "Words", "target"]

Real = NDArray[np.float64]
Source = Literal["loved reed", "words", "good reeds", "style", "none"]

#: Outputs a target may name, with the tolerance of one reed to the next as a share of the value and
#: the weight against the others (our choice; no source).
_OUTPUTS: Mapping[str, tuple[float, float]] = {
    "rest_height": (0.12, 1.0),
    "closing_pressure": (0.15, 1.0),
    "stiffness": (0.15, 0.5),
    "separation": (0.10, 0.5),
}
#: Balance wanted of any reed: nothing, within so much (our choice).
_BALANCE: Mapping[str, float] = {"tilt": 0.04, "unevenness": 0.06}
#: How far a word at the end of its scale moves an output, natural log (our choice): easy to
#: resistant by closing pressure and stiffness; closed to open by the opening; covered to bright by
#: how separately the tip moves (common practice: a thinner, freer tip is brighter).
_STEP = 0.2
#: Weight of a thickness against an output of the blade model: one number of several hundred.
_THICKNESS, _EVENNESS, _LENGTH = 0.3, 0.5, 0.5
#: How far reeds of one hand lie from the one they copy, as a share of the style's spread from good
#: reed to good reed (our choice).
_ONE_HAND = 0.5


@dataclass(frozen=True, slots=True)
class Goal:
    """One thing wanted.

    Parameters
    ----------
    name : str
        An output of the blade model, a feature of the map, or ``"length"``.
    value : float
        In its unit.
    tolerance : float
        What does not matter, one standard deviation, same unit; > 0.
    weight : float
        Against the others.

    Raises
    ------
    InputError
        If the tolerance or weight cannot be right.
    """

    name: str
    value: float
    tolerance: float
    weight: float = 1.0

    def __post_init__(self) -> None:
        if not (self.tolerance > 0 and self.weight > 0 and math.isfinite(self.value)):
            msg = (
                f"goal {self.name}: value {self.value:g}, tolerance {self.tolerance:g}, weight "
                f"{self.weight:g}; tolerance and weight must be above 0"
            )
            raise InputError(msg)


@dataclass(frozen=True, slots=True)
class Words:
    """What a player would like instead of the reed as it is; each from -1 to 1, None says nothing.

    Parameters
    ----------
    easy_resistant, covered_bright, closed_open : float, optional
        Towards the second word is positive; 0: as it is.

    Raises
    ------
    InputError
        If a number lies outside its scale.
    """

    easy_resistant: float | None = None
    covered_bright: float | None = None
    closed_open: float | None = None

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            if value is not None and not -1 <= value <= 1:
                msg = f"{name} = {value:g} is off its scale from -1 to 1"
                raise InputError(msg)

    @property
    def said(self) -> bool:
        """Whether anything was said."""
        return any(getattr(self, name) is not None for name in self.__slots__)


@dataclass(frozen=True, slots=True)
class Model:
    """A reed, or the mean of several, to come close to.

    Parameters
    ----------
    outputs : mapping of str to float
        Outputs of the blade model; what is missing is not aimed at.
    thickness : ndarray, shape (2, n_along, n_across), optional
        Its map laid on the grid of the reed planned for [m].
    length : float, optional
        Overall length [m].
    spread : mapping of str to float
        Standard deviation of an output among good reeds, where known; same unit.
    """

    outputs: Mapping[str, float]
    thickness: Real | None = None
    length: float | None = None
    spread: Mapping[str, float] | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """What to come close to.

    Parameters
    ----------
    source : str
        Where it comes from.
    goals : tuple of Goal
        What is wanted.
    """

    source: Source
    goals: tuple[Goal, ...]


def target(
    reed: ReedNow,
    *,
    loved: Model | None = None,
    words: Words | None = None,
    good: Model | None = None,
) -> Target:
    """Return the target of a reed from the best source there is.

    Parameters
    ----------
    reed : ReedNow
        The reed planned for.
    loved : Model, optional
        A reed this player loves.
    words : Words, optional
        What the player would like instead of this reed.
    good : Model, optional
        The maker's good reeds.

    Returns
    -------
    Target
        Outputs and thicknesses from the source; evenness and length from the style where the
        source does not say.
    """
    named = features(reed)
    source: Source
    if loved is not None:
        source, goals = "loved reed", _like(reed, loved, named)
    elif words is not None and words.said:
        source, goals = "words", _worded(reed, words)
    elif good is not None:
        source, goals = "good reeds", _like(reed, good, named)
    else:
        source, goals = "style", _styled(reed, named)
    have = {g.name for g in goals}
    return Target(source, (*goals, *(g for g in _even(reed, named) if g.name not in have)))


def _like(reed: ReedNow, model: Model, named: Features) -> list[Goal]:
    goals: list[Goal] = []
    for name, (share, weight) in _OUTPUTS.items():
        value = model.outputs.get(name)
        if value is not None and name in reed.names and value > 0:
            spread = (model.spread or {}).get(name, 0.0)
            goals.append(Goal(name, value, max(share * value, spread), weight))
    if model.thickness is not None:
        goals.extend(_thick(reed, model.thickness, named, share=_ONE_HAND))
    if model.length is not None:
        goals.append(Goal("length", model.length, 2 * _figure(reed, "overall"), _LENGTH))
    return goals


def _worded(reed: ReedNow, words: Words) -> list[Goal]:
    scales = {
        "closing_pressure": words.easy_resistant,
        "stiffness": words.easy_resistant,
        "separation": words.covered_bright,
        "rest_height": words.closed_open,
    }
    goals: list[Goal] = []
    for name, said in scales.items():
        # what was not asked for stays as it is
        if name in reed.names:
            share, weight = _OUTPUTS[name]
            now = float(reed.values[reed.names.index(name)])
            value = now * math.exp(_STEP * (said or 0.0))
            goals.append(Goal(name, value, share * value, weight * (1.0 if said else 0.5)))
    return goals


def _styled(reed: ReedNow, named: Features) -> list[Goal]:
    across = reed.style.outline.half_width(reed.along)[:, None] * reed.fraction
    one = reed.style.thickness(reed.along[:, None], across)
    return _thick(reed, np.stack([one, one]), named)


def _thick(reed: ReedNow, wanted: Real, named: Features, *, share: float = 1.0) -> list[Goal]:
    """Thickness of each zone, and how the tip falls to its sides."""
    across = reed.style.outline.half_width(reed.along)[:, None] * reed.fraction
    spread = reed.style.spread(reed.along[:, None], across)
    values = named.of(wanted)
    goals: list[Goal] = []
    for k, name in enumerate(named.names):
        parts = name.split("/")
        if parts[-1] in ("sides", "blades"):
            continue
        # neighbours vary together: the mean of the spreads, not their root mean square over n
        positive = np.maximum(named.weights[k], 0.0).sum(axis=0)
        tolerance = share * float((positive * spread).sum())
        goals.append(Goal(name, float(values[k]), tolerance, _THICKNESS))
    return goals


def _even(reed: ReedNow, named: Features) -> list[Goal]:
    goals = [Goal(n, 0.0, t) for n, t in _BALANCE.items() if n in reed.names]
    for name in named.names:
        zone, kind = name.split("/")[0], name.split("/")[-1]
        of = reed.style.zone(zone).tolerance
        tolerance = {"sides": of.sides, "blades": of.blades}.get(kind)
        if tolerance:
            goals.append(Goal(name, 0.0, tolerance, _EVENNESS))
    overall = reed.style.lengths["overall"]
    goals.append(Goal("length", overall.value, max(2 * overall.spread, 0.5e-3), _LENGTH))
    return goals


def _figure(reed: ReedNow, name: str) -> float:
    return max(reed.style.lengths[name].spread, 0.25e-3)
