"""Learning from predictions and what came of them."""

from crowlight.calibrate.learning.predicted import Predicted, ensemble_crps

__all__ = ["Predicted", "ensemble_crps"]
