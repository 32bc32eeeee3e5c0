"""One published case: what was computed, what was expected, and who says so."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Check"]


@dataclass(frozen=True, slots=True)
class Check:
    """A computed value beside a published one.

    Parameters
    ----------
    name : str
        What is compared, in words.
    value : float
        What crowlight computes.
    expected : float
        The published value.
    tolerance : float
        Largest accepted absolute difference, in `unit`; follows from the printed digits or, for
        discretised models, from the stated mesh error. >= 0.
    unit : str
        Unit of the three numbers; ``"1"`` for a pure number.
    source : str
        Who published the expected value, with place; ends in "from memory" where recalled.

    Examples
    --------
    >>> Check("one inch", 25.4, 25.4, 0.0, "mm", "ISO 80000-3").ok
    True
    """

    name: str
    value: float
    expected: float
    tolerance: float
    unit: str
    source: str

    @property
    def ok(self) -> bool:
        """Whether the value lies within the tolerance; never true for NaN."""
        return bool(abs(self.value - self.expected) <= self.tolerance)
