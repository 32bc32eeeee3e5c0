"""libsndfile as a plain forward stream that survives damaged files."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import BinaryIO, Protocol, cast

import numpy as np
import soundfile
from numpy.typing import NDArray

from crowlight.errors import InputError

__all__ = ["AudioInfo", "CutOffError", "SndfileStream", "Stream"]

Floats = NDArray[np.float32]

STEP = 8_192
"""Frames per call: a file that breaks off loses at most as many."""


@dataclass(frozen=True, slots=True)
class AudioInfo:
    """What a sound file says it is.

    Parameters
    ----------
    rate : int
        Samples per second [Hz].
    channels : int
        Number of channels.
    seconds : float or None
        Length by its header [s]; a damaged file may lie, some do not say.
    container, coding : str
        Kind of file and of samples, as the reading library names them.
    """

    rate: int
    channels: int
    seconds: float | None
    container: str
    coding: str


class CutOffError(Exception):
    """Decoding broke off in the middle."""


class Stream(Protocol):
    """What both reading libraries are wrapped into."""

    info: AudioInfo

    def skip(self, frames: int) -> None:
        """Move forward from the start."""
        ...

    def read(self, frames: int) -> Floats:
        """Return up to `frames` frames, fewer only at the end or before CutOffError."""
        ...

    def close(self) -> None:
        """Free the decoder."""
        ...


class _Bytes(io.RawIOBase):
    """A binary file without a name, whose seeks never raise inside the C library."""

    def __init__(self, file: BinaryIO) -> None:
        super().__init__()
        self._file = file
        self._size = file.seek(0, io.SEEK_END)
        file.seek(0)

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self._file.tell(), io.SEEK_END: self._size}[whence]
        return self._file.seek(min(max(base + offset, 0), self._size))

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: memoryview, /) -> int:  # type: ignore[override] # cffi's buffer
        data = self._file.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)


class SndfileStream:
    """libsndfile behind :class:`Stream`.

    Parameters
    ----------
    file : binary file
        Seekable.
    name : str
        For messages.

    Raises
    ------
    InputError
        If libsndfile cannot make anything of it.
    """

    def __init__(self, file: BinaryIO, name: str) -> None:
        try:
            self._sound = soundfile.SoundFile(cast("BinaryIO", _Bytes(file)))
        except soundfile.LibsndfileError as error:
            msg = (
                f"{name} cannot be read as a sound file ({error.error_string}); export it again as "
                "WAV or FLAC, or record again"
            )
            raise InputError(msg) from error
        s = self._sound
        seconds = s.frames / s.samplerate if 0 < s.frames < 2**62 and s.samplerate > 0 else None
        self.info = AudioInfo(s.samplerate, s.channels, seconds, s.format, s.subtype)
        self._broken: CutOffError | None = None

    def skip(self, frames: int) -> None:
        """Move forward from the start."""
        try:
            self._sound.seek(min(frames, self._sound.frames))
        except soundfile.LibsndfileError as error:
            raise CutOffError(error.error_string) from error

    def read(self, frames: int) -> Floats:
        """Return up to `frames` frames, fewer only at the end or before CutOffError."""
        if self._broken is not None:
            raise self._broken
        out = np.empty((frames, self.info.channels), dtype=np.float32)
        done = 0
        while done < frames:
            part = out[done : done + STEP]
            try:
                got = len(self._sound.read(out=part))
            except (soundfile.LibsndfileError, RuntimeError) as error:
                self._broken = CutOffError(str(error))
                if done == 0:
                    raise self._broken from error
                break
            done += got
            if got < len(part):
                break
        return out[:done]

    def close(self) -> None:
        """Free the decoder."""
        self._sound.close()
