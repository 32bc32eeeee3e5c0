"""Trials of the advice on invented reeds, against fixed rivals.

A virtual maker's bench: reeds whose truth is hidden, a gauge with noise, a knife whose strokes
scatter, a player whose ear has its own variability. What comes out is a claim about this
simulation, never about makers.
"""

from crowlight.invented.trials.digest import code_digest
from crowlight.invented.trials.run import POLICIES, run_one
from crowlight.invented.trials.seeds import DEVELOPMENT, TEST, VARIANTS, Variant
from crowlight.invented.trials.summary import summarise

__all__ = [
    "DEVELOPMENT",
    "POLICIES",
    "TEST",
    "VARIANTS",
    "Variant",
    "code_digest",
    "run_one",
    "summarise",
]
