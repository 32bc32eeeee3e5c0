"""Can this recording be measured at all? Asked first, on the raw samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from crowlight.listen.blows import Blow, find_blows, quiet_part, steady_part
from crowlight.listen.crowpitch import candidates
from crowlight.listen.partials import power_spectrum
from crowlight.listen.waveform import finite, levels, one_channel, working

__all__ = ["Reason", "Usable", "check_usable", "voice_like"]

Floats = NDArray[np.float64]

# Limits: common practice, no source; each was tried on invented sounds only.
SHORTEST = 0.5
"""Steady sound needed [s]."""
QUIETEST = -55.0
"""Level a blow must reach [dB re full scale]."""
CLEAR_OF_ROOM = 20.0
"""Blow against the quiet of the take [dB]."""
MOST_HUM = -20.0
"""Mains lines against the blow [dB]."""
MOST_OFFSET = 0.05
"""Mean against RMS of the blow [1]; and at least 0.002 of full scale."""
CLIPPED_RUNS = 3
"""Flat tops from which a take counts as clipped."""
TWO_REEDS = 60.0
"""Gap between the pitches of blows that asks whether this was one reed [cents]."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Something about a recording that stands in the way of measuring it.

    Parameters
    ----------
    code : str
        Short fixed name.
    text : str
        What was found, with value and limit.
    remedy : str
        What to do about it.
    blocks : bool
        Whether nothing is measured because of it.
    value, limit : float or None
        The numbers in `text`, for whoever says it in another language; None where there is none.
    """

    code: str
    text: str
    remedy: str
    blocks: bool = True
    value: float | None = None
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Usable:
    """The answer, and what it rests on.

    Parameters
    ----------
    ok : bool
        No reason blocks.
    reasons : tuple of Reason
        Everything found, blocking or not.
    blows : tuple of Blow
        All blows that do not sound like speech.
    """

    ok: bool
    reasons: tuple[Reason, ...]
    blows: tuple[Blow, ...]


def check_usable(
    sound: ArrayLike,
    rate: float,
    *,
    low: float = 180.0,
    high: float = 1_300.0,
    one_reed: bool = False,
) -> Usable:
    """Judge a recording of a crow or a peep before anything is cleaned or measured.

    Codes: ``not_finite``, ``silence``, ``too_quiet``, ``speech``, ``too_short``, ``clipped``,
    ``offset``, ``noisy_room``, ``hum``, ``two_reeds``.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Samples as they came out of the file, full scale 1.
    rate : float
        Sampling rate [Hz].
    low, high : float
        Range in which the pitch is looked for [Hz].
    one_reed : bool
        The maker says it was one reed: do not ask about two.

    Raises
    ------
    InputError
        If shape or rate cannot be right.

    Examples
    --------
    >>> check_usable(np.zeros(48_000), 48_000.0).reasons[0].code
    'silence'
    """
    raw = one_channel(sound, rate)
    reasons: list[Reason] = []
    broken = int(np.count_nonzero(~np.isfinite(raw)))
    if broken:
        reasons.append(
            Reason(
                "not_finite",
                f"{broken} of {raw.size} samples are not numbers",
                "the file is damaged or was badly converted: export it again or record again",
                value=float(broken),
            )
        )
    offset = float(np.mean(raw[np.isfinite(raw)])) if broken < raw.size else 0.0
    wave = finite(raw)
    if wave.size == 0 or float(np.max(np.abs(wave))) < 1e-4:
        reasons.append(
            Reason(
                "silence",
                "nothing louder than -80 dB of full scale is in the file",
                "check that the right microphone is chosen and not muted",
                limit=-80.0,
            )
        )
        return Usable(False, tuple(reasons), ())
    x, slow_rate = working(wave, rate)
    everything = find_blows(x, slow_rate)
    spoken = _spoken(x, slow_rate, everything)
    blows = tuple(b for b, voice in zip(everything, spoken, strict=True) if not voice)
    if any(spoken):
        reasons.append(
            Reason(
                "speech",
                f"{sum(spoken)} of {len(everything)} sounds look like speech",
                "keep quiet between the blows, or cut the spoken part off",
                blocks=not blows,
                value=float(sum(spoken)),
            )
        )
    top = float(np.max(levels(x, slow_rate), initial=-160.0))
    loudest = max((b.level for b in everything), default=top)
    if loudest < QUIETEST:
        reasons.append(
            Reason(
                "too_quiet",
                f"the loudest blow reaches {loudest:.0f} dB of full scale; it needs {QUIETEST:.0f}",
                "raise the recording level or go nearer to the microphone",
                value=loudest,
                limit=QUIETEST,
            )
        )
    longest = max((_steady_seconds(x, slow_rate, b) for b in blows), default=0.0)
    if longest < SHORTEST and not (spoken and not blows):
        reasons.append(
            Reason(
                "too_short",
                f"the longest steady sound lasts {longest:.2f} s; {SHORTEST:g} s is needed",
                "hold the crow for 2 to 3 seconds",
                value=longest,
                limit=SHORTEST,
            )
        )
    runs = clipped_runs(raw)
    if runs >= CLIPPED_RUNS:
        reasons.append(
            Reason(
                "clipped",
                f"the wave is cut off flat {runs} times",
                "lower the recording level or go further from the microphone; a clipped crow "
                "seems richer than it is",
                value=float(runs),
                limit=float(CLIPPED_RUNS),
            )
        )
    if blows:
        reasons += _about_blows(x, slow_rate, blows, everything, offset, (low, high), one_reed)
    return Usable(not any(r.blocks for r in reasons), tuple(reasons), blows)


def _cut(x: Floats, rate: float, blow: Blow) -> Floats:
    return x[int(blow.start * rate) : int(blow.end * rate)]


def _spoken(x: Floats, rate: float, blows: tuple[Blow, ...]) -> list[bool]:
    """Which sounds are speech; what is too short to tell goes with a neighbour within 1 s."""
    voice = [voice_like(_cut(x, rate, b), rate) for b in blows]
    near = [
        b.seconds < 0.8
        and any(
            v and o.start - 1.0 < b.end and b.start < o.end + 1.0
            for o, v in zip(blows, voice, strict=True)
        )
        for b in blows
    ]
    return [v or n for v, n in zip(voice, near, strict=True)]


def _steady_seconds(x: Floats, rate: float, blow: Blow) -> float:
    start, end = steady_part(x, rate, blow)
    return end - start


def _about_blows(
    x: Floats,
    rate: float,
    blows: tuple[Blow, ...],
    everything: tuple[Blow, ...],
    offset: float,
    span: tuple[float, float],
    one_reed: bool,
) -> list[Reason]:
    reasons = []
    longest = max(blows, key=lambda b: b.seconds)
    blown = _cut(x, rate, longest)
    power = float(np.mean(blown**2))
    if abs(offset) > max(MOST_OFFSET * np.sqrt(power), 0.002):
        reasons.append(
            Reason(
                "offset",
                f"the wave is off zero by {offset:.4f} of full scale",
                "the sound card or cable is at fault: try another input; the offset is taken away",
                blocks=bool(abs(offset) > 0.5 * np.sqrt(power)),
                value=offset,
            )
        )
    quiet = quiet_part(x, rate, everything)
    if quiet is not None:
        clear = 10.0 * np.log10(power / max(float(np.mean(quiet**2)), 1e-16))
        if clear < CLEAR_OF_ROOM:
            reasons.append(
                Reason(
                    "noisy_room",
                    f"the blow is only {clear:.0f} dB above the room; it needs {CLEAR_OF_ROOM:.0f}",
                    "go nearer to the microphone or find a quieter room",
                    value=float(clear),
                    limit=CLEAR_OF_ROOM,
                )
            )
    pitches = [_pitch(x, rate, b, span) for b in blows]
    main = pitches[blows.index(longest)]
    lines = [
        _hum(part, rate, main if part is blown else None)
        for part in (blown, quiet)
        if part is not None
    ]
    hum = 10.0 * np.log10(max(max(lines) if quiet is None else lines[-1], 1e-16) / power)
    if hum > MOST_HUM:
        reasons.append(
            Reason(
                "hum",
                f"mains hum lies {-hum:.0f} dB below the blow; it must lie {-MOST_HUM:.0f} below",
                "unplug chargers and lamps near the microphone, or record from battery",
                value=float(hum),
                limit=MOST_HUM,
            )
        )
    if not one_reed:
        reasons += _two_reeds([p for p in pitches if p is not None])
    return reasons


def _pitch(x: Floats, rate: float, blow: Blow, span: tuple[float, float]) -> float | None:
    """Pitch of a blow where one pitch explains most of it."""
    start, end = steady_part(x, rate, blow)
    if end - start < 0.15:
        return None
    found = candidates(x[int(start * rate) : int(end * rate)], rate, low=span[0], high=span[1])
    return found[0].pitch if found and found[0].explained >= 0.3 else None


def _hum(x: Floats, rate: float, pitch: float | None) -> float:
    """Power on ten multiples of 50 or 60 Hz that are no orders of `pitch` or its half."""
    spectrum = power_spectrum(x, rate, window=0.5)
    f, p = spectrum.frequency, spectrum.mean
    reach = max(2.0 * spectrum.step, 2.0)
    found = []
    for mains in (50.0, 60.0):
        power = 0.0
        for m in range(1, 11):
            line = m * mains
            if pitch is not None:
                half_orders = line / (pitch / 2.0)
                if (
                    abs(half_orders - round(half_orders)) * pitch / 2.0 < 12.0
                    and round(half_orders) > 0
                ):
                    continue
            on = np.abs(f - line) <= reach
            beside = (np.abs(f - line) > 2.0 * reach) & (np.abs(f - line) <= 5.0 * reach)
            if not (np.any(on) and np.any(beside)):
                continue
            power += max(float(np.sum(p[on] - np.median(p[beside]))), 0.0)
        found.append(power)
    return max(found)


def _two_reeds(pitches: list[float]) -> list[Reason]:
    """Ask about two reeds if the order of the blows splits into two groups of unlike pitch."""
    if len(pitches) < 2:
        return []
    cents = 1200.0 * np.log2(np.array(pitches) / pitches[0])
    cents = (cents + 600.0) % 1200.0 - 600.0
    for split in range(1, len(cents)):
        first, second = cents[:split], cents[split:]
        gap = min(abs(a - b) for a in first for b in second)
        within = max(float(np.ptp(first)), float(np.ptp(second)))
        if gap >= TWO_REEDS and within <= gap / 2.0:
            return [
                Reason(
                    "two_reeds",
                    f"the pitch jumps by {gap:.0f} cents between blow {split} and {split + 1}",
                    "record each reed in a take of its own; if it was one reed, say so",
                    value=float(gap),
                    limit=TWO_REEDS,
                )
            ]
    return []


def clipped_runs(raw: Floats) -> int:
    """Count flat tops at the file's own peaks, positive and negative apart.

    A side is clipped when samples pile up at its peak: more than three times as many lie within
    one step of the peak as within the next three steps. (Of a pure tone's samples about as many
    lie in the one as in the other; of any other sound fewer.) The tops of at least two samples are
    then counted. One step is 1.5 steps of a 16-bit file, 0.01 % of the peak, or
    1.5 times the usual distance of the nine highest values (8-bit files), whichever is largest.
    """
    total = 0
    for side in (raw, -raw):
        good = np.where(np.isfinite(side), side, 0.0)
        peak = float(good.max(initial=0.0))
        if peak <= 0.0:
            continue
        values = np.unique(good[good >= 0.8 * peak])[-9:]
        own = float(np.median(np.diff(values))) if values.size > 1 else 0.0
        step = max(1.5 / 32_768.0, 1e-4 * peak, 1.5 * own)
        at_top = good >= peak - step
        below = int(np.count_nonzero((good >= peak - 4.0 * step) & ~at_top))
        if np.count_nonzero(at_top) <= 3 * below:
            continue
        edge = np.flatnonzero(np.diff(np.concatenate([[False], at_top, [False]]).astype(int)))
        total += int(np.count_nonzero(edge[1::2] - edge[::2] >= 2))
    return total


def voice_like(x: Floats, rate: float) -> bool:
    """Whether a stretch changes as speech does: in level with the syllables, and in colour.

    Two numbers decide: the swing of the level at 2-10 Hz (standard deviation over 4.5 dB), and how
    alike the spectra are 0.25 s apart (mean correlation of levels in 20 Hz bands below 0.55). Only
    tried on invented speech.
    """
    if x.size < 0.6 * rate:
        return False
    level = np.maximum(levels(x, rate), -160.0)
    level = np.maximum(level, level.max() - 35.0)
    swing = float(
        np.std(
            signal.sosfiltfilt(signal.butter(2, [2.0, 10.0], "band", fs=100.0, output="sos"), level)
        )
    )
    spectrum = power_spectrum(x, rate, window=0.05, overlap=0.5)
    band = (spectrum.frequency >= 100.0) & (spectrum.frequency <= 5_000.0)
    tall = 10.0 * np.log10(spectrum.frames[:, band] + 1e-14)
    tall = np.maximum(tall, tall.max() - 50.0)
    tall = tall - tall.mean(axis=1, keepdims=True)
    lag = max(int(0.25 / 0.025), 1)
    a, b = tall[:-lag], tall[lag:]
    scale = np.sqrt(np.sum(a**2, axis=1) * np.sum(b**2, axis=1))
    use = scale > 0
    alike = float(np.mean(np.sum(a * b, axis=1)[use] / scale[use])) if np.any(use) else 1.0
    return swing > 4.5 and alike < 0.55
