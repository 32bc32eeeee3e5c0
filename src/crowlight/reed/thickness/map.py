"""The thickness map: both blades on a grid, with what is known of every point and difference."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from crowlight.errors import InputError
from crowlight.reed.frame import Blade, Place
from crowlight.reed.instruments import Instrument
from crowlight.reed.readings import Reading
from crowlight.reed.styles import Style
from crowlight.reed.thickness.fit import Fit, Gouge, fit_profile
from crowlight.reed.thickness.observation import BLADES, sites
from crowlight.reed.thickness.unevenness import Scales, Sites, local, unevenness, variance

__all__ = ["Combination", "Difference", "Estimate", "ThicknessMap", "joint", "map_thickness"]

Array = NDArray[np.float64]

#: The least thickness a map shows [m].
LEAST = 0.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """Jointly normal quantities.

    Parameters
    ----------
    values : ndarray, shape (k,)
        Best estimates [m].
    covariance : ndarray, shape (k, k)
        [m²].
    """

    values: Array
    covariance: Array

    @property
    def sd(self) -> Array:
        """Standard uncertainties, shape (k,) [m]."""
        return np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0))

    def combine(self, weights: ArrayLike) -> Estimate:
        """Return weighted sums, `weights` of shape (j, k)."""
        w = np.atleast_2d(np.asarray(weights, float))
        return Estimate(w @ self.values, w @ self.covariance @ w.T)


@dataclass(frozen=True, slots=True)
class Combination:
    """Weighted sums of thickness: zone means, differences, slopes.

    Parameters
    ----------
    values : ndarray, shape (k,)
        Best estimates.
    covariance : ndarray, shape (k, k)
        Their covariance.
    gauge : ndarray, shape (k,)
        The part of each standard uncertainty that comes from the gauge's repeatability.
    told : ndarray, shape (k,)
        Share of the prior variance that the readings took away, 0 (nothing) to 1.
    """

    values: Array
    covariance: Array
    gauge: Array
    told: Array

    @property
    def sd(self) -> Array:
        """Standard uncertainties, shape (k,)."""
        return np.sqrt(np.maximum(np.diagonal(self.covariance), 0.0))


@dataclass(frozen=True, slots=True)
class Difference:
    """A map of differences.

    Parameters
    ----------
    along : ndarray, shape (n_along,)
        Rows, tip first [m].
    fraction : ndarray, shape (n_across,)
        Columns.
    mean, sd : ndarray, shape (n_along, n_across)
        [m].
    """

    along: Array
    fraction: Array
    mean: Array
    sd: Array


@dataclass(frozen=True)
class ThicknessMap:
    """Thickness of both blades with uncertainty.

    Parameters
    ----------
    fit : Fit
        Posterior the map is drawn from.
    along : ndarray, shape (n_along,)
        Rows of the grid, tip first [m from the bottom rim].
    fraction : ndarray, shape (n_across,)
        Columns, left to right as seen, -1 to 1 of the half width.
    mean, sd : ndarray, shape (2, n_along, n_across)
        Thickness of the marked and the plain blade and its standard deviation, kept between
        nothing and the bark [m].
    ceiling : ndarray, shape (2, n_along, n_across)
        The bark there, 3 standard deviations above its estimate [m].

    Examples
    --------
    >>> from crowlight.reed import Blade, Place, Reading
    >>> from crowlight.reed.styles import style
    >>> long = style("long").placed(0.0702)
    >>> readings = [Reading(p.on(b), float(long.thickness(p.along, p.across)))
    ...             for b in Blade for p in long.quick]
    >>> found = map_thickness(readings, long)
    >>> found.mean.shape
    (2, 46, 15)
    >>> heart = found.at([Place(Blade.MARKED, 0.062, 0.0)])
    >>> round(float(heart.values[0]) * 1e3, 2), bool(heart.sd[0] < 0.02e-3)
    (0.47, True)
    """

    fit: Fit
    along: Array
    fraction: Array
    mean: Array
    sd: Array
    ceiling: Array
    _raw_mean: Array
    _raw_sd: Array

    @property
    def style(self) -> Style:
        """The style the map was fitted with, laid on the reed."""
        return self.fit.style

    @cached_property
    def across(self) -> Array:
        """Distance from the centreline of each grid point, shape (n_along, n_across) [m]."""
        return self.style.outline.half_width(self.along)[:, None] * self.fraction

    @cached_property
    def zones(self) -> Style:
        """The style with its zones divided where the transition of this reed was found."""
        index = self.style.mean.index("transition.position")
        nominal = self.style.profile["transition.position"].value
        return self.style.moved(float(self.fit.values[:, index].mean()) - nominal)

    def interval(self, level: float = 0.95) -> tuple[Array, Array]:
        """Return lower and upper limits, each of shape (2, n_along, n_across) [m].

        Parameters
        ----------
        level : float
            Chance that a point lies inside, each point on its own; 0 < level < 1.
        """
        z = float(ndtri(0.5 + level / 2))
        return self._kept(np.full_like(self.mean, -z)), self._kept(np.full_like(self.mean, z))

    def _kept(self, z: Array) -> Array:
        """Turn standard normal scores into thickness, between nothing and the bark."""
        return _quantile(z, self._raw_mean, self._raw_sd, LEAST, self.ceiling)

    def at(self, places: Sequence[Place]) -> Estimate:
        """Return thickness at places, jointly.

        Not cut off at nothing or at the bark, so that sums and differences stay normal.
        """
        where = sites(self.style, places)
        mean, cross, prior = _predict(self.fit, where, where)
        half = self.fit.factor.half(cross.T)
        return Estimate(mean, prior - half.T @ half)

    def combine(
        self, blade: ArrayLike, along: ArrayLike, fraction: ArrayLike, weights: ArrayLike
    ) -> Combination:
        """Return weighted sums of the thickness at places, jointly.

        Parameters
        ----------
        blade : array_like of int, shape (n,)
            0 marked, 1 plain.
        along, fraction : array_like, shape (n,)
            Places [m], [1].
        weights : array_like, shape (k, n)
            One row for each sum.
        """
        s, u = np.asarray(along, float), np.asarray(fraction, float)
        w = np.atleast_2d(np.asarray(weights, float))
        across = u * self.style.outline.half_width(s)
        where = Sites(np.asarray(blade, np.intp), s, across, u, np.zeros(len(s)))
        mean, cross, prior = _predict(self.fit, where, where)
        half = self.fit.factor.half((w @ cross).T)
        before = w @ prior @ w.T
        covariance = before - half.T @ half
        pull = self.fit.factor.solve((w @ cross).T)  # what each reading adds to each sum
        variance = self.fit.observed.noise[:, None] * self.fit.gauge_factor**2
        start = np.maximum(np.diagonal(before), 1e-30)
        return Combination(
            w @ mean,
            covariance,
            np.sqrt((pull**2 * variance).sum(axis=0)),
            1.0 - np.maximum(np.diagonal(covariance), 0.0) / start,
        )

    def samples(self, count: int, rng: np.random.Generator) -> Array:
        """Draw blades from the posterior.

        Parameters
        ----------
        count : int
            How many.
        rng : Generator
            Source of chance.

        Returns
        -------
        ndarray, shape (count, 2, n_along, n_across)
            Thickness on the grid [m]: jointly normal scores, each place's own distribution between
            nothing and the bark.
        """
        joint = self._joint
        white = rng.standard_normal((count, len(joint.values)))
        scores = (white @ self._root.T) / np.sqrt(np.diagonal(joint.covariance))
        return self._kept(scores.reshape(count, *self.mean.shape))

    def left_right(self, blade: Blade) -> Difference:
        """Return left minus right of one blade, on the columns right of the centreline."""
        columns = np.flatnonzero(self.fraction > 0)
        right = self.fraction[columns]
        mean, sd = self._pairwise((blade, -right), (blade, right))
        return Difference(self.along, right, mean, sd)

    def marked_plain(self) -> Difference:
        """Return marked minus plain where the blades face each other.

        Columns are those of the marked blade as seen: its left side lies across the opening from
        the right side of the plain blade.
        """
        u = self.fraction
        mean, sd = self._pairwise((Blade.MARKED, u), (Blade.PLAIN, -u))
        return Difference(self.along, u, mean, sd)

    def _pairwise(
        self, first: tuple[Blade, Array], second: tuple[Blade, Array]
    ) -> tuple[Array, Array]:
        a, b = (_lattice(self.style, self.along, u, (blade,)) for blade, u in (first, second))
        mean_a, cross_a, prior_a = _predict(self.fit, a, None)
        mean_b, cross_b, prior_b = _predict(self.fit, b, None)
        both = _prior_between(self.fit, a, b)
        half = self.fit.factor.half((cross_a - cross_b).T)
        var = prior_a + prior_b - 2.0 * both - (half**2).sum(axis=0)
        shape = (len(self.along), len(first[1]))
        return (mean_a - mean_b).reshape(shape), np.sqrt(np.maximum(var, 0.0)).reshape(shape)

    @cached_property
    def _joint(self) -> Estimate:
        where = _lattice(self.style, self.along, self.fraction, BLADES)
        mean, cross, prior = _predict(self.fit, where, where)
        half = self.fit.factor.half(cross.T)
        return Estimate(mean, prior - half.T @ half)

    @cached_property
    def _root(self) -> Array:
        values, vectors = np.linalg.eigh(self._joint.covariance)
        return vectors * np.sqrt(np.maximum(values, 0.0))


def map_thickness(
    readings: Sequence[Reading],
    style: Style,
    *,
    gauges: Mapping[str, Instrument] | None = None,
    gouge: Gouge | None = None,
    common_shift: float = 0.0,
    scales: Scales | None = None,
    shape: tuple[int, int] = (46, 15),
) -> ThicknessMap:
    """Map both blades from scattered readings.

    Parameters
    ----------
    readings : sequence of Reading
        Of one reed in one wet state. Eight per blade give a usable map, 24 a good one.
    style : Style
        Scrape style laid on the reed's length (`Style.placed`).
    gauges : mapping of str to Instrument, optional
        The maker's own instruments by code.
    gouge : Gouge, optional
        Cane thickness, if measured before scraping.
    common_shift : float
        Standard uncertainty of an error along the reed common to all positions [m], as when they
        were counted from the tip of a reed whose length is not sure.
    scales : Scales, optional
        Fixed hyper-parameters of the unevenness.
    shape : tuple of int
        Rows and columns of the grid; columns odd, so that one runs along the centreline.

    Returns
    -------
    ThicknessMap
        The map. It does not depend on the order of the readings.

    Raises
    ------
    InputError
        Readings that cannot be right, lie off the blade or mix wet and dry cane.
    """
    rows, columns = shape
    if rows < 2 or columns < 3 or columns % 2 == 0:
        msg = f"grid of {rows} x {columns} points: take at least 2 rows and an odd 3 columns"
        raise InputError(msg)
    fit = fit_profile(
        readings, style, gauges=gauges, gouge=gouge, common_shift=common_shift, scales=scales
    )
    along = np.linspace(style.length, style.thread_top, rows)
    fraction = np.linspace(-1.0, 1.0, columns)
    where = _lattice(fit.style, along, fraction, BLADES)
    mean, cross, prior = _predict(fit, where, None)
    half = fit.factor.half(cross.T)
    sd = np.sqrt(np.maximum(prior - (half**2).sum(axis=0), 0.0))
    ceiling = np.stack([np.tile(_bark(fit, blade, fraction), (rows, 1)) for blade in (0, 1)])
    grid = (2, rows, columns)
    raw_mean, raw_sd = mean.reshape(grid), sd.reshape(grid)
    kept_mean, kept_sd = _kept_between(raw_mean, raw_sd, LEAST, ceiling)
    return ThicknessMap(fit, along, fraction, kept_mean, kept_sd, ceiling, raw_mean, raw_sd)


def _lattice(style: Style, along: Array, fraction: Array, blades: Sequence[Blade]) -> Sites:
    """Return grid points of blades as one list: blade slowest, across fastest."""
    s = np.repeat(along, len(fraction))
    u = np.tile(fraction, len(along))
    n = len(s)
    s, u = np.tile(s, len(blades)), np.tile(u, len(blades))
    number = np.repeat([BLADES.index(b) for b in blades], n)
    return Sites(number, s, u * style.outline.half_width(s), u, np.zeros(len(s)))


def _basis(fit: Fit, where: Sites, jacobian: Array) -> Array:
    """Return the columns of the profile's parameters; drying and swelling are no thickness."""
    k = len(fit.style.mean.names)
    basis = np.zeros((len(where), 2 * k + 2))
    columns = where.blade[:, None] * k + np.arange(k)
    basis[np.arange(len(where))[:, None], columns] = jacobian
    return basis


