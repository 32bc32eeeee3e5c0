"""The thickness map: few gauge readings become both blades with honest uncertainty."""

from crowlight.reed.thickness.doubt import Doubt, doubtful_readings
from crowlight.reed.thickness.fit import Fit, Gouge, fit_profile
from crowlight.reed.thickness.map import (
    Combination,
    Difference,
    Estimate,
    ThicknessMap,
    map_thickness,
)
from crowlight.reed.thickness.next_point import NextPoint, next_points
from crowlight.reed.thickness.observation import BLADES
from crowlight.reed.thickness.own_style import own_style
from crowlight.reed.thickness.unevenness import Scales

__all__ = [
    "BLADES",
    "Combination",
    "Difference",
    "Doubt",
    "Estimate",
    "Fit",
    "Gouge",
    "NextPoint",
    "Scales",
    "ThicknessMap",
    "doubtful_readings",
    "fit_profile",
    "map_thickness",
    "next_points",
    "own_style",
]
