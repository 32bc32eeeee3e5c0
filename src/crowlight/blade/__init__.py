"""What a thickness map means: stiffness, closing, modes, and where the knife matters.

Put a reed as `Blades` and ask `evaluate`; everything else refines that answer.
"""

from crowlight.blade.blades import Blades, build
from crowlight.blade.cane import DRY, WET, Cane
from crowlight.blade.effects import Effects, brush, stroke_map
from crowlight.blade.flexibility import FlexibilityMap, pad_force
from crowlight.blade.geometry import CHECK_MESH, BladeShape, MeshSize, blade_patch
from crowlight.blade.lip import Lip
from crowlight.blade.mechanics import Lumped, Mechanics, evaluate, lumped, mesh_error
from crowlight.blade.opening import OpeningCurve
from crowlight.blade.outputs import OUTPUTS
from crowlight.blade.thickness import ThicknessGrid, grid_from_tip
from crowlight.blade.tip import TipProfile
from crowlight.blade.typical import typical_scrape
from crowlight.blade.uncertainty import (
    Interval,
    MapSpread,
    Unknown,
    change_intervals,
    intervals,
    usual_unknowns,
)
from crowlight.blade.vibration import BladeModes, TrackedModes
from crowlight.blade.whatif import Change, Prepared, WarmCurve, changed, move_transition, prepare

__all__ = [
    "CHECK_MESH",
    "DRY",
    "OUTPUTS",
    "WET",
    "BladeModes",
    "BladeShape",
    "Blades",
    "Cane",
    "Change",
    "Effects",
    "FlexibilityMap",
    "Interval",
    "Lip",
    "Lumped",
    "MapSpread",
    "Mechanics",
    "MeshSize",
    "OpeningCurve",
    "Prepared",
    "ThicknessGrid",
    "TipProfile",
    "TrackedModes",
    "Unknown",
    "WarmCurve",
    "blade_patch",
    "brush",
    "build",
    "change_intervals",
    "changed",
    "evaluate",
    "grid_from_tip",
    "intervals",
    "lumped",
    "mesh_error",
    "move_transition",
    "pad_force",
    "prepare",
    "stroke_map",
    "typical_scrape",
    "usual_unknowns",
]
