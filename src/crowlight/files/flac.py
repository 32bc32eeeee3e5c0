"""Recordings as FLAC, addressed by what they sound like: pure functions, bytes in and out."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass

import numpy as np
import soundfile
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError

__all__ = ["EncodedSound", "decode_flac", "encode_flac"]

MOST_CHANNELS = 8
HIGHEST_RATE = 655_350
"""Limits of the format: RFC 9639, sections 8.2 and 9.1."""
_BLOCK = 1 << 18


@dataclass(frozen=True, slots=True)
class EncodedSound:
    """A recording as FLAC bytes.

    Parameters
    ----------
    data : bytes
        A FLAC file.
    digest : str
        SHA-256, in hexadecimal, of the samples with rate, channels, bits and scale; the same for
        the same sound whichever encoder made `data`.
    rate, channels, bits : int
        Samples per second [Hz], channels, bits per sample.
    scale : float
        What the file's full scale stands for: 1, or a power of two for sound beyond full scale.
    """

    data: bytes
    digest: str
    rate: int
    channels: int
    bits: int
    scale: float


def encode_flac(sound: ArrayLike, rate: float, *, bits: int = 24) -> EncodedSound:
    """Encode a recording without loss beyond its rounding to `bits`.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Samples, full scale 1; up to 8 channels, n > 0.
    rate : float
        Whole number of samples per second [Hz], 1 to 655350.
    bits : {16, 24}
        16 keeps a 16-bit source exactly.

    Raises
    ------
    InputError
        If a sample is not a number or shape, rate or bits do not fit the format.

    Examples
    --------
    >>> kept = encode_flac([0.0, 0.5, -0.25], 48_000)
    >>> decode_flac(kept).ravel().tolist()
    [0.0, 0.5, -0.25]
    """
    wave = np.asarray(sound)
    wave = wave[:, None] if wave.ndim == 1 else wave
    if wave.ndim != 2 or wave.size == 0 or wave.shape[1] > MOST_CHANNELS:
        msg = (
            f"sound of shape {np.shape(sound)} does not fit FLAC, which holds 1 to {MOST_CHANNELS} "
            "channels and at least one sample; choose the channels that matter"
        )
        raise InputError(msg)
    if rate != int(rate) or not 1 <= rate <= HIGHEST_RATE:
        msg = f"sampling rate {rate:g} Hz does not fit FLAC: whole numbers up to {HIGHEST_RATE}"
        raise InputError(msg)
    if bits not in (16, 24):
        msg = f"bits is {bits}; FLAC is written with 16 or 24"
        raise InputError(msg)
    broken = wave.size - np.count_nonzero(np.isfinite(wave))
    if broken:
        msg = f"{broken} samples are not numbers; keep the original"
        raise InputError(msg)
    peak = max(float(wave.max()), -float(wave.min()))
    scale = float(2.0 ** max(np.ceil(np.log2(peak)), 0.0)) if peak > 1.0 else 1.0
    steps = 2.0 ** (bits - 1)
    whole = np.empty(wave.shape, dtype=np.int32)
    for at in range(0, len(wave), _BLOCK):  # so that a long recording is not in memory many times
        part = np.rint(wave[at : at + _BLOCK].astype(np.float64) / scale * steps)
        whole[at : at + _BLOCK] = np.clip(part, -steps, steps - 1.0)
    digest = _digest(whole, int(rate), bits, scale)
    out = io.BytesIO()
    whole <<= 32 - bits  # libsndfile takes the high bits of 32-bit samples
    soundfile.write(
        out,
        whole,
        int(rate),
        format="FLAC",
        subtype=f"PCM_{bits}",
        compression_level=0.6,
    )
    return EncodedSound(out.getvalue(), digest, int(rate), wave.shape[1], bits, scale)


def decode_flac(kept: EncodedSound) -> NDArray[np.float64]:
    """Decode and check against the digest.

    Returns
    -------
    ndarray, shape (n, channels)
        Samples, full scale 1.

    Raises
    ------
    InputError
        If the bytes are damaged or are not the sound the digest names.
    """
    try:
        high, rate = soundfile.read(io.BytesIO(kept.data), dtype="int32", always_2d=True)
    except soundfile.LibsndfileError as error:
        msg = f"recording {kept.digest[:12]} is damaged ({error}); restore it from a backup"
        raise InputError(msg) from error
    whole = np.asarray(high, dtype=np.int32) >> (32 - kept.bits)
    if _digest(whole, rate, kept.bits, kept.scale) != kept.digest:
        msg = f"recording {kept.digest[:12]} holds another sound; restore it from a backup"
        raise InputError(msg)
    return np.asarray(whole * (kept.scale / 2.0 ** (kept.bits - 1)), dtype=np.float64)


def _digest(whole: NDArray[np.int32], rate: int, bits: int, scale: float) -> str:
    head = f"sound 1 rate {rate} channels {whole.shape[1]} bits {bits} scale {scale:g}\n"
    found = hashlib.sha256(head.encode())
    found.update(np.ascontiguousarray(whole, dtype="<i4").tobytes())
    return found.hexdigest()