def _predict(fit: Fit, where: Sites, other: Sites | None) -> tuple[Array, Array, Array]:
    """Return posterior mean, covariance with the readings and prior (co)variance.

    The prior covariance is that among `where` if `other` is given, else only the variances.
    """
    mean, jacobian, parts = local(fit.solved, fit.values, where)
    basis = _basis(fit, where, jacobian)
    spread = basis @ fit.prior_covariance
    cross = spread @ fit.basis.T
    cross += unevenness(where, fit.observed.sites, parts, fit.sight.parts, fit.scales)
    centre = mean + basis @ (fit.prior_mean - fit.parameters) + cross @ fit.white
    if other is None:
        return centre, cross, (spread * basis).sum(axis=1) + variance(parts, fit.scales)
    prior = spread @ basis.T + unevenness(where, where, parts, parts, fit.scales)
    return centre, cross, prior


def joint(fit: Fit, where: Sites) -> tuple[Array, Array]:
    """Return the posterior covariance among places and the square of the slope at each."""
    _, cross, prior = _predict(fit, where, where)
    half = fit.factor.half(cross.T)
    step = 0.1e-3
    slopes: list[Array] = []
    for ds, dc in ((step, 0.0), (0.0, step)):
        ends: list[Array] = []
        for sign in (-1.0, 1.0):
            along, across = where.along + sign * ds, where.across + sign * dc
            fraction = np.clip(fit.style.outline.fraction(along, across), -1.0, 1.0)
            there = Sites(where.blade, along, across, fraction, np.zeros(len(where)))
            ends.append(local(fit.solved, fit.values, there)[0])
        slopes.append((ends[1] - ends[0]) / (2.0 * step))
    return prior - half.T @ half, slopes[0] ** 2 + slopes[1] ** 2


