"""Sound files of many kinds, made in memory."""

import io
from functools import cache

import av
import numpy as np
import soundfile

SECONDS, RATE = 1.0, 48_000

LOSSLESS = {
    # container, coding: largest error against the 16-bit samples
    ("WAV", "PCM_16"): 0.0,
    ("WAV", "PCM_24"): 0.0,
    ("WAV", "PCM_32"): 0.0,
    ("WAV", "FLOAT"): 0.0,
    ("WAV", "DOUBLE"): 0.0,
    ("WAVEX", "PCM_24"): 0.0,
    ("RF64", "PCM_16"): 0.0,
    ("W64", "PCM_24"): 0.0,
    ("AIFF", "PCM_16"): 0.0,
    ("AIFF", "PCM_24"): 0.0,
    ("AIFF", "FLOAT"): 0.0,
    ("AU", "PCM_16"): 0.0,
    ("CAF", "PCM_16"): 0.0,  # codespell:ignore caf
    ("CAF", "ALAC_16"): 0.0,  # codespell:ignore caf
    ("FLAC", "PCM_16"): 0.0,
    ("FLAC", "PCM_24"): 0.0,
    ("WAV", "PCM_U8"): 1 / 128,
    ("AIFF", "PCM_S8"): 1 / 128,
}
LOSSY = (
    ("WAV", "ULAW"),
    ("WAV", "ALAW"),
    ("WAV", "IMA_ADPCM"),
    ("WAV", "MS_ADPCM"),
    ("OGG", "VORBIS"),
    ("OGG", "OPUS"),
    ("MP3", "MPEG_LAYER_III"),
)
PHONE = (
    ("mp4", "aac"),
    ("mp4", "alac"),
    ("webm", "libopus"),
    ("matroska", "flac"),
    ("adts", "aac"),
    ("3gp", "aac"),
    ("asf", "wmav2"),
)


@cache
def stereo() -> np.ndarray:
    """Two channels on the 16-bit grid: six partials of 523.25 Hz, the right one 6 dB lower."""
    t = np.arange(int(SECONDS * RATE)) / RATE
    wave = sum(0.3 / k * np.sin(2 * np.pi * 523.25 * k * t + k) for k in range(1, 7))
    both = np.stack([wave, 0.5 * wave], axis=1) * 0.8
    return np.round(both * 32_768) / 32_768


@cache
def encoded(container: str, coding: str) -> bytes:
    """Encode :func:`stereo`."""
    return write(stereo(), RATE, container, coding)


def write(sound: np.ndarray, rate: int, container: str, coding: str) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, sound, rate, format=container, subtype=coding)
    return out.getvalue()


@cache
def phone(container: str, codec: str) -> bytes:
    """Encode :func:`stereo` as phones and browsers do."""
    out = io.BytesIO()
    with av.open(out, "w", format=container) as file:
        stream = file.add_stream(codec, rate=RATE)
        stream.layout = "stereo"
        stream.bit_rate = 128_000
        planes = np.ascontiguousarray(stereo().T.astype(np.float32))
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout="stereo")
        frame.sample_rate = RATE
        frame.pts = 0
        fit = av.AudioResampler(
            format=stream.codec_context.format,
            layout="stereo",
            rate=RATE,
            frame_size=stream.codec_context.frame_size or 1_024,
        )
        for part in [*fit.resample(frame), *fit.resample(None)]:
            file.mux(stream.encode(part))
        file.mux(stream.encode(None))
    return out.getvalue()
