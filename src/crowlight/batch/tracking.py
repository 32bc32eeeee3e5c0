"""From cane to blank: which step is out of its tolerance, and which goes with the outcome."""

from __future__ import annotations

import math
import tomllib
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.batch.candidates import shared_risk
from crowlight.errors import InputError, MissingExtra

__all__ = [
    "LEAST",
    "Checked",
    "Mixed",
    "Tolerance",
    "Tracked",
    "check_steps",
    "mixed_model",
    "tolerances",
    "tracking",
]

Array = NDArray[np.float64]

#: Reeds needed before a step is looked at.
LEAST = 10


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Limits of one step [m]; infinite where there is none."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Checked:
    """One step of one reed.

    Parameters
    ----------
    step : str
        Its code.
    value : float
        As recorded [m].
    tolerance : Tolerance
        What is usual.
    verdict : str
        ``within``, ``below`` or ``above``.
    """

    step: str
    value: float
    tolerance: Tolerance
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixed:
    """A line through groups: the same slope in all of them, a level of its own in each.

    Parameters
    ----------
    intercept, intercept_error : float
        Mean level at the middle of the step, and its standard error.
    slope, low, high : float
        Per unit, and its interval; NaN without a step.
    p : float
        p-value of the slope.
    between, within : float
        Standard deviations between groups and within them.
    reeds, groups : int
        How many.
    converged : bool
        Whether the fit found its end; if not, nothing of it should be believed.
    """

    intercept: float
    intercept_error: float
    slope: float
    low: float
    high: float
    p: float
    between: float
    within: float
    reeds: int
    groups: int
    converged: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracked:
    """How the grade goes with one step.

    Parameters
    ----------
    step : str
        Its code.
    reeds, batches : int
        How many the number is from.
    slope, low, high : float
        Grades per standard deviation of the step, and its interval.
    unit : float
        That standard deviation [m].
    p, q : float
        p-value, and as adjusted for all steps.
    converged : bool
        Whether the fit found its end.
    """

    step: str
    reeds: int
    batches: int
    slope: float
    low: float
    high: float
    unit: float
    p: float
    q: float
    converged: bool


@cache
def tolerances() -> Mapping[str, Tolerance]:
    """Return what is usual for each step, by code."""
    text = (files("crowlight.batch") / "cane.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {
            code: Tolerance(row.get("low", -math.inf) * 1e-3, row.get("high", math.inf) * 1e-3)
            for code, row in tomllib.loads(text).items()
        }
    )


def check_steps(steps: Mapping[str, float | None]) -> tuple[Checked, ...]:
    """Check the steps of one reed against what is usual.

    Parameters
    ----------
    steps : mapping of str to float or None
        By code of `tolerances` [m]; what was not recorded is passed over.

    Returns
    -------
    tuple of Checked
        In the order of making.

    Raises
    ------
    InputError
        If a step is not known.

    Examples
    --------
    >>> [(c.step, c.verdict) for c in check_steps({"gouge-centre": 0.66e-3, "tie-length": 73e-3})]
    [('gouge-centre', 'above'), ('tie-length', 'within')]
    """
    known = tolerances()
    if strange := set(steps) - set(known):
        msg = f"no such step: {', '.join(sorted(strange))}; use one of: {', '.join(known)}"
        raise InputError(msg)
    found: list[Checked] = []
    for code, usual in known.items():
        value = steps.get(code)
        if value is None:
            continue
        # a nanometre is rounding, no fault
        verdict = "within"
        if value < usual.low - 1e-9:
            verdict = "below"
        elif value > usual.high + 1e-9:
            verdict = "above"
        found.append(Checked(code, value, usual, verdict))
    return tuple(found)


