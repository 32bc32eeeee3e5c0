"""Data that contradict what is expected, or each other: asked about, not averaged away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from crowlight.calibrate.gaussian import Surprise
from crowlight.calibrate.measurements import Measurement

__all__ = ["ODD", "Conflict", "conflicts"]

Real = NDArray[np.float64]

ODD = 2.6
"""Standard deviations beyond which a datum is asked about: one in a hundred by chance."""

Code = Literal["unexpected", "disagree", "octave"]

_WORDS = {
    "opening": "opening",
    "force": "force test",
    "crow": "pitch of the crow",
    "peep": "pitch of the peep",
    "start": "pressure at which the crow starts",
}
_ASK = {
    "opening": "was the reed wet, at rest and unsqueezed, and both blades' inner faces read?",
    "force": "is the unit right, was the pad 8 mm behind the tip, and was the sinking of the scale "
    "taken off?",
    "crow": "was it blown without lip, and is it the upper note as the crow begins?",
    "peep": "was the lip where it is when playing?",
    "start": "does the manometer show kilopascals, and was the pressure raised slowly?",
}


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something to ask about.

    Parameters
    ----------
    code : {"unexpected", "disagree", "octave"}
        ``unexpected``: far from what cane and map allow; ``disagree``: fits the prior but not the
        other measurements; ``octave``: an octave under what the reed should begin with.
    about : tuple of int
        Places of the measurements in the order given.
    surprise : float
        Largest distance [standard deviations], signed: positive is more than expected.
    question : str
        In plain words.
    """

    code: Code
    about: tuple[int, ...]
    surprise: float
    question: str


def conflicts(data: Sequence[Measurement], found: Surprise, left: Real) -> tuple[Conflict, ...]:
    """Everything to ask about.

    Parameters
    ----------
    data : sequence of Measurement
        In order.
    found : Surprise
        From `surprise`.
    left : ndarray, shape (m,)
        Measured minus expected before data [log].
    """
    out: list[Conflict] = []
    for i, d in enumerate(data):
        size = float(found.alone[i])
        if abs(size) <= ODD:
            continue
        much = "more" if size > 0 else "less"
        pitched = d.name in ("crow", "peep")
        if pitched and abs(left[i] + np.log(2.0)) < abs(left[i]):
            text = f"the {_WORDS[d.name]} is about an octave under what this reed should begin with"
            ask = f"{text}; is it the lower note of an octave crow?"
            out.append(Conflict("octave", (i,), size, ask))
            continue
        than = "entered with this reed" if d.name == "opening" else "this map and usual cane give"
        text = f"the {_WORDS[d.name]} is much {much} than {than}"
        out.append(Conflict("unexpected", (i,), size, f"{text}; {_ASK[d.name]}"))
    asked = {i for c in out for i in c.about}
    odd = [i for i in np.flatnonzero(np.abs(found.others) > ODD).tolist() if i not in asked]
    if odd:
        names = " and ".join(dict.fromkeys(f"the {_WORDS[data[i].name]}" for i in odd))
        asks = " ".join(dict.fromkeys(_ASK[data[i].name] for i in odd))
        worst = max(odd, key=lambda i: abs(found.others[i]))
        text = f"{names} does not fit the other measurements of this reed: {asks}"
        out.append(Conflict("disagree", tuple(odd), float(found.others[worst]), text))
    return tuple(out)
