"""Sound files in: what is in them, block by block, whatever their name says.

WAV, RF64, W64, AIFF, AU, Core Audio, FLAC, Ogg (Vorbis, Opus) and MP3 are read by libsndfile;
M4A, MP4, 3GP, WebM, WMA and bare AAC need the optional extra ``video``. The kind is told from the
first bytes, never from the name. Nothing is ever allocated by what a header claims.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError
from crowlight.files.decoders import AudioInfo, CutOffError, SndfileStream, Stream
from crowlight.files.phone_sound import PhoneStream
from crowlight.listen import Blow, find_blows_in_levels

__all__ = [
    "AudioInfo",
    "Recording",
    "SoundReader",
    "file_digest",
    "find_takes",
    "open_sound",
    "probe_sound",
    "read_sound",
]

Floats = NDArray[np.float32]
Source = str | os.PathLike[str] | bytes | BinaryIO
Report = Callable[[float], None]

RATES = (4_000, 768_000)
"""Sampling rates that are believed [Hz]."""
MOST_CHANNELS = 32
MOST_VALUES = 60_000_000
"""Most samples times channels read into memory at once (240 MB)."""
BLOCK_VALUES = 2_000_000
"""Most samples times channels in one block (8 MB)."""

_SNDFILE = frozenset(
    {b"RIFF", b"RIFX", b"RF64", b"riff", b"FORM", b".snd", b"caff", b"fLaC", b"OggS"}
)
"""First four bytes of what libsndfile is given: WAV, W64, AIFF, AU, Core Audio, FLAC, Ogg."""


@dataclass(frozen=True, slots=True)
class Recording:
    """Sound in memory.

    Parameters
    ----------
    sound : ndarray of float32, shape (n, channels)
        Samples, full scale 1.
    rate : int
        Samples per second [Hz].
    info : AudioInfo
        What the file says.
    notes : tuple of str
        What was wrong with it; empty if it was read to its stated end.
    """

    sound: Floats
    rate: int
    info: AudioInfo
    notes: tuple[str, ...]


class SoundReader:
    """An open sound file, read forward in blocks; made by :func:`open_sound`.

    Parameters
    ----------
    stream : object
        The decoder.
    name : str
        For messages.
    """

    def __init__(self, stream: Stream, name: str) -> None:
        self._stream, self._name = stream, name
        self.info = stream.info
        self.notes: tuple[str, ...] = ()
        """What was wrong with the file; complete once all blocks were read."""

    def blocks(
        self,
        *,
        seconds: float = 10.0,
        start: float = 0.0,
        stop: float | None = None,
        report: Report | None = None,
    ) -> Iterator[Floats]:
        """Yield the sound block by block, each shape (n, channels), once only.

        A file that breaks off yields what is there and leaves a note.

        Parameters
        ----------
        seconds : float
            Length of a block [s], > 0; shortened where it would not fit 8 MB.
        start, stop : float
            Part to read [s]; to the end if `stop` is None.
        report : callable, optional
            Told the fraction done where the file states its length; may raise Cancelled.
        """
        rate, channels = self.info.rate, self.info.channels
        size = max(min(int(seconds * rate), BLOCK_VALUES // channels), 1)
        done = first = round(max(start, 0.0) * rate)
        last = None if stop is None else round(stop * rate)
        stated = self.info.seconds
        end = last if last is not None else None if stated is None else round(stated * rate)
        try:
            if first:
                self._stream.skip(first)
            while last is None or done < last:
                wanted = size if last is None else min(size, last - done)
                block = self._stream.read(wanted)
                done += len(block)
                if len(block):
                    yield block
                if report is not None and end is not None and end > first:
                    report(min((done - first) / (end - first), 1.0))
                if len(block) == 0:
                    break
        except CutOffError as error:
            self.notes += (f"{self._name} breaks off after {done / rate:.2f} s ({error})",)
            return
        expected = None if stated is None else stated * rate
        if last is None and expected is not None and done < expected - max(0.01 * rate, 2_500):
            self.notes += (
                f"{self._name} holds {done / rate:.2f} s, its header says {stated:.2f} s",
            )


def _kind(head: bytes) -> str | None:
    """Tell the kind of file from its first bytes."""
    if head[:4] in _SNDFILE or (head[:3] == b"ID3" and head[3:4] in b"\x02\x03\x04"):
        return "sndfile"
    if len(head) >= 2 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0:
        # layer bits: 0 is AAC, anything else MPEG audio
        return "sndfile" if head[1] & 0x06 else "aac"
    if head[4:8] == b"ftyp":
        return "mov"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "matroska"
    if head[:4] == b"0&\xb2u":
        return "asf"
    return None


@contextmanager
def open_sound(source: Source, *, name: str | None = None) -> Iterator[SoundReader]:
    """Open a sound file for reading in blocks.

    Parameters
    ----------
    source : path, bytes or binary file
        The file or its contents; a file must be seekable and stays open.
    name : str, optional
        For messages.

    Raises
    ------
    InputError
        If it is no sound file, or its rate or channels cannot be right.
    MissingExtra
        If it needs the optional extra ``video``.
    FileNotFoundError, PermissionError
        From the operating system.
    """
    own: BinaryIO | None = None
    if isinstance(source, bytes):
        file: BinaryIO = io.BytesIO(source)
        shown = name or "the sound"
    elif isinstance(source, (str, os.PathLike)):
        path = Path(source)
        if path.is_dir():
            msg = f"{path.name} is a folder, not a sound file"
            raise InputError(msg)
        file = own = path.open("rb")
        shown = name or path.name
    else:
        file = source
        shown = name or "the sound"
    stream = None
    try:
        file.seek(0)
        head = file.read(16)
        file.seek(0)
        if not head:
            msg = f"{shown} is empty (0 bytes); record again or send it again"
            raise InputError(msg)
        kind = _kind(head)
        if kind is None:
            msg = (
                f"{shown} is not a sound file crowlight knows; WAV, FLAC, AIFF, Core Audio, Ogg "
                "and MP3 are read, with the extra 'video' also M4A and WebM"
            )
            raise InputError(msg)
        stream = SndfileStream(file, shown) if kind == "sndfile" else PhoneStream(file, kind, shown)
        _believe(stream.info, shown)
        yield SoundReader(stream, shown)
    finally:
        if stream is not None:
            stream.close()
        if own is not None:
            own.close()


def _believe(info: AudioInfo, name: str) -> None:
    if not RATES[0] <= info.rate <= RATES[1]:
        msg = (
            f"{name} states {info.rate} samples per second; believable are {RATES[0]} to "
            f"{RATES[1]}: its header is damaged, export it again"
        )
        raise InputError(msg)
    if not 1 <= info.channels <= MOST_CHANNELS:
        msg = f"{name} states {info.channels} channels; 1 to {MOST_CHANNELS} can be read"
        raise InputError(msg)


def probe_sound(source: Source, *, name: str | None = None) -> AudioInfo:
    """Say what a sound file is without reading its sound; raises as :func:`open_sound`."""
    with open_sound(source, name=name) as reader:
        return reader.info


def read_sound(
    source: Source,
    *,
    start: float = 0.0,
    stop: float | None = None,
    report: Report | None = None,
    name: str | None = None,
) -> Recording:
    """Read a sound file, or a part of it, into memory.

    Parameters
    ----------
    source, name
        As in :func:`open_sound`.
    start, stop : float
        Part to read [s].
    report : callable, optional
        Told the fraction done; may raise Cancelled.

    Raises
    ------
    InputError
        As :func:`open_sound`; also if nothing can be decoded, or the part does not fit in memory
        (60 million values: 10 minutes of stereo at 48 kHz) - then read it part by part.
    """
    with open_sound(source, name=name) as reader:
        info = reader.info
        parts: list[Floats] = []
        have = 0
        for block in reader.blocks(start=start, stop=stop, report=report):
            have += block.size
            if have > MOST_VALUES:
                minutes = MOST_VALUES / info.channels / info.rate / 60.0
                msg = (
                    f"{name or 'the sound'} is longer than the {minutes:.0f} minutes that fit in "
                    "memory at once; give start and stop, or find the takes in it first"
                )
                raise InputError(msg)
            parts.append(block)
        if have == 0:
            why = "; ".join(reader.notes) or "no samples in it"
            msg = f"{name or 'the sound'} holds no sound ({why}); record again or export it again"
            raise InputError(msg)
        return Recording(np.concatenate(parts), info.rate, info, reader.notes)


def find_takes(
    source: Source, *, pause: float = 2.0, report: Report | None = None, name: str | None = None
) -> tuple[Blow, ...]:
    """Find the sounding stretches of a file of any length in constant memory.

    Parameters
    ----------
    source, name
        As in :func:`open_sound`.
    pause : float
        Quiet that separates two takes [s].
    report : callable, optional
        Told the fraction done; may raise Cancelled.

    Returns
    -------
    tuple of Blow
        Stretches to read with :func:`read_sound`; 10 ms of storage per 10 ms of sound and channel.
    """
    with open_sound(source, name=name) as reader:
        hop = max(reader.info.rate // 100, 1)
        sums: list[Floats] = []
        rest = np.zeros((0, reader.info.channels), dtype=np.float32)
        for block in reader.blocks(report=report):
            whole = np.concatenate([rest, block]) if len(rest) else block
            count = len(whole) // hop
            cut = whole[: count * hop].reshape(count, hop, -1)
            sums.append(np.einsum("ijk,ijk->ik", cut, cut))
            rest = whole[count * hop :].copy()
        if not sums:
            return ()
        power = np.concatenate(sums).astype(np.float64) / hop
    power = np.where(np.isfinite(power), power, 0.0)
    loudest = power[:, int(np.argmax(power.sum(axis=0)))]
    level = 10.0 * np.log10(np.maximum(loudest, 1e-16))
    return find_blows_in_levels(level, hop / reader.info.rate, pause=pause)


def file_digest(source: Source) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    if isinstance(source, bytes):
        return hashlib.sha256(source).hexdigest()
    if isinstance(source, (str, os.PathLike)):
        with Path(source).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    source.seek(0)
    return hashlib.file_digest(source, "sha256").hexdigest()  # type: ignore[arg-type] # seekable binary file
