"""Will this reed work where it is going, and what to do about it.

Predictions are intervals; advice is a list of codes with words in ``data/travel.toml``. Altitude
moves a threshold by a few per cent and a pitch by some cents, and moisture may do as much: that
comes first. What the advice may ask for depends on how far the reed is made. Blanks and cane can
still be given more opening; a finished reed cannot, and is not to be thinned for a journey.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.crow import (
    Onsets,
    ReedArrays,
    ReedParameters,
    Resonances,
    Staple,
    onsets,
    onsets_from,
    scaled,
    stacked,
    with_lip,
)
from crowlight.errors import OutsideModel
from crowlight.materials import place_pressure
from crowlight.plan.journey import Journey, travel_data
from crowlight.plan.travel_bores import bores_at
from crowlight.plan.travel_effects import Interval, TravelEffects, interval, travel_effects
from crowlight.plan.travel_history import Learned, TravelOutcome, learn_from_travelled

__all__ = [
    "Advice",
    "Claim",
    "Compensation",
    "Limits",
    "ReedState",
    "TravelAdvice",
    "compensation",
    "contested_claims",
    "travel_advice",
]

Real = NDArray[np.float64]

_SMALL = 0.035
"""Change of log density below which nothing is worth doing, about 300 m."""

_DRYNESS = 0.01
"""Change of equilibrium moisture worth a word [water per dry mass]."""

_LEFT_LONG = 0.3e-3
_SETTLING = 2.0


class ReedState(Enum):
    """How far a reed is made."""

    CANE = "cane"
    BLANK = "blank"
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class Limits:
    """Two ends between which to aim; neither is likelier than the other.

    Parameters
    ----------
    low, high : float
        Rising.
    unit : str
        ``"1"`` for a factor on what it is at home, ``"m"``, ``"days"``.
    """

    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do or not to do.

    Parameters
    ----------
    code : str
        Stable name.
    text : str
        In plain English.
    basis : str
        ``"physics"`` or ``"common practice"``.
    limits : Limits or None
        By how much, if a number belongs to it.
    """

    code: str
    text: str
    basis: str
    limits: Limits | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """Two things said in the trade that contradict each other.

    Parameters
    ----------
    code : str
        Stable name.
    claim, counter : str
        What is said, and what is said against it.
    said : str
        What this tool makes of it.
    """

    code: str
    claim: str
    counter: str
    said: str


def contested_claims() -> tuple[Claim, ...]:
    """List what the trade does not agree on.

    Returns
    -------
    tuple of Claim
        Never used in a calculation.

    Examples
    --------
    >>> contested_claims()[0].code
    'lighter-or-stronger'
    """
    return tuple(Claim(**row) for row in travel_data()["claims"])


@dataclass(frozen=True, slots=True)
class Compensation:
    """Two limiting ways to undo a change of air, as factors on the reed at home.

    Parameters
    ----------
    stiffness_alone : Interval
        On stiffness, opening unchanged: restores the threshold, not flow and range. Over draws and
        over the low and the middle note.
    opening_with, stiffness_with : float
        On opening (1 / r) and stiffness (r) together: restores loop gain and threshold.
    left_over : Interval
        What the joint change leaves of the middle threshold, relative; near 0 if the rule holds.
    used : int
        Draws that counted.
    """

    stiffness_alone: Interval
    opening_with: float
    stiffness_with: float
    left_over: Interval
    used: int


def _stiffness_for(target: Onsets, reeds: ReedArrays, bore: Resonances, r: float) -> Real:
    """Factor on stiffness that brings thresholds back to `target`, by a secant in logarithms."""
    wanted = np.log(target.pressure)
    last = np.zeros(len(wanted))
    factor = np.full(len(wanted), 0.2 * np.log(r))
    known = onsets_from(target, reeds, bore)
    miss = np.log(known.pressure) - wanted
    for _ in range(8):
        known = onsets_from(known, scaled(reeds, stiffness=np.exp(factor)), bore)
        new = np.log(known.pressure) - wanted
        if np.nanmax(np.abs(new), initial=0.0) < 1e-7:
            break
        bend = np.where(np.abs(new - miss) > 1e-12, (factor - last) / (new - miss), 0.0)
        step = np.clip(-new * bend, -0.2, 0.2)
        last, miss, factor = factor, new, factor + step
    return np.where(np.abs(np.log(known.pressure) - wanted) < 1e-3, np.exp(factor), np.nan)


