"""Invented air: particles outside that drift slowly, fewer in the mask, counted one channel at a time."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from sealwright.protocols import Act, Exercise

_MIXING_S = 0.35
"""time constant with which the air before leaves the line"""
_DRIFT, _PERIOD_S = 0.04, 700
_MANY = 60


class Air:
    """`outside`: mean particles per cm3; `factors`: true fit factor by exercise."""

    def __init__(self, luck: random.Random, outside: float, factors: Mapping[str, float]) -> None:
        self.luck, self.mean, self.factors = luck, outside, factors
        self.phase = luck.uniform(0, 2 * math.pi)

    def outside(self, second: float) -> float:
        return self.mean * (1 + _DRIFT * math.sin(2 * math.pi * second / _PERIOD_S + self.phase))

    def stretches(self, acts: Sequence[Act], flow_cm3_s: float) -> Iterator[tuple[int, str, list[int]]]:
        """(second, air, particles counted in each second) of the score's samples, on one channel that alternates."""
        before = self.outside(acts[0].at)
        for act in acts:
            counts = []
            for k in range(act.lasts):
                now = self._level(act, act.at + k + 0.5)
                left = math.exp(-k / _MIXING_S) * _MIXING_S * (1 - math.exp(-1 / _MIXING_S))
                counts.append(poisson(self.luck, (now + (before - now) * left) * flow_cm3_s))
            before = self._level(act, act.at + act.lasts)
            yield act.at, act.air, counts

    def _level(self, act: Act, second: float) -> float:
        return self.outside(second) / (self.factors[act.exercise] if act.air == "mask" else 1)

    def reading(self, exercise: Exercise, way: str) -> dict[str, Any]:
        """What is typed for an exercise: its factor, concentrations, or counts of 40 s inside and 10 s outside."""
        factor, outside = self.factors[exercise.id], self.mean
        if way == "factors":
            return {"factor_milli": round(factor * 1000)}
        if way == "concentrations":
            return {"mask_milli": max(round(outside / factor * 1000), 1), "ambient_milli": round(outside * 1000)}
        flow = 1.667
        return {"mask_count": poisson(self.luck, outside / factor * flow * 40), "mask_ms": 40_000,
                "ambient_count": poisson(self.luck, outside * flow * 10), "ambient_ms": 10_000}


def poisson(luck: random.Random, mean: float) -> int:
    """Poisson numbers; beyond a mean of 60 the normal curve is near enough for a play."""
    if mean > _MANY:
        return max(0, round(luck.gauss(mean, math.sqrt(mean))))
    n, left = 0, math.exp(-mean)
    chance = luck.random()
    while chance > left:
        chance *= luck.random()
        n += 1
    return n
