"""Test methods as data: one TOML file a method, each value with its source; protocol + level -> score.

Pure: the only thing read is the package's own TOML.
"""

from sealwright.protocols.conduct import Stage, compile_conduct, donning_checks, equipment, kit
from sealwright.protocols.score import Act, Score, compile_score
from sealwright.protocols.shelf import get, parse, published, rule_set, rule_sets, taste
from sealwright.protocols.types import (
    CountingProtocol,
    Dose,
    Exercise,
    MeasuredProtocol,
    PassLevel,
    PressureProtocol,
    Protocol,
    QualitativeProtocol,
    RuleSet,
    SmokeProtocol,
    Source,
    Sourced,
    TasteProtocol,
    VapourProtocol,
)

__all__ = [
    "Act", "CountingProtocol", "Dose", "Exercise", "MeasuredProtocol", "PassLevel", "PressureProtocol", "Protocol",
    "QualitativeProtocol", "RuleSet", "Score", "SmokeProtocol", "Source", "Sourced", "Stage", "TasteProtocol",
    "VapourProtocol", "compile_conduct", "compile_score", "donning_checks", "equipment", "get", "kit", "parse",
    "published", "rule_set", "rule_sets", "taste",
]
