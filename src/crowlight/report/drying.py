"""Whether a reed dried while it was measured, in words."""

from __future__ import annotations

from crowlight.judge.sitting import Drift
from crowlight.report.words import Words, mark

__all__ = ["drift_said"]


def drift_said(drift: Drift | None, words: Words) -> str:
    """Return what reading the first point once more at the end told, and what to do about it.

    Parameters
    ----------
    drift : Drift or None
        None if it was not read again.
    words : Words
        The language.

    Returns
    -------
    str
        One or two sentences; empty without a drift.
    """
    if drift is None:
        return ""
    d = drift.decision
    told = words.say(
        mark("The first point, read again at the end: %(change)s (%(interval)s)."),
        change=words.thick(d.value, 3, signed=True),
        interval=words.interval(d.low, d.high),
    )
    if drift.advice:
        advice = words(
            mark(
                "That is more than the gauge scatters: the reed changed while it was measured. Wet "
                "it again, wait, and measure again before you cut."
            )
        )
    else:
        advice = words(mark("No more than the gauge scatters."))
    return f"{told} {advice}"