def mixed_model(
    outcome: ArrayLike,
    groups: Sequence[object],
    step: ArrayLike | None = None,
    *,
    level: float = 0.95,
) -> Mixed:
    """Fit a line with a level of its own for each group, by restricted maximum likelihood.

    Parameters
    ----------
    outcome : array_like, shape (n,)
        What came of each reed.
    groups : sequence, length n
        What the reeds were made together in; with one group it is an ordinary line.
    step : array_like, shape (n,), optional
        What the outcome may go with; without it only the components of variance are fitted.
    level : float
        Of the interval of the slope.

    Returns
    -------
    Mixed
        The fit.

    Raises
    ------
    MissingExtra
        If statsmodels is not installed.
    InputError
        If there are fewer than three reeds more than coefficients.

    References
    ----------
    N. M. Laird, J. H. Ware, *Biometrics* 38 (1982) 963-974.
    """
    from scipy.special import stdtr, stdtrit

    try:
        from statsmodels.regression.linear_model import OLS
        from statsmodels.regression.mixed_linear_model import MixedLM
        from statsmodels.tools.sm_exceptions import ConvergenceWarning
    except ImportError:
        msg = "mixed models need statsmodels; install it with: pip install 'crowlight[study]'"
        raise MissingExtra(msg) from None
    y = np.asarray(outcome, dtype=float)
    columns = [np.ones_like(y)]
    if step is not None:
        x = np.asarray(step, dtype=float)
        columns.append(x - x.mean())
    design = np.column_stack(columns)
    n, k = design.shape
    names, index = np.unique([str(g) for g in groups], return_inverse=True)
    if n < k + 3 or len(index) != n:
        msg = f"{n} reeds in {len(index)} places of groups are too few for a line; give {k + 3}"
        raise InputError(msg)
    between, converged = 0.0, True
    with warnings.catch_warnings():
        # a component that is nil lies on the edge of what is possible, and the library says so
        warnings.simplefilter("ignore", ConvergenceWarning)
        warnings.simplefilter("ignore", UserWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        if 1 < len(names) < n:
            fit = MixedLM(y, design, groups=index).fit(reml=True)
            between, converged = math.sqrt(max(float(fit.cov_re[0, 0]), 0.0)), bool(fit.converged)
            values, errors = np.asarray(fit.fe_params), np.asarray(fit.bse_fe)
        if not (1 < len(names) < n) or not converged or not np.isfinite(errors).all():
            fit = OLS(y, design).fit()
            between, values, errors = 0.0, np.asarray(fit.params), np.asarray(fit.bse)
            converged = not (1 < len(names) < n)
    dof = max(n - k - (len(names) - 1 if between else 0), 1)
    slope = low = high = p = math.nan
    if step is not None:
        slope, error = float(values[1]), float(errors[1])
        half = float(stdtrit(dof, 0.5 + level / 2.0)) * error
        low, high = slope - half, slope + half
        p = 2.0 * float(stdtr(dof, -abs(slope) / error)) if error > 0.0 else math.nan
    return Mixed(
        intercept=float(values[0]),
        intercept_error=float(errors[0]),
        slope=slope,
        low=low,
        high=high,
        p=p,
        between=between,
        within=math.sqrt(float(fit.scale)),
        reeds=n,
        groups=len(names),
        converged=converged,
    )


def tracking(
    steps: Mapping[str, ArrayLike],
    grades: Sequence[int | None],
    batches: Sequence[object],
    *,
    level: float = 0.95,
    least: int = LEAST,
) -> tuple[Tracked, ...]:
    """Say how the grade goes with each step from cane to blank, one at a time.

    Parameters
    ----------
    steps : mapping of str to array_like, shape (n,)
        By code [m]; NaN where it was not recorded.
    grades : sequence of int or None, length n
        1 to 5, taken as equal steps.
    batches : sequence, length n
        What each reed was made together with.
    level : float
        Of the intervals, each on its own.
    least : int
        Reeds needed for a step to be looked at.

    Returns
    -------
    tuple of Tracked
        The surest first; steps that do not vary or are known of too few reeds are left out. To go
        with the grade is not to cause it.

    Raises
    ------
    MissingExtra
        If statsmodels is not installed.

    Examples
    --------
    >>> centre = [0.58e-3, 0.59e-3, 0.60e-3, 0.61e-3, 0.62e-3] * 3
    >>> grades = [5, 4, 3, 3, 1, 4, 5, 3, 2, 2, 5, 4, 4, 2, 1]
    >>> (found,) = tracking({"gouge-centre": centre}, grades, ["a"] * 5 + ["b"] * 10)
    >>> found.step, found.high < 0.0
    ('gouge-centre', True)
    """
    marks = np.array([math.nan if g is None else float(g) for g in grades])
    rows: list[Tracked] = []
    for code, values in steps.items():
        x = np.asarray(values, dtype=float)
        both = np.isfinite(x) & np.isfinite(marks)
        unit = float(x[both].std(ddof=1)) if both.sum() >= max(least, 2) else 0.0
        if not unit > 1e-9 or np.ptp(marks[both]) == 0.0:
            continue
        of = [b for b, known in zip(batches, both, strict=True) if known]
        fit = mixed_model(marks[both], of, x[both] / unit, level=level)
        rows.append(
            Tracked(
                step=code,
                reeds=fit.reeds,
                batches=fit.groups,
                slope=fit.slope,
                low=fit.low,
                high=fit.high,
                unit=unit,
                p=fit.p,
                q=1.0,
                converged=fit.converged,
            )
        )
    usable = [r for r in rows if math.isfinite(r.p)]
    adjusted = shared_risk([r.p for r in usable])
    found = [replace(r, q=q) for r, q in zip(usable, adjusted, strict=True)]
    return tuple(sorted(found, key=lambda r: (r.p, r.step)))
