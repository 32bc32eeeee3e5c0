r"""From readings to the posterior of both blades' thickness.

Model: reading = foot average of (profile(θ) + unevenness) + drying + offset + placement + noise.
θ, the levels and lines of both blades, has a normal prior from the style, common to the blades in
part; the unevenness is a Gaussian process. The profile is linear in the levels but not in the
lines, so it is linearised at the most probable θ (Gauss-Newton), after which everything is the
exact regression of Rasmussen & Williams (2006), section 2.7. Hyper-parameters are those of largest
marginal likelihood times a prior.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.reed.instruments import Instrument
from crowlight.reed.readings import CaneState, Reading
from crowlight.reed.styles import Figure, Style
from crowlight.reed.thickness.observation import Observed, Seen, noise, observe, seen
from crowlight.reed.thickness.regression import Factor
from crowlight.reed.thickness.unevenness import LINES, Scales, unevenness

__all__ = ["Fit", "Gouge", "fit_profile"]

Array = NDArray[np.float64]

#: Correlation between the two blades of what a profile parameter departs from the style by.
ALIKE = 0.6
#: Degrees of freedom of the t distribution of differences between blades and sides: few, for
#: reeds with a fault lie far out.
TAIL = 1.0
#: Figures of a band whose differences are large or small together.
_GROUPS = (("front", "back"), ("edge", "middle"), ("tilt",))
#: Loss of thickness per minute of drying, the same at tip and heart because the surface loses
#: water at one rate; standard deviation around zero [m/min]. Our estimate, no source.
DRYING_RATE = 1.0e-6
#: Relative difference of wet and dry cane when style and readings differ in state, one standard
#: deviation (swelling across the wall of some per cent; from memory).
SWELLING = 0.05
#: Prior standard deviations of the logarithms of amount, length along and gauge noise.
HYPER_SPREAD = np.array([0.35, 0.30, 0.20])


@dataclass(frozen=True, slots=True)
class Gouge:
    """Measured thickness of the cane before scraping.

    Parameters
    ----------
    centre, side : float
        At the centre and at the sides [m].
    spread : float
        Standard uncertainty of both [m].
    """

    centre: float
    side: float
    spread: float = 0.01e-3


@dataclass(frozen=True)
class Fit:
    """Posterior of profile and unevenness, ready to predict.

    Parameters
    ----------
    style : Style
        Style laid on the reed, with its gouge if that was measured.
    solved : Style
        The same with each step as wide as its line is unsure: its profile goes with `values`.
    observed : Observed
        The readings.
    values : ndarray, shape (2, n_names)
        Most probable profile parameters of the marked and plain blade.
    covariance : ndarray, shape (2 n_names + 2, 2 n_names + 2)
        Their posterior covariance, with drying rate and swelling last.
    drying : float
        Most probable loss of thickness per minute [m/min].
    swelling : float
        Most probable relative excess of the readings over the style's wet or dry state.
    scales : Scales
        Hyper-parameters of the unevenness.
    gauge_factor : float
        Factor on the gauge's repeatability that the readings suggest.
    log_likelihood : float
        Log marginal likelihood.
    """

    style: Style
    solved: Style
    observed: Observed
    values: Array
    covariance: Array
    drying: float
    swelling: float
    scales: Scales
    gauge_factor: float
    log_likelihood: float
    # for prediction
    sight: Seen
    parameters: Array
    prior_mean: Array
    prior_covariance: Array
    basis: Array
    factor: Factor
    white: Array


def fit_profile(
    readings: Sequence[Reading],
    style: Style,
    *,
    gauges: Mapping[str, Instrument] | None = None,
    gouge: Gouge | None = None,
    common_shift: float = 0.0,
    scales: Scales | None = None,
) -> Fit:
    """Fit both blades to readings.

    Parameters
    ----------
    readings : sequence of Reading
        Of one reed in one wet state, from one per blade to some hundred.
    style : Style
        Scrape style, laid on the reed's length (`Style.placed`).
    gauges : mapping of str to Instrument, optional
        The maker's own instruments by code.
    gouge : Gouge, optional
        Cane thickness, if measured before scraping.
    common_shift : float
        Standard uncertainty of an error along the reed common to all positions [m].
    scales : Scales, optional
        Fixed hyper-parameters; by default those of largest marginal likelihood times their prior.

    Returns
    -------
    Fit
        The posterior.

    Raises
    ------
    InputError
        Readings that cannot be right or mix wet and dry cane; the message says which.
    """
    observed = observe(readings, style, gauges=gauges)
    start = Scales() if scales is None else scales
    prior = _with_gouge(style, gouge)
    unsure = np.array([_spread(prior, name) for name in LINES])
    uneven = np.ones(len(style.mean.names))
    problem = _Problem(observed, _blurred(prior, unsure, start), uneven, common_shift)
    theta = problem.first_guess(start)
    theta, work = problem.most_probable(theta, start, 1.0, iterations=5)
    best, gauge = start, 1.0
    for round_ in range(3):
        unsure, uneven = problem.line_spreads(work), problem.unlikeness(theta, work)
        problem = _Problem(observed, _blurred(prior, unsure, start), uneven, common_shift)
        if scales is None and round_ == 1:
            hyper = problem.best_hyper(theta, start)
            best, gauge = _scaled(start, hyper), math.exp(hyper[2])
        theta, work = problem.most_probable(theta, best, gauge, iterations=3)
    return problem.finish(theta, work, prior, best, gauge)


def _spread(style: Style, name: str) -> float:
    figure = style.profile.get(name)
    return figure.spread if figure else 0.0


#: Standard deviation of the logistic distribution of unit scale.
_LOGISTIC = math.pi / math.sqrt(3.0)


def _blurred(style: Style, unsure: Array, scales: Scales) -> Style:
    """Widen each step by how unsure its line is.

    The mean of a sharp step whose place is normally distributed is a blurred step; and only where
    the blur is as wide as the place is unsure does a linear term in the place give about the right
    variance on either side of it.
    """
    blur = np.hypot(unsure, scales.wander) / _LOGISTIC
    shape = style.shape
    return replace(
        style,
        shape=replace(
            shape,
            transition_blur=float(blur[0]),
            back_blend=math.hypot(shape.back_blend, blur[1]),
            bark_blend=math.hypot(shape.bark_blend, blur[2]),
        ),
    )


def _scaled(scales: Scales, hyper: Array) -> Scales:
    return replace(
        scales,
        amount=scales.amount * math.exp(hyper[0]),
        along=scales.along * math.exp(hyper[1]),
    )


def _with_gouge(style: Style, gouge: Gouge | None) -> Style:
    if gouge is None:
        return style
    own = {
        "bark.centre": Figure(gouge.centre, gouge.spread, "own"),
        "bark.edge": Figure(gouge.side - gouge.centre, math.sqrt(2) * gouge.spread, "own"),
    }
    return replace(style, profile={**style.profile, **own})


@dataclass(frozen=True, slots=True)
class _Work:
    """One linearisation."""

    sight: Seen
    basis: Array
    factor: Factor
    residual: Array


class _Problem:
    """Readings and prior of one reed."""

    def __init__(
        self, observed: Observed, style: Style, uneven: Array, common_shift: float
    ) -> None:
        self.observed, self.style, self.common_shift = observed, style, common_shift
        self.uneven = uneven
        values, spreads = style.vector()
        self.n_names = len(values)
        unlike = {style.state, observed.state} == {CaneState.WET, CaneState.DRY}
        self.mean = np.concatenate([values, values, [0.0, 0.0]])
        names = style.mean.names
        tilt = np.array([name.endswith(".tilt") for name in names])
        common = spreads**2 * np.where(tilt, uneven, 1.0)  # a tilt is uneven even if both have it
        own = spreads**2 * uneven
        extra = [DRYING_RATE**2, SWELLING**2 if unlike else 0.0]
        self.covariance = np.zeros((2 * self.n_names + 2,) * 2)
        self.covariance[:-2, :-2] = np.kron(np.ones((2, 2)), np.diag(ALIKE * common))
        self.covariance[:-2, :-2] += np.kron(np.eye(2), np.diag((1.0 - ALIKE) * own))
        self.covariance[[-2, -1], [-2, -1]] = extra

    def split(self, theta: Array) -> Array:
        """Return the profile parameters by blade."""
        return theta[:-2].reshape(2, self.n_names)

    def within(self, theta: Array) -> Array:
        """Keep the blend of the transition where it can be."""
        kept = theta.copy()
        blend = self.style.mean.index("transition.blend")
        for i in (blend, blend + self.n_names):
            kept[i] = min(max(kept[i], math.log(0.1e-3)), math.log(1.5e-3))
        return kept

    def look(self, theta: Array, scales: Scales, gauge: float, sight: Seen | None = None) -> _Work:
        """Linearise at `theta`."""
        observed, n = self.observed, len(self.observed)
        if sight is None:
            sight = seen(observed, self.style, self.split(theta), scales)
        basis = np.zeros((n, len(self.mean)))
        blade = observed.sites.blade
        columns = blade[:, None] * self.n_names + np.arange(self.n_names)
        grown = 1.0 + theta[-1]
        basis[np.arange(n)[:, None], columns] = grown * sight.jacobian
        basis[:, -2] = -observed.minutes
        basis[:, -1] = sight.mean
        scaled = replace(observed, noise=observed.noise * gauge**2)
        covariance = noise(scaled, sight.slope2, sight.shift, common_shift=self.common_shift)
        covariance += unevenness(observed.sites, observed.sites, sight.parts, sight.parts, scales)
        covariance += basis @ self.covariance @ basis.T
        predicted = grown * sight.mean - observed.minutes * theta[-2]
        # y - m(θ) - H (μ - θ): what is left if θ were the prior mean, to first order
        residual = observed.thickness - predicted - basis @ (self.mean - theta)
        return _Work(sight, basis, Factor(covariance), residual)

    def first_guess(self, scales: Scales) -> Array:
        """Look for the transition of each blade before anything else is fitted."""
        position = self.style.mean.index("transition.position")
        best, guess = -math.inf, self.mean
        spread = math.sqrt(self.covariance[position, position])
        for shift in (-1.2, -0.6, 0.0, 0.6, 1.2):
            theta = self.mean.copy()
            theta[[position, position + self.n_names]] += shift * spread
            work = self.look(theta, scales, 1.0)
            score = work.factor.log_density(work.residual)
            if score > best:
                best, guess = score, self.within(self.step(work))
        return guess

    def step(self, work: _Work) -> Array:
        """Return the most probable parameters of the linearised problem."""
        return self.mean + self.covariance @ (work.basis.T @ work.factor.solve(work.residual))

    def most_probable(
        self, theta: Array, scales: Scales, gauge: float, *, iterations: int = 4
    ) -> tuple[Array, _Work]:
        """Gauss-Newton with steps no longer than a prior standard deviation."""
        spread = np.sqrt(np.diagonal(self.covariance)) + 1e-30
        work = self.look(theta, scales, gauge)
        for _ in range(iterations):
            move = self.step(work) - theta
            longest = float(np.abs(move / spread).max())
            theta = self.within(theta + move * min(1.0, 0.8 / max(longest, 1e-12)))
            work = self.look(theta, scales, gauge)
            if longest < 0.02:
                break
        return theta, work

    def best_hyper(self, theta: Array, scales: Scales) -> Array:
        """Maximise marginal likelihood times prior, one parabola per hyper-parameter and sweep."""
        hyper = np.zeros(3)
        sight = seen(self.observed, self.style, self.split(theta), scales)

        def score(h: Array) -> float:
            work = self.look(theta, _scaled(scales, h), math.exp(h[2]), sight)
            penalty = 0.5 * float(((h / HYPER_SPREAD) ** 2).sum())
            return work.factor.log_density(work.residual) - penalty

        here = score(hyper)
        # many readings settle a hyper-parameter in one sweep
        for _ in range(2 if len(self.observed) <= 120 else 1):
            for i, width in enumerate(HYPER_SPREAD):
                side = width * np.eye(3)[i]
                low, high = score(hyper - side), score(hyper + side)
                bend = low - 2.0 * here + high
                uphill = math.copysign(1.0, high - low)
                shift = 0.5 * (low - high) / bend if bend < 0.0 else uphill
                trial = hyper + np.clip(shift, -1.5, 1.5) * side
                value = score(trial)
                if value > here:
                    hyper, here = trial, value
        return hyper

    def posterior(self, work: _Work) -> Array:
        """Return the posterior covariance of the parameters."""
        half = work.factor.half(work.basis @ self.covariance)
        return self.covariance - half.T @ half

    def unlikeness(self, theta: Array, work: _Work) -> Array:
        """Return the factors on the variance of what sets the blades and their sides apart.

        A good reed is even, a reed with a fault is not: the spread of differences is common to a
        few figures of a band and unknown, with an inverse gamma prior, so that together their prior
        is a multivariate t. This is one step of its expectation and maximisation.
        """
        names = self.style.mean.names
        spread = self.style.vector()[1]
        covariance, k = self.posterior(work), self.n_names
        uneven = np.ones(k)
        for band in ("tip", "heart", "back"):
            for group in _GROUPS:
                which = [names.index(n) for g in group if (n := f"{band}.{g}") in names]
                if not which:
                    continue
                i, j = np.array(which), np.array(which) + k
                own, both = covariance[i, i] + covariance[j, j], covariance[i, j]
                apart = (theta[i] - theta[j]) ** 2 + own - 2.0 * both
                total = apart / (2.0 * (1.0 - ALIKE) * spread[i] ** 2)
                if group == ("tilt",):
                    shared = (theta[i] + theta[j]) ** 2 + own + 2.0 * both
                    total = np.concatenate([total, shared / (2.0 * (1.0 + ALIKE) * spread[i] ** 2)])
                uneven[i] = (TAIL + total.sum()) / (TAIL + len(total))
        return uneven

    def line_spreads(self, work: _Work) -> Array:
        """Return the posterior standard deviation of each line, the blades' root mean square."""
        variance = np.diagonal(self.posterior(work))
        blades = np.maximum(variance[:-2].reshape(2, self.n_names).mean(axis=0), 0.0)
        names = self.style.mean.names
        return np.sqrt([blades[names.index(n)] if n in names else 0.0 for n in LINES])

    def finish(self, theta: Array, work: _Work, style: Style, scales: Scales, gauge: float) -> Fit:
        """Gather what prediction needs."""
        return Fit(
            style=style,
            solved=self.style,
            observed=self.observed,
            values=self.split(theta),
            covariance=self.posterior(work),
            drying=float(theta[-2]),
            swelling=float(theta[-1]),
            scales=scales,
            gauge_factor=gauge,
            log_likelihood=work.factor.log_density(work.residual),
            sight=work.sight,
            parameters=theta,
            prior_mean=self.mean,
            prior_covariance=self.covariance,
            basis=work.basis,
            factor=work.factor,
            white=work.factor.solve(work.residual),
        )
