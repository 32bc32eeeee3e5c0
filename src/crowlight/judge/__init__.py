"""Judging a reed: what differs, and whether the measurements can tell."""

from crowlight.judge.decision import Decision, Outcome, coverage_factor, decide, effective_dof
from crowlight.judge.differences import Comparison, Differences, Pairing, paired_differences

__all__ = [
    "Comparison",
    "Decision",
    "Differences",
    "Outcome",
    "Pairing",
    "coverage_factor",
    "decide",
    "effective_dof",
    "paired_differences",
]
