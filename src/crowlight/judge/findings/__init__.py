"""What may be wrong with a reed: findings, the evidence for and against, and what to check next."""

from crowlight.judge.findings.evidence import (
    Agreement,
    BladeKnown,
    Climate,
    Crow,
    Geometry,
    History,
    Known,
    Measured,
    Model,
    Playing,
    SideKnown,
    Trials,
)
from crowlight.judge.findings.from_geometry import geometry_known
from crowlight.judge.findings.from_map import against, geometry_of_map, mean_of
from crowlight.judge.findings.lexicon import heard
from crowlight.judge.findings.load import catalogue
from crowlight.judge.findings.rank import Conclusion, Findings, Ranked, Support, rank
from crowlight.judge.findings.sentences import as_data, ask, place, say, source_sentences
from crowlight.judge.findings.where import Where

__all__ = [
    "Agreement",
    "BladeKnown",
    "Climate",
    "Conclusion",
    "Crow",
    "Findings",
    "Geometry",
    "History",
    "Known",
    "Measured",
    "Model",
    "Playing",
    "Ranked",
    "SideKnown",
    "Support",
    "Trials",
    "Where",
    "against",
    "as_data",
    "ask",
    "catalogue",
    "geometry_known",
    "geometry_of_map",
    "heard",
    "mean_of",
    "place",
    "rank",
    "say",
    "source_sentences",
]
