"""Where on a reed a finding sits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from crowlight.reed import Blade, Side

__all__ = ["PLACES", "REED", "Where"]


@dataclass(frozen=True, slots=True)
class Where:
    """A whole reed, a blade, a side as seen, or a side of one blade.

    Parameters
    ----------
    blade : Blade, optional
        None: both blades.
    side : Side, optional
        As seen on `blade`; on both blades if there is none. None: both sides.
    """

    blade: Blade | None = None
    side: Side | None = None

    @property
    def blades(self) -> tuple[Blade, ...]:
        """The blades it covers."""
        return (Blade.MARKED, Blade.PLAIN) if self.blade is None else (self.blade,)

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides as seen it covers."""
        return (Side.LEFT, Side.RIGHT) if self.side is None else (self.side,)

    def mirrored(self) -> Where:
        """Return the place with left and right as seen exchanged."""
        return Where(self.blade, self.side.other if self.side else None)

    def exchanged(self) -> Where:
        """Return the place with the mark on the other blade."""
        return Where(self.blade.other if self.blade else None, self.side)


REED = Where()


#: Kinds of place a finding can have, and the places there are of each.
PLACES: Mapping[str, tuple[Where, ...]] = {
    "reed": (REED,),
    "blade": tuple(Where(b) for b in Blade),
    "side": tuple(Where(None, s) for s in Side),
    # a physical edge of the reed is named by its side on the marked blade
    "edge": tuple(Where(Blade.MARKED, s) for s in Side),
    "quarter": tuple(Where(b, s) for b in Blade for s in Side),
}