def compensation(
    journey: Journey,
    reeds: Sequence[ReedParameters],
    *,
    rng: np.random.Generator,
    staple: Staple | None = None,
) -> Compensation:
    """Find the two limiting changes of a reed that undo the air of a journey.

    Parameters
    ----------
    journey : Journey
        Only its two pressures count here; rooms and moisture are left out.
    reeds : sequence of ReedParameters
        Draws of the reed as it crows.
    rng : numpy.random.Generator
        Source of chance for lips.
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.

    Returns
    -------
    Compensation
        Factors; 1 = as at home.

    Raises
    ------
    OutsideModel
        If fewer than 5 draws can be brought back.

    Notes
    -----
    With loop gain ~ rho sqrt(H / k) and threshold = g(gain) k H, opening H times 1 / r with
    stiffness k times r keeps both (r = density there over home). Exact only while wall losses
    dominate; `left_over` says how nearly.
    """
    room = journey.home.climate.temperature.middle
    home = bores_at(place_pressure(journey.home.place).pressure, room, staple)
    there = bores_at(place_pressure(journey.destination.place).pressure, room, staple)
    played = stacked(with_lip(reeds, rng=rng))
    r = there.notes["middle"].density / home.notes["middle"].density
    found = []
    left = np.zeros(0)
    for name in ("low", "middle"):
        before = onsets(played, home.notes[name], near=home.near(name))
        found.append(_stiffness_for(before, played, there.notes[name], r))
        if name == "middle":
            both = onsets_from(
                before, scaled(played, opening=1.0 / r, stiffness=r), there.notes[name]
            )
            left = both.pressure / before.pressure - 1.0
    factors = np.concatenate(found)
    used = int(np.isfinite(found).all(axis=0).sum())
    if used < 5:
        msg = f"only {used} draws of this reed can be brought back; no targets can be given"
        raise OutsideModel(msg)
    return Compensation(
        stiffness_alone=interval(factors),
        opening_with=1.0 / r,
        stiffness_with=r,
        left_over=interval(left),
        used=used,
    )


@dataclass(frozen=True, slots=True)
class TravelAdvice:
    """Everything the travel page shows.

    Parameters
    ----------
    state : ReedState
        What the advice is for.
    direction : {"up", "down", "level"}
        In air density; ``"level"`` within about 300 m.
    effects : TravelEffects
        What changes.
    compensation : Compensation or None
        For cane and blanks only, and not on the level.
    advice : tuple of Advice
        In the order to read.
    learned : tuple of Learned
        What the maker's own travelled reeds have shown, by effect.
    claims : tuple of Claim
        Contested, for reading only.
    """

    state: ReedState
    direction: Literal["up", "down", "level"]
    effects: TravelEffects
    compensation: Compensation | None
    advice: tuple[Advice, ...]
    learned: tuple[Learned, ...]
    claims: tuple[Claim, ...]


def _say(code: str, limits: Limits | None = None) -> Advice:
    row = travel_data()["advice"][code]
    return Advice(code, row["text"], row["basis"], limits)


def _ends(a: float, b: float) -> Limits:
    return Limits(min(a, b), max(a, b), "1")


def _for_making(state: ReedState, up: bool, made: Compensation) -> list[Advice]:
    """Targets for cane and blanks: between stiffness alone and opening with stiffness."""
    alone, r = made.stiffness_alone.middle, made.stiffness_with
    said = [
        _say("open-more" if up else "open-less", _ends(1.0, made.opening_with)),
        _say("softer-blade" if up else "stiffer-blade", _ends(alone, r)),
    ]
    if state is ReedState.CANE:
        # Rise of an arc over the same width goes as 1 / radius; stiffness as thickness cubed.
        said += [
            _say("smaller-tube" if up else "larger-tube", _ends(1.0, r)),
            _say("thinner-gouge" if up else "thicker-gouge", _ends(alone ** (1 / 3), r ** (1 / 3))),
            _say("tie-for-opening"),
        ]
    return [*said, _say("travel-unfinished"), _say("leave-long", _long())]


