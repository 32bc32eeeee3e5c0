"""What is known of a reed after its measurements, beside what was known before."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import Blades
from crowlight.calibrate.air import reed_at
from crowlight.calibrate.predict import Model, labels
from crowlight.calibrate.questions import Conflict
from crowlight.crow import ReedParameters
from crowlight.errors import InputError, OutsideModel

__all__ = [
    "QUANTITIES",
    "Belief",
    "Combination",
    "DrawnReed",
    "Posterior",
    "Quality",
    "beliefs",
    "combinations",
    "log_weights",
]

Real = NDArray[np.float64]

_INFORMED = 0.9
"""Standard deviation over prior's below which a direction counts as seen by the data."""
_UNSEEN = 0.99
"""The same for a single unknown, above which the data say nothing about it."""
_MEMBER = 0.1
"""Share of a direction from which an unknown counts as part of it."""


@dataclass(frozen=True, slots=True)
class Belief:
    """One quantity with its interval.

    Parameters
    ----------
    value : float
        Median, in `unit`.
    low, high : float
        Ends of the interval.
    level : float
        Probability of the interval.
    unit : str
        SI.
    """

    value: float
    low: float
    high: float
    level: float
    unit: str


@dataclass(frozen=True, slots=True)
class Combination:
    """Something the data see only together.

    Parameters
    ----------
    code : {"only_together", "unseen"}
        ``only_together``: one number about all of them is known better than any of them;
        ``unseen``: the data say nothing about it.
    names : tuple of str
        Unknowns, the weightiest first.
    shares : tuple of float
        Share of each in the combination, 0 to 1; its sign tells the direction.
    spread : float
        Standard deviation of the combination after the data over before, 0 to 1.
    """

    code: Literal["only_together", "unseen"]
    names: tuple[str, ...]
    shares: tuple[float, ...]
    spread: float


@dataclass(frozen=True, slots=True)
class Quality:
    """How good the computation was.

    Parameters
    ----------
    method : {"laplace, importance sampling"}
        Normal approximation at the mode, its draws weighed by the full posterior.
    draws : int
        How many draws were weighed.
    effective_share : float
        Effective sample size over draws; 1 is perfect, below 0.1 the intervals are rough.
    blade_error : float
        Largest relative difference between the blade lines and the blade model solved anew at the
        mode; NaN if it had no answer there or was not asked.
    solves : int
        How often the lines were drawn.
    """

    method: Literal["laplace, importance sampling"]
    draws: int
    effective_share: float
    blade_error: float
    solves: int


@dataclass(frozen=True, slots=True)
class DrawnReed:
    """One reed that the measured one may be.

    Parameters
    ----------
    blades : Blades
        For the blade model: cane, preload, rest shape and maps moved.
    reed : ReedParameters
        For the reed-and-air model, from the same draw.
    """

    blades: Blades
    reed: ReedParameters


