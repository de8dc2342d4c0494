"""Test methods as data: one TOML file a method, each value with its source; protocol + level -> score.

Pure: the only thing read is the package's own TOML.
"""

from sealwright.protocols.conduct import Stage, compile_conduct, donning_checks, equipment
from sealwright.protocols.score import Act, Score, compile_score
from sealwright.protocols.shelf import get, parse, published
from sealwright.protocols.types import Dose, Exercise, Protocol, Source, Sourced

__all__ = [
    "Act", "Dose", "Exercise", "Protocol", "Score", "Source", "Sourced", "Stage", "compile_conduct", "compile_score",
    "donning_checks", "equipment", "get", "parse", "published",
]
