"""What a policy sees and may do: no more than a maker's bench gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np

from crowlight.judge.findings import Crow, Playing
from crowlight.reed import Blade, Reading
from crowlight.reed.styles import Style

__all__ = ["STOP", "Deed", "Done", "Gauged", "Policy", "Result", "Seen", "Told", "content"]

Kind = Literal["gauge", "play", "scrape", "clip", "squeeze", "rest", "other", "stop"]
Result = Literal["better", "same", "worse"]


@dataclass(frozen=True, slots=True)
class Told:
    """A predicted change of one output: 5, 50 and 95 % points."""

    name: str
    low: float
    middle: float
    high: float
    share: bool


@dataclass(frozen=True, slots=True)
class Deed:
    """One thing a policy does.

    Parameters
    ----------
    kind : str
        ``gauge`` reads thickness, length and opening; ``play`` is crow and playing test; ``other``
        is a remedy that this simulation gives no effect; ``stop`` leaves the reed as it is.
    zone, part : str
        Where it is scraped: names of zones and of `plan.cut.Part`.
    blades : tuple of Blade
        On which blades.
    strokes : int
        Light strokes.
    amount : float
        Clipped off [m]; for a squeeze, the wanted change of the opening [m].
    told : tuple of Told
        What was predicted of it.
    named : tuple of (str, str, str, str)
        The five findings ranked first before it: code, blade, side, support.
    """

    kind: Kind
    zone: str = ""
    part: str = "whole"
    blades: tuple[Blade, ...] = ()
    strokes: int = 0
    amount: float = 0.0
    told: tuple[Told, ...] = ()
    named: tuple[tuple[str, str, str, str], ...] | None = None

    @property
    def cuts(self) -> bool:
        """Whether cane comes off."""
        return self.kind in ("scrape", "clip")


STOP = Deed("stop")


@dataclass(frozen=True, slots=True)
class Done:
    """What was done, how it went by the 15 seconds' check, and in which sitting."""

    deed: Deed
    result: Result | None
    sitting: int


@dataclass(frozen=True, slots=True)
class Gauged:
    """Readings of one reed, its length and its opening [m], as measured."""

    readings: tuple[Reading, ...]
    length: float
    opening: float


@dataclass(frozen=True)
class Seen:
    """Everything a policy may know.

    Parameters
    ----------
    style : Style
        The scrape style, not laid on any length.
    loved : Gauged
        A reed this player loves, measured.
    gauged : Gauged or None
        This reed, when it was last gauged.
    playing : Playing or None
        Taps and words of the last playing test.
    crow : Crow or None
        The last recording.
    log : sequence of Done
        Everything done, in order.
    sitting : int
        Number of the sitting; a night's rest begins a new one.
    half : bool
        Whether only the quick set of points is gauged.
    player : int
        Number of the player, the same for all their reeds.
    """

    style: Style
    loved: Gauged
    gauged: Gauged | None = None
    playing: Playing | None = None
    crow: Crow | None = None
    log: Sequence[Done] = field(default_factory=tuple)
    sitting: int = 0
    half: bool = False
    player: int = 0

    @property
    def cuts(self) -> int:
        """How many cuts were made."""
        return sum(d.deed.cuts for d in self.log)

    def since(self, kind: Kind) -> list[Done]:
        """Return what was done since the last deed of a kind."""
        kinds = [d.deed.kind for d in self.log]
        last = len(kinds) - 1 - kinds[::-1].index(kind) if kind in kinds else -1
        return list(self.log[last + 1 :])


class Policy(Protocol):
    """A way of finishing a reed; one object for one reed."""

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Return what to do next."""
        ...


#: Answers of the playing test that mean nothing is wrong.
_FINE: Mapping[str, str] = {
    "low_soft_attack": "yes",
    "slurred_octaves": "yes",
    "high_notes_hold": "yes",
    "sags_when_lip_loosens": "no",
    "tongues_cleanly": "yes",
    "soft_to_loud": "yes",
}


def content(seen: Seen) -> bool:
    """Return whether the player has nothing to say against the reed."""
    playing = seen.playing
    if playing is None or playing.words:
        return False
    bad = [n for n, fine in _FINE.items() if getattr(playing, n) not in (fine, "unsure", None)]
    rattles = seen.crow is not None and (seen.crow.rattling or 0.0) > 0.5
    return not bad and not rattles
