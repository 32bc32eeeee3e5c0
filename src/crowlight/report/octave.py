"""What a recording says of the octave hypothesis, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from crowlight.report.words import Words, mark

__all__ = ["octave_said"]

_VERDICTS: Mapping[str, str] = {
    "supports": mark("This recording supports the hypothesis; one recording proves nothing."),
    "speaks against": mark("This recording speaks against the hypothesis."),
    "does not decide": mark(
        "This recording does not decide. One slow swell of five seconds or more, from nothing to "
        "full, may."
    ),
}


def octave_said(heard: Mapping[str, Any], words: Words) -> list[str]:
    """Return what the octave experiment found, as sentences; none where it was not run.

    Parameters
    ----------
    heard : mapping
        A result of `crowlight.bench.sounds.listen`.
    words : Words
        The language.
    """
    found = heard.get("octave_experiment")
    if not found:
        return []
    said = [
        words(
            mark(
                "Hypothesis: the lower octave of a crow is the upper note's period doubled. Then "
                "it comes at once, at exactly half the upper note."
            )
        )
    ]
    if found["off_half_cents"] is not None:
        said.append(
            words.say(
                mark(
                    "Here the lower note appears at %(time)s s, within %(rise)s s, %(off)s cents "
                    "from half the upper one."
                ),
                time=words.number(found["appears_at_s"], 2),
                rise=words.number(found["rise_s"], 2),
                off=words.number(found["off_half_cents"], 0, signed=True),
            )
        )
    said.append(words(_VERDICTS[found["verdict"]]))
    return said
