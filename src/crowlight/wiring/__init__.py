"""Joins the desk to what implements its ports."""

from crowlight.files.sounds import write_wav
from crowlight.wiring.desks import (
    SystemClock,
    assess_file,
    blades_of_file,
    data_folder,
    listen_to_file,
    open_desk,
)
from crowlight.wiring.keeping import back_up, bring_back, export_everything

__all__ = [
    "SystemClock",
    "assess_file",
    "back_up",
    "blades_of_file",
    "bring_back",
    "data_folder",
    "export_everything",
    "listen_to_file",
    "open_desk",
    "write_wav",
]
