"""Recording at the bench: chunks come in, one recording is kept, whatever breaks in between.

A take has the uuid of the entry it becomes. Its chunks are numbered from 0 and may be sent in any
order and any number of times; each is safe once it was answered. What is kept at the end is exactly
the chunks in their order.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import get_args
from uuid import UUID

import numpy as np

from crowlight.bench.desk import Desk
from crowlight.bench.kinds import Recording, clean_text
from crowlight.bench.ports import Appended, Heard, SoundOf
from crowlight.bench.takes import Setting, Take
from crowlight.errors import CannotWrite, Conflict, InputError, NotFound

__all__ = ["LONGEST", "MOST_CHUNK", "MOST_TAKES", "Held", "Recorder"]

#: Longest take [s].
LONGEST = 180.0
#: Largest chunk [bytes].
MOST_CHUNK = 524_288
#: Most takes that wait to be finished.
MOST_TAKES = 30
RATES = (8_000, 192_000)
_MOST_SETTINGS = 40
_LONGEST_TEXT = 200
_NAME = re.compile(r"[a-z][a-zA-Z0-9_]{0,39}")
#: Samples are 32-bit floats, little end first.
_SAMPLE = np.dtype("<f4")
#: Loudest sample believed; full scale is 1, and resampling a clipped sound overshoots.
_LOUDEST = 16.0
#: A clock this far ahead is still believed.
_AHEAD = timedelta(minutes=2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A take and what of it is here.

    Parameters
    ----------
    take : Take
        What was said of it.
    chunks : tuple of int
        Numbers of the chunks that are here, in order.
    frames : int
        Samples per channel in them.
    """

    take: Take
    chunks: tuple[int, ...]
    frames: int

    @property
    def seconds(self) -> float:
        """How long what is here sounds [s]."""
        return self.frames / self.take.rate


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorder:
    """Takes of reeds; joined to a desk."""

    desk: Desk

    def begin(self, take: Take) -> None:
        """Begin a take; beginning the same again changes nothing.

        Raises
        ------
        InputError
            If it says something that cannot be.
        NotFound
            If there is no such reed.
        Conflict
            If its uuid belongs to something else.
        CannotWrite
            If too many takes wait, or the disk refuses.
        """
        self.desk.records.reed(take.reed)
        waiting = self.desk.takes.all()
        known = next((t for t in waiting if t.uuid == take.uuid), None)
        take = self._checked(take, known)
        if known is None:
            if self.kept(take.reed, take.uuid) is not None:
                msg = f"recording {take.uuid} is kept already; begin a new one"
                raise Conflict(msg)
            if len(waiting) >= MOST_TAKES:
                msg = (
                    f"{len(waiting)} recordings wait to be finished, the most there is room for; "
                    f"keep or drop some of them first"
                )
                raise CannotWrite(msg)
        self.desk.takes.begin(take)

    def _checked(self, take: Take, known: Take | None) -> Take:
        if take.sound_of not in get_args(SoundOf):
            msg = f"a recording of {take.sound_of!r} is not known; choose crow, peep or notes"
            raise InputError(msg)
        if not RATES[0] <= take.rate <= RATES[1]:
            msg = f"rate = {take.rate} Hz must lie between {RATES[0]} Hz and {RATES[1]} Hz"
            raise InputError(msg)
        if take.channels not in (1, 2):
            msg = f"{take.channels} channels cannot be recorded; use one or two"
            raise InputError(msg)
        if take.begun_at.tzinfo is None:
            msg = f"begun_at = {take.begun_at} must be a time with its zone"
            raise InputError(msg)
        now = self.desk.clock.now()
        begun_at = take.begun_at
        if (
            begun_at > now + _AHEAD
        ):  # the sender's clock is wrong, which is no reason to lose a sound
            begun_at = known.begun_at if known is not None else now
        device = clean_text(take.device, lines=False)
        if len(device) > _LONGEST_TEXT:
            msg = f"the device has {len(device)} characters; use at most {_LONGEST_TEXT}"
            raise InputError(msg)
        settings = _settings(take.settings)
        return replace(take, begun_at=begun_at, device=device, settings=settings)

    def put(self, reed: UUID, uuid: UUID, number: int, data: bytes) -> None:
        """Keep a chunk; it is safe once this returns.

        Raises
        ------
        InputError
            If it is no sound, or the take becomes too long.
        NotFound
            If this reed has no such take.
        Conflict
            If this chunk is here already with other content.
        """
        take = self._take(reed, uuid)
        frame = _SAMPLE.itemsize * take.channels
        if not 0 < len(data) <= MOST_CHUNK or len(data) % frame:
            msg = (
                f"a chunk of {len(data)} bytes must have 1 to {MOST_CHUNK} bytes in whole frames "
                f"of {frame}"
            )
            raise InputError(msg)
        most = math.ceil(LONGEST * take.rate)
        if not 0 <= number < most:
            msg = f"chunk {number} must be numbered from 0 to {most - 1}"
            raise InputError(msg)
        values = np.frombuffer(data, _SAMPLE)
        if not np.all(np.abs(values) <= _LOUDEST):  # also refuses what is not a number
            msg = f"chunk {number} holds samples that are no sound; full scale is 1"
            raise InputError(msg)
        others = sum(size for n, size in self.desk.takes.held(uuid).items() if n != number)
        if (others + len(data)) / frame > most:
            msg = f"a take may last {LONGEST:g} s; finish this one and begin another"
            raise InputError(msg)
        self.desk.takes.put(uuid, number, data)

    def held(self, reed: UUID, uuid: UUID) -> Held:
        """Return a take and what of it is here.

        Raises
        ------
        NotFound
            If this reed has no such take.
        """
        return self._held(self._take(reed, uuid))

    def unfinished(self, reed: UUID) -> tuple[Held, ...]:
        """Return the takes of a reed that wait to be finished, the earliest first."""
        found: list[Held] = []
        for take in self.desk.takes.all():
            if take.reed != reed:
                continue
            if self.kept(reed, take.uuid) is not None:
                self.desk.takes.drop(take.uuid)  # ended between keeping and dropping
            else:
                found.append(self._held(take))
        return tuple(found)

    def finish(
        self,
        reed: UUID,
        uuid: UUID,
        *,
        chunks: int | None = None,
        frames: int | None = None,
        settings: Mapping[str, Setting] | None = None,
    ) -> Appended:
        """Keep a take as a recording; finishing again returns the same entry.

        Parameters
        ----------
        reed, uuid : UUID
            The reed and the take.
        chunks, frames : int, optional
            How many there are in all, as the sender counts them. Without them, what is here up to
            the first gap is kept, and the entry says that the take was not finished.
        settings : mapping, optional
            What the recorder knows of itself only at the end.

        Raises
        ------
        InputError
            If chunks are missing, the samples are not as many, or there is nothing.
        NotFound
            If this reed has no such take and no such recording.
        """
        kept = self.kept(reed, uuid)
        if kept is not None:
            self.desk.takes.drop(uuid)
            return kept
        held = self._held(self._take(reed, uuid))
        here = next((n for n, number in enumerate(held.chunks) if n != number), len(held.chunks))
        known = _settings({**held.take.settings, **(settings or {})})
        if chunks is None:
            known["unfinished"] = True
        elif here != chunks or len(held.chunks) != chunks:
            msg = f"{len(held.chunks)} of {chunks} chunks are here; send the others first"
            raise InputError(msg)
        sound = self._sound(held.take, here)
        if not len(sound):
            msg = "nothing of this take is here; drop it and record again"
            raise InputError(msg)
        if frames is not None and frames != len(sound):
            msg = (
                f"{len(sound)} samples are here and {frames} were recorded; nothing was kept as a "
                f"recording yet, and nothing was dropped"
            )
            raise InputError(msg)
        done = self.desk.keep_recording(
            reed,
            self.desk.sounds.to_wav(Heard(sound=sound, rate=held.take.rate), exact=True),
            name="take.wav",
            sound_of=held.take.sound_of,
            device=held.take.device,
            settings=known,
            uuid=uuid,
            at=held.take.begun_at,
        )
        self.desk.takes.drop(uuid)
        return done

    def drop(self, reed: UUID, uuid: UUID) -> None:
        """Forget a take that is not kept as a recording; once more is harmless."""
        try:
            self._take(reed, uuid)
        except NotFound:
            return
        self.desk.takes.drop(uuid)

    def kept(self, reed: UUID, uuid: UUID) -> Appended | None:
        """Return the entry that a take has become, or None."""
        for entry in self.desk.records.entries(reed):
            if entry.uuid == uuid and isinstance(entry.payload, Recording):
                return Appended(entries=(entry,), added=0)
        return None

    def _take(self, reed: UUID, uuid: UUID) -> Take:
        take = self.desk.takes.take(uuid)
        if take.reed != reed:
            msg = f"take {uuid} is of another reed"
            raise NotFound(msg)
        return take

    def _held(self, take: Take) -> Held:
        sizes = self.desk.takes.held(take.uuid)
        frames = sum(sizes.values()) // (_SAMPLE.itemsize * take.channels)
        return Held(take=take, chunks=tuple(sizes), frames=frames)

    def _sound(self, take: Take, chunks: int) -> np.ndarray:
        parts = [self.desk.takes.chunk(take.uuid, n) for n in range(chunks)]
        return np.frombuffer(b"".join(parts), _SAMPLE).reshape(-1, take.channels)


def _settings(given: Mapping[str, Setting]) -> dict[str, Setting]:
    """Return what a recorder reports of itself, if it is short and plain."""
    if len(given) > _MOST_SETTINGS:
        msg = f"{len(given)} settings are too many; send at most {_MOST_SETTINGS}"
        raise InputError(msg)
    found: dict[str, Setting] = {}
    for name, value in given.items():
        if not _NAME.fullmatch(name):
            msg = f"{name[:60]!r} is no name of a setting: letters, digits and _ are"
            raise InputError(msg)
        if isinstance(value, str):
            value = clean_text(value, lines=False)
            if len(value) > _LONGEST_TEXT:
                msg = f"setting {name} has {len(value)} characters; use at most {_LONGEST_TEXT}"
                raise InputError(msg)
        elif isinstance(value, int | float) and not abs(value) <= 1e12:
            msg = f"setting {name} = {value} must be a number up to 1e12"
            raise InputError(msg)
        found[name] = value
    return found
