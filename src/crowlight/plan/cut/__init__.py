"""The next cut, or none: what may be done to a reed, what to expect, and what it may spoil."""

from crowlight.plan.cut.advise import CaneLeft, Option, Plan, next_cut
from crowlight.plan.cut.chance import Chance, Limits, draw_chance
from crowlight.plan.cut.correcting import Correcting
from crowlight.plan.cut.expecting import Expected
from crowlight.plan.cut.lines import Lines, lines_of, solve_after, unknown_slopes
from crowlight.plan.cut.no_map import next_act
from crowlight.plan.cut.now import ReedNow, bare_reed, reed_now
from crowlight.plan.cut.options import Act
from crowlight.plan.cut.rules import Barred
from crowlight.plan.cut.said import Said, source_sentences
from crowlight.plan.cut.shapes import Earlier, Part, patch, read_share, slope_at, taken_off
from crowlight.plan.cut.strokes import LoggedCut, SeenFall, StrokeSize, learn_strokes, logged_cut
from crowlight.plan.cut.target import Goal, Model, Target, Words, target
from crowlight.plan.cut.told import as_data, how_much, say, where
from crowlight.plan.cut.weigh import Harm

__all__ = [
    "Act",
    "Barred",
    "CaneLeft",
    "Chance",
    "Correcting",
    "Earlier",
    "Expected",
    "Goal",
    "Harm",
    "Limits",
    "Lines",
    "LoggedCut",
    "Model",
    "Option",
    "Part",
    "Plan",
    "ReedNow",
    "Said",
    "SeenFall",
    "StrokeSize",
    "Target",
    "Words",
    "as_data",
    "bare_reed",
    "draw_chance",
    "how_much",
    "learn_strokes",
    "lines_of",
    "logged_cut",
    "next_act",
    "next_cut",
    "patch",
    "read_share",
    "reed_now",
    "say",
    "slope_at",
    "solve_after",
    "source_sentences",
    "taken_off",
    "target",
    "unknown_slopes",
    "where",
]
