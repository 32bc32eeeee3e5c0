"""The reed: where its points are, what measured them, what a blade should look like."""

from crowlight.reed.frame import Blade, Origin, Place, Side, facing_edge, from_rim
from crowlight.reed.instruments import (
    Instrument,
    Repeatability,
    instrument,
    instruments,
    pooled_repeatability,
)
from crowlight.reed.readings import CaneState, Reading, check_reading

__all__ = [
    "Blade",
    "CaneState",
    "Instrument",
    "Origin",
    "Place",
    "Reading",
    "Repeatability",
    "Side",
    "check_reading",
    "facing_edge",
    "from_rim",
    "instrument",
    "instruments",
    "pooled_repeatability",
]
