"""What the maker's own travelled reeds have shown, joined with physics.

Each follow-up compares what was observed with a change of air density. The maker's reeds share a
slope (effect per unit of log density) that physics knows only roughly; reeds differ around it. With
few reeds the answer stays that of physics, and says so.

=========  ================================================================
symbol     meaning
=========  ================================================================
x          log of density at home over density there; positive going up
b          the maker's mean slope, prior normal from the model's draws
tau        spread of slopes between reeds, prior half normal
y, e       observed effect and its accuracy:  y = x (b + tau z) + e
=========  ================================================================
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.plan.travel_effects import Effect, Interval, TravelEffects, interval

__all__ = ["Learned", "SlopePosterior", "TravelOutcome", "learn_from_travelled", "slope_posterior"]

Real = NDArray[np.float64]

_FEW = 3
_SMALLEST = 0.01


@dataclass(frozen=True, slots=True)
class TravelOutcome:
    """One effect observed on one travelled reed.

    Parameters
    ----------
    effect : str
        Name of an effect, such as ``"crow-pitch"`` or ``"threshold"``.
    density_ratio : float
        Air there over air at home; not 1.
    observed : float
        Change found, in the effect's unit: relative, or cents.
    accuracy : float
        Standard error of that, > 0.

    Raises
    ------
    InputError
        If a value cannot be used.

    Examples
    --------
    >>> TravelOutcome("crow-pitch", 0.82, 45.0, 15.0).observed
    45.0
    """

    effect: str
    density_ratio: float
    observed: float
    accuracy: float

    def __post_init__(self) -> None:
        if not 0.4 <= self.density_ratio <= 2.5:
            msg = f"density ratio {self.density_ratio:g} is outside 0.4 to 2.5; check the altitudes"
            raise InputError(msg)
        if abs(np.log(self.density_ratio)) < _SMALLEST:
            msg = (
                f"density ratio {self.density_ratio:g} is no journey: follow-ups need at least "
                "1 % of change, about 100 m"
            )
            raise InputError(msg)
        if not (np.isfinite(self.observed) and self.accuracy > 0.0):
            msg = (
                f"{self.effect}: observed {self.observed:g} with accuracy {self.accuracy:g} cannot "
                "be used; the accuracy must be positive, such as 15 cents for a crow"
            )
            raise InputError(msg)


@dataclass(frozen=True, slots=True)
class SlopePosterior:
    """Posterior of the maker's slope on a grid of spreads between reeds.

    Parameters
    ----------
    spread : ndarray, shape (grid,)
        Values of tau.
    weight : ndarray, shape (grid,)
        Posterior probability of each.
    mean, deviation : ndarray, shape (grid,)
        Of the slope, given the spread.
    """

    spread: Real
    weight: Real
    mean: Real
    deviation: Real

    def draw(self, rng: np.random.Generator, size: int) -> tuple[Real, Real]:
        """Draw slopes and spreads.

        Parameters
        ----------
        rng : numpy.random.Generator
            Source of chance.
        size : int
            How many.

        Returns
        -------
        slope, spread : ndarray, shape (size,)
            Joint draws.
        """
        i = rng.choice(len(self.weight), size=size, p=self.weight)
        slope = self.mean[i] + self.deviation[i] * rng.standard_normal(size)
        return slope, self.spread[i]


def slope_posterior(
    x: Real,
    y: Real,
    accuracy: Real,
    *,
    prior_mean: float,
    prior_deviation: float,
    spread_scale: float,
    grid: int = 60,
) -> SlopePosterior:
    """Join observations with a normal prior on the slope and a half normal one on the spread.

    Parameters
    ----------
    x : ndarray, shape (reeds,)
        Change that each reed underwent, not 0.
    y : ndarray, shape (reeds,)
        Observed effects.
    accuracy : ndarray, shape (reeds,)
        Standard errors, > 0.
    prior_mean, prior_deviation : float
        Of the slope; the deviation > 0.
    spread_scale : float
        Scale of the half normal prior of the spread between reeds, >= 0; 0 takes all reeds as one.
    grid : int
        Values of the spread.

    Returns
    -------
    SlopePosterior
        Exact given each spread; the spread is summed over a grid to four scales.

    References
    ----------
    Gelman et al. 2013, Bayesian Data Analysis, 3rd ed., section 5.4, equations (5.18) to (5.21),
    with a normal in place of the flat prior of the mean.

    Examples
    --------
    >>> one = np.array([1.0])
    >>> found = slope_posterior(
    ...     one, 3.0 * one, one, prior_mean=0.0, prior_deviation=1.0, spread_scale=0.0
    ... )
    >>> float(found.mean[0])
    1.5
    """
    tau = np.linspace(0.0, 4.0 * spread_scale, grid) if spread_scale > 0.0 else np.zeros(1)
    slopes, errors = y / x, accuracy / np.abs(x)
    variance = errors**2 + tau[:, None] ** 2  # shape (grid, reeds)
    precision = (1.0 / variance).sum(axis=1) + 1.0 / prior_deviation**2
    mean = ((slopes / variance).sum(axis=1) + prior_mean / prior_deviation**2) / precision
    log_weight = -0.5 * (tau / spread_scale) ** 2 if spread_scale > 0.0 else np.zeros_like(tau)
    log_weight = (
        log_weight
        - 0.5 * np.log(variance).sum(axis=1)
        - 0.5 * np.log(precision)
        - 0.5 * ((slopes - mean[:, None]) ** 2 / variance).sum(axis=1)
        - 0.5 * ((mean - prior_mean) / prior_deviation) ** 2
    )
    weight = np.exp(log_weight - log_weight.max())
    return SlopePosterior(tau, weight / weight.sum(), mean, 1.0 / np.sqrt(precision))


@dataclass(frozen=True, slots=True)
class Learned:
    """One effect as physics has it, as the maker's reeds have it, and joined.

    Parameters
    ----------
    effect, unit : str
        Which effect, in which unit.
    reeds : int
        Follow-ups behind it.
    physics : Interval
        The model alone, for this journey.
    own : Interval
        The maker's reeds alone, for this journey.
    joined : Interval
        Prediction for the next reed.
    verdict : {"too few", "agrees", "disagrees"}
        Own reeds against physics; ``"too few"`` below three reeds.
    """

    effect: str
    unit: str
    reeds: int
    physics: Interval
    own: Interval
    joined: Interval
    verdict: Literal["too few", "agrees", "disagrees"]


def learn_from_travelled(
    effects: TravelEffects, outcomes: Sequence[TravelOutcome], *, rng: np.random.Generator
) -> tuple[Learned, ...]:
    """Join the model's effects with follow-ups of travelled reeds.

    Parameters
    ----------
    effects : TravelEffects
        Of the journey in question.
    outcomes : sequence of TravelOutcome
        Of this maker's earlier reeds, on any journeys.
    rng : numpy.random.Generator
        Source of chance for intervals.

    Returns
    -------
    tuple of Learned
        One per effect that was observed at least once; empty on a level journey.

    Notes
    -----
    The effect of altitude is taken to grow with the logarithm of density. What rooms and moisture
    may do on this journey counts as noise on every follow-up and comes back in the prediction.
    Days of rest or another player are in the observations too, so an agreement is weak evidence for
    physics and a disagreement is first a question.
    """
    x0 = -float(np.log(effects.density_ratio))
    if abs(x0) < _SMALLEST:
        return ()
    learned = []
    for name in dict.fromkeys(o.effect for o in outcomes):
        effect = effects.named(name)
        learned.append(_learn(effect, [o for o in outcomes if o.effect == name], x0, rng))
    return tuple(learned)


def _learn(
    effect: Effect, outcomes: list[TravelOutcome], x0: float, rng: np.random.Generator
) -> Learned:
    size = 4000
    x = np.array([-np.log(o.density_ratio) for o in outcomes])
    y = np.array([o.observed for o in outcomes])
    rest = effect.draws - effect.by_altitude
    accuracy = np.hypot([o.accuracy for o in outcomes], rest.std())
    slopes = effect.by_altitude / x0
    middle, deviation = float(slopes.mean()), float(max(slopes.std(), 1e-9))
    # Half of what the model leaves open is taken as difference between reeds.
    scale = 0.5 * deviation
    joined = slope_posterior(
        x, y, accuracy, prior_mean=middle, prior_deviation=deviation, spread_scale=scale
    )
    slope, spread = joined.draw(rng, size)
    predicted = x0 * (slope + spread * rng.standard_normal(size)) + rng.choice(rest, size)
    flat = slope_posterior(
        x, y, accuracy, prior_mean=middle, prior_deviation=1e3 * deviation, spread_scale=scale
    )
    own, _ = flat.draw(rng, size)
    verdict: Literal["too few", "agrees", "disagrees"] = "too few"
    if len(outcomes) >= _FEW:
        gap = float(own.mean()) - middle
        verdict = "disagrees" if abs(gap) > 2.0 * np.hypot(own.std(), deviation) else "agrees"
    return Learned(
        effect=effect.name,
        unit=effect.unit,
        reeds=len(outcomes),
        physics=effect.together,
        own=interval(x0 * own),
        joined=interval(predicted),
        verdict=verdict,
    )
