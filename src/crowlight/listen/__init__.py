"""Listening: the crow, the peep and played notes, measured. Arrays in, frozen dataclasses out."""

from crowlight.listen.blows import Blow, find_blows, find_blows_in_levels
from crowlight.listen.classes import (
    CLASSES,
    ClassModel,
    Learned,
    common_practice,
    features,
    fit_classes,
    learn_classes,
)
from crowlight.listen.compare import (
    Change,
    Spread,
    Summary,
    compare_attempts,
    compare_measures,
    estimate_spread,
    summarise,
)
from crowlight.listen.crow import Listened, attempt_values, measure_crow, measure_peep
from crowlight.listen.hnr import harmonics_to_noise
from crowlight.listen.live import LiveMoment, listen_live, live_delay
from crowlight.listen.measures import BlowMeasures
from crowlight.listen.notes import Note, NoteTake, OnChart, Slur, find_notes, intonation
from crowlight.listen.pitch import PitchTrack, track_pitch
from crowlight.listen.swell import Moment, Swell, measure_swell
from crowlight.listen.tuning import EQUAL, Reference, Tuning, note_name, note_pitch, tunings
from crowlight.listen.usable import Reason, Usable, check_usable
from crowlight.listen.values import Measure

__all__ = [
    "CLASSES",
    "EQUAL",
    "Blow",
    "BlowMeasures",
    "Change",
    "ClassModel",
    "Learned",
    "Listened",
    "LiveMoment",
    "Measure",
    "Moment",
    "Note",
    "NoteTake",
    "OnChart",
    "PitchTrack",
    "Reason",
    "Reference",
    "Slur",
    "Spread",
    "Summary",
    "Swell",
    "Tuning",
    "Usable",
    "attempt_values",
    "check_usable",
    "common_practice",
    "compare_attempts",
    "compare_measures",
    "estimate_spread",
    "features",
    "find_blows",
    "find_blows_in_levels",
    "find_notes",
    "fit_classes",
    "harmonics_to_noise",
    "intonation",
    "learn_classes",
    "listen_live",
    "live_delay",
    "measure_crow",
    "measure_peep",
    "measure_swell",
    "note_name",
    "note_pitch",
    "summarise",
    "track_pitch",
    "tunings",
]
