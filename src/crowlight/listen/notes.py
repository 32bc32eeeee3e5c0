"""Played notes, measured: intonation, steadiness, attack, slurs, brightness, noise, span."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from crowlight.errors import InputError
from crowlight.listen.attack import attack_time
from crowlight.listen.decimate import as_mono
from crowlight.listen.hnr import harmonics_to_noise
from crowlight.listen.pitch import PitchTrack, track_pitch
from crowlight.listen.segments import Segment, cut_notes
from crowlight.listen.tuning import (
    EQUAL,
    Reference,
    Tuning,
    cents_between,
    find_reference,
    note_name,
    note_pitch,
)

__all__ = ["Note", "NoteTake", "OnChart", "Slur", "find_notes", "intonation"]

_HOP = 0.005  # [s]
_TRIM = 0.020  # left out at both ends of a note before measuring [s]
_SLUR_DIP = 6.0  # a deeper dip between two notes is heard as a new tongue stroke [dB]
_SLUR_TIME = 0.060  # a longer passage is heard [s]
_SLUR_MUTE = 0.020  # a longer stretch without pitch is heard [s]
_ARRIVED = 50.0  # a note is reached within this [cents]


@dataclass(frozen=True, slots=True)
class Note:
    """One note. A measure is NaN where the note is too short for it.

    Parameters
    ----------
    start, end : float
        [s].
    number : int
        Semitone number, 69 for A4.
    pitch : float
        Median [Hz].
    cents : float
        Median above the tuning [cents].
    steadiness : float
        Root mean square about a straight line [cents]; contains vibrato.
    drift : float
        Slope of that line [cents/s].
    attack : float
        From -20 to -3 dB of the note's level [s]; NaN if slurred into.
    joined : bool
        Neither a rest nor a dip of 9 dB before it: slurred, or tongued very softly.
    level : float
        Median [dB re full scale].
    span : float
        Between the 5th and 95th percentile of level within the note [dB].
    hnr : float
        Median harmonics-to-noise ratio [dB].
    brightness : float
        Energy from 2 to 6 kHz over that from 0.2 to 2 kHz [dB].
    centroid : float
        Mean partial number, weighted by amplitude.
    clarity : float
        Median share of the power that repeats; 0 to 1.
    """

    start: float
    end: float
    number: int
    pitch: float
    cents: float
    steadiness: float
    drift: float
    attack: float
    joined: bool
    level: float
    span: float
    hnr: float
    brightness: float
    centroid: float
    clarity: float

    @property
    def name(self) -> str:
        """Name with octave, as it sounds."""
        return note_name(self.number)


@dataclass(frozen=True, slots=True)
class Slur:
    """The passage from one note to the next without a rest or a dip of 9 dB.

    Parameters
    ----------
    first : int
        Index of the note before; the note after is the next one.
    leap : int
        Semitones.
    duration : float
        Time further than 50 cents from both notes, or without pitch [s].
    dip : float
        How far the level falls below the softer of the two notes [dB]; >= 0.
    mute : float
        Longest stretch without pitch [s].
    """

    first: int
    leap: int
    duration: float
    dip: float
    mute: float

    @property
    def clean(self) -> bool:
        """Dip below 6 dB, passage below 60 ms, no 20 ms without pitch: our starting values."""
        return self.dip < _SLUR_DIP and self.duration < _SLUR_TIME and self.mute < _SLUR_MUTE


@dataclass(frozen=True, slots=True)
class NoteTake:
    """All notes of a take.

    Parameters
    ----------
    notes : tuple of Note
    slurs : tuple of Slur
    reference : Reference
        The A cents are counted from; found in the notes unless it was given.
    reference_given : bool
    tuning : Tuning
    span : float
        Loudest less softest pitched level, 95th and 5th percentile over all notes [dB]; NaN
        without notes.
    """

    notes: tuple[Note, ...]
    slurs: tuple[Slur, ...]
    reference: Reference
    reference_given: bool
    tuning: Tuning
    span: float

    @property
    def slur_success(self) -> float:
        """Share of slurs that are clean; NaN where there are none."""
        return float(np.mean([slur.clean for slur in self.slurs])) if self.slurs else float("nan")


@dataclass(frozen=True, slots=True)
class OnChart:
    """Intonation of one note over a take.

    Parameters
    ----------
    number : int
        Semitone number.
    count : int
        How often it was played.
    cents : float
        Median of the notes' medians.
    lowest, highest : float
        Range of the notes' medians [cents].
    """

    number: int
    count: int
    cents: float
    lowest: float
    highest: float


def find_notes(
    sound: ArrayLike,
    rate: float,
    *,
    reference: float | None = None,
    tuning: Tuning = EQUAL,
    lowest: int = 51,
    highest: int = 92,
    report: Callable[[float], None] | None = None,
) -> NoteTake:
    """Find and measure the notes of a take.

    Parameters
    ----------
    sound : array_like, shape (n,) or (n, channels)
        Full scale = 1; at least 60 ms.
    rate : float
        [1/s]; at least 8,000.
    reference : float, optional
        The player's A [Hz], 400 to 480; found in the take, from 430 to 450, by default. A take in
        which the player is sharp throughout then reads as in tune: give the A to see it.
    tuning : Tuning
    lowest, highest : int
        Range of notes; by default E flat 3 (below the cor anglais) to A flat 6.
    report : callable, optional
        Told the fraction done; may raise `Cancelled`.

    Returns
    -------
    NoteTake

    Raises
    ------
    InputError
        Where a value cannot be right.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(24_000) / 48_000
    >>> tone = [np.sin(2 * np.pi * f * t) * np.hanning(t.size) for f in (440.0, 495.0)]
    >>> take = find_notes(np.concatenate(tone), 48_000, reference=440)
    >>> [(note.name, round(note.cents)) for note in take.notes]
    [('A4', 0), ('B4', 4)]
    """
    if reference is not None and not 400 <= reference <= 480:
        msg = f"reference A = {reference} Hz must be 400 to 480; leave it out to have it found"
        raise InputError(msg)
    if not 30 <= lowest < highest <= 105:
        msg = f"lowest = {lowest} and highest = {highest} must be semitone numbers from 30 to 105"
        raise InputError(msg)
    samples = as_mono(sound, rate)
    ends = note_pitch([lowest - 1, highest + 1], reference=reference or 440.0)
    track = track_pitch(
        samples,
        rate,
        lowest=max(60.0, float(ends[0])),
        highest=min(4000.0, float(ends[1])),
        hop=_HOP,
        report=report,
    )
    if reference is None:
        found = find_reference(track.pitch, weight=track.clarity, tuning=tuning)
    else:
        found = Reference(reference, float("nan"), 0)
    settled = found.pitch if np.isfinite(found.pitch) else 440.0
    segments = cut_notes(track, reference=settled, tuning=tuning, low=lowest, high=highest)
    if reference is None and segments:
        # Once more from the notes alone: passages between them no longer count.
        held = np.concatenate([np.arange(s.first, s.last) for s in segments])
        found = find_reference(track.pitch[held], weight=track.clarity[held], tuning=tuning)
        settled = found.pitch
        segments = cut_notes(track, reference=settled, tuning=tuning, low=lowest, high=highest)
    hnr = harmonics_to_noise(samples, rate, track)
    notes = tuple(
        _measure(samples, rate, track, hnr, segment, settled, tuning) for segment in segments
    )
    slurs = tuple(
        _slur(track, segments[i], segments[i + 1], i, notes)
        for i in range(len(segments) - 1)
        if segments[i + 1].joined
    )
    held_levels = [track.level[s.first : s.last] for s in segments]
    span = (
        float(np.ptp(np.quantile(np.concatenate(held_levels), [0.05, 0.95]))) if notes else np.nan
    )
    return NoteTake(notes, slurs, found, reference is not None, tuning, span)


def _measure(
    samples: NDArray[np.float32],
    rate: float,
    track: PitchTrack,
    hnr: NDArray[np.float64],
    segment: Segment,
    reference: float,
    tuning: Tuning,
) -> Note:
    """All measures of one note."""
    start = float(track.time[segment.first]) - track.hop / 2
    end = float(track.time[segment.last - 1]) + track.hop / 2
    trim = round(_TRIM / track.hop)
    trim = trim if segment.last - segment.first >= 4 * trim else 0
    inner = slice(segment.first + trim, segment.last - trim)
    if not np.isfinite(track.pitch[inner]).any():  # nothing but a crack between two ends
        inner = slice(segment.first, segment.last)
    pitch = track.pitch[inner]
    time = track.time[inner]
    held = np.isfinite(pitch)
    middle = float(np.median(pitch[held]))
    target = float(note_pitch(segment.note, reference=reference, tuning=tuning))
    cents = cents_between(pitch[held], middle)
    steadiness, drift = _about_a_line(time[held], cents)
    low, level, high = np.quantile(track.level[inner], [0.05, 0.5, 0.95])
    first, last = (max(0, round(edge * rate)) for edge in (start, end))
    brightness, centroid = _colour(samples[first:last], rate, middle)
    kept = hnr[inner][np.isfinite(hnr[inner])]
    return Note(
        start=max(start, 0.0),
        end=end,
        number=segment.note,
        pitch=middle,
        cents=float(cents_between(middle, target)),
        steadiness=steadiness,
        drift=drift,
        attack=float("nan") if segment.joined else attack_time(samples, rate, start, end),
        joined=segment.joined,
        level=float(level),
        span=float(high - low),
        hnr=float(np.median(kept)) if kept.size else float("nan"),
        brightness=brightness,
        centroid=centroid,
        clarity=float(np.median(track.clarity[inner])),
    )


def _about_a_line(time: NDArray[np.float64], cents: NDArray[np.float64]) -> tuple[float, float]:
    """Root mean square about the least-squares line, and its slope."""
    if time.size < 5:
        return float("nan"), float("nan")
    t = time - time.mean()
    slope = float(t @ cents / (t @ t))
    rest = cents - cents.mean() - slope * t
    return float(np.sqrt(rest @ rest / (time.size - 2))), slope


def _colour(piece: NDArray[np.float32], rate: float, pitch: float) -> tuple[float, float]:
    """Brightness [dB] and centroid [partials] from the power spectrum of the whole note."""
    size = fft.next_fast_len(max(piece.size, 1), real=True)
    power = np.abs(fft.rfft(piece * np.hanning(piece.size), size)) ** 2
    frequency = np.arange(power.size) * rate / size

    def energy(low: float, high: float) -> float:
        return float(power[(frequency >= low) & (frequency < high)].sum())

    brightness = 10 * np.log10((energy(2000, 6000) + 1e-30) / (energy(200, 2000) + 1e-30))
    number = np.arange(1, max(2, int(min(10_000.0, 0.45 * rate) / pitch)) + 1)
    strength = np.sqrt([energy((n - 0.25) * pitch, (n + 0.25) * pitch) for n in number])
    return float(brightness), float(number @ strength / (strength.sum() + 1e-30))


def _slur(
    track: PitchTrack, before: Segment, after: Segment, index: int, notes: tuple[Note, ...]
) -> Slur:
    """Measure the passage between two joined notes, from middle to middle."""
    around = slice((before.first + before.last) // 2, (after.first + after.last) // 2)
    pitch = track.pitch[around]
    mute = ~np.isfinite(pitch)
    level = track.level[around]
    ends = (notes[index].pitch, notes[index + 1].pitch)
    sung = np.where(mute, ends[0], pitch)
    away = np.minimum(*(np.abs(cents_between(sung, end)) for end in ends)) > _ARRIVED
    softer = min(notes[index].level, notes[index + 1].level)
    return Slur(
        first=index,
        leap=after.note - before.note,
        duration=float(np.sum(away | mute)) * track.hop,
        dip=max(0.0, float(softer - level.min())) if level.size else 0.0,
        mute=_longest(mute) * track.hop,
    )


def _longest(flags: NDArray[np.bool_]) -> int:
    """Length of the longest run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


def intonation(take: NoteTake) -> tuple[OnChart, ...]:
    """Intonation chart of a take: one row per note played, lowest first.

    Parameters
    ----------
    take : NoteTake

    Returns
    -------
    tuple of OnChart
    """
    rows = []
    for number in sorted({note.number for note in take.notes}):
        cents = np.array([note.cents for note in take.notes if note.number == number])
        rows.append(
            OnChart(
                number,
                cents.size,
                float(np.median(cents)),
                float(cents.min()),
                float(cents.max()),
            )
        )
    return tuple(rows)
