"""A split test: some reeds of the next batch made as usual, some with one thing changed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from crowlight.batch.candidates import welch_interval
from crowlight.batch.power import reeds_for_means
from crowlight.errors import InputError

__all__ = ["LEAST_EACH", "SplitPlan", "SplitResult", "allocation", "evaluate_split", "plan_split"]

#: Reeds needed of each kind, however large the difference.
LEAST_EACH = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitPlan:
    """How many reeds a split test needs.

    Parameters
    ----------
    each, each_for_half : int or None
        Reeds of each kind to see the difference go, or half of it; None if there is no telling
        with a workshop's numbers.
    each_for_grade : int or None
        Reeds of each kind to see the grade rise by one.
    sure : float
        How often the change is seen if it is there.
    risk : float
        Chance of seeing one where there is none.
    order : tuple of bool
        For the next reeds in the order of their making: whether to change. Twice `each` long.
    """

    each: int | None
    each_for_half: int | None
    each_for_grade: int | None
    sure: float
    risk: float
    order: tuple[bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitResult:
    """What a split test told.

    Parameters
    ----------
    usual, changed : int
        Reeds of each kind.
    difference : float
        Mean of the changed less that of the usual ones, signed.
    low, high : float
        Interval (Welch); NaN if there are too few, or no spread in either.
    p : float
        How often chance alone, in dealing out the reeds, gives as much.
    answer : str
        ``too-few``; ``smaller``: the change makes the difference smaller; ``larger``; ``turned``:
        it goes past none and is at least as large the other way; or ``cannot-tell``.
    """

    usual: int
    changed: int
    difference: float
    low: float
    high: float
    p: float
    answer: str


def allocation(count: int, *, rng: np.random.Generator) -> tuple[bool, ...]:
    """Deal reeds out: in every two that follow each other, one is changed, by chance which.

    Parameters
    ----------
    count : int
        Reeds; >= 0.
    rng : Generator
        Source of chance.

    Returns
    -------
    tuple of bool
        Whether to change, in the order of making. Pairs, so that a knife growing dull over the
        batch meets both kinds alike.

    Examples
    --------
    >>> dealt = allocation(10, rng=np.random.default_rng(1))
    >>> sum(dealt), all(a != b for a, b in zip(dealt[::2], dealt[1::2]))
    (5, True)
    """
    first = rng.random((count + 1) // 2) < 0.5
    pairs = np.column_stack([first, ~first]).ravel()
    return tuple(bool(v) for v in pairs[:count])


def plan_split(
    difference: float,
    spread: float,
    *,
    rng: np.random.Generator,
    grade_spread: float | None = None,
    sure: float = 0.8,
    risk: float = 0.05,
) -> SplitPlan:
    """Plan a split test that shows whether a steady difference goes when one thing is changed.

    Parameters
    ----------
    difference : float
        The steady difference; the test is to see it go.
    spread : float
        Its standard deviation from reed to reed, same unit; > 0.
    rng : Generator
        Source of chance for dealing out.
    grade_spread : float, optional
        Standard deviation of the grades.
    sure, risk : float
        As for `crowlight.batch.power.reeds_for_means`.

    Returns
    -------
    SplitPlan
        Numbers and order.

    Examples
    --------
    >>> plan = plan_split(-0.02, 0.012, rng=np.random.default_rng(1))
    >>> plan.each, plan.each_for_half
    (7, 24)
    """
    each, half = (
        None if n is None else max(n, LEAST_EACH)
        for n in (
            reeds_for_means(difference * share, spread, sure=sure, risk=risk)
            for share in (1.0, 0.5)
        )
    )
    grade = (
        reeds_for_means(1.0, grade_spread, sure=sure, risk=risk)
        if grade_spread is not None and grade_spread > 0.0
        else None
    )
    return SplitPlan(
        each=each,
        each_for_half=half,
        each_for_grade=grade,
        sure=sure,
        risk=risk,
        order=allocation(2 * min(each or 0, 30), rng=rng),
    )


def evaluate_split(
    values: ArrayLike,
    changed: ArrayLike,
    *,
    before: float,
    rng: np.random.Generator,
    level: float = 0.95,
    permutations: int = 4999,
) -> SplitResult:
    """Say what a split test told.

    Parameters
    ----------
    values : array_like, shape (n,)
        The difference on each reed, signed; NaN where not measured.
    changed : array_like of bool, shape (n,)
        How each was made.
    before : float
        The steady difference the test is about: its sign says which way is better, and twice its
        size what is too far.
    rng : Generator
        Source of the permutations.
    level : float
        Of the interval.
    permutations : int
        How many.

    Returns
    -------
    SplitResult
        The answer is given only where the interval excludes zero.

    Raises
    ------
    InputError
        If values and kinds are not as many, or `before` is zero.

    Examples
    --------
    >>> made = [-0.021, -0.004, -0.018, 0.001, -0.022, -0.003, -0.019, 0.000]
    >>> told = evaluate_split(made, [0, 1] * 4, before=-0.02, rng=np.random.default_rng(1))
    >>> told.answer, round(told.difference, 4)
    ('smaller', 0.0185)
    """
    x, kind = np.asarray(values, dtype=float), np.asarray(changed, dtype=bool)
    if x.shape != kind.shape or x.ndim != 1 or before == 0.0:
        msg = f"{x.shape} values for {kind.shape} reeds and a difference of {before}; give one each"
        raise InputError(msg)
    known = np.isfinite(x)
    x, kind = x[known], kind[known]
    new, old = x[kind], x[~kind]
    found = float(new.mean() - old.mean()) if len(new) and len(old) else math.nan
    if min(len(new), len(old)) < LEAST_EACH:
        return SplitResult(
            usual=len(old),
            changed=len(new),
            difference=found,
            low=math.nan,
            high=math.nan,
            p=math.nan,
            answer="too-few",
        )
    low, high = welch_interval(new, old, level)
    dealt = rng.permuted(np.tile(kind, (permutations, 1)), axis=1)
    means = (dealt @ x) / kind.sum() - (~dealt @ x) / (~kind).sum()
    beyond = int((np.abs(means) >= abs(found) - 1e-15).sum())
    answer = "cannot-tell"
    if low > 0.0 or high < 0.0:
        answer = "smaller" if found * before < 0.0 else "larger"
        if answer == "smaller" and abs(before + found) >= abs(before):
            answer = "turned"
    return SplitResult(
        usual=len(old),
        changed=len(new),
        difference=found,
        low=low,
        high=high,
        p=(beyond + 1) / (permutations + 1),
        answer=answer,
    )
