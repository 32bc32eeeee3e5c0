"""Thickness gauges and what they can tell."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from crowlight.errors import InputError

__all__ = ["Instrument", "Repeatability", "instrument", "instruments", "pooled_repeatability"]

#: Degrees of freedom given to a repeatability that is only common practice: a relative
#: uncertainty of about a quarter, GUM (JCGM 100:2008) equation G.3 with 25 %.
ASSUMED_DOF = 8.0


@dataclass(frozen=True, slots=True)
class Instrument:
    """One kind of thickness gauge.

    Parameters
    ----------
    code : str
        Its name in the data file.
    resolution, repeatability, seating, placement, foot : float
        See ``instruments.toml`` [m].
    dof : float
        Degrees of freedom of `repeatability`.
    """

    code: str
    resolution: float
    repeatability: float
    seating: float
    placement: float
    foot: float
    dof: float = ASSUMED_DOF

    def with_repeatability(self, own: Repeatability) -> Instrument:
        """Return this instrument with the maker's own repeatability in place of the default."""
        return replace(self, repeatability=own.standard_deviation, dof=own.dof)


@dataclass(frozen=True, slots=True)
class Repeatability:
    """A pooled standard deviation.

    Parameters
    ----------
    standard_deviation : float
        Of a single reading [m]; >= 0.
    dof : int
        Degrees of freedom; > 0.
    """

    standard_deviation: float
    dof: int


@cache
def instruments() -> Mapping[str, Instrument]:
    """Return all instruments of the data file by code."""
    text = (files("crowlight.reed") / "instruments.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {
            code: Instrument(code, **{k.removesuffix("_mm"): v * 1e-3 for k, v in row.items()})
            for code, row in tomllib.loads(text).items()
        }
    )


def instrument(code: str) -> Instrument:
    """Return the instrument with this code.

    Raises
    ------
    InputError
        If there is no such instrument; the message lists those there are.
    """
    try:
        return instruments()[code]
    except KeyError:
        msg = f"instrument {code!r} is not known; use one of: {', '.join(instruments())}"
        raise InputError(msg) from None


def pooled_repeatability(groups: Sequence[Sequence[float]]) -> Repeatability | None:
    r"""Pool the scatter of repeated readings.

    Parameters
    ----------
    groups : sequence of sequences of float
        Repeated readings of one place each [m]; groups of one say nothing and are passed over.

    Returns
    -------
    Repeatability or None
        None when no place was read twice.

    Notes
    -----
    :math:`s_p^2 = \sum \nu_i s_i^2 / \sum \nu_i`, GUM (JCGM 100:2008) equation H.5 context and
    4.2.4; ISO 5725-2:2019, equation for the repeatability variance.

    Examples
    --------
    >>> pooled_repeatability([[0.50e-3, 0.52e-3], [0.40e-3, 0.40e-3], [0.3e-3]])
    Repeatability(standard_deviation=1e-05, dof=2)
    """
    total, dof = 0.0, 0
    for group in groups:
        n = len(group)
        if n < 2:
            continue
        mean = math.fsum(group) / n
        total += math.fsum((x - mean) ** 2 for x in group)
        dof += n - 1
    if not dof:
        return None
    return Repeatability(float(f"{math.sqrt(total / dof):.12g}"), dof)