@dataclass(frozen=True)
class Posterior:
    """What is known of one reed.

    Parameters
    ----------
    prior, posterior : mapping of str to Belief
        The same quantities before and after; see `crowlight.calibrate.QUANTITIES`.
    cannot_separate : tuple of Combination
        What the data see only together, and what they do not see.
    conflicts : tuple of Conflict
        Questions to ask before the posterior is believed; nothing was left out because of them.
    chance : float
        Chance of data as odd as these if the model and all spreads are right.
    quality : Quality
        How good the computation was.
    notes : tuple of str
        Codes: ``no_data``, ``no_preload`` (the tie is taken to press nothing, so nothing can be
        learned of it), ``rough`` (few effective draws), ``blade_lines`` (the lines miss the blade
        model by more than a tenth, or it had no answer).
    model : Model
        For prediction at draws.
    sample : ndarray, shape (draws, model.size)
        Unknowns drawn from the normal approximation; model errors integrated out, 0.
    weights : ndarray, shape (draws,)
        Of the sample; sum 1.
    """

    prior: Mapping[str, Belief]
    posterior: Mapping[str, Belief]
    cannot_separate: tuple[Combination, ...]
    conflicts: tuple[Conflict, ...]
    chance: float
    quality: Quality
    notes: tuple[str, ...]
    model: Model
    sample: Real
    weights: Real

    def draws(self, count: int, rng: np.random.Generator) -> tuple[DrawnReed, ...]:
        """Draw reeds that this one may be.

        Parameters
        ----------
        count : int
            How many, at least 1.
        rng : numpy.random.Generator
            Source of chance.

        Raises
        ------
        InputError
            If `count` is below 1.
        OutsideModel
            If hardly any draw is a reed at all.

        Notes
        -----
        Draws outside what a reed can be are drawn again.
        """
        if count < 1:
            msg = f"{count} draws cannot be drawn; ask for at least 1"
            raise InputError(msg)
        n, found = self.model.line.reed.size, []
        for i in rng.choice(len(self.sample), size=20 * count, p=self.weights):
            row = self.sample[i]
            try:
                reed = reed_at(self.model.reeds(row[None]), 0)
                rest = rng.standard_normal(self.model.line.reed.turn.shape[1])
                found.append(DrawnReed(self.model.line.reed.at(row[:n], rest), reed))
            except InputError:
                continue
            if len(found) == count:
                return tuple(found)
        msg = f"only {len(found)} of {20 * count} draws are reeds; check the measurements"
        raise OutsideModel(msg)


QUANTITIES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "cane_along": ("Pa", "stiffness of the cane along the fibres"),
        "cane_across": ("Pa", "stiffness of the cane across the fibres"),
        "cane_shear": ("Pa", "stiffness of the cane in shear"),
        "cane_density": ("kg/m³", "density of the wet cane"),
        "throat_height": ("m", "height of one blade at the thread"),
        "preload": ("m", "how far each blade's edges would reach past the other if alone"),
        "rest_height": ("m", "opening height at rest"),
        "rest_area": ("m²", "opening area at rest"),
        "closing_pressure": ("Pa", "pressure that leaves a tenth of the opening"),
        "stiffness": ("Pa/m", "pressure per opening height lost when the reed starts to close"),
        "mode_held": ("Hz", "lowest mode with both sides alike, edges held"),
        "swept_volume": ("m³", "volume the blades sweep from rest to closed, as the air feels it"),
        "damping": ("1", "inverse quality factor of the blades"),
        "felt_closing_pressure": ("Pa", "closing pressure of the one flap the air feels"),
        "felt_frequency": ("Hz", "resonance of the one flap the air feels"),
    }
)
"""Unit and meaning of every quantity in `Posterior.prior` and `Posterior.posterior`.

Where the blades differ, cane and height at the thread are those of the marked blade; the plain
one's move in proportion.
"""

_BLADE_PARTS: Mapping[str, tuple[str, Callable[[Blades], float]]] = MappingProxyType(
    {
        "cane_along": ("cane stiffness along", lambda b: b.cane.along),
        "cane_across": ("cane stiffness across", lambda b: b.cane.across),
        "cane_shear": ("cane stiffness in shear", lambda b: b.cane.shear),
        "cane_density": ("cane density", lambda b: b.cane.density),
        "throat_height": ("height at the thread", lambda b: b.shape.throat_height),
        "preload": ("tie preload", lambda b: b.interference),
    }
)
_OUTPUTS = ("rest_height", "rest_area", "closing_pressure", "stiffness", "mode_held")
_FELT = {
    "swept_volume": "swept_volume",
    "damping": "damping",
    "felt_closing_pressure": "closing_pressure",
    "felt_frequency": "frequency",
}


