"""What the use cases need from the outside world.

`store`, `files` and `wiring` implement these; tests may stand in for them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, Protocol
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.kept import (
    Appended,
    Batch,
    Entry,
    Maker,
    NewEntry,
    NewReed,
    OwnStyle,
    Page,
    Person,
    PersonPlace,
    PlainEntry,
    Player,
    Reed,
    ReedQuery,
    ReedSummary,
    Sitting,
    SittingReed,
)
from crowlight.bench.kinds import ReadingsTaken
from crowlight.reed import Reading

__all__ = [
    "Appended",
    "Batch",
    "Blobs",
    "Clock",
    "Entry",
    "Heard",
    "Job",
    "Jobs",
    "KeptSound",
    "Maker",
    "NewEntry",
    "NewReed",
    "OwnStyle",
    "Page",
    "Person",
    "PersonPlace",
    "PlainEntry",
    "Player",
    "Records",
    "Reed",
    "ReedQuery",
    "ReedSummary",
    "Report",
    "Results",
    "Sitting",
    "SittingReed",
    "SoundOf",
    "Sounds",
    "Table",
    "Tables",
]

#: Called with the fraction done, 0 to 1; may raise `crowlight.errors.Cancelled`.
Report = Callable[[float], None]


class Clock(Protocol):
    """The time, so that tests can stop it."""

    def now(self) -> datetime:
        """Return the time, with its zone."""
        ...


# --- what is kept -------------------------------------------------------------------------------


class Records(Protocol):
    """Reeds, people and entries."""

    def add_person(self, person: Person) -> None:
        """Add or update a maker or a player."""
        ...

    def people(self) -> tuple[Person, ...]:
        """Return all makers and players by name."""
        ...

    def erase_person(self, uuid: UUID) -> None:
        """Remove name, contact and places of a person; what they made or played stays."""
        ...

    def add_place(self, place: PersonPlace) -> None:
        """Add or update a place of a person."""
        ...

    def place(self, key: str | UUID) -> PersonPlace:
        """Return a place by uuid or name.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        Conflict
            If several people have a place of this name.
        """
        ...

    def places(self, person: UUID | None = None) -> tuple[PersonPlace, ...]:
        """Return the places, of one person or all."""
        ...

    def remove_place(self, uuid: UUID) -> None:
        """Forget a place.

        Raises
        ------
        NotFound
            If there is none.
        """
        ...

    def add_batch(self, batch: Batch) -> None:
        """Add or update a batch."""
        ...

    def batches(self) -> tuple[Batch, ...]:
        """Return all batches by name."""
        ...

    def remove_batch(self, uuid: UUID) -> None:
        """Forget a batch; its reeds stay and are of no batch.

        Raises
        ------
        NotFound
            If there is none.
        """
        ...

    def add_reed(self, reed: NewReed) -> Reed:
        """Add a reed; adding the same uuid and name again changes nothing.

        Raises
        ------
        Conflict
            If another reed has this name.
        """
        ...

    def reed(self, key: str | UUID) -> Reed:
        """Return a reed by uuid or name.

        Raises
        ------
        NotFound
            If there is none; the message offers close names.
        """
        ...

    def assign(
        self, reed: UUID, *, maker: UUID | None, player: UUID | None, batch: UUID | None
    ) -> Reed:
        """Say whose a reed is from now on; None for nobody's or no batch.

        Raises
        ------
        NotFound
            If the reed, the maker, the player or the batch is not kept.
        """
        ...

    def latest_reeds(self, maker: UUID, count: int) -> tuple[Reed, ...]:
        """Return the reeds of a maker that were added last, the latest first."""
        ...

    def reeds(self, query: ReedQuery) -> Page:
        """List reeds."""
        ...

    def entries(self, reed: UUID, *, up_to: int | None = None) -> tuple[Entry, ...]:
        """Return a reed's entries in order, all or up to number `up_to`."""
        ...

    def entries_of_kinds(
        self, kinds: Collection[str], *, reed: UUID | None = None
    ) -> tuple[Entry, ...]:
        """Return the entries of these kinds, of one reed or all, without their readings.

        Replaced and withdrawn ones are among them; see `crowlight.bench.state.current`.
        """
        ...

    def plain_entries(self, kinds: Collection[str]) -> Sequence[PlainEntry]:
        """Return the entries of these kinds of all reeds, in the order in which they happened.

        Replaced and withdrawn ones are among them. They are not read into models: this is for
        counting over tens of thousands of entries.
        """
        ...

    def append(
        self, reed: UUID, entries: Sequence[NewEntry], *, expected_seq: int | None = None
    ) -> Appended:
        """Write entries down, all or none, and bring the summary up to date with them.

        Entries whose uuid is already kept for this reed are left as they are.

        Raises
        ------
        Conflict
            If `expected_seq` is given and is not the reed's latest number (another window wrote
            first), if a uuid belongs to another reed or other content, or if what is to be replaced
            is of another reed or replaced already. A sending kept already as a whole is answered
            again whatever `expected_seq` says.
        NotFound
            If the reed, or an entry that is to be replaced, is not there.
        CannotWrite
            Disk full, read-only, locked; nothing was written.
        """
        ...

    def add_style(self, style: OwnStyle) -> None:
        """Keep a maker's own style; keeping the same again changes nothing.

        Raises
        ------
        Conflict
            If another style has this name, or this one other content: a style is never changed,
            because reeds were judged by it.
        NotFound
            If its maker is not kept.
        """
        ...

    def styles(self) -> tuple[OwnStyle, ...]:
        """Return the makers' own styles by name."""
        ...

    def setting(self, person: UUID) -> Mapping[str, Any]:
        """Return how a person wants the pages; nothing if they never said."""
        ...

    def put_setting(self, person: UUID, chosen: Mapping[str, Any]) -> None:
        """Keep how a person wants the pages, in place of what was kept.

        Raises
        ------
        NotFound
            If the person is not kept, or was erased.
        """
        ...

    def begin_sitting(self, sitting: Sitting) -> Sitting:
        """Begin a sitting; one that is still open ends. Beginning it again changes nothing.

        Raises
        ------
        NotFound
            If one of its reeds is not kept.
        """
        ...

    def open_sitting(self) -> Sitting | None:
        """Return the sitting that has not ended, or None."""
        ...

    def change_sitting(self, uuid: UUID, change: Callable[[Sitting], Sitting]) -> Sitting:
        """Put what `change` makes of a sitting in its place, within one transaction.

        Raises
        ------
        NotFound
            If there is no such sitting, or one of its reeds is not kept.
        """
        ...

    def everything(self) -> Iterator[tuple[str, Mapping[str, Any]]]:
        """Yield every kept row as (table name, plain values), for export."""
        ...


