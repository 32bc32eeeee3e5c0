"""Where a point of a reed is.

One frame serves everything that is stored. *Along* runs from the bottom rim of the staple tube (the
end that enters the oboe) towards the tip, so that a clip never moves a reading. *Across* is the
signed distance from the centreline **as seen** when facing that blade with the tip up: negative to
the left, positive to the right. Seen so, the left edge of the marked blade and the right edge of
the plain blade are the same physical edge of the reed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

__all__ = ["Blade", "Origin", "Place", "Side", "facing_edge", "from_rim"]


class Blade(StrEnum):
    """The two blades, told apart by the maker's mark."""

    MARKED = "marked"
    PLAIN = "plain"

    @property
    def other(self) -> Blade:
        """The blade on the other side of the opening."""
        return Blade.PLAIN if self is Blade.MARKED else Blade.MARKED


class Side(StrEnum):
    """A side of one blade as seen when facing it, tip up."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Side:
        """The opposite side of the same blade."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT


class Origin(StrEnum):
    """Where a maker counts positions along the reed from."""

    RIM = "rim"
    TIP = "tip"
    THREAD = "thread"


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the outside of a blade.

    Parameters
    ----------
    blade : Blade
        Which blade.
    along : float
        Distance from the bottom rim of the staple, towards the tip [m]; > 0.
    across : float
        Signed distance from the centreline as seen, left negative [m].

    Examples
    --------
    >>> Place(Blade.MARKED, 0.068, -0.002).facing()
    Place(blade=<Blade.PLAIN: 'plain'>, along=0.068, across=0.002)
    """

    blade: Blade
    along: float
    across: float

    def mirrored(self) -> Place:
        """Return the point at the same height on the other side of this blade."""
        return replace(self, across=-self.across)

    def facing(self) -> Place:
        """Return the point of the other blade that lies across the opening from this one."""
        return Place(self.blade.other, self.along, -self.across)


def facing_edge(blade: Blade, side: Side) -> tuple[Blade, Side]:
    """Return the other name of a physical edge.

    Parameters
    ----------
    blade : Blade
        A blade.
    side : Side
        One of its sides, as seen.

    Returns
    -------
    tuple of Blade and Side
        The blade and side that share this edge of the reed.

    Examples
    --------
    >>> facing_edge(Blade.MARKED, Side.LEFT)
    (<Blade.PLAIN: 'plain'>, <Side.RIGHT: 'right'>)
    """
    return blade.other, side.other


def from_rim(distance: float, origin: Origin, *, length: float, thread_top: float) -> float:
    """Convert a distance a maker reads off into a position from the bottom rim.

    Parameters
    ----------
    distance : float
        Distance from `origin` [m]: towards the bottom rim when counted from the tip, towards the
        tip otherwise.
    origin : Origin
        What it is counted from.
    length : float
        Overall length, bottom rim to tip, when the reading was taken [m].
    thread_top : float
        Bottom rim to the top of the thread [m].

    Returns
    -------
    float
        Distance from the bottom rim [m]. Its uncertainty is that of `distance` combined with that
        of `length` (counted from the tip) or `thread_top` (counted from the thread); the latter
        part is common to every reading converted with the same number.

    Examples
    --------
    >>> round(from_rim(0.003, Origin.TIP, length=0.0702, thread_top=0.047), 4)
    0.0672
    """
    match origin:
        case Origin.RIM:
            return distance
        case Origin.TIP:
            return length - distance
        case Origin.THREAD:
            return thread_top + distance
