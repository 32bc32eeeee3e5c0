"""One coarse reed, solved once."""

import pytest

from crowlight.blade import Blades, MeshSize, typical_scrape, usual_unknowns
from crowlight.calibrate import BladeLine, Pad, Reed, blade_line
from crowlight.crow import Resonances, find_resonances, staple_bore
from crowlight.materials import breath

COARSE = MeshSize(4, 5, 3)
PRESS = (Pad(), 0.1e-3)


@pytest.fixture(scope="session")
def blades() -> Blades:
    return Blades(typical_scrape(), interference=10e-6, size=COARSE)


@pytest.fixture(scope="session")
def line(blades: Blades) -> BladeLine:
    return blade_line(Reed(blades, usual_unknowns(blades), presses=(PRESS,)))


@pytest.fixture(scope="session")
def bore() -> Resonances:
    return find_resonances(staple_bore(), breath(101325.0))
