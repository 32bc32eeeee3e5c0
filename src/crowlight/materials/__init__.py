"""Air, places and cane: values with their spread, their source and the range they hold in.

Valid for air people play in (-25 to 45 °C, altitudes of -500 to 5500 m) and for breath. Outside a
range the functions ask instead of guessing.
"""

from crowlight.materials.air import Air, breath, room_air
from crowlight.materials.atmosphere import (
    Atmosphere,
    Place,
    PlacePressure,
    place_pressure,
    pressure_on_the_spot,
    standard_atmosphere,
)
from crowlight.materials.cane import CaneChange, cane, cane_change
from crowlight.materials.moisture import (
    DryingTime,
    drying_time,
    equilibrium_moisture,
    soaking_time,
    vapour_diffusivity,
)
from crowlight.materials.spread import Spread

__all__ = [
    "Air",
    "Atmosphere",
    "CaneChange",
    "DryingTime",
    "Place",
    "PlacePressure",
    "Spread",
    "breath",
    "cane",
    "cane_change",
    "drying_time",
    "equilibrium_moisture",
    "place_pressure",
    "pressure_on_the_spot",
    "room_air",
    "soaking_time",
    "standard_atmosphere",
    "vapour_diffusivity",
]
