"""Rivals of the advice, written before it was ever tried here; changing them voids all results.

Each sees what the planner sees.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from crowlight.invented.trials.bench import STOP, Deed, Gauged, Seen, content
from crowlight.reed import Blade, Reading
from crowlight.reed.styles import Style

__all__ = ["FixedOrder", "MatchStyle", "Nothing", "RandomScraping"]

_BOTH = (Blade.MARKED, Blade.PLAIN)


class Nothing:
    """Leaves every reed as it is."""

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Return nothing to do."""
        return STOP


class RandomScraping:
    """Scrapes lightly here and there, a few times, and hopes."""

    _PARTS: Sequence[tuple[str, str]] = (
        ("tip", "whole"), ("tip", "sides"), ("tip", "left"), ("tip", "right"),
        ("transition", "whole"), ("heart", "whole"), ("heart", "sides"), ("windows", "whole"),
    )  # fmt: skip
    _BLADES: Sequence[tuple[Blade, ...]] = (_BOTH, (Blade.MARKED,), (Blade.PLAIN,))

    def __init__(self) -> None:
        self._many: int | None = None

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Scrape anywhere, two to eight times."""
        if self._many is None:
            self._many = int(rng.integers(2, 9))
        if seen.cuts >= self._many:
            return STOP
        zone, part = self._PARTS[int(rng.integers(len(self._PARTS)))]
        blades = self._BLADES[int(rng.integers(3))]
        return Deed("scrape", zone, part, blades, strokes=int(rng.integers(1, 4)))


def _excess(gauged: Gauged, of: Style) -> dict[tuple[Blade, str, str], float]:
    """Mean of readings over the style, by blade, zone and side (left, centre, right) [m]."""
    laid = of.placed(gauged.length)
    found: dict[tuple[Blade, str, str], list[float]] = {}
    for r in gauged.readings:
        u = float(laid.outline.fraction(r.place.along, r.place.across))
        side = "centre" if abs(u) < 0.2 else "left" if u < 0 else "right"
        zone = laid.zone_of(r.place.along, r.place.across).name
        over = r.thickness - float(laid.thickness(r.place.along, r.place.across))
        found.setdefault((r.place.blade, zone, side), []).append(over)
    return {key: float(np.mean(values)) for key, values in found.items()}


def _room(gauged: Gauged, of: Style, zone: str, blades: Sequence[Blade]) -> bool:
    """Whether every reading of a zone is well above its floor."""
    laid = of.placed(gauged.length)
    for r in gauged.readings:
        if r.place.blade in blades and _is_in(laid, r, zone):
            t = laid.zone(zone).tolerance
            u = abs(float(laid.outline.fraction(r.place.along, r.place.across)))
            if r.thickness < t.floor + (t.floor_edge - t.floor) * u + 0.015e-3:
                return False
    return True


def _is_in(laid: Style, r: Reading, zone: str) -> bool:
    return laid.zone_of(r.place.along, r.place.across).name == zone


@dataclass(frozen=True, slots=True)
class _Rung:
    """One rung of the ladder: what answers which complaint, most easily undone first."""

    zone: str
    part: str
    for_taps: frozenset[str]
    for_words: frozenset[str]


#: The remedies in the order of how easily they are undone (common practice): opening without the
#: knife, dust the tip, blend, equalise, windows and back, heart, clip.
_LADDER: Sequence[_Rung] = (
    _Rung("squeeze", "", frozenset(), frozenset({"open", "closed"})),
    _Rung(
        "tip", "whole",
        frozenset({"low_soft_attack", "tongues_cleanly"}),
        frozenset({"late", "no-soft", "tongue", "chirps", "hard", "stuffy"}),
    ),
    _Rung("transition", "whole", frozenset({"slurred_octaves"}), frozenset({"cracks", "dull"})),
    _Rung("equalise", "", frozenset({"slurred_octaves"}), frozenset({"wobbles", "chirps"})),
    _Rung("windows", "whole", frozenset({"low_soft_attack"}), frozenset({"no-low", "hard"})),
    _Rung("heart", "whole", frozenset(), frozenset({"hard"})),
    _Rung(
        "clip", "", frozenset({"high_notes_hold", "sags_when_lip_loosens"}),
        frozenset({"flat", "sags", "no-high", "soft", "buzzy"}),
    ),
)  # fmt: skip
_BAD: Mapping[str, str] = {"sags_when_lip_loosens": "yes"}
#: Clips no maker goes past in one finishing, and tests without gain after which one stops.
_CLIPS, _ENOUGH = 3, 3


class FixedOrder:
    """Works up the ladder of remedies, one rung at a time, testing after each, until it plays.

    Only rungs that answer a complaint are taken, two light strokes in the tip and three behind it,
    never near a floor; one sitting has three cuts, then the reed rests; three tests without gain
    end it.
    """

    def __init__(self) -> None:
        self._rung = 0
        self._tried = 0

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Take the next rung."""
        if seen.gauged is None:
            return Deed("gauge")
        changing = ("scrape", "clip", "squeeze", "rest")
        if seen.playing is None or any(d.deed.kind in changing for d in seen.since("play")):
            return Deed("play")
        if content(seen) or _without_gain(seen) >= _ENOUGH:
            return STOP
        in_sitting = [d for d in seen.log if d.deed.cuts and d.sitting == seen.sitting]
        if len(in_sitting) >= 3:
            return Deed("rest")
        if len([d for d in seen.since("gauge") if d.deed.cuts]) >= 3:
            return Deed("gauge")
        for _ in range(2 * len(_LADDER)):
            rung = _LADDER[self._rung]
            deed = self._deed(rung, seen, seen.gauged) if self._asked(rung, seen) else None
            self._tried += 1
            if deed is None or self._tried >= 2:  # two tries on a rung, then the next
                self._rung, self._tried = (self._rung + 1) % len(_LADDER), 0
            if deed is not None:
                return deed
        return STOP

    def _asked(self, rung: _Rung, seen: Seen) -> bool:
        playing = seen.playing
        if playing is None:
            return False
        taps = {n for n in rung.for_taps if getattr(playing, n) == _BAD.get(n, "no")}
        return bool(taps or rung.for_words & playing.words)

    def _deed(self, rung: _Rung, seen: Seen, gauged: Gauged) -> Deed | None:
        if rung.zone == "squeeze":
            return Deed("squeeze", amount=seen.loved.opening - gauged.opening)
        if rung.zone == "clip":
            clips = sum(d.deed.kind == "clip" for d in seen.log)
            shortest = seen.style.thread_top + seen.style.lengths["shortest_blade"].value
            if clips >= _CLIPS or gauged.length - 0.2e-3 * (clips + 1) < shortest:
                return None
            return Deed("clip", blades=_BOTH, amount=0.2e-3)
        if rung.zone == "equalise":
            return _thicker(seen, gauged)
        if not _room(gauged, seen.style, rung.zone, _BOTH):
            return None
        return Deed("scrape", rung.zone, rung.part, _BOTH, strokes=_strokes(rung.zone))


