"""Recordings on their way in: what is said of one, and the port that holds its pieces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol
from uuid import UUID

from crowlight.bench.ports import SoundOf

__all__ = ["Setting", "Take", "Takes"]

#: What may be said of how a sound was made.
Setting = str | int | float | bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """A recording under way: what is said of it before its first sample.

    Parameters
    ----------
    uuid : UUID
        The sender's own; the entry will have it.
    reed : UUID
        The reed that is blown.
    sound_of : {"crow", "peep", "notes"}
        What is recorded.
    rate : int
        Samples per second [Hz].
    channels : int
        1 or 2.
    begun_at : datetime
        When it began, with its zone.
    device : str
        What it is recorded with, in the maker's words.
    settings : mapping
        What the recorder reports of itself.
    """

    uuid: UUID
    reed: UUID
    sound_of: SoundOf
    rate: int
    channels: int
    begun_at: datetime
    device: str = ""
    settings: Mapping[str, Setting] = field(default_factory=dict[str, Setting])


class Takes(Protocol):
    """Numbered chunks of recordings that are not entries yet.

    What was answered for survives the end of the process and a power cut.
    """

    def begin(self, take: Take) -> None:
        """Make room for a take; beginning the same again changes nothing.

        Raises
        ------
        Conflict
            If one with this uuid says something else.
        CannotWrite
            Disk full, folder read-only.
        """
        ...

    def take(self, uuid: UUID) -> Take:
        """Return what was said of a take.

        Raises
        ------
        NotFound
            If there is none.
        """
        ...

    def put(self, uuid: UUID, number: int, data: bytes) -> None:
        """Keep chunk `number`; keeping the same again changes nothing.

        Raises
        ------
        NotFound
            If there is no such take.
        Conflict
            If this chunk is kept already with other content.
        CannotWrite
            Disk full, folder read-only; what was there is untouched.
        """
        ...

    def held(self, uuid: UUID) -> dict[int, int]:
        """Return the size of each chunk that is kept [bytes], by its number, in order."""
        ...

    def chunk(self, uuid: UUID, number: int) -> bytes:
        """Return chunk `number`.

        Raises
        ------
        NotFound
            If it is not kept.
        """
        ...

    def drop(self, uuid: UUID) -> None:
        """Forget a take; one that is not there is no error."""
        ...

    def all(self) -> tuple[Take, ...]:
        """Return the takes that are held, the earliest first."""
        ...
