"""From measurements to one joint posterior of a reed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from crowlight.blade import Blades, MapSpread, Unknown, usual_unknowns
from crowlight.blade.threads import one_thread
from crowlight.calibrate.gaussian import Peak, effective_share, peak, surprise
from crowlight.calibrate.line import BladeLine, Reed, blade_line, solved
from crowlight.calibrate.measurements import Measurement
from crowlight.calibrate.posterior import Posterior, Quality, beliefs, combinations, log_weights
from crowlight.calibrate.predict import Model, presses
from crowlight.calibrate.questions import conflicts
from crowlight.crow import Resonances, Staple, find_resonances, staple_bore
from crowlight.errors import InputError, OutsideModel
from crowlight.materials import breath

__all__ = ["calibrate", "update"]

Real = NDArray[np.float64]

_DRAWS = 2000
_GOOD_LINES = 0.1
"""Relative error of the blade lines at the answer above which they are drawn anew there.

As large as the hand-over error; lines drawn anew for less would not change what is said."""
_ROUGH_SHARE = 0.1
_SOLVES = 2


def calibrate(
    blades: Blades,
    measurements: Sequence[Measurement],
    *,
    rng: np.random.Generator,
    marked: MapSpread | None = None,
    plain: MapSpread | None = None,
    unknowns: Sequence[Unknown] | None = None,
    staple: Staple | None = None,
    ambient_pressure: float = 101325.0,
    level: float = 0.8,
    report: Callable[[float], None] | None = None,
) -> Posterior:
    """Learn a reed's cane, preload, swept volume and damping from what a maker measured.

    Parameters
    ----------
    blades : Blades
        Map, rest shape and typical cane of the reed, without lip. The opening here is the prior's
        middle: give a measured opening either here or in `measurements`, not in both.
    measurements : sequence of Measurement
        Any number of any kind, repeats too; none leaves the prior.
    rng : numpy.random.Generator
        Source of chance for the draws.
    marked, plain : MapSpread, optional
        Uncertainty of each thickness map, carried along; `plain` only if the blades differ.
    unknowns : sequence of Unknown, optional
        Of the blades; `crowlight.blade.usual_unknowns` if None.
    staple : Staple, optional
        Sizes of staple and cavity.
    ambient_pressure : float
        Of the place where the crow was blown [Pa].
    level : float
        Probability of the intervals, 0 to 1.
    report : callable, optional
        Called with the share done; may raise `Cancelled`.

    Returns
    -------
    Posterior
        With prior beside it, questions, and what the data cannot separate.

    Raises
    ------
    InputError
        If the blades carry a lip, `plain` is given for blades alike, or `level` is no probability.
    OutsideModel
        If the blade model has no answer, or the reed cannot sound though a pitch was heard.

    Notes
    -----
    Laplace's method: Gauss-Newton to the mode with the blade model as straight lines in logarithms
    (adjoint slopes) and the air model exact; the normal approximation there is drawn from and the
    draws weighed by the full posterior (importance sampling). The blades are solved again at the
    mode; if the lines miss by more than 10 %, they are drawn anew there, once.

    Examples
    --------
    >>> from crowlight.blade import MeshSize, typical_scrape
    >>> from crowlight.calibrate import Opening
    >>> reed = Blades(typical_scrape(), size=MeshSize(4, 5, 3))
    >>> found = calibrate(reed, [Opening(0.8e-3, 0.03e-3)], rng=np.random.default_rng(1))
    >>> found.prior["rest_height"].value < found.posterior["rest_height"].value < 0.8e-3
    True
    """
    tell = report or (lambda _: None)
    _probability(level)
    if blades.lip is not None:
        msg = "measure the reed without lip: give blades with lip=None"
        raise InputError(msg)
    if plain is not None and blades.alike:
        msg = "one map stands for both blades; give its uncertainty as `marked` only"
        raise InputError(msg)
    data = tuple(measurements)
    known = tuple(usual_unknowns(blades) if unknowns is None else unknowns)
    reed = Reed(blades, known, (marked, plain), presses(data))
    line = blade_line(reed, report=lambda done: tell(0.5 * done))
    bore = find_resonances(staple_bore(staple), breath(ambient_pressure))
    tell(0.55)
    return update(line, bore, data, rng=rng, level=level, report=lambda d: tell(0.55 + 0.45 * d))


@one_thread
def update(
    line: BladeLine,
    bore: Resonances,
    data: Sequence[Measurement],
    *,
    rng: np.random.Generator,
    level: float = 0.8,
    check_lines: bool = True,
    report: Callable[[float], None] | None = None,
) -> Posterior:
    """Update with blades already solved: quick enough while measurements are typed.

    Parameters
    ----------
    line : BladeLine
        At the middle of the prior, with every force test of `data` among its presses.
    bore : Resonances
        Of staple and cavity.
    data : sequence of Measurement
        What was measured.
    rng, level, report
        As in `calibrate`.
    check_lines : bool
        Whether to solve the blades again at the answer.

    Returns
    -------
    Posterior
        As `calibrate`.

    Raises
    ------
    InputError
        If a force test was not among those of `line`, or `level` is no probability.
    OutsideModel
        If the reed cannot sound though a pitch was heard.
    """
    tell = report or (lambda _: None)
    _probability(level)
    first = Model(line, bore, tuple(data))
    start = np.zeros(first.size)
    model, top, solves = first, _climb(first, start), 1
    expected = first.one(start)
    odd = surprise(expected, first.slopes(start), first.measured, first.spread)
    error = 0.0 if np.allclose(top.mode, 0.0) else np.nan
    tell(0.3)
    while check_lines and not np.allclose(top.mode, 0.0):
        error = _line_error(model, top.mode)
        tell(min(0.3 + 0.2 * solves, 0.8))
        if not error > _GOOD_LINES or solves == _SOLVES:
            break
        again = blade_line(line.reed, top.mode[: line.reed.size])
        model, solves = replace(model, line=again), solves + 1
        top = _climb(model, top.mode)
    n = model.physical
    base = rng.standard_normal((_DRAWS, n))
    before, sample = np.zeros((2, _DRAWS, model.size))
    before[:, :n] = base
    sample[:, :n] = top.mode[:n] + base @ np.linalg.cholesky(top.covariance[:n, :n]).T
    weighed = log_weights(model, sample, base, model.onset(top.mode))
    weights = np.exp(weighed - np.max(weighed))
    weights /= weights.sum()
    tell(0.95)
    even = np.full(_DRAWS, 1.0 / _DRAWS)
    quality = Quality(
        "laplace, importance sampling", _DRAWS, effective_share(weighed), error, solves
    )
    return Posterior(
        prior=beliefs(first, before, even, level),
        posterior=beliefs(model, sample, weights, level),
        cannot_separate=combinations(model, top.covariance),
        conflicts=conflicts(first.data, odd, first.measured - expected),
        chance=odd.chance,
        quality=quality,
        notes=_notes(first, quality, checked=check_lines),
        model=model,
        sample=sample,
        weights=weights,
    )


def _probability(level: float) -> None:
    if not 0.0 < level < 1.0:
        msg = f"level {level:g} must lie between 0 and 1; 0.8 means four in five"
        raise InputError(msg)


def _climb(model: Model, start: Real) -> Peak:
    return peak(model.one, model.slopes, model.measured, model.spread, start)


def _line_error(model: Model, mode: Real) -> float:
    """Largest relative difference of the blade lines from the model at the mode."""
    t = mode[: model.line.reed.size]
    try:
        return float(np.max(np.abs(np.expm1(solved(model.line.reed, t) - model.line(t)))))
    except (OutsideModel, InputError):
        return float("nan")


def _notes(model: Model, quality: Quality, *, checked: bool) -> tuple[str, ...]:
    found = {
        "no_data": not model.data,
        "no_preload": model.line.reed.blades.interference == 0.0,
        "rough": quality.effective_share < _ROUGH_SHARE,
        "blade_lines": checked and not quality.blade_error <= _GOOD_LINES,
    }
    return tuple(code for code, holds in found.items() if holds)
