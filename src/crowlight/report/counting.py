"""Where a maker counts positions along the reed from, and what the counting costs.

Positions are kept from the bottom rim, so that a clip never moves a reading. Counted from the tip
or from the top of the thread they need a length, and carry its uncertainty: one shift, common to
all positions of the reed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from crowlight.bench.assess import Assessment
from crowlight.bench.mapping import Mapped
from crowlight.bench.state import ReedState
from crowlight.errors import InputError
from crowlight.reed import Origin, from_rim
from crowlight.report.words import Words, mark

__all__ = ["ORIGINS", "RULER", "Counting", "counting_of_state"]

#: Standard uncertainty of a length somebody read off a ruler [m] (common practice, no source).
RULER = 0.25e-3

#: What positions may be counted from, as one chooses it.
ORIGINS: Mapping[Origin, str] = {
    Origin.TIP: mark("the tip"),
    Origin.RIM: mark("the bottom rim"),
    Origin.THREAD: mark("the thread top"),
}
_WHERE: Mapping[Origin, str] = {
    Origin.TIP: mark("%(value)s from the tip"),
    Origin.RIM: mark("%(value)s from the bottom rim"),
    Origin.THREAD: mark("%(value)s from the thread top"),
}
_FROM: Mapping[Origin, str] = {
    Origin.TIP: mark("from the tip"),
    Origin.RIM: mark("from the bottom rim"),
    Origin.THREAD: mark("from the thread top"),
}
_HEADINGS: Mapping[Origin, str] = {
    Origin.TIP: mark("From the tip"),
    Origin.RIM: mark("From the bottom rim"),
    Origin.THREAD: mark("From the thread top"),
}
_AXES: Mapping[Origin, str] = {
    Origin.TIP: mark("mm from the tip"),
    Origin.RIM: mark("mm from the bottom rim"),
    Origin.THREAD: mark("mm from the thread top"),
}
_CAPTIONS: Mapping[Origin, str] = {
    Origin.TIP: mark("positions from the tip, ±%(value)s from the length"),
    Origin.RIM: mark("positions from the bottom rim"),
    Origin.THREAD: mark("positions from the thread top, ±%(value)s from where the thread ends"),
}
_NOTES: Mapping[Origin, str] = {
    Origin.TIP: mark(
        "Positions are counted from the tip, ±%(value)s from the length: one shift, the same for "
        "all of them."
    ),
    Origin.RIM: mark("Positions are counted from the bottom rim."),
    Origin.THREAD: mark(
        "Positions are counted from the thread top, ±%(value)s from where the thread ends: one "
        "shift, the same for all of them."
    ),
}
_INSTEAD: Mapping[Origin, str] = {
    Origin.TIP: mark("Positions are counted from the bottom rim: the length is not known."),
    Origin.THREAD: mark(
        "Positions are counted from the bottom rim: where the thread ends is not known."
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """How positions along one reed are counted.

    Parameters
    ----------
    origin : Origin
        What they are counted from.
    length, length_uncertainty : float, optional
        Bottom rim to tip and its standard uncertainty [m].
    thread_top, thread_uncertainty : float, optional
        Bottom rim to the top of the thread and its standard uncertainty [m].
    asked : Origin, optional
        What was asked for, where what it needs is not known; else as `origin`.

    Raises
    ------
    InputError
        If the length that `origin` needs is not given.

    Notes
    -----
    Positions that were read off from the same origin and converted with the very same length are
    known better than `uncertainty` says, for there the shift cancels: it is an upper bound.

    Examples
    --------
    >>> tip = Counting(origin=Origin.TIP, length=0.0702)
    >>> round(tip.position(0.0672), 4), tip.uncertainty
    (0.003, 0.00025)
    """

    origin: Origin = Origin.RIM
    length: float | None = None
    length_uncertainty: float = RULER
    thread_top: float | None = None
    thread_uncertainty: float = RULER
    asked: Origin | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be counted."""
        if self._zero() is None:
            needed = "length" if self.origin is Origin.TIP else "thread_top"
            msg = f"positions from the {self.origin.value} need {needed} [m]; it is not known"
            raise InputError(msg)

    @classmethod
    def of(cls, assessment: Assessment, prefer: Origin = Origin.TIP) -> Counting:
        """Return how positions of a reed are counted: as preferred, from the rim if need be.

        Parameters
        ----------
        assessment : Assessment
            The reed.
        prefer : Origin
            What the user wants them counted from.
        """
        length, top = assessment.length, assessment.thread_top
        missing = (prefer is Origin.TIP and length is None) or (
            prefer is Origin.THREAD and top is None
        )
        return cls(
            origin=Origin.RIM if missing else prefer,
            length=length,
            length_uncertainty=assessment.length_uncertainty or RULER,
            thread_top=top,
            asked=prefer,
        )

    @classmethod
    def of_map(cls, mapped: Mapped) -> Counting:
        """Return how positions on a map are counted if nobody chose: from the tip, if known."""
        if not mapped.length_known:
            return cls()
        return cls(origin=Origin.TIP, length=mapped.length)

    def _zero(self) -> float | None:
        match self.origin:
            case Origin.RIM:
                return 0.0
            case Origin.TIP:
                return self.length
            case Origin.THREAD:
                return self.thread_top

    @property
    def towards_tip(self) -> bool:
        """Whether the numbers grow towards the tip; a scale with the tip first is then reversed."""
        return self.origin is not Origin.TIP

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty that the counting adds to every position alike [m]."""
        match self.origin:
            case Origin.RIM:
                return 0.0
            case Origin.TIP:
                return self.length_uncertainty
            case Origin.THREAD:
                return self.thread_uncertainty

    def position(self, along: float) -> float:
        """Return a distance from the bottom rim [m] as it is counted here [m]."""
        zero = self._zero() or 0.0
        return along - zero if self.towards_tip else zero - along

    def along(self, position: float) -> float:
        """Return a distance from the bottom rim [m] for a position as it is counted here [m]."""
        nowhere = math.nan
        return from_rim(
            position,
            self.origin,
            length=nowhere if self.length is None else self.length,
            thread_top=nowhere if self.thread_top is None else self.thread_top,
        )

    def marks(self, bottom: float, top: float, *, step_mm: int = 5) -> list[tuple[float, int]]:
        """Return the marks of a scale, tip first.

        Parameters
        ----------
        bottom, top : float
            Ends of the scale, from the bottom rim [m].
        step_mm : int
            From mark to mark [mm].

        Returns
        -------
        list of (float, int)
            Where each mark lies, from the bottom rim [m], and its number [mm].
        """
        ends = sorted(self.position(a) * 1e3 / step_mm for a in (bottom, top))
        slack = 1e-6  # a mark at the very end is drawn
        numbers = range(math.ceil(ends[0] - slack), math.floor(ends[1] + slack) + 1)
        found = [(self.along(n * step_mm * 1e-3), n * step_mm) for n in numbers]
        return sorted(found, reverse=True)

    # --- words ----------------------------------------------------------------------------------

    def shown(self, along: float, words: Words) -> str:
        """Return a position with its unit."""
        return words.mm(self.position(along), 1)

    def where(self, along: float, words: Words) -> str:
        """Return a position with its unit and what it is counted from."""
        return words.say(_WHERE[self.origin], value=self.shown(along, words))

    def origin_of(self, words: Words) -> str:
        """Return what positions are counted from, to follow a number."""
        return words(_FROM[self.origin])

    def heading(self, words: Words) -> str:
        """Return the heading of a column of positions."""
        return words(_HEADINGS[self.origin])

    def axis(self, words: Words) -> str:
        """Return the name of a scale in millimetres."""
        return words(_AXES[self.origin])

    def caption(self, words: Words) -> str:
        """Return what a table says of its positions: their origin, and what that adds to each."""
        return words.say(_CAPTIONS[self.origin], value=words.mm(self.uncertainty))

    def note(self, words: Words) -> str:
        """Return the same as a sentence; also why they are not counted as was asked."""
        if self.asked is not None and self.asked is not self.origin:
            return words(_INSTEAD[self.asked])
        return words.say(_NOTES[self.origin], value=words.mm(self.uncertainty))


def counting_of_state(state: ReedState, asked: Origin) -> Counting:
    """Return how positions of a reed are counted: as asked, from the rim if that is not known.

    Parameters
    ----------
    state : ReedState
        What is known of the reed.
    asked : Origin
        What the user wants them counted from.
    """
    top = state.lengths.thread_top if state.lengths else None
    missing = (asked is Origin.TIP and state.length is None) or (
        asked is Origin.THREAD and top is None
    )
    return Counting(
        origin=Origin.RIM if missing else asked,
        length=state.length,
        length_uncertainty=state.length_uncertainty or RULER,
        thread_top=top,
        asked=asked,
    )
