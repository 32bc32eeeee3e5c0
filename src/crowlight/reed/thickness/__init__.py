"""The thickness map: few gauge readings become both blades with honest uncertainty."""

from crowlight.reed.thickness.fit import Fit, Gouge, fit_profile
from crowlight.reed.thickness.map import Difference, Estimate, ThicknessMap, map_thickness
from crowlight.reed.thickness.unevenness import Scales

__all__ = [
    "Difference",
    "Estimate",
    "Fit",
    "Gouge",
    "Scales",
    "ThicknessMap",
    "fit_profile",
    "map_thickness",
]
