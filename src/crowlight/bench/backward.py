"""Looking back at a reed: its moments in order, and two of them set against each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.kept import Entry
from crowlight.bench.kinds import Clip, Cut, ReadingsTaken, Withdrawn
from crowlight.bench.recordings import KeptRecording, recordings_of
from crowlight.bench.state import current
from crowlight.bench.workshop_kinds import Photo

__all__ = [
    "Moment",
    "matched_volumes",
    "moments_of",
    "photos_at",
    "programme_level",
    "sounds_at",
    "usual_pair",
]

#: Sound further below its loudest stretch than this is taken for silence between blows [dB].
_SILENCE = 30.0
_FRAME = 0.05  # seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Something that happened to a reed: one entry, or readings that were sent one by one.

    Parameters
    ----------
    first, last : int
        Numbers of its first and last entry.
    at : datetime
        When the last one happened.
    entries : tuple of Entry
        Its entries.
    """

    first: int
    last: int
    at: datetime
    entries: tuple[Entry, ...]

    @property
    def kind(self) -> str:
        """Kind of its entries."""
        return self.entries[-1].payload.kind

    @property
    def measures(self) -> bool:
        """Whether readings were taken."""
        return isinstance(self.entries[-1].payload, ReadingsTaken)


def moments_of(entries: Iterable[Entry]) -> tuple[Moment, ...]:
    """Return the moments of a reed in the order in which they were written down.

    Parameters
    ----------
    entries : iterable of Entry
        Of one reed; what was replaced or withdrawn makes no moment.
    """
    kept = sorted(entries, key=lambda e: e.seq)
    gone = {e.replaces for e in kept if e.replaces is not None}
    found: list[list[Entry]] = []
    burst: UUID | None = None
    for e in kept:
        if e.uuid in gone or isinstance(e.payload, Withdrawn):
            continue
        now = e.payload.burst if isinstance(e.payload, ReadingsTaken) else None
        if now is not None and now == burst:
            found[-1].append(e)
        else:
            found.append([e])
        burst = now
    return tuple(
        Moment(first=g[0].seq, last=g[-1].seq, at=g[-1].happened_at, entries=tuple(g))
        for g in found
    )


def usual_pair(moments: Sequence[Moment]) -> tuple[int, int] | None:
    """Return the two moments one most likely wants compared: before the last cut, and now.

    Parameters
    ----------
    moments : sequence of Moment
        In order.

    Returns
    -------
    tuple of int, or None
        Numbers of two entries; the first and the last moment where nothing was cut; None for
        fewer than two moments.
    """
    if len(moments) < 2:
        return None
    for n in range(len(moments) - 1, 0, -1):
        if isinstance(moments[n].entries[-1].payload, (Cut, Clip)):
            return moments[n - 1].last, moments[-1].last
    return moments[0].last, moments[-1].last


def sounds_at(
    entries: Sequence[Entry], before: int, after: int
) -> tuple[KeptRecording, KeptRecording] | None:
    """Return the latest recordings of one kind at two moments; None where there are not two.

    Parameters
    ----------
    entries : sequence of Entry
        Of one reed.
    before, after : int
        Numbers of two entries.
    """
    for sound_of in ("crow", "peep", "notes"):
        pair: list[KeptRecording] = []
        for limit in (before, after):
            seen = [e for e in entries if e.seq <= limit]
            own = [r for r in recordings_of(seen) if r.payload.sound_of == sound_of]
            pair += sorted(own, key=lambda r: r.entry.seq)[-1:]
        if len(pair) == 2 and pair[0].entry.uuid != pair[1].entry.uuid:
            return pair[0], pair[1]
    return None


def photos_at(entries: Iterable[Entry], before: int, after: int) -> tuple[tuple[Entry, Entry], ...]:
    """Return photographs of the same thing at two moments, the two of each pair different ones.

    Parameters
    ----------
    entries : iterable of Entry
        Of one reed; withdrawn photographs do not count.
    before, after : int
        Numbers of two entries.

    Returns
    -------
    tuple of (Entry, Entry)
        For everything that was photographed by both moments, the latest photograph at each. Where
        the two moments are photographs of different things, these two come first.
    """
    kept = [e for e in current(entries) if isinstance(e.payload, Photo)]
    at: list[dict[str, Entry]] = []
    for limit in (before, after):
        seen = sorted((e for e in kept if e.seq <= limit), key=lambda e: e.seq)
        at.append({e.payload.shows: e for e in seen if isinstance(e.payload, Photo)})
    named = {e.seq: e for e in kept if e.seq in (before, after)}
    pairs = [(at[0][shows], at[1][shows]) for shows in at[0]]
    if len(named) == 2:
        pairs.insert(0, (named[before], named[after]))
    return tuple({(a.seq, b.seq): (a, b) for a, b in pairs if a.seq != b.seq}.values())


def programme_level(sound: NDArray[np.floating[Any]], rate: float) -> float:
    """Return the level of what sounds in a recording, pauses left out [dB re full scale].

    Parameters
    ----------
    sound : ndarray of float, shape (n,) or (n, channels)
        Samples, full scale 1.
    rate : float
        Samples per second [Hz].

    Returns
    -------
    float
        Mean square of the frames within 30 dB of the loudest one; minus infinity for silence.

    Examples
    --------
    >>> t = np.arange(48_000) / 48_000
    >>> round(programme_level(np.sin(2 * np.pi * 440 * t), 48_000), 1)
    -3.0
    """
    samples = np.asarray(sound, dtype=float)
    mono = samples.mean(axis=1) if samples.ndim == 2 else samples
    size = max(round(_FRAME * rate), 1)
    count = max(len(mono) // size, 1)
    frames = np.array_split(mono, count)
    power = np.array([float(np.mean(f**2)) if f.size else 0.0 for f in frames])
    loud = power[power >= power.max(initial=0.0) * 10 ** (-_SILENCE / 10)]
    mean = float(loud.mean()) if loud.size else 0.0
    return 10 * math.log10(mean) if mean > 0 else -math.inf


def matched_volumes(one: float, other: float) -> tuple[float, float]:
    """Return volumes, 0 to 1, at which two sounds are equally loud: the louder one is turned down.

    Parameters
    ----------
    one, other : float
        Levels [dB].

    Examples
    --------
    >>> [round(v, 3) for v in matched_volumes(-20.0, -26.0)]
    [0.501, 1.0]
    """
    if not (math.isfinite(one) and math.isfinite(other)):
        return 1.0, 1.0
    least = min(one, other)
    return 10 ** ((least - one) / 20), 10 ** ((least - other) / 20)
