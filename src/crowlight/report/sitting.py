"""Sentences of the bench: what each step asks for, and why it comes now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from crowlight.bench.sittings import Act, Step
from crowlight.report.words import Words, mark

__all__ = ["STEPS", "WHY", "StepWords", "asked_said"]


@dataclass(frozen=True, slots=True)
class StepWords:
    """What a step is called, and what it asks for."""

    name: str
    asks: str


STEPS: Mapping[Step, StepWords] = {
    Step.LOOK: StepWords(mark("Look over"), mark("Look it through against the light")),
    Step.SEAL: StepWords(mark("Seal"), mark("Stop the bottom, draw the air out: does it hold?")),
    Step.CROW: StepWords(mark("Crow"), mark("Crow it: one slow swell, no lip")),
    Step.PLAY: StepWords(mark("Play"), mark("Play it: six taps")),
    Step.MEASURE: StepWords(mark("Measure"), mark("Measure it")),
    Step.DECIDE: StepWords(mark("Decide"), mark("What next?")),
    Step.CUT: StepWords(mark("Cut"), mark("What was taken off?")),
    Step.CHECK: StepWords(mark("Check"), mark("One slow swell: than before it is")),
    Step.REST: StepWords(mark("Rest"), mark("Lay it aside")),
}
_INSTEAD: Mapping[str, str] = {
    "soak": mark("Soak it"),
    "leaks": mark("Seal it before anything else"),
    "resting": mark("It rests"),
}
WHY: Mapping[str, str] = {
    "soak": mark("Nothing says how wet it is. Wet reeds are never compared with dry ones."),
    "look": mark("Corners equally light? A nick, a lump, a crack at the thread?"),
    "seal": mark("A leak feels like a hard reed; no cut mends it."),
    "leaks": mark("It was found to leak."),
    "crow": mark("Nothing was heard of it in this sitting."),
    "play": mark("Not sure is an answer."),
    "no-readings": mark("It takes at least six points of each blade for a map."),
    "three-cuts": mark("Three cuts since the gauge: light strokes add up by now."),
    "advice": mark("A reading could change what to do."),
    "decide": mark("Nothing is open before a decision."),
    "cut": mark("Write down what was really done, also if it was something else."),
    "check": mark("Fifteen seconds, before the next stroke."),
    "three-tests": mark("Three tests without getting better: ear and cane want a rest."),
    "nothing-cut": mark("Nothing was cut. Reeds change overnight."),
    "resting": mark("Soak it again to go on."),
    "chosen": "",
}


def asked_said(step: Step, act: Act, words: Words) -> str:
    """Return what a step asks for; `act` is what comes next by itself."""
    if act.step is step and act.why in _INSTEAD:
        return words(_INSTEAD[act.why])
    return words(STEPS[step].asks)
