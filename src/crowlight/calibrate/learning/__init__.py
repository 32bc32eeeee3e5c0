"""Learning from predictions and what came of them.

Scores tell how predictions have done; a hierarchical model puts later ones right; confounds tell
when nothing may be credited to a cut.
"""

from crowlight.calibrate.learning.confounds import (
    Between,
    Claim,
    Reason,
    SplitTest,
    effect_claim,
    split_test,
    untouched,
)
from crowlight.calibrate.learning.correct import FACTORS, LEAST, Correction, learn_correction
from crowlight.calibrate.learning.hierarchy import (
    Estimate,
    Grouped,
    SpreadPrior,
    at_spreads,
    shrink,
)
from crowlight.calibrate.learning.predicted import Predicted, ensemble_crps
from crowlight.calibrate.learning.scores import Coverage, Pair, Score, score

__all__ = [
    "FACTORS",
    "LEAST",
    "Between",
    "Claim",
    "Correction",
    "Coverage",
    "Estimate",
    "Grouped",
    "Pair",
    "Predicted",
    "Reason",
    "Score",
    "SplitTest",
    "SpreadPrior",
    "at_spreads",
    "effect_claim",
    "ensemble_crps",
    "learn_correction",
    "score",
    "shrink",
    "split_test",
    "untouched",
]
