"""M4A, WebM and their kin, through the optional extra ``video`` (PyAV).

The kind is always given to the decoder: it must never guess a playlist or a script from bytes that
came from outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError, MissingExtra
from crowlight.files.decoders import AudioInfo, CutOffError

__all__ = ["PhoneStream"]

Floats = NDArray[np.float32]


class PhoneStream:
    """The first sound track of a container, behind :class:`crowlight.files.decoders.Stream`.

    Parameters
    ----------
    file : binary file
        Seekable, at its start.
    kind : {"mov", "matroska", "asf", "aac"}
        FFmpeg's name of the container.
    name : str
        For messages.

    Raises
    ------
    MissingExtra
        If PyAV is not installed.
    InputError
        If there is no readable sound in it.
    """

    def __init__(self, file: BinaryIO, kind: str, name: str) -> None:
        try:
            import av
            from av.error import FFmpegError
        except ImportError as error:
            msg = (
                f"{name} is a phone or browser recording (M4A, WebM or the like); reading it needs "
                "the extra 'video': pip install 'crowlight[video]', or export the recording as WAV"
            )
            raise MissingExtra(msg) from error
        self._errors: tuple[type[Exception], ...] = (FFmpegError, ValueError, OSError, MemoryError)
        damaged = (
            f"{name} cannot be read as a phone or browser recording; one cut short while it was "
            "recorded often cannot: send it again, or export it as WAV"
        )
        try:
            self._container: Any = av.open(file, mode="r", format=kind)
        except self._errors as error:
            raise InputError(damaged) from error
        if not self._container.streams.audio:
            self._container.close()
            msg = f"{name} has no sound track"
            raise InputError(msg)
        stream = self._container.streams.audio[0]
        codec = stream.codec_context
        if codec is None or not codec.sample_rate or not codec.channels:
            self._container.close()
            raise InputError(damaged)
        length = self._container.duration
        seconds = float(length) / 1e6 if length is not None and length > 0 else None
        rate, channels = int(codec.sample_rate), int(codec.channels)
        self.info = AudioInfo(rate, channels, seconds, kind.upper(), codec.name.upper())
        self._frames: Iterator[Floats] = map(_as_float, self._container.decode(stream))
        self._rest = np.zeros((0, channels), dtype=np.float32)
        self._broken: CutOffError | None = None

    def skip(self, frames: int) -> None:
        """Move forward from the start, by decoding."""
        while frames > 0:
            got = len(self.read(min(frames, self.info.rate)))
            if got == 0:
                return
            frames -= got

    def read(self, frames: int) -> Floats:
        """Return up to `frames` frames, fewer only at the end or before CutOffError."""
        parts, have = [self._rest], len(self._rest)
        while have < frames and self._broken is None:
            try:
                part = next(self._frames, None)
            except self._errors as error:
                self._broken = CutOffError(str(error))
                break
            if part is None:
                break
            if part.shape[1] != self.info.channels:
                self._broken = CutOffError("the number of channels changes")
                break
            parts.append(part)
            have += len(part)
        if have == 0 and self._broken is not None:
            raise self._broken
        whole = np.concatenate(parts)
        self._rest = whole[frames:]
        return whole[:frames]

    def close(self) -> None:
        """Free the decoder."""
        self._container.close()


def _as_float(frame: Any) -> Floats:
    """Turn a decoded frame into samples of full scale 1, shape (n, channels)."""
    data = frame.to_ndarray()
    channels = len(frame.layout.channels)
    if data.shape[0] == 1 and channels > 1:  # interleaved
        data = data.reshape(-1, channels).T
    if data.dtype == np.uint8:
        data = (data.astype(np.float32) - 128.0) / 128.0
    elif data.dtype.kind == "i":
        data = data.astype(np.float64) / (2.0 ** (8 * data.dtype.itemsize - 1))
    return np.ascontiguousarray(data.T, dtype=np.float32)