def _thicker(seen: Seen, gauged: Gauged) -> Deed | None:
    """Equalise: the thicker blade, in heart or tip, whichever is further beyond what is even."""
    over = _excess(gauged, seen.style)
    best: tuple[float, str, Blade] | None = None
    for zone in ("tip", "heart"):
        mean = {
            b: float(np.mean([v for (x, z, _), v in over.items() if x is b and z == zone]))
            for b in Blade
        }
        gap = mean[Blade.MARKED] - mean[Blade.PLAIN]
        size = abs(gap) / seen.style.zone(zone).tolerance.blades
        if best is None or size > best[0]:
            best = (size, zone, Blade.MARKED if gap > 0 else Blade.PLAIN)
    if best is None or not _room(gauged, seen.style, best[1], (best[2],)):
        return None
    return Deed("scrape", best[1], "whole", (best[2],), strokes=_strokes(best[1]))


def _strokes(zone: str) -> int:
    return 2 if zone == "tip" else 3


def _without_gain(seen: Seen) -> int:
    """Return how many tests in a row, last first, were not better."""
    count = 0
    for done in reversed([d for d in seen.log if d.deed.cuts]):
        if done.result == "better":
            break
        count += 1
    return count


class MatchStyle:
    """Brings the readings to the style's thickness by eye, wherever most is over, then stops."""

    #: Excess that is scraped at all, in the style's own spread from reed to reed.
    _OVER = 1.0

    def step(self, seen: Seen, rng: np.random.Generator) -> Deed:
        """Scrape where the readings are furthest above the style."""
        if seen.gauged is None or len([d for d in seen.since("gauge") if d.deed.cuts]) >= 3:
            return Deed("gauge")
        in_sitting = [d for d in seen.log if d.deed.cuts and d.sitting == seen.sitting]
        if len(in_sitting) >= 3:
            return Deed("rest")
        found = self._furthest(seen, seen.gauged)
        return found or STOP

    def _furthest(self, seen: Seen, gauged: Gauged) -> Deed | None:
        touched = {
            (b, d.deed.zone, d.deed.part)
            for d in seen.since("gauge")
            if d.deed.kind == "scrape"
            for b in d.deed.blades
        }
        laid = seen.style.placed(gauged.length)
        best: tuple[float, Deed] | None = None
        for (blade, zone, side), over in _excess(gauged, seen.style).items():
            part = "whole" if side == "centre" else side
            if zone not in ("tip", "transition", "heart", "windows"):
                continue
            if (blade, zone, part) in touched or not _room(gauged, seen.style, zone, (blade,)):
                continue
            size = over / _spread(laid, zone)
            if size > self._OVER and (best is None or size > best[0]):
                strokes = int(np.clip(round(over / 6e-6), 1, 3))
                best = (size, Deed("scrape", zone, part, (blade,), strokes=strokes))
        return best[1] if best else None


def _spread(laid: Style, zone: str) -> float:
    of = laid.zone(zone)
    middle = 0.5 * (float(np.mean(of.start)) + float(np.mean(of.stop)))
    values: NDArray[np.float64] = laid.spread(np.array([middle]), np.array([0.0]))
    return float(values[0])
