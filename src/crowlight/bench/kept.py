"""What is kept: people, reeds and entries, as plain rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, NamedTuple
from uuid import UUID

from crowlight.bench.kinds import Payload
from crowlight.reed import Reading

__all__ = [
    "Appended",
    "Batch",
    "Entry",
    "Maker",
    "NewEntry",
    "NewReed",
    "OwnStyle",
    "Page",
    "Person",
    "PersonPlace",
    "PlainEntry",
    "Player",
    "Reed",
    "ReedQuery",
    "ReedSummary",
    "Sitting",
    "SittingReed",
]

# --- people and reeds: ordinary rows, so that names and addresses can be erased -----------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Maker:
    """Somebody who makes reeds."""

    uuid: UUID
    name: str
    hand: Literal["left", "right", ""] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """Somebody who plays them."""

    uuid: UUID
    name: str
    contact: str = ""
    uses_knife: bool | None = None


Person = Maker | Player


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonPlace:
    """Where somebody makes or plays reeds: altitude [m], indoor air [K, 0-1] where known."""

    uuid: UUID
    person: UUID
    name: str
    altitude: float | None = None
    temperature: float | None = None
    humidity: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """Reeds made together."""

    uuid: UUID
    name: str
    maker: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewReed:
    """A reed to be added; `name` is unique among all reeds."""

    uuid: UUID
    name: str
    maker: UUID | None = None
    player: UUID | None = None
    batch: UUID | None = None
    invented: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Reed(NewReed):
    """A reed that is kept; `seq` is the number of its latest entry, 0 for none."""

    created_at: datetime
    seq: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnStyle:
    """A scrape style made from a maker's own reeds; its name is unique among them.

    `text` is what `crowlight.bench.styles.known_style` reads.
    """

    uuid: UUID
    name: str
    maker: UUID | None = None
    text: str
    created_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedSummary:
    """One line of the list of reeds, kept up to date with every entry."""

    uuid: UUID
    name: str
    invented: bool
    maker: str
    player: str
    batch: str
    thread_colour: str
    cork_number: str
    style: str
    seq: int
    readings: int
    length: float | None
    opening: float | None
    grade: int | None
    last_kind: str
    last_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReedQuery:
    """What to list. `text` is looked for in names, people, batch, colour, number and style."""

    text: str = ""
    batch: str = ""
    sort: Literal["name", "last", "batch", "style", "grade", "length"] = "last"
    descending: bool = True
    offset: int = 0
    limit: int = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Part of a list, and how long the whole list is."""

    rows: tuple[ReedSummary, ...]
    total: int


# --- entries: appended, never changed -------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class NewEntry:
    """Something to write down. The sender makes the `uuid`, so that sending twice is harmless."""

    uuid: UUID
    payload: Payload
    happened_at: datetime
    readings: tuple[Reading, ...] = ()
    by: UUID | None = None
    replaces: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(NewEntry):
    """Something that was written down: entry number `seq` of its reed."""

    reed: UUID
    seq: int
    recorded_at: datetime


class PlainEntry(NamedTuple):
    """An entry as plain values; its reed by a number that means nothing outside one answer."""

    reed: int
    uuid: str
    kind: str
    payload: Mapping[str, Any]
    replaces: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Appended:
    """What an append did: the entries as kept, and how many of them are new."""

    entries: tuple[Entry, ...]
    added: int


# --- the bench: what lies on it now; nothing here was measured ------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class SittingReed:
    """A reed on the bench.

    Parameters
    ----------
    reed : UUID
        The reed.
    joined : int
        Number of its latest entry when it was laid there.
    passed : mapping of str to int
        Steps gone past without an entry, each with the number of the latest entry at that moment.
    """

    reed: UUID
    joined: int = 0
    passed: Mapping[str, int] = field(default_factory=dict[str, int])


@dataclass(frozen=True, slots=True, kw_only=True)
class Sitting:
    """One sitting at the bench: up to eight reeds in rotation, and the one in hand."""

    uuid: UUID
    started_at: datetime
    ended_at: datetime | None = None
    shown: UUID | None = None
    reeds: tuple[SittingReed, ...] = ()
