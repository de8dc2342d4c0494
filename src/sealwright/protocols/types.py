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


Kind = Literal["filtering", "half", "full"]
MethodName = Literal["taste", "vapour", "smoke", "aerosol", "counting", "pressure"]
RuleSetId = Literal["us", "uk", "ca", "anz"]


class Suits(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which kinds of facepiece the method may pass."""

    kinds: tuple[Kind, ...]


class PassLevel(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The fit factor that a kind of facepiece must reach."""

    kind: Kind
    value: int


class PassRuled(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """overall: the harmonic overall factor must reach the level; each: every exercise that counts must."""

    value: Literal["overall", "each"]


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
    """One exercise. `id` is unique in the protocol, `kind` names the movement.

    `how`: what belongs to it besides, in few words. `counts` False: left out of the overall fit factor (grimace); it
    may go unsampled.
    """

    id: str
    kind: Literal["normal", "deep", "side", "nod", "talk", "bend", "grimace", "jog", "shake", "redon"]
    title: str
    how: str = ""
    seconds: int
    during_dose: Literal["", "hold-still", "pause-talking", "hold-hem"] = ""
    counts: bool = True


class Sample(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One stretch of sampling: `at` seconds from the first exercise, for `lasts` seconds.

    `air`: ambient, mask, or hold (breath held, controlled negative pressure). `exercise`: whose sample it is; an
    ambient sample may name none.
    """

    air: Literal["ambient", "mask", "hold"]
    at: int
    lasts: int
    exercise: str = ""


class Peak(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Penetration, in thousandths of the challenge, above which a test of this kind of facepiece is ended."""

    kind: Kind
    per_mille: int


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

    exercise_short_note: Sourced
    exercise_short_void: Sourced
    pause_note: Sourced
    away_note: Sourced
    take_back: Sourced
    clock_step_note: Sourced
    clock_offset_note: Sourced


class DoseTolerances(Tolerances, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """As above, for a method that gives doses."""

    dose_early_note: Sourced
    dose_early_void: Sourced
    dose_late_note: Sourced
    dose_late_void: Sourced


class Protocol(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What every method has. Times in the unit each value names. The classes below are told apart by `method`."""

    id: str
    version: str
    title: str
    method: MethodName
    agent_name: str
    rule_set: RuleSetId
    summary: str
    suits: Suits
    wear: Sourced
    exercises: tuple[Exercise, ...]
    rules: dict[str, Claim]
    tolerances: Tolerances
    cautions: tuple[Claim, ...] = ()
    """cautions beyond the usual ones, shown before the test"""

    @property
    def exercise_seconds(self) -> int:
        return sum(e.seconds for e in self.exercises)

    @property
    def quantitative(self) -> bool:
        return isinstance(self, MeasuredProtocol)

    def level_for(self, kind: str) -> PassLevel | None:
        """The fit factor that a facepiece of this kind must reach (or, qualitatively, is shown to reach)."""
        raise NotImplementedError


class QualitativeProtocol(Protocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A method that ends when the wearer notices the agent. `required_factor`: what a pass stands for."""

    required_factor: Sourced
    seal_break: Claim
    """how, after the exercises, the agent is shown to have been there"""

    def level_for(self, kind: str) -> PassLevel | None:
        if kind not in self.suits.kinds:
            return None
        r = self.required_factor
        return PassLevel(kind=kind, value=r.value, source=r.source, read=r.read)


class TasteProtocol(QualitativeProtocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A taste-aerosol method."""

    agent: Literal["bitter", "sweet"]
    abstention: Sourced
    screening: Screening
    doses: tuple[Dose, ...]
    top_up_every: Sourced
    washout: Sourced
    nebuliser_life: Sourced
    squeeze_pace: Sourced
    mist_check_after: Sourced
    screening_solution: Recipe
    test_solution: Recipe
    tolerances: DoseTolerances

    def dose_for(self, squeezes: int) -> Dose | None:
        """The dose for a wearer who tasted at the given squeeze of screening; None when beyond the last level."""
        return next((d for d in self.doses if squeezes <= d.upto), None)


class VapourProtocol(QualitativeProtocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """The odour method: isoamyl acetate vapour in a chamber."""

    agent: Literal["vapour"]
    stock_solution: Recipe
    odour_solution: Recipe
    blank: Claim
    stock_life: Sourced
    odour_life: Sourced
    chamber: Claim
    cartridges: Claim
    challenge: Sourced
    """liquid on the towel, in µl"""
    settle: Sourced
    repeat_wait: Sourced


class SmokeProtocol(QualitativeProtocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Irritant smoke, aimed at the seal in the open room: no hood."""

    agent: Literal["smoke"]
    flow: Sourced
    whiff: Claim
    no_hood: Claim
    filters: Claim
    passes: tuple[Claim, ...]


class MeasuredProtocol(Protocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A quantitative method: a fit factor for each exercise and overall."""

    pass_levels: tuple[PassLevel, ...]
    pass_rule: PassRuled
    samples: tuple[Sample, ...]

    def level_for(self, kind: str) -> PassLevel | None:
        return next((p for p in self.pass_levels if p.kind == kind), None)


class CountingProtocol(MeasuredProtocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Ambient aerosol particle counting (method counting) or a generated aerosol (method aerosol)."""

    purge: Sourced
    """after each change between room air and mask air, left out at the beginning of the new stretch of sampling"""
    least_ambient: Sourced
    """particles per cm3 outside, below which a factor is in doubt; 0: no such limit"""
    smoke_free: Sourced
    underfoot: Claim | None = None
    """what the wearer does with the feet throughout, such as stepping"""
    challenge: Claim | None = None
    peaks: tuple[Peak, ...] = ()


class PressureProtocol(MeasuredProtocol, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Controlled negative pressure: the leak at a held pressure against a modelled breathing flow."""

    pressure: Sourced
    """held in the mask, in tenths of a mm of water"""
    inspiratory_flow: Sourced
    """modelled, in ml/min"""
    breath_hold: Sourced
    redonnings: Sourced


CLASSES: dict[str, type[Protocol]] = {
    "taste": TasteProtocol, "vapour": VapourProtocol, "smoke": SmokeProtocol, "aerosol": CountingProtocol,
    "counting": CountingProtocol, "pressure": PressureProtocol,
}


class RuledMethod(Source, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A method that a rule set accepts for some kinds of facepiece; `accepted` False: refused, `rule` says why."""

    method: MethodName
    kinds: tuple[Kind, ...] = ()
    accepted: bool = True
    rule: str = ""


class RuleSet(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Whose rules: pass level of each kind of facepiece, and which methods may pass it."""

    id: RuleSetId
    title: str
    pass_rule: PassRuled
    levels: tuple[PassLevel, ...]
    methods: tuple[RuledMethod, ...]
    interval: Claim

    def level_for(self, kind: str) -> PassLevel | None:
        return next((p for p in self.levels if p.kind == kind), None)

    def methods_for(self, kind: str) -> tuple[RuledMethod, ...]:
        return tuple(m for m in self.methods if m.accepted and kind in m.kinds)