def weighted_quantiles(values: Real, weights: Real, at: Sequence[float]) -> Real:
    """Quantiles of weighted draws, interpolated between the middles of their weights."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) - 0.5 * weights[order]
    return np.interp(at, reached, values[order])


def beliefs(model: Model, sample: Real, weights: Real, level: float) -> dict[str, Belief]:
    """Every quantity from weighted draws.

    Parameters
    ----------
    model : Model
        What turns unknowns into quantities.
    sample : ndarray, shape (draws, model.size)
        Unknowns.
    weights : ndarray, shape (draws,)
        Sum 1.
    level : float
        Probability of the intervals.
    """
    at = (0.5, 0.5 - level / 2, 0.5 + level / 2)
    reed, names = model.line.reed, labels(model.line)
    found: dict[str, Belief] = {}

    def put(key: str, three: Sequence[float]) -> None:
        value, low, high = (float(v) for v in three)
        found[key] = Belief(value, low, high, level, QUANTITIES[key][0])

    for key, (name, read) in _BLADE_PARTS.items():
        if name in names:
            k = names.index(name)
            unknown = reed.unknowns[k]
            # Rising functions of one normal number keep its quantiles.
            ends = weighted_quantiles(sample[:, k], weights, at)
            put(key, [read(unknown.apply(reed.blades, float(t))) for t in ends])
    logs = model.line(sample[:, : reed.size])
    for key in _OUTPUTS:
        column = logs[:, model.line.column(key)]
        put(key, np.exp(weighted_quantiles(column, weights, at)).tolist())
    felt = model.reeds(sample)
    for key, field in _FELT.items():
        put(key, weighted_quantiles(getattr(felt, field), weights, at).tolist())
    return found


def combinations(model: Model, covariance: Real) -> tuple[Combination, ...]:
    """List what the data see only together, and what they do not see.

    Parameters
    ----------
    model : Model
        For names.
    covariance : ndarray, shape (model.size, model.size)
        Of the posterior in prior standard deviations.

    Notes
    -----
    Eigenvectors of the posterior covariance in units of the prior: along one with eigenvalue l the
    data leave sqrt(l) of the prior's standard deviation.
    """
    unique = tuple(dict.fromkeys(labels(model.line)))
    names = np.array(labels(model.line))
    own = np.sqrt(np.diag(covariance))
    value, vector = np.linalg.eigh(covariance)
    found: list[Combination] = []
    for size, v in zip(np.sqrt(np.clip(value, 0.0, 1.0)), vector.T, strict=True):
        if size >= _INFORMED:
            break
        parts = {n: float(np.sum(v[names == n] ** 2)) for n in unique}
        members = sorted((n for n in unique if parts[n] >= _MEMBER), key=lambda n: -parts[n])
        if len(members) > 1:
            first = v[names == members[0]]
            lead = np.sign(first[np.argmax(np.abs(first))])
            signs = [
                np.sign(part[np.argmax(np.abs(part))]) * lead
                for part in (v[names == n] for n in members)
            ]
            shares = tuple(float(s * parts[n]) for s, n in zip(signs, members, strict=True))
            found.append(Combination("only_together", tuple(members), shares, float(size)))
    for n in unique:
        least = float(np.min(own[names == n]))
        if least > _UNSEEN and not n.startswith("model error"):
            found.append(Combination("unseen", (n,), (1.0,), least))
    return tuple(found)


def log_weights(model: Model, sample: Real, base: Real, near: tuple[float, float] | None) -> Real:
    """Log posterior density over that of the normal approximation, up to a constant.

    Model errors are integrated out, as they enter linearly: their covariance joins the noise.

    Parameters
    ----------
    model : Model
        Predictions.
    sample : ndarray, shape (draws, model.size)
        Drawn as mode + root @ base, model errors 0.
    base : ndarray, shape (draws, model.physical)
        Standard normal.
    near : tuple of float or None
        Onset at the mode.
    """
    if not model.data:
        return np.zeros(len(sample))
    noise = model.loading @ model.loading.T + np.diag(model.spread**2)
    left = model.measured - model.many(sample, near)
    odd = np.sum(left * np.linalg.solve(noise, left.T).T, axis=1)
    raw = 0.5 * (np.sum(base**2, axis=1) - np.sum(sample**2, axis=1) - odd)
    return np.where(np.isfinite(raw), raw, -np.inf)
