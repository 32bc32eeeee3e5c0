"""How many reeds would settle a question."""

from __future__ import annotations

import math

from crowlight.errors import InputError

__all__ = ["MOST", "reeds_for_means", "reeds_for_shares", "share_of_true_answers"]

#: A question that needs more reeds than this on each side is not one for a workshop.
MOST = 10_000


def share_of_true_answers(effect: float, count: int, *, risk: float = 0.05) -> float:
    """Return how often a difference of two means would be seen: the power of Student's t test.

    Parameters
    ----------
    effect : float
        The difference over the standard deviation within the two groups.
    count : int
        Reeds in each group; >= 2.
    risk : float
        Chance of seeing one where there is none, both sides together.

    Returns
    -------
    float
        0 to 1.

    References
    ----------
    J. Cohen, *Statistical Power Analysis for the Behavioral Sciences* (1988), chapter 2.

    Examples
    --------
    >>> round(share_of_true_answers(0.5, 64), 2)
    0.8
    """
    from scipy.special import nctdtr, stdtrit

    dof = 2.0 * (count - 1)
    limit = float(stdtrit(dof, 1.0 - risk / 2.0))
    off = abs(effect) * math.sqrt(count / 2.0)
    # Beyond some 37 standard errors the library's tail underflows, and the answer is certain; the
    # tail on the other side, no more than 3e-7 from 5 standard errors on, does so sooner.
    if off > 30.0:
        return 1.0
    other = float(nctdtr(dof, off, -limit)) if off < 5.0 else 0.0
    return 1.0 - float(nctdtr(dof, off, limit)) + other


def reeds_for_means(
    difference: float, deviation: float, *, sure: float = 0.8, risk: float = 0.05
) -> int | None:
    """Return the reeds needed in each of two groups to see a difference of means.

    Parameters
    ----------
    difference : float
        What is to be seen.
    deviation : float
        Standard deviation within the groups, same unit; > 0.
    sure : float
        How often it is to be seen if it is there.
    risk : float
        As for `share_of_true_answers`.

    Returns
    -------
    int or None
        2 or more; None if more than `MOST`.

    Raises
    ------
    InputError
        If the deviation is not above 0.

    Examples
    --------
    >>> reeds_for_means(0.5, 1.0), reeds_for_means(1.0, 1.0)
    (64, 17)
    """
    if not deviation > 0.0:
        msg = f"standard deviation {deviation} must be above 0"
        raise InputError(msg)
    effect = difference / deviation
    low, high = 1, 2
    while share_of_true_answers(effect, high, risk=risk) < sure:
        low, high = high, 2 * high
        if low > MOST:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        if share_of_true_answers(effect, middle, risk=risk) < sure:
            low = middle
        else:
            high = middle
    return high if high <= MOST else None


def reeds_for_shares(
    first: float, second: float, *, sure: float = 0.8, risk: float = 0.05
) -> int | None:
    """Return the reeds needed in each of two groups to see a difference of shares.

    Parameters
    ----------
    first, second : float
        Shares; 0 to 1.
    sure, risk : float
        As for `reeds_for_means`.

    Returns
    -------
    int or None
        None if the shares are the same or more than `MOST` are needed.

    Notes
    -----
    By the arcsine transformation; a little too few where shares are near 0 or 1 and groups small.

    References
    ----------
    J. Cohen, *Statistical Power Analysis for the Behavioral Sciences* (1988), chapter 6.

    Examples
    --------
    >>> reeds_for_shares(0.5, 0.7)
    93
    """
    from scipy.special import ndtri

    if not (0.0 <= first <= 1.0 and 0.0 <= second <= 1.0):
        msg = f"shares {first} and {second} must lie from 0 to 1"
        raise InputError(msg)
    effect = 2.0 * abs(math.asin(math.sqrt(first)) - math.asin(math.sqrt(second)))
    if effect == 0.0:
        return None
    needed = 2.0 * ((float(ndtri(1.0 - risk / 2.0)) + float(ndtri(sure))) / effect) ** 2
    return max(2, math.ceil(needed)) if needed <= MOST else None
