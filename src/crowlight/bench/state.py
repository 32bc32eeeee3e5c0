"""What is known of a reed at one moment, worked out from its entries.

The rule: an entry counts unless a later one replaces it. Entries are only ever appended, so the
state after entry number `up_to` is the same today as it was then, and any two moments can be
compared. Among the entries that count, the order is that of *happening*: yesterday's length,
corrected today, does not hide this morning's.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import fsum
from uuid import UUID

from pydantic import BaseModel

from crowlight.bench.kinds import (
    Clip,
    Cut,
    Described,
    Lengths,
    Opening,
    ReadingsTaken,
    Verdict,
    Wetting,
    Withdrawn,
)
from crowlight.bench.ports import Entry
from crowlight.reed import CaneState, Place, Reading

__all__ = [
    "WETTING_COUNTS_FOR",
    "FieldChange",
    "ReedState",
    "StateDifference",
    "ThicknessChange",
    "TimedReading",
    "current",
    "difference",
    "state_of",
]

#: A soaking further back than this no longer tells how wet the cane is (common practice, no
#: source): minutes are then unknown rather than derived.
WETTING_COUNTS_FOR = timedelta(hours=4)


def current(entries: Iterable[Entry], up_to: int | None = None) -> tuple[Entry, ...]:
    """Return the entries that count, in the order in which they happened.

    Parameters
    ----------
    entries : iterable of Entry
        Of one reed, in any order.
    up_to : int, optional
        Number of the last entry to look at; all by default.

    Returns
    -------
    tuple of Entry
        Those not replaced; a withdrawal takes its entry away and does not count itself. Entries of
        the same time stand in the order in which they were written down.
    """
    seen = [e for e in entries if up_to is None or e.seq <= up_to]
    replaced = {e.replaces for e in seen if e.replaces is not None}
    counting = (e for e in seen if e.uuid not in replaced and not isinstance(e.payload, Withdrawn))
    return tuple(sorted(counting, key=lambda e: (e.happened_at, e.seq)))


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedReading:
    """A reading that counts, with what its entry says of it.

    Parameters
    ----------
    reading : Reading
        As it was taken.
    taken : ReadingsTaken
        How its position was found; shared by all readings of the entry.
    entry : UUID
        The entry.
    at : datetime
        When the entry happened.
    minutes_wet : float or None
        Minutes since the reed was wetted: as stated with the reading, or else from the last soaking
        before it; None if neither tells, and for dry cane.
    derived : bool
        Whether `minutes_wet` came from the clock.
    cut_since : bool
        Whether this blade was cut after the reading, so that it may no longer hold.
    """

    reading: Reading
    taken: ReadingsTaken
    entry: UUID
    at: datetime
    minutes_wet: float | None
    derived: bool
    cut_since: bool

    @property
    def together(self) -> UUID:
        """What readings taken together share: their burst, else their entry."""
        return self.taken.burst or self.entry


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedState:
    """What is known of a reed.

    Parameters
    ----------
    seq : int
        Number of the last entry looked at; 0 for none.
    entries : tuple of Entry
        All that count, in the order in which they happened.
    described : Described
        The latest description; an empty one if there is none.
    lengths : Lengths or None
        As last measured.
    length : float or None
        Overall length now [m]: as last measured, less what was clipped since. None if it was never
        measured, or if a clip since then was not measured.
    length_uncertainty : float or None
        Standard uncertainty of the measured length in `length` [m].
    opening : Opening or None
        As last measured.
    opening_old : bool
        Whether the reed was cut or clipped after the opening was measured.
    clipped : float
        Sum of all measured clips [m].
    clips_unmeasured : int
        Number of clips whose amount is not known.
    grade : int or None
        The player's latest grade, 1 to 5.
    wetted_at : datetime or None
        End of the latest soaking.
    readings : tuple of TimedReading
        All readings that count, in the order in which they were taken.
    """

    seq: int = 0
    entries: tuple[Entry, ...] = ()
    described: Described = field(default_factory=Described)
    lengths: Lengths | None = None
    length: float | None = None
    length_uncertainty: float | None = None
    opening: Opening | None = None
    opening_old: bool = False
    clipped: float = 0.0
    clips_unmeasured: int = 0
    grade: int | None = None
    wetted_at: datetime | None = None
    readings: tuple[TimedReading, ...] = ()

    @property
    def last(self) -> Entry | None:
        """The latest thing that happened to the reed."""
        return self.entries[-1] if self.entries else None

    def latest(self, kind: str) -> Entry | None:
        """Return the latest entry of this kind that counts."""
        return next((e for e in reversed(self.entries) if e.payload.kind == kind), None)


def state_of(entries: Iterable[Entry], *, up_to: int | None = None) -> ReedState:
    """Return what was known of a reed after entry number `up_to`.

    Parameters
    ----------
    entries : iterable of Entry
        Of one reed, in any order.
    up_to : int, optional
        Number of the last entry to look at; all by default.

    Returns
    -------
    ReedState
        The state; an empty one for no entries.

    Notes
    -----
    A wetting "happened" when it ended, so minutes since wetted count from the moment the reed left
    the water. Wiping takes water off the surface and starts no new count.
    """
    seen = [e for e in entries if up_to is None or e.seq <= up_to]
    counting = current(seen)
    described, lengths, opening = Described(), None, None
    length: float | None = None
    opening_old = False
    clips: list[Clip] = []
    grade: int | None = None
    wetted_at: datetime | None = None
    for e in counting:
        match e.payload:
            case Described() as payload:
                described = payload
            case Lengths() as payload:
                lengths, length = payload, payload.overall
            case Opening() as payload:
                opening, opening_old = payload, False
            case Clip() as payload:
                clips.append(payload)
                opening_old = True
                if length is not None:
                    length = None if payload.amount is None else length - payload.amount
            case Cut():
                opening_old = True
            case Verdict(grade=int() as given):
                grade = given
            case Wetting(how="soaked"):
                wetted_at = e.happened_at
            case _:
                pass
    return ReedState(
        seq=max((e.seq for e in seen), default=0),
        entries=counting,
        described=described,
        lengths=lengths,
        length=length,
        length_uncertainty=None if length is None or not lengths else lengths.overall_uncertainty,
        opening=opening,
        opening_old=opening is not None and opening_old,
        clipped=fsum(c.amount for c in clips if c.amount is not None),
        clips_unmeasured=sum(c.amount is None for c in clips),
        grade=grade,
        wetted_at=wetted_at,
        readings=tuple(_timed(counting)),
    )


def _timed(counting: Sequence[Entry]) -> Iterable[TimedReading]:
    """Yield the readings with minutes since wetted and whether their blade was cut since."""
    last_cut: dict[str, int] = {}
    for index, e in enumerate(counting):
        if isinstance(e.payload, Cut):
            last_cut.update(dict.fromkeys(e.payload.blades, index))
    soaked: datetime | None = None
    for index, e in enumerate(counting):
        if isinstance(e.payload, Wetting) and e.payload.how == "soaked":
            soaked = e.happened_at
        if not isinstance(e.payload, ReadingsTaken):
            continue
        since = None if soaked is None else e.happened_at - soaked
        clock = since / timedelta(minutes=1) if since and since <= WETTING_COUNTS_FOR else None
        clock = 0.0 if since == timedelta(0) else clock
        for reading in e.readings:
            stated = reading.minutes_wet
            derived = stated is None and clock is not None and reading.state is not CaneState.DRY
            yield TimedReading(
                reading=reading,
                taken=e.payload,
                entry=e.uuid,
                at=e.happened_at,
                minutes_wet=clock if derived else stated,
                derived=derived,
                cut_since=last_cut.get(reading.place.blade, -1) > index,
            )


# --- two moments ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """A field of the description that changed; nested ones are named ``cane.diameter``."""

    name: str
    before: object
    after: object


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessChange:
    """Mean thickness of one place before and after [m], measured in the same state of the cane."""

    place: Place
    state: CaneState
    before: float
    after: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StateDifference:
    """What differs between two moments of a reed.

    Parameters
    ----------
    happened : tuple of Entry
        Entries that count at the second moment and did not at the first.
    gone : tuple of Entry
        Entries that counted at the first moment and no longer do: replaced or withdrawn.
    described : tuple of FieldChange
        Fields of the description that changed.
    length, opening : float or None
        Change of the length and of the height of the opening [m]; None unless both are known.
    clipped : float
        Measured clips between the moments [m].
    grade : int or None
        Change of the grade; None unless both are known.
    thickness : tuple of ThicknessChange
        Places measured at both moments, newly at the second, with the cane in the same state.
        Wet and dry readings are never compared.
    """

    happened: tuple[Entry, ...]
    gone: tuple[Entry, ...]
    described: tuple[FieldChange, ...]
    length: float | None
    opening: float | None
    clipped: float
    grade: int | None
    thickness: tuple[ThicknessChange, ...]


def difference(before: ReedState, after: ReedState) -> StateDifference:
    """Compare two moments of one reed.

    Parameters
    ----------
    before, after : ReedState
        Two states of one reed; `after` may also be the earlier one.

    Returns
    -------
    StateDifference
        After less before.
    """
    had, has = ({e.uuid for e in state.entries} for state in (before, after))
    openings = [s.opening.height if s.opening else None for s in (after, before)]
    grades = None
    if after.grade is not None and before.grade is not None:
        grades = after.grade - before.grade
    return StateDifference(
        happened=tuple(e for e in after.entries if e.uuid not in had),
        gone=tuple(e for e in before.entries if e.uuid not in has),
        described=tuple(_field_changes(before.described, after.described)),
        length=_less(after.length, before.length),
        opening=_less(*openings),
        clipped=after.clipped - before.clipped,
        grade=grades,
        thickness=tuple(_thickness_changes(before, after, had)),
    )


def _less(after: float | None, before: float | None) -> float | None:
    return None if after is None or before is None else after - before


def _field_changes(before: Described, after: Described) -> Iterable[FieldChange]:
    old, new = _flat(before), _flat(after)
    for name in new:
        if old[name] != new[name]:
            yield FieldChange(name=name, before=old[name], after=new[name])


def _flat(payload: BaseModel, prefix: str = "") -> dict[str, object]:
    flat: dict[str, object] = {}
    for name, value in payload:
        if isinstance(value, BaseModel):
            flat |= _flat(value, f"{prefix}{name}.")
        else:
            flat[prefix + name] = value
    return flat


def _thickness_changes(
    before: ReedState, after: ReedState, had: set[UUID]
) -> Iterable[ThicknessChange]:
    old = _means(before.readings)
    new = _means(r for r in after.readings if r.entry not in had)
    for (place, state), value in new.items():
        if (place, state) in old:
            yield ThicknessChange(place=place, state=state, before=old[place, state], after=value)


def _means(readings: Iterable[TimedReading]) -> dict[tuple[Place, CaneState], float]:
    """Return the mean of each place's repeats when it was measured last."""
    last: dict[tuple[Place, CaneState], tuple[UUID, list[float]]] = {}
    for timed in readings:
        place = timed.reading.place
        # To a hundredth of a millimetre: a position passes through decimal text on its way here.
        place = Place(place.blade, round(place.along, 5), round(place.across, 5))
        key = place, timed.reading.state
        if key in last and last[key][0] == timed.together:
            last[key][1].append(timed.reading.thickness)
        else:
            last[key] = timed.together, [timed.reading.thickness]
    return {key: fsum(values) / len(values) for key, (_, values) in last.items()}