class Blobs(Protocol):
    """Sounds and pictures by the SHA-256 of their content."""

    def put(self, data: bytes) -> str:
        """Keep `data`; return its digest. Keeping it again is harmless."""
        ...

    def get(self, digest: str) -> bytes:
        """Return what has this digest.

        Raises
        ------
        NotFound
            If it is not there or its content no longer matches.
        RecordsError
            If it cannot be read.
        """
        ...


class Results(Protocol):
    """Computed results; may be deleted at any time, because they can be computed again."""

    def get(self, key: str) -> bytes | None:
        """Return the result kept under `key`, or None."""
        ...

    def put(self, key: str, value: bytes) -> None:
        """Keep a result; failing to is not an error."""
        ...


class Job(Protocol):
    """A computation under way."""

    def progress(self) -> float:
        """Return the fraction done, 0 to 1."""
        ...

    def cancel(self) -> None:
        """Ask it to stop; `result` then raises `Cancelled` unless it was done already."""
        ...

    def result(self, timeout: float | None = None) -> Any:
        """Wait for the result.

        Raises
        ------
        TimeoutError
            If it is not there in `timeout` seconds.
        CrowlightError
            What the task raised.
        """
        ...


class Jobs(Protocol):
    """Runs named tasks in other processes."""

    def submit(self, task: str, inputs: Mapping[str, Any], *, sticky: str = "") -> Job:
        """Start a task of `crowlight.bench.tasks`.

        Jobs with the same non-empty `sticky` go to the same process, which keeps warm state.
        """
        ...

    def close(self) -> None:
        """Stop the processes."""
        ...


# --- sounds ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """A recording, or one take of it, in memory.

    Parameters
    ----------
    sound : ndarray of float, shape (n, channels)
        Samples, full scale 1.
    rate : int
        Samples per second [Hz].
    start : float
        Where in the file it begins [s].
    notes : tuple of str
        What was wrong with the file; empty if it was read to its stated end.
    """

    sound: NDArray[np.floating[Any]]
    rate: int
    start: float = 0.0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptSound:
    """A recording as it is kept: a FLAC file, its rate [Hz] and what its full scale stands for."""

    data: bytes
    rate: int
    full_scale: float = 1.0


#: What a recording may be of.
SoundOf = Literal["crow", "peep", "notes"]


class Sounds(Protocol):
    """Reads sound files and encodes recordings."""

    def read(self, source: bytes | Path, *, name: str = "") -> Heard:
        """Read a whole recording.

        Raises
        ------
        InputError
            If it is no sound file, is empty or damaged, or does not fit in memory.
        MissingExtra
            If its kind needs an optional extra.
        """
        ...

    def takes(self, source: bytes | Path, *, name: str = "") -> Iterator[Heard]:
        """Yield a file's takes: all of it where it fits in memory, else stretch by stretch."""
        ...

    def encode(self, heard: Heard) -> KeptSound:
        """Encode a recording without loss beyond 24 bits."""
        ...

    def to_wav(self, heard: Heard, *, title: str = "", exact: bool = False) -> bytes:
        """Return a sound as a WAV file; `title` says in the file what it is.

        It has 24 bits, which players read, or 32-bit floats if `exact`: each sample as it is.
        """
        ...


# --- tables of readings ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of readings as read from a file.

    Parameters
    ----------
    readings : tuple of Reading
        In file order.
    taken : ReadingsTaken
        How positions were converted.
    facts : mapping
        What the head of the file says: ``reed``, ``style``, ``length`` [m], ``thread_top`` [m],
        ``maker``, ``measured_at`` (datetime) ...; only those given.
    digest : str
        SHA-256 of what was read, independent of line ends, number format and unit.
    """

    readings: tuple[Reading, ...]
    taken: ReadingsTaken
    facts: Mapping[str, Any] = field(default_factory=dict[str, Any])
    digest: str = ""


class Tables(Protocol):
    """Reads tables of readings."""

    def read(self, data: bytes, *, name: str = "") -> Table:
        """Read a CSV or TSV file.

        Raises
        ------
        TableError
            Every problem with its line number; nothing is accepted from a table with a bad row.
        """
        ...
