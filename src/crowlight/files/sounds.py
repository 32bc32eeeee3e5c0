"""The port `Sounds`: sound files in, checked FLAC out."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import ArrayLike

from crowlight.bench.ports import Heard, KeptSound
from crowlight.errors import CannotWrite, InputError
from crowlight.files.audio import MOST_VALUES, find_takes, probe_sound, read_sound
from crowlight.files.flac import encode_flac

__all__ = ["SoundFiles", "write_wav"]

#: Quiet before and after a take that is read with it [s].
_MARGIN = 0.6


class SoundFiles:
    """Reads sound files and encodes recordings; implements the port `Sounds`."""

    def read(self, source: bytes | Path, *, name: str = "") -> Heard:
        """Read a whole recording; see `crowlight.bench.ports.Sounds`."""
        try:
            found = read_sound(source, name=name or None)
        except OSError as error:
            raise _unreadable(source, error) from None
        return Heard(sound=found.sound, rate=found.rate, start=0.0, notes=found.notes)

    def takes(self, source: bytes | Path, *, name: str = "") -> Iterator[Heard]:
        """Yield a file's takes: all of it where it fits in memory, else stretch by stretch."""
        try:
            info = probe_sound(source, name=name or None)
            length = info.seconds
            if length is not None and length * info.rate * info.channels <= MOST_VALUES:
                yield self.read(source, name=name)
                return
            for blow in find_takes(source, name=name or None):
                start = max(blow.start - _MARGIN, 0.0)
                part = read_sound(source, start=start, stop=blow.end + _MARGIN, name=name or None)
                yield Heard(sound=part.sound, rate=part.rate, start=start, notes=part.notes)
        except OSError as error:
            raise _unreadable(source, error) from None

    def encode(self, heard: Heard) -> KeptSound:
        """Encode a recording for keeping; see `crowlight.bench.ports.Sounds`."""
        kept = encode_flac(heard.sound, heard.rate)
        return KeptSound(data=kept.data, rate=kept.rate, full_scale=kept.scale)

    def to_wav(self, heard: Heard, *, title: str = "", exact: bool = False) -> bytes:
        """Return a sound as a WAV file; see `crowlight.bench.ports.Sounds`."""
        out = io.BytesIO()
        channels = 1 if heard.sound.ndim == 1 else heard.sound.shape[1]
        with soundfile.SoundFile(
            out,
            "w",
            heard.rate,
            channels,
            subtype="FLOAT" if exact else "PCM_24",
            format="WAV",
        ) as file:
            if title:
                file.title = title
            file.write(heard.sound)
        return out.getvalue()


def _unreadable(source: bytes | Path, error: OSError) -> InputError:
    what = source if isinstance(source, Path) else "the sound"
    return InputError(f"{what} cannot be read ({error.strerror or error}); check its name")


def write_wav(path: Path, samples: ArrayLike, rate: int, *, title: str) -> None:
    """Write a sound as a WAV file of 24 bits.

    Parameters
    ----------
    path : Path
        The file.
    samples : array_like, shape (n,)
        -1 to 1.
    rate : int
        Samples per second [Hz].
    title : str
        What it is, kept in the file.

    Raises
    ------
    CannotWrite
        If it cannot be written.
    """
    values = np.asarray(samples, dtype=float)
    try:
        with soundfile.SoundFile(path, "w", rate, 1, subtype="PCM_24", format="WAV") as file:
            file.title = title
            file.write(values)
    except (OSError, soundfile.LibsndfileError) as error:
        msg = f"{path} cannot be written ({error}); name another place"
        raise CannotWrite(msg) from None
