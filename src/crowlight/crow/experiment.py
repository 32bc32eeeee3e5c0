"""The recording that tests the octave hypothesis.

The model makes the lower octave of a crow by period doubling. That is a hypothesis, and this is its
experiment: record one slow crescendo from silence. If the hypothesis holds, the upper note sounds
alone first; the lower octave then appears at once, at half the upper note, and the upper note does
not jump. A lower octave that is there from the start, or that stands off one half, speaks against.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from crowlight.errors import InputError

__all__ = ["OctaveEvidence", "Verdict", "octave_evidence"]

Real = NDArray[np.float64]


class Verdict(Enum):
    """What a recorded crescendo says about the octave hypothesis."""

    SUPPORTS = "supports"
    AGAINST = "speaks against"
    UNDECIDED = "does not decide"


@dataclass(frozen=True, slots=True)
class OctaveEvidence:
    """Measures of one crescendo.

    Parameters
    ----------
    verdict : Verdict
        Taken together.
    reason : str
        In one sentence.
    appears_at : float
        When the lower octave appears [s]; NaN if it does not.
    rise_time : float
        From absent to within 6 dB of its later level [s].
    off_half : float
        Median of lower note against half the upper [cents].
    off_half_spread : float
        Median absolute deviation of that [cents].
    upper_jump : float
        Step of the upper note where the lower appears [cents].
    """

    verdict: Verdict
    reason: str
    appears_at: float
    rise_time: float
    off_half: float
    off_half_spread: float
    upper_jump: float


_RUN = 5  # frames that must agree before something counts as there or gone
_NAN = float("nan")


def _first_run(there: NDArray[np.bool_]) -> int:
    """First index of `_RUN` true values in a row; -1 if there is none."""
    if len(there) < _RUN:
        return -1
    runs = np.convolve(there.astype(int), np.ones(_RUN, dtype=int), mode="valid") == _RUN
    return int(runs.argmax()) if runs.any() else -1


def octave_evidence(
    times: Real,
    upper: Real,
    lower: Real,
    lower_level: Real,
    *,
    present: float = -30.0,
    precision: float = 10.0,
    abrupt: float = 0.25,
) -> OctaveEvidence:
    """Weigh one recorded crescendo.

    Parameters
    ----------
    times : ndarray, shape (frames,)
        Of the frames, rising [s]; the frames should be 0.1 s or shorter.
    upper : ndarray, shape (frames,)
        Frequency of the upper note [Hz]; NaN while silent.
    lower : ndarray, shape (frames,)
        Frequency of the strongest partial near half of it [Hz]; NaN where there is none.
    lower_level : ndarray, shape (frames,)
        Of the lower partial against the upper [dB].
    present : float
        Level from which the lower note counts as there [dB].
    precision : float
        How well the recording's frequencies are known [cents].
    abrupt : float
        Longest rise that counts as at once [s].

    Returns
    -------
    OctaveEvidence
        Verdict and the measures behind it.

    Raises
    ------
    InputError
        If the arrays differ in length or hold fewer than 20 frames.

    Notes
    -----
    One recording supports or opposes; it proves nothing. A crescendo that starts too fast hides the
    order of events: four seconds or more are good.
    """
    shapes = {np.shape(a) for a in (times, upper, lower, lower_level)}
    if len(shapes) != 1 or len(times) < 20:
        msg = f"need four equal arrays of at least 20 frames, not {sorted(shapes)}"
        raise InputError(msg)
    sounding = np.isfinite(upper)
    there = sounding & np.isfinite(lower) & (np.nan_to_num(lower_level, nan=-np.inf) > present)
    begin, appears = _first_run(sounding), _first_run(there)
    if begin < 0:
        return _undecided("no steady upper note in this recording")
    if appears < 0:
        return _undecided("no lower octave in this recording: nothing to test")
    run = there[appears:]
    off = 1200.0 * np.log2(2.0 * lower[appears:][run] / upper[appears:][run])
    middle = float(np.median(off))
    spread = float(np.median(np.abs(off - middle)))
    before = upper[begin:appears]
    before = before[np.isfinite(before)][-_RUN:]
    after = upper[appears : appears + _RUN]
    alone = len(before) >= _RUN
    jump = 1200.0 * float(np.log2(np.median(after) / np.median(before))) if alone else _NAN
    later = np.median(lower_level[appears:][run])
    arrived = appears + int((lower_level[appears:] >= later - 6.0).argmax())
    rise = float(times[arrived] - times[appears])
    at = float(times[appears])

    def say(verdict: Verdict, reason: str) -> OctaveEvidence:
        return OctaveEvidence(verdict, reason, at, rise, middle, spread, jump)

    if abs(middle) > 2.0 * precision and abs(middle) > 3.0 * spread:
        return say(Verdict.AGAINST, f"the lower note stands {middle:+.0f} cents off one half")
    if not alone:
        return say(Verdict.AGAINST, "the lower octave is there from the start")
    if rise > abrupt:
        return say(Verdict.UNDECIDED, f"the lower octave grows over {rise:.2f} s, not at once")
    if abs(jump) > 50.0:
        return say(Verdict.UNDECIDED, f"the upper note jumps by {jump:+.0f} cents with it")
    if spread > 2.0 * precision:
        return say(Verdict.UNDECIDED, f"the lower note wanders by {spread:.0f} cents")
    return say(Verdict.SUPPORTS, "the lower octave appears at once at half the upper note")


def _undecided(reason: str) -> OctaveEvidence:
    return OctaveEvidence(Verdict.UNDECIDED, reason, _NAN, _NAN, _NAN, _NAN, _NAN)
