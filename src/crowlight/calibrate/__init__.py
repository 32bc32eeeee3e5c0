"""One joint posterior of a real reed from what its maker can measure.

Opening, a force test, pitches of peep and crow and the crow's starting pressure update cane
stiffness, preload, swept volume and damping together. What was not measured keeps its prior.
"""

from crowlight.calibrate.gaussian import Linear, Surprise, linear_update, surprise
from crowlight.calibrate.joint import calibrate, update
from crowlight.calibrate.line import BladeLine, Reed, blade_line
from crowlight.calibrate.measurements import (
    CrowPitch,
    CrowStart,
    ForceTest,
    Measurement,
    Opening,
    Pad,
    PeepPitch,
)
from crowlight.calibrate.posterior import (
    QUANTITIES,
    Belief,
    Combination,
    DrawnReed,
    Posterior,
    Quality,
)
from crowlight.calibrate.questions import Conflict

__all__ = [
    "QUANTITIES",
    "Belief",
    "BladeLine",
    "Combination",
    "Conflict",
    "CrowPitch",
    "CrowStart",
    "DrawnReed",
    "ForceTest",
    "Linear",
    "Measurement",
    "Opening",
    "Pad",
    "PeepPitch",
    "Posterior",
    "Quality",
    "Reed",
    "Surprise",
    "blade_line",
    "calibrate",
    "linear_update",
    "surprise",
    "update",
]