def _long() -> Limits:
    return Limits(_LEFT_LONG, _LEFT_LONG, "m")


def _days() -> Limits:
    return Limits(_SETTLING, _SETTLING, "days")


def _for_finished(direction: str) -> list[Advice]:
    never = [_say("no-thinning"), _say("no-crow-target")]
    if direction == "up":
        there = [_say("leave-long", _long()), _say("settle-there", _days()), _say("finish-there")]
        return never + there
    if direction == "down":
        return [*never, _say("play-first", _days()), _say("may-need-clip")]
    return never


def _advise(
    state: ReedState, direction: str, effects: TravelEffects, made: Compensation | None
) -> tuple[Advice, ...]:
    said: list[Advice] = []
    if made is not None:
        said += _for_making(state, direction == "up", made)
    elif state is ReedState.FINISHED:
        said += _for_finished(direction)
    drier = effects.drier_by
    if drier.middle > _DRYNESS and drier.low > 0.0:
        said.append(_say("dry-there"))
    elif drier.middle < -_DRYNESS and drier.high < 0.0:
        said.append(_say("damp-there"))
    elif direction == "level":
        said.insert(0, _say("nothing-to-do"))
    return tuple(said)


def travel_advice(
    journey: Journey,
    reeds: Sequence[ReedParameters],
    state: ReedState,
    *,
    rng: np.random.Generator,
    staple: Staple | None = None,
    outcomes: Sequence[TravelOutcome] = (),
    report: Callable[[float], None] | None = None,
) -> TravelAdvice:
    """Say what a journey does to a reed and what to do about it.

    Parameters
    ----------
    journey : Journey
        From where to where.
    reeds : sequence of ReedParameters
        Draws of the reed as it crows, at least 5; 200 give steady intervals.
    state : ReedState
        How far it is made.
    rng : numpy.random.Generator
        Source of chance.
    staple : Staple or None
        Sizes; the defaults of `Staple` if None.
    outcomes : sequence of TravelOutcome
        Follow-ups of this maker's travelled reeds.
    report : callable or None
        Called with the fraction done; may raise `Cancelled`.

    Returns
    -------
    TravelAdvice
        Effects, targets, advice, what was learned, what is contested.

    Raises
    ------
    OutsideModel
        If too few draws sound.

    Examples
    --------
    >>> from crowlight.crow import draw_reeds
    >>> from crowlight.materials import Place
    >>> from crowlight.plan import Site, usual_climate
    >>> mild = usual_climate("mild-season")
    >>> trip = Journey(Site(Place("Saltmarsh", 5.0), mild), Site(Place("Highfold", 2100.0), mild))
    >>> rng = np.random.default_rng(1)
    >>> told = travel_advice(trip, draw_reeds(rng, 30), ReedState.FINISHED, rng=rng)
    >>> [a.code for a in told.advice][:2]
    ['no-thinning', 'no-crow-target']
    """
    tell = report or (lambda _: None)
    effects = travel_effects(
        journey, reeds, rng=rng, staple=staple, report=lambda f: tell(0.75 * f)
    )
    change = float(np.log(effects.density_ratio))
    direction: Literal["up", "down", "level"] = "level"
    if abs(change) >= _SMALL:
        direction = "up" if change < 0.0 else "down"
    made = None
    if direction != "level" and state is not ReedState.FINISHED:
        made = compensation(journey, reeds, rng=rng, staple=staple)
    tell(0.95)
    learned = learn_from_travelled(effects, outcomes, rng=rng) if outcomes else ()
    tell(1.0)
    return TravelAdvice(
        state=state,
        direction=direction,
        effects=effects,
        compensation=made,
        advice=_advise(state, direction, effects, made),
        learned=learned,
        claims=contested_claims(),
    )
