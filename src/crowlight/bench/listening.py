"""What a maker's recordings say together: attempts, labels, before and after, the control reed.

One recording is measured by `crowlight.bench.sounds`. Here stand the questions that need several:
how far single attempts scatter, whether a cut changed anything, what the maker's own labels teach.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Clip, Control, Cut
from crowlight.bench.ports import Entry, Maker, Reed, ReedQuery, SoundOf
from crowlight.bench.recordings import (
    COMPARED,
    SITTING,
    Heard,
    KeptRecording,
    attempts,
    class_features,
    recordings_of,
    sittings,
)
from crowlight.bench.state import current
from crowlight.errors import CrowlightError, InputError, NotFound, RecordsError
from crowlight.listen import (
    CLASSES,
    Change,
    Learned,
    Spread,
    compare_measures,
    estimate_spread,
    learn_classes,
)

__all__ = [
    "Compared",
    "ControlPair",
    "HeardRecording",
    "Listening",
    "ReedSounds",
    "control_pair",
]

#: How much is gathered about a maker at once: the latest reeds, and the latest recordings of them.
MOST_REEDS = 40
MOST_RECORDINGS = 40
MOST_LABELS = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedSounds:
    """A reed with its entries."""

    reed: Reed
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardRecording:
    """A recording and what was measured on it.

    Parameters
    ----------
    kept : KeptRecording
        The recording.
    heard : mapping
        See `crowlight.bench.sounds.listen`; empty if it could not be read.
    refused : str
        Why it could not be read.
    """

    kept: KeptRecording
    heard: Heard = field(default_factory=dict[str, Any])
    refused: str = ""

    @property
    def usable(self) -> bool:
        """Whether anything was measured."""
        return bool(self.heard.get("usable"))

    @property
    def blows(self) -> int:
        """How many attempts were measured."""
        return len(self.heard.get("blows", ()))


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlPair:
    """The control reed of a sitting: its recordings nearest to before and after.

    Parameters
    ----------
    reed : Reed
        The reed.
    first, last : KeptRecording or None
        None if it was not recorded twice, or was cut or clipped in between.
    why_not : {"", "once", "changed"}
        Why it could not be used.
    """

    reed: Reed
    first: KeptRecording | None = None
    last: KeptRecording | None = None
    why_not: Literal["", "once", "changed"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Before and after.

    Parameters
    ----------
    before, after : tuple of HeardRecording
        What was compared.
    changes : dict of str to Change
        By measure; empty if one side has no attempt that could be measured.
    control : ControlPair or None
        The control reed, if one was named for the sitting.
    recordings : int
        How many other recordings of the maker the spread rests on.
    """

    before: tuple[HeardRecording, ...]
    after: tuple[HeardRecording, ...]
    changes: dict[str, Change]
    control: ControlPair | None
    recordings: int


def control_pair(
    others: Iterable[ReedSounds], before: Sequence[Entry], after: Sequence[Entry], sound_of: SoundOf
) -> ControlPair | None:
    """Return the control reed for two groups of recordings of another reed.

    A reed counts as control for `SITTING` before and after its entry says so. Of its recordings
    those nearest in time to the first one before and to the last one after are taken.

    Parameters
    ----------
    others : iterable of ReedSounds
        Reeds to look among.
    before, after : sequence of Entry
        The recordings compared; none empty.
    sound_of : {"crow", "peep", "notes"}
        What they are of.
    """
    start, end = before[0].happened_at, after[-1].happened_at
    found: ControlPair | None = None
    for other in others:
        marks = [e for e in current(other.entries) if isinstance(e.payload, Control)]
        if not any(abs(e.happened_at - t) <= SITTING for e in marks for t in (start, end)):
            continue
        near = [
            k
            for k in recordings_of(other.entries)
            if k.payload.sound_of == sound_of
            and start - SITTING <= k.entry.happened_at <= end + SITTING
        ]
        found = _pair(other, near, start, end)
        if not found.why_not:
            break
    return found


