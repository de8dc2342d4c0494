"""What a protocol file holds. Every figure and rule carries the document and paragraph it comes from."""

from __future__ import annotations

from typing import Literal

import msgspec

Read = Literal["copy", "memory", "none"]
"""How the source was read: in the text or a faithful copy, from memory (verify before relying on it), or no source."""

COMMON_PRACTICE = "common practice, no source"
OURS = "ours, settable"


class Source(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Where a value comes from: document and paragraph, or `COMMON_PRACTICE`, or `OURS`."""

    source: str
    read: Read = "none"


class Sourced(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A whole number with its unit and source."""

    value: int
    unit: str


class Claim(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A rule in our own words with its source."""

    rule: str


class Suits(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which kinds of facepiece the method may pass."""

    kinds: tuple[Literal["filtering", "half", "full"], ...]


class Dose(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Squeezes for one screening level: tasted within `upto` squeezes -> `first`, then `top_up` each interval."""

    level: int
    upto: int
    first: int
    top_up: int


class Screening(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Sensitivity screening: rounds of squeezes, the wearer asked after each round."""

    round_squeezes: int
    rounds: int


class Exercise(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One exercise. `id` is unique in the protocol, `kind` names the movement."""

    id: str
    kind: Literal["normal", "deep", "side", "nod", "talk", "bend", "grimace", "jog"]
    title: str
    seconds: int
    during_dose: Literal["hold-still", "pause-talking", "hold-hem"]


class Ingredient(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    amount: float
    unit: Literal["g", "mg", "ml"]


class Recipe(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How a solution is made: ingredients dissolved in `base_ml` of `base`."""

    ingredients: tuple[Ingredient, ...]
    base: str
    base_ml: float


class Tolerances(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """How far a test may stray before it is noted (`*_note`) or void (`*_void`). No standard gives these."""

    dose_early_note: Sourced
    dose_early_void: Sourced
    dose_late_note: Sourced
    dose_late_void: Sourced
    exercise_short_note: Sourced
    exercise_short_void: Sourced
    pause_note: Sourced
    away_note: Sourced
    take_back: Sourced
    clock_step_note: Sourced
    clock_offset_note: Sourced


class Protocol(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A taste-aerosol method. Times in the unit each value names."""

    id: str
    version: str
    title: str
    method: Literal["taste"]
    agent: Literal["bitter", "sweet"]
    agent_name: str
    rule_set: Literal["us", "uk"]
    summary: str
    suits: Suits
    required_factor: Sourced
    abstention: Sourced
    screening: Screening
    doses: tuple[Dose, ...]
    top_up_every: Sourced
    washout: Sourced
    wear: Sourced
    nebuliser_life: Sourced
    exercises: tuple[Exercise, ...]
    seal_break: Claim
    squeeze_pace: Sourced
    mist_check_after: Sourced
    screening_solution: Recipe
    test_solution: Recipe
    rules: dict[str, Claim]
    tolerances: Tolerances

    def dose_for(self, squeezes: int) -> Dose | None:
        """The dose for a wearer who tasted at the given squeeze of screening; None when beyond the last level."""
        return next((d for d in self.doses if squeezes <= d.upto), None)

    @property
    def exercise_seconds(self) -> int:
        return sum(e.seconds for e in self.exercises)
