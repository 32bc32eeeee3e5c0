r"""A style from a maker's own reeds.

Each reed is a draw from the maker's style: with :math:`\theta_r` the profile parameters of both
blades of reed r,

.. math:: \theta_r \sim N\bigl((m, m),\; C \otimes \operatorname{diag} v\bigr), \qquad
          y_r \sim N(H_r \theta_r, K_r),

where C holds the likeness of two blades of one reed. The base style says what m and v are before
any reed is seen. They are found by expectation and maximisation, so reeds with few readings weigh
less and a figure that no reading touches stays what it was.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.reed.readings import CaneState
from crowlight.reed.styles import Figure, Style
from crowlight.reed.thickness.fit import ALIKE, Fit
from crowlight.reed.thickness.regression import Factor

__all__ = ["own_style"]

Array = NDArray[np.float64]

#: Spread of a maker's own mean around the base style's, in spreads of the base style.
SCHOOL = 2.0
#: Reeds' worth of belief in the base style's spreads.
BELIEF = 4.0
#: A figure is the maker's own when the readings took away this share of its prior variance.
OWN = 0.5


@dataclass(frozen=True, slots=True)
class _Seen:
    """What one reed's readings say of its parameters: precision and precision times value."""

    precision: Array
    weighted: Array
    spare: Array  # prior covariance of drying and swelling


def own_style(base: Style, fits: Sequence[Fit], *, code: str) -> Style:
    """Make a style from these reeds of mine.

    Parameters
    ----------
    base : Style
        The style the reeds were fitted with, on nominal length.
    fits : sequence of Fit
        One for each reed (``ThicknessMap.fit``), all fitted with `base` and in one wet state.
    code : str
        Name of the new style.

    Returns
    -------
    Style
        With the maker's means and spreads; figures that the readings settled are tagged ``own``,
        the others keep value and tag of `base` nearly or wholly. Zones are divided where the
        maker's transition lies; lines of back and bark, points, floors and tolerances are those of
        `base`.

    Raises
    ------
    InputError
        If there is no reed, wet and dry reeds are mixed, or a reed was fitted with another style.

    References
    ----------
    A. P. Dempster, N. M. Laird, D. B. Rubin, J. R. Stat. Soc. B 39 (1977) 1, section 4.4
    (variance components).
    """
    if not fits:
        msg = "there is no reed to make a style from; give at least one fitted reed"
        raise InputError(msg)
    states = {fit.observed.state for fit in fits} - {CaneState.UNKNOWN}
    if len(states) > 1:
        msg = "some of these reeds were measured wet and some dry; make one style of each"
        raise InputError(msg)
    strangers = sorted({fit.style.code for fit in fits} - {base.code})
    if strangers:
        msg = f"a reed was fitted with style {strangers[0]!r}, not {base.code!r}; fit it again"
        raise InputError(msg)
    start, spread = base.vector()
    mean, variance, left = _population([_look(fit) for fit in fits], start, spread)

    figures: dict[str, Figure] = {}
    for i, name in enumerate(base.mean.names):
        value, sd = float(mean[i]), math.sqrt(float(variance[i]))
        if name == "transition.blend":
            value, sd = math.exp(value), math.exp(value) * sd
        source = "own" if left[i] < 1.0 - OWN else base.profile[name].source
        figures[name] = Figure(value, sd, source)
    key = "transition.position"
    shift = figures[key].value - base.profile[key].value
    overall = _length(base, [fit.style.length for fit in fits])
    moved = base.moved(shift)
    return replace(
        moved,
        code=code,
        state=states.pop() if states else base.state,
        profile=figures,
        lengths={**base.lengths, "overall": overall},
    )


def _look(fit: Fit) -> _Seen:
    """Take the prior out of a fit: what its linearised readings say alone."""
    h, prior = fit.basis, fit.prior_covariance
    whole = fit.factor.lower @ fit.factor.lower.T
    alone = Factor(whole - h @ prior @ h.T)
    data = whole @ fit.white + h @ fit.prior_mean  # readings as linear in the parameters
    solved = alone.solve(h)
    return _Seen(h.T @ solved, solved.T @ data, prior[-2:, -2:])


def _population(
    seen: Sequence[_Seen], start: Array, spread: Array, rounds: int = 60
) -> tuple[Array, Array, Array]:
    """Return mean and variance of each parameter, and the share of the mean's variance left."""
    k, n = len(start), len(seen)
    blades = np.array([[1.0, ALIKE], [ALIKE, 1.0]])
    inverse = np.linalg.inv(blades)
    mean, variance = start.copy(), spread**2
    school = (SCHOOL * spread) ** 2
    left = np.ones(k)
    for _ in range(rounds):
        total, squares = np.zeros(k), np.zeros(k)
        told = np.zeros(k)
        centre = np.concatenate([mean, mean, [0.0, 0.0]])
        for s in seen:
            prior = np.zeros((2 * k + 2,) * 2)
            prior[:-2, :-2] = np.kron(blades, np.diag(variance))
            prior[-2:, -2:] = s.spare
            covariance = prior @ np.linalg.inv(np.eye(2 * k + 2) + s.precision @ prior)
            value = centre + covariance @ (s.weighted - s.precision @ centre)
            pair = value[:-2].reshape(2, k)
            total += pair.mean(axis=0)
            away = pair - mean
            blocks = covariance[:-2, :-2].reshape(2, k, 2, k)
            own = np.einsum("ajbj->abj", blocks)
            squares += np.einsum("aj,ab,bj->j", away, inverse, away)
            squares += np.einsum("ab,abj->j", inverse, own)
            told += 1.0 - own.mean(axis=(0, 1)) / (variance * (1.0 + ALIKE) / 2.0)
        of_one = variance * (1.0 + ALIKE) / 2.0  # variance of a reed's mean over its blades
        mean = (start / school + total / of_one) / (1.0 / school + n / of_one)
        variance = (2.0 * BELIEF * spread**2 + squares) / (2.0 * BELIEF + 2.0 * n)
        # each reed tells its share of one draw
        left = 1.0 / (1.0 + school * np.maximum(told, 0.0) / of_one)
    return mean, variance, left


def _length(base: Style, lengths: Sequence[float]) -> Figure:
    figure = base.lengths["overall"]
    n = len(lengths)
    mean = math.fsum(lengths) / n
    squares = math.fsum((x - mean) ** 2 for x in lengths)
    spread = math.sqrt((BELIEF * figure.spread**2 + squares) / (BELIEF + n - 1))
    return Figure(mean, spread, "own")
