"""What a thickness map means: stiffness, closing, modes, and where the knife matters."""

from crowlight.blade.cane import DRY, WET, Cane
from crowlight.blade.geometry import CHECK_MESH, BladeShape, MeshSize, blade_patch
from crowlight.blade.thickness import ThicknessGrid, grid_from_tip
from crowlight.blade.typical import typical_scrape

__all__ = [
    "CHECK_MESH",
    "DRY",
    "WET",
    "BladeShape",
    "Cane",
    "MeshSize",
    "ThicknessGrid",
    "blade_patch",
    "grid_from_tip",
    "typical_scrape",
]
