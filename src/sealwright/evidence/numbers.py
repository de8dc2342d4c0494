"""The numbers of a quantitative test put into words: factors with their intervals, level, rule, instrument."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import msgspec

from sealwright.assess.events import Event, InstrumentNamed, Opened
from sealwright.assess.measured import Factor, Measured
from sealwright.assess.measuring import level_by
from sealwright.assess.summary import chance, floored, interval, nothing, rounded
from sealwright.protocols import MeasuredProtocol, Protocol, rule_sets

RULES = {"overall": "asked of the overall factor", "each": "asked of every exercise"}


class Rated(msgspec.Struct, frozen=True, kw_only=True):
    """A factor in words: "412", "310 to 560" (empty: not known). `counts` False: left out of the overall factor."""

    exercise: str
    title: str
    factor: str
    interval: str
    counts: bool = True


class Numbers(msgspec.Struct, frozen=True, kw_only=True):
    """Everything a page says about the measurement. `measured` None: nothing that makes a factor is on record."""

    rule: str
    rated: tuple[Rated, ...] = ()
    overall: Rated | None = None
    sentence: str = ""
    chance: str = ""
    instrument: str
    calibration: str
    measured: Measured | None = None


def level_of(protocol: Protocol, opened: Opened) -> tuple[int, str, str]:
    """(fit factor to reach or to stand for, its source, the rule in words or empty)."""
    if isinstance(protocol, MeasuredProtocol):
        kind = opened.facepiece.kind
        level, rule = level_by(protocol, kind, opened.rule_set, opened.pass_level) or (0, protocol.pass_rule.value)
        return level, _level_source(protocol, opened, level), RULES[rule]
    required = protocol.required_factor  # type: ignore[attr-defined]
    return required.value, required.source, ""


def _level_source(protocol: MeasuredProtocol, opened: Opened, level: int) -> str:
    if opened.pass_level == level:
        return "the site, stricter than the rules"
    rules = rule_sets().get(opened.rule_set) if opened.rule_set not in ("", protocol.rule_set) else None
    found = (rules or protocol).level_for(opened.facepiece.kind)
    return found.source if found else "none for this kind of facepiece"


def numbers(events: Sequence[Event], measured: Measured | None, rule: str, day: Callable[[int], str],
            at: int) -> Numbers:
    """`day` puts an instant in words; `at`: when the test was held."""
    all_named = [e.data for e in events if isinstance(e.data, InstrumentNamed)]
    named = all_named[-1] if all_named else None
    told = Numbers(rule=rule, instrument=named.instrument if named else "not on record",
                   calibration=_calibration(named, day, at))
    if measured is None:
        return told
    level = measured.pass_level
    return msgspec.structs.replace(
        told, rated=tuple(_rated(x, level) for x in measured.exercises), overall=_rated(measured.overall, level),
        sentence=measured.sentence, chance=_chance(measured), measured=measured)


def _calibration(named: InstrumentNamed | None, day: Callable[[int], str], at: int) -> str:
    if named is None or named.due_at is None:
        return "not on record"
    return f"{'in date until' if named.due_at >= at else 'out of date since'} {day(named.due_at)}"


def _rated(x: Factor, level: int) -> Rated:
    least = "not known" if x.low is None else f"at least {floored(x.low)}"
    factor = least if x.factor is None else rounded(x.factor, level)
    return Rated(exercise=x.exercise, title=x.title or x.exercise, factor=factor, counts=x.counts,
                 interval=interval(x, level) if x.factor is not None else nothing(x))


def _chance(m: Measured) -> str:
    """The probability that the truth meets the rule, as one phrase; empty where the sentence says it."""
    if m.p_pass is None or m.overall.basis != "pressure":
        return ""
    whose = "the true overall factor reaches" if m.pass_rule == "overall" else "every true factor reaches"
    return f"Chance that {whose} {m.pass_level}: {chance(m.p_pass)}"


# Places on an axis of logarithms


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """Where a factor and the ends of its interval stand on the axis, 0 to 1; None: not known or without end."""

    at: float | None
    low: float | None
    high: float | None
    reached: bool
    counts: bool


class Axis:
    """From the least to the greatest number on the page, the level among them."""

    def __init__(self, factors: Sequence[Factor], level: int) -> None:
        known = [v for f in factors for v in (f.factor, f.low, f.high) if v] + [float(max(level, 1))]
        self.level = level
        self.start, self.end = math.log10(min(known)), math.log10(max(known))
        self.start, self.end = self.start - 0.1, max(self.end + 0.1, self.start + 0.6)

    def __call__(self, value: float) -> float:
        return (math.log10(value) - self.start) / (self.end - self.start)

    def place(self, f: Factor) -> Place:
        at, low, high = (self(v) if v else None for v in (f.factor, f.low, f.high))
        return Place(at=at, low=low, high=high, counts=f.counts, reached=(f.factor or f.low or 0.0) >= self.level)

    def ticks(self) -> list[tuple[float, str]]:
        """Round numbers with their places: powers of ten, and their double and fivefold where there is room."""
        steps = (1, 2, 5) if self.end - self.start < 2.2 else (1,)
        powers = range(math.floor(self.start), math.ceil(self.end) + 1)
        found = [(self(m * 10.0 ** p), f"{m * 10.0 ** p:,.10g}") for p in powers for m in steps]
        return [(x, said) for x, said in found if 0.0 <= x <= 1.0]
