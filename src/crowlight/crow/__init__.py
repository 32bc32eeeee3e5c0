"""Reed, staple and air: when a reed starts to sound, at which pitch, and what it does then.

Trust ratios and signs: how threshold, flow and pitch change with air, opening and stiffness. Do not
trust absolute kilopascals, the balance of octaves or the chance of rattling; no parameter of an
oboe reed has been measured, lips and vocal tract are left out, and losses by vortices at the staple
are too.
"""

from crowlight.crow.bore import NOTES, Note, Staple, played_bore, staple_bore
from crowlight.crow.experiment import OctaveEvidence, Verdict, octave_evidence
from crowlight.crow.from_blades import draw_from_blades, reed_from_blades
from crowlight.crow.reed import (
    CROW_PRIOR,
    LIP_PRIOR,
    ReedArrays,
    ReedParameters,
    draw_reeds,
    scaled,
    stacked,
    with_lip,
)
from crowlight.crow.regimes import Heard, Regime, Strip, blow_steadily, classify, sound_strip
from crowlight.crow.resonances import Resonances, find_resonances
from crowlight.crow.sounding import ModelSound, crow_sound
from crowlight.crow.stability import loop_gain, steady_flow
from crowlight.crow.thresholds import Onsets, TrackedMode, onsets, onsets_from, tracked_mode
from crowlight.crow.timedomain import Motion, simulate

__all__ = [
    "CROW_PRIOR",
    "LIP_PRIOR",
    "NOTES",
    "Heard",
    "ModelSound",
    "Motion",
    "Note",
    "OctaveEvidence",
    "Onsets",
    "ReedArrays",
    "ReedParameters",
    "Regime",
    "Resonances",
    "Staple",
    "Strip",
    "TrackedMode",
    "Verdict",
    "blow_steadily",
    "classify",
    "crow_sound",
    "draw_from_blades",
    "draw_reeds",
    "find_resonances",
    "loop_gain",
    "octave_evidence",
    "onsets",
    "onsets_from",
    "played_bore",
    "reed_from_blades",
    "scaled",
    "simulate",
    "sound_strip",
    "stacked",
    "staple_bore",
    "steady_flow",
    "tracked_mode",
    "with_lip",
]
