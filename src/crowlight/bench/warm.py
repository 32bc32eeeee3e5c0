"""A cut at the speed of a hand at rest: the opening curve solved from that of the uncut reed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from crowlight.bench.cuts import Cut, Foreseen
from crowlight.bench.ports import Report
from crowlight.bench.solved import FILM, solved
from crowlight.blade import OUTPUTS
from crowlight.errors import OutsideModel

__all__ = ["Warmed", "warm"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmed:
    """A cut solved from the uncut reed.

    Parameters
    ----------
    outputs : mapping of str to Foreseen
        Every output that a full solve gives.
    curved : tuple of str
        Those that are read off the new opening curve; the others are effects times change.
    area_error : float
        How far solving coarsely may leave an opening area off [m²].
    closing_error : float
        The same for the pressure that closes it, as a share of it; not a number where the reed
        snaps shut.
    notes : tuple of str
        Where to read the result with care.
    """

    outputs: Mapping[str, Foreseen]
    curved: tuple[str, ...]
    area_error: float
    closing_error: float
    notes: tuple[str, ...]


def warm(inputs: Mapping[str, Any], report: Report = lambda _: None) -> Warmed:
    """Solve the opening curve of a reed after a cut, fast where the reed was solved here before.

    Parameters
    ----------
    inputs : mapping
        As for `crowlight.bench.mechanics.mechanics`, with ``cut`` (`Cut`).
    report : callable
        Called with the fraction done; may raise `Cancelled`.

    Raises
    ------
    InputError
        If the reed has no such zone, or no transition to move.
    OutsideModel
        If the cut clips the blade, which takes a new mesh, or the model has no answer.
    """
    cut: Cut = inputs["cut"]
    if cut.clip:
        msg = "a clip changes the whole blade: solve it in full"
        raise OutsideModel(msg)
    reed = solved(inputs, lambda f: report(0.8 * f))
    change, thin = reed.change(cut)
    curve = reed.ready.solve(change)
    answer = reed.answer
    guess: Mapping[str, float] = {}
    if answer.effects:
        guess = answer.effects.predict(marked=change.marked, plain=change.plain)
    known = {n: v for n, v in curve.values.items() if np.isfinite(v)}
    outputs: dict[str, Foreseen] = {}
    for name in (n for n in OUTPUTS if n in answer.values):
        before = float(answer.values[name])
        change_of = known[name] - before if name in known else guess.get(name, np.nan)
        outputs[name] = Foreseen(before=before, change=float(change_of))
    report(1.0)
    return Warmed(
        outputs=outputs,
        curved=tuple(n for n in outputs if n in known),
        area_error=curve.area_error,
        closing_error=curve.closing_error,
        notes=((FILM,) if thin else ()) + answer.notes,
    )