def _prior_between(fit: Fit, a: Sites, b: Sites) -> Array:
    """Return the prior covariance of each place of `a` with its partner in `b`."""
    _, jacobian_a, parts_a = local(fit.solved, fit.values, a)
    _, jacobian_b, parts_b = local(fit.solved, fit.values, b)
    spread = _basis(fit, a, jacobian_a) @ fit.prior_covariance
    levels = (spread * _basis(fit, b, jacobian_b)).sum(axis=1)
    return levels + unevenness(a, b, parts_a, parts_b, fit.scales, paired=True)


def _bark(fit: Fit, blade: int, fraction: Array) -> Array:
    """Return the bark's thickness across, 3 standard deviations above its estimate."""
    profile, k = fit.solved.mean, len(fit.solved.mean.names)
    square, side = fraction**2, np.abs(fraction)
    basis = np.zeros((len(fraction), k))
    basis[:, profile.index("bark.centre")] = 1.0
    basis[:, profile.index("bark.edge")] = square
    basis[:, profile.index("bark.middle")] = 4.0 * (side - square)
    basis[:, profile.index("bark.tilt")] = fraction
    mine = slice(blade * k, (blade + 1) * k)
    spread = ((basis @ fit.covariance[mine, mine]) * basis).sum(axis=1)
    spread += sum(v**2 for v in fit.style.unevenness["bark"])
    return basis @ fit.values[blade] + 3.0 * np.sqrt(spread)


