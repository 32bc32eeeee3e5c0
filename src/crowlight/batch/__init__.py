"""Reeds made together: what they have in common, what differs, and what a workshop's work yields.

Every statistic here has a check against published values in `crowlight.checks.batches`.
"""

from crowlight.batch.candidates import Candidate, Candidates, good_and_poor, shared_risk
from crowlight.batch.control import Capability, ControlChart, Signal, capability, control_chart
from crowlight.batch.figures import Figures, Life, Made, Rate, Share, share, workshop_figures
from crowlight.batch.gauge_study import GaugeStudy, crossed_study
from crowlight.batch.outliers import Apart, robust_distances
from crowlight.batch.power import reeds_for_means, reeds_for_shares
from crowlight.batch.split import SplitPlan, SplitResult, evaluate_split, plan_split
from crowlight.batch.spread import OneWay, Spread, one_way, spread_of
from crowlight.batch.steady import (
    Contrast,
    Pattern,
    Series,
    Steady,
    SteadyTest,
    of_sides,
    steady_differences,
)
from crowlight.batch.tracking import Checked, Tracked, check_steps, tracking

__all__ = [
    "Apart",
    "Candidate",
    "Candidates",
    "Capability",
    "Checked",
    "Contrast",
    "ControlChart",
    "Figures",
    "GaugeStudy",
    "Life",
    "Made",
    "OneWay",
    "Pattern",
    "Rate",
    "Series",
    "Share",
    "Signal",
    "SplitPlan",
    "SplitResult",
    "Spread",
    "Steady",
    "SteadyTest",
    "Tracked",
    "capability",
    "check_steps",
    "control_chart",
    "crossed_study",
    "evaluate_split",
    "good_and_poor",
    "of_sides",
    "one_way",
    "plan_split",
    "reeds_for_means",
    "reeds_for_shares",
    "robust_distances",
    "share",
    "shared_risk",
    "spread_of",
    "steady_differences",
    "tracking",
    "workshop_figures",
]
