"""Listening: the crow, the peep and played notes, measured. Arrays in, frozen dataclasses out."""

from crowlight.listen.pitch import PitchTrack, track_pitch

__all__ = [
    "PitchTrack",
    "track_pitch",
]
