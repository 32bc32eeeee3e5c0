"""What a thickness map means: stiffness, closing, modes, and where the knife matters.

Put a reed as `Blades` and ask `evaluate`; everything else refines that answer.
"""

from crowlight.blade.blades import Blades, build
from crowlight.blade.cane import DRY, WET, Cane
from crowlight.blade.effects import Effects, brush, stroke_map
from crowlight.blade.flexibility import FlexibilityMap, pad_force
from crowlight.blade.geometry import CHECK_MESH, BladeShape, MeshSize, blade_patch
from crowlight.blade.lip import Lip
from crowlight.blade.mechanics import Lumped, Mechanics, evaluate, lumped
from crowlight.blade.opening import OpeningCurve
from crowlight.blade.outputs import OUTPUTS
from crowlight.blade.thickness import ThicknessGrid, grid_from_tip
from crowlight.blade.tip import TipProfile
from crowlight.blade.typical import typical_scrape
from crowlight.blade.vibration import BladeModes, TrackedModes

__all__ = [
    "CHECK_MESH",
    "DRY",
    "OUTPUTS",
    "WET",
    "BladeModes",
    "BladeShape",
    "Blades",
    "Cane",
    "Effects",
    "FlexibilityMap",
    "Lip",
    "Lumped",
    "Mechanics",
    "MeshSize",
    "OpeningCurve",
    "ThicknessGrid",
    "TipProfile",
    "TrackedModes",
    "blade_patch",
    "brush",
    "build",
    "evaluate",
    "grid_from_tip",
    "lumped",
    "pad_force",
    "stroke_map",
    "typical_scrape",
]