def _quantile(z: Array, mean: Array, sd: Array, low: float, high: Array) -> Array:
    """Return the quantiles, given as standard normal scores, of normals cut off at both ends."""
    scale = np.maximum(sd, 1e-9)
    a, b = (low - mean) / scale, (high - mean) / scale
    below, above = ndtr(a), ndtr(b)
    chance = below + ndtr(z) * (above - below)
    kept = np.clip(ndtri(np.clip(chance, 1e-15, 1.0 - 1e-15)), a, b)
    far = np.minimum(-a, b) > 6.0  # nothing to cut off
    return mean + scale * np.where(far, z, kept)


def _kept_between(mean: Array, sd: Array, low: float, high: Array) -> tuple[Array, Array]:
    """Return mean and standard deviation of normals cut off at `low` and `high`.

    N. L. Johnson, S. Kotz, N. Balakrishnan, *Continuous Univariate Distributions* vol. 1 (1994),
    section 13.10.1, from memory.
    """
    scale = np.maximum(sd, 1e-9)
    a, b = (low - mean) / scale, (high - mean) / scale
    far = np.minimum(-a, b) > 6.0  # nothing to cut off
    a, b = np.clip(a, -30.0, 30.0), np.clip(b, -30.0, 30.0)
    density_a, density_b = (np.exp(-0.5 * x * x) / np.sqrt(2.0 * np.pi) for x in (a, b))
    mass = np.maximum(ndtr(b) - ndtr(a), 1e-12)
    shift = (density_a - density_b) / mass
    narrow = 1.0 + (a * density_a - b * density_b) / mass - shift**2
    cut_mean = np.clip(mean + scale * shift, low, high)
    cut_sd = scale * np.sqrt(np.clip(narrow, 0.0, 1.0))
    return np.where(far, mean, cut_mean), np.where(far, sd, cut_sd)