def _pair(
    other: ReedSounds, near: Sequence[KeptRecording], start: datetime, end: datetime
) -> ControlPair:
    if len(near) < 2:
        return ControlPair(reed=other.reed, why_not="once")
    first = min(near, key=lambda k: abs(k.entry.happened_at - start))
    last = min(near, key=lambda k: abs(k.entry.happened_at - end))
    if first.entry.happened_at >= last.entry.happened_at:
        return ControlPair(reed=other.reed, why_not="once")
    touched = any(
        isinstance(e.payload, Cut | Clip)
        and first.entry.happened_at <= e.happened_at <= last.entry.happened_at
        for e in current(other.entries)
    )
    if touched:
        return ControlPair(reed=other.reed, why_not="changed")
    return ControlPair(reed=other.reed, first=first, last=last)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """What can be asked of recordings; joined to a desk."""

    desk: Desk

    def hear(self, kept: KeptRecording, reed: UUID) -> HeardRecording:
        """Measure a recording; one that cannot be read says why."""
        payload = kept.payload
        reference = payload.settings.get("reference_hz")
        try:
            heard = self.desk.hear(
                payload.digest,
                payload.sound_of,
                reference=float(reference) if isinstance(reference, int | float) else None,
                full_scale=payload.full_scale,
                one_reed=payload.settings.get("one_reed") is True,
                sticky=str(reed),
            )
        except CrowlightError as error:
            if isinstance(error, RecordsError) and not isinstance(error, NotFound):
                raise
            return HeardRecording(kept=kept, refused=str(error))
        return HeardRecording(kept=kept, heard=heard)

    def workshop(self, reed: Reed) -> tuple[ReedSounds, ...]:
        """Return the latest reeds of the same maker, this one first; at most `MOST_REEDS`.

        Invented reeds and real ones never stand together; reeds without a maker are one maker's.
        """
        records = self.desk.records
        names = [p.name for p in records.people() if isinstance(p, Maker) and p.uuid == reed.maker]
        query = ReedQuery(text=names[0] if names else "", limit=MOST_REEDS)
        rows = [row for row in records.reeds(query).rows if row.uuid != reed.uuid and row.seq]
        others = [
            other
            for other in (records.reed(row.uuid) for row in rows if row.invented is reed.invented)
            if other.maker == reed.maker
        ]
        return tuple(ReedSounds(reed=r, entries=records.entries(r.uuid)) for r in (reed, *others))

    def learned(self, workshop: Sequence[ReedSounds]) -> Learned:
        """Refit the classes from the maker's labels of crows; common practice until enough."""
        labelled = [
            (each.reed, kept, kept.label)
            for each in workshop
            for kept in recordings_of(each.entries)
            if kept.label is not None and kept.payload.sound_of == "crow"
        ]
        labelled.sort(key=lambda found: found[1].entry.happened_at, reverse=True)
        x: list[NDArray[np.float64]] = []
        y: list[int] = []
        reeds: list[str] = []
        for reed, kept, label in labelled[:MOST_LABELS]:
            row = class_features(self.hear(kept, reed.uuid).heard)
            if row is not None and np.all(np.isfinite(row)):
                x.append(row)
                y.append(CLASSES.index(label.says))
                reeds.append(str(reed.uuid))
        return learn_classes(np.array(x), y, reeds)

    def spread(
        self, workshop: Sequence[ReedSounds], sound_of: SoundOf, *, without: Iterable[UUID] = ()
    ) -> tuple[dict[str, Spread], int]:
        """Return how far single attempts of this maker scatter, and over how many recordings.

        Parameters
        ----------
        workshop : sequence of ReedSounds
            From `workshop`.
        sound_of : {"crow", "peep", "notes"}
            What the recordings are of.
        without : iterable of UUID
            Recordings that are compared themselves and count there.
        """
        left_out = set(without)
        groups = [
            (each.reed.uuid, kept)
            for each in workshop
            for sitting in sittings(each.entries, sound_of)
            if (kept := [k for k in sitting if k.entry.uuid not in left_out])
        ]
        groups.sort(key=lambda group: group[1][-1].entry.happened_at, reverse=True)
        taken: list[dict[str, list[float | None]]] = []
        count = 0
        for reed, group in groups:
            if count >= MOST_RECORDINGS:
                break
            heard = [self.hear(kept, reed) for kept in group[: MOST_RECORDINGS - count]]
            usable = [h.heard for h in heard if h.usable]
            count += len(usable)
            taken.append(attempts(usable))
        return {
            name: estimate_spread([values.get(name, []) for values in taken]) for name in COMPARED
        }, count

    def compare(
        self,
        reed: Reed,
        before: Sequence[KeptRecording],
        after: Sequence[KeptRecording],
        *,
        workshop: Sequence[ReedSounds],
    ) -> Compared:
        """Compare recordings of a reed before and after.

        Parameters
        ----------
        reed : Reed
            The reed.
        before, after : sequence of KeptRecording
            Crows or peeps, of one kind and none on both sides; the earlier side comes first.
        workshop : sequence of ReedSounds
            From `workshop`.

        Raises
        ------
        InputError
            If the sides cannot be compared.
        """
        before, after = _in_order(before), _in_order(after)
        sound_of = _kind_of(before, after)
        one = tuple(self.hear(k, reed.uuid) for k in before)
        two = tuple(self.hear(k, reed.uuid) for k in after)
        pair = control_pair(
            [w for w in workshop if w.reed.uuid != reed.uuid],
            [k.entry for k in before],
            [k.entry for k in after],
            sound_of,
        )
        compared = {k.entry.uuid for k in (*before, *after)}
        control = None
        if pair is not None and pair.first is not None and pair.last is not None:
            compared |= {pair.first.entry.uuid, pair.last.entry.uuid}
            first, last = (
                _measures([self.hear(k, pair.reed.uuid)]) for k in (pair.first, pair.last)
            )
            control = (first, last)
        known, count = self.spread(workshop, sound_of, without=compared)
        changes = compare_measures(_measures(one), _measures(two), known=known, control=control)
        return Compared(before=one, after=two, changes=changes, control=pair, recordings=count)


def _measures(heard: Iterable[HeardRecording]) -> dict[str, list[float | None]]:
    values = attempts(h.heard for h in heard if h.usable)
    return {name: values[name] for name in COMPARED if name in values}


def _in_order(kept: Sequence[KeptRecording]) -> tuple[KeptRecording, ...]:
    return tuple(sorted(kept, key=lambda k: (k.entry.happened_at, k.entry.seq)))


def _kind_of(before: Sequence[KeptRecording], after: Sequence[KeptRecording]) -> SoundOf:
    kinds: set[SoundOf] = {k.payload.sound_of for k in (*before, *after)}
    if not before or not after or {k.entry.uuid for k in before} & {k.entry.uuid for k in after}:
        msg = "before and after must be two different recordings; choose one for each"
        raise InputError(msg)
    if len(kinds) != 1 or "notes" in kinds:
        msg = f"{' and '.join(sorted(kinds))} cannot be compared; choose two crows or two peeps"
        raise InputError(msg)
    return kinds.pop()
