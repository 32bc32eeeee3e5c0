"""Notes and their pitches: reference A, equal temperament and other tunings.

A note is a whole number that counts semitones, 69 for the A above middle C (the numbering of the
MIDI standard). Pitches sound as counted; a cor anglais part is written a fifth higher.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from crowlight.errors import InputError

__all__ = [
    "EQUAL",
    "REFERENCE_RANGE",
    "Reference",
    "Tuning",
    "cents_between",
    "find_reference",
    "nearest_note",
    "note_name",
    "note_pitch",
    "tunings",
]

REFERENCE_RANGE = (430.0, 450.0)
"""Reference A looked for [Hz]: within it no two values explain the same notes."""

_A = 69
_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


@dataclass(frozen=True, slots=True)
class Tuning:
    """How far each of the twelve notes lies from equal temperament.

    Parameters
    ----------
    title : str
        Shown to people.
    source : str
        Where the definition comes from.
    offsets : tuple of float
        12 numbers, C first [cents]; A is 0 and none is 50 or more.

    Raises
    ------
    InputError
        Where there are not twelve such offsets.
    """

    title: str
    source: str
    offsets: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.offsets) != 12 or self.offsets[9] != 0 or max(map(abs, self.offsets)) >= 50:
            msg = f"tuning {self.title!r}: offsets = {self.offsets} cents must be 12 numbers"
            raise InputError(msg + " below 50, C first, with A at 0")


EQUAL = Tuning("equal temperament", "every semitone 2^(1/12)", (0.0,) * 12)
"""The tuning used unless another is asked for."""


@dataclass(frozen=True, slots=True)
class Reference:
    """The A a player's notes agree on best.

    Parameters
    ----------
    pitch : float
        [Hz]; NaN where there were no notes.
    scatter : float
        Median distance of the notes from it [cents].
    count : int
        How many pitches went in.
    """

    pitch: float
    scatter: float
    count: int


@cache
def tunings() -> Mapping[str, Tuning]:
    """All tunings the package brings, by key; ``"equal"`` is among them."""
    text = resources.files("crowlight.listen").joinpath("tunings.toml").read_text("utf-8")
    return MappingProxyType(
        {
            key: Tuning(table["title"], table["source"], tuple(map(float, table["offsets"])))
            for key, table in tomllib.loads(text).items()
        }
    )


def cents_between(pitch: ArrayLike, target: ArrayLike) -> NDArray[np.float64]:
    """Cents from `target` up to `pitch`, ``1200 log2(pitch / target)``; both [Hz], > 0.

    Examples
    --------
    >>> round(float(cents_between(442, 440)), 3)
    7.851
    """
    return 1200 * np.log2(np.asarray(pitch, np.float64) / np.asarray(target, np.float64))


def note_name(note: int) -> str:
    """Name with octave; middle C is C4.

    Examples
    --------
    >>> note_name(58), note_name(91)
    ('B♭3', 'G6')
    """
    return f"{_NAMES[note % 12]}{note // 12 - 1}"


def note_pitch(
    note: ArrayLike, *, reference: float = 440.0, tuning: Tuning = EQUAL
) -> NDArray[np.float64]:
    """Pitch of notes, ``reference * 2^((note - 69) / 12 + offset / 1200)`` [Hz].

    Examples
    --------
    >>> round(float(note_pitch(72)), 4)
    523.2511
    """
    number = np.asarray(note, np.intp)
    offset = np.asarray(tuning.offsets)[number % 12]
    return reference * 2 ** ((number - _A) / 12 + offset / 1200)


def nearest_note(
    pitch: ArrayLike, *, reference: float = 440.0, tuning: Tuning = EQUAL
) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Note nearest to each pitch, and how many cents above it the pitch lies.

    Parameters
    ----------
    pitch : array_like
        [Hz]; all > 0.
    reference : float
        Pitch of A4 [Hz].
    tuning : Tuning

    Returns
    -------
    note : ndarray of int
    cents : ndarray

    Examples
    --------
    >>> note, cents = nearest_note(442.0)
    >>> int(note), round(float(cents), 1)
    (69, 7.9)
    """
    value = np.asarray(pitch, np.float64)
    rough = np.rint(_A + cents_between(value, reference) / 100).astype(np.intp)
    tried = rough[..., None] + np.array([-1, 0, 1])
    away = cents_between(value[..., None], note_pitch(tried, reference=reference, tuning=tuning))
    best = np.abs(away).argmin(axis=-1)[..., None]
    note = np.take_along_axis(tried, best, axis=-1)[..., 0]
    return note, np.take_along_axis(away, best, axis=-1)[..., 0]


def find_reference(
    pitch: ArrayLike, *, weight: ArrayLike | None = None, tuning: Tuning = EQUAL
) -> Reference:
    """Find the A from 430 to 450 Hz on which the given pitches agree best.

    It is the A with the least weighted mean of absolute deviations from the nearest note,
    searched in steps of 0.1 Hz and settled by the weighted median of the deviations there.

    Parameters
    ----------
    pitch : array_like, shape (n,)
        [Hz]; values that are not finite are left out.
    weight : array_like, shape (n,), optional
        >= 0; equal by default.
    tuning : Tuning

    Returns
    -------
    Reference

    Examples
    --------
    >>> find_reference(note_pitch([70, 72, 74, 76], reference=443.0)).pitch.__round__(6)
    443.0
    """
    value = np.asarray(pitch, np.float64).ravel()
    heft = np.ones_like(value) if weight is None else np.asarray(weight, np.float64).ravel()
    kept = np.isfinite(value) & (heft > 0)
    value, heft = value[kept], heft[kept]
    if value.size == 0:
        return Reference(np.nan, np.nan, 0)

    def cost(reference: float) -> float:
        _, cents = nearest_note(value, reference=reference, tuning=tuning)
        return float(heft @ np.abs(cents))

    tried = np.arange(REFERENCE_RANGE[0], REFERENCE_RANGE[1] + 0.05, 0.1)
    best = float(min(tried.tolist(), key=cost))
    _, cents = nearest_note(value, reference=best, tuning=tuning)
    settled = float(np.clip(best * 2 ** (_middle(cents, heft) / 1200), *REFERENCE_RANGE))
    _, cents = nearest_note(value, reference=settled, tuning=tuning)
    return Reference(settled, _middle(np.abs(cents), heft), value.size)


def _middle(value: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Weighted median; between two values where the weights split evenly."""
    order = np.argsort(value)
    total = np.cumsum(weight[order])
    half = total[-1] / 2
    upper = int(np.searchsorted(total, half * (1 + 1e-12), side="right"))
    lower = int(np.searchsorted(total, half * (1 - 1e-12), side="left"))
    ordered = value[order]
    return float((ordered[min(lower, value.size - 1)] + ordered[min(upper, value.size - 1)]) / 2)
