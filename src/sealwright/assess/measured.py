"""What a quantitative test yields: a fit factor for each exercise and overall, each with how sure it is.

Plain values without arrays, so that reading a verdict needs no number library.
"""

from __future__ import annotations

from typing import Literal

import msgspec

PassRule = Literal["overall", "each"]
"""overall: the harmonic overall factor must reach the level; each: every exercise that counts must reach it."""

Basis = Literal["counts", "concentrations", "reading", "pressure"]
"""Where a factor comes from: counted particles; concentrations without known counts; a factor read off an instrument;
leak and modelled breathing flow."""


class Factor(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A fit factor. `factor` None: nothing was counted in the mask, so only the lower bound `low` is known.

    `low`, `high`: ends of the 95 % interval (None: not known; `high` None beside a `low`: no upper end).
    `p_above`: the probability that the true factor of this donning exceeds the pass level.
    """

    exercise: str
    title: str = ""
    factor: float | None
    low: float | None = None
    high: float | None = None
    p_above: float | None = None
    counts: bool = True
    """False: left out of the overall factor (grimace)"""
    basis: Basis = "counts"
    mask: float | None = None
    """mean in the mask: per cm3, or ml/min of leak (basis pressure)"""
    ambient: float | None = None
    """mean outside: per cm3, or ml/min of modelled breathing (basis pressure)"""
    mask_count: float | None = None
    """particles counted in the mask"""
    mask_s: float | None = None
    """seconds of sampling in the mask that count"""


class Doubt(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something about the data that weakens the number. `start_s`, `end_s`: seconds from the first exercise."""

    code: str
    text: str
    start_s: float | None = None
    end_s: float | None = None
    exercise: str = ""


class Measured(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """All numbers of one donning (or, for controlled negative pressure, of the donnings its protocol has)."""

    exercises: tuple[Factor, ...]
    overall: Factor
    pass_level: int
    pass_rule: PassRule
    passed: bool
    """by the point values, as the rule set says; the interval never changes it"""
    p_pass: float | None = None
    """the probability that the true factors meet the pass rule"""
    p_next: float | None = None
    """the probability that a further donning would reach the level, where the protocol dons more than once"""
    sentence: str = ""
    """result and doubt in one plain sentence; in a verdict empty where the result goes by something else"""
    method: str = ""
    """how the intervals were made"""
    doubts: tuple[Doubt, ...] = ()
