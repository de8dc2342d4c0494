"""Controlled negative pressure: fit factors from leaks, with how sure they are.

While the breath is held, the mask is kept at a set pressure below the room's; what must be drawn off to keep it there
is the leak. Fit factor = modelled inspiratory flow / leak (29 CFR 1910.134 App. A Part I.C.6; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from statistics import NormalDist, fmean, stdev

import msgspec

from sealwright.assess.measured import Factor, Measured, PassRule

_NODES = 64
_NORMAL = NormalDist()
METHOD = ("stated accuracy of the instrument as a uniform error shared by all readings, rounding as a uniform error of "
          "each; distribution of the leak by quadrature")


class Leak(msgspec.Struct, frozen=True, kw_only=True):
    """One reading: leak in ml/min. `donning`: 1 for the first, one more for each redonning."""

    exercise: str
    title: str = ""
    leak: float
    donning: int = 1


def measure_leaks(leaks: Sequence[Leak], *, inspiratory: float, pass_level: int, pass_rule: PassRule,
                  accuracy: float | None = None, resolution: float = 1.0) -> Measured:
    """Factors of all readings and the harmonic overall one. Flows in ml/min.

    `accuracy`: stated relative accuracy of the leak (0.05: within 5 %); None: not on record, the interval leaves it
    out. `resolution`: the last digit of a reading, ml/min. A leak of 0 is below half of that: a lower bound only.
    """
    spread = accuracy or 0.0
    factors = tuple(_factor(x.exercise, x.title, [x.leak], inspiratory, pass_level, spread, resolution) for x in leaks)
    overall = _factor("overall", "Overall", [x.leak for x in leaks], inspiratory, pass_level, spread, resolution)
    least = [f.factor or f.low or 0.0 for f in factors]
    point = overall.factor or overall.low or 0.0
    passed = bool(factors) and (point >= pass_level if pass_rule == "overall" else min(least) >= pass_level)
    p_pass = overall.p_above if pass_rule == "overall" else _all_above(factors)
    p_next = next_donning(leaks, inspiratory / pass_level)
    method = METHOD if accuracy is not None else METHOD + "; the accuracy is not on record and left out"
    return Measured(exercises=factors, overall=overall, pass_level=pass_level, pass_rule=pass_rule, passed=passed,
                    p_pass=p_pass, p_next=p_next, method=method,
                    sentence=_sentence(passed, overall, pass_level, p_next, leaks))


def _all_above(factors: Sequence[Factor]) -> float | None:
    """The accuracy is shared, so the worst reading decides."""
    known = [f.p_above for f in factors if f.p_above is not None]
    return min(known) if known else None


def _factor(exercise: str, title: str, leaks: Sequence[float], inspiratory: float, level: int, accuracy: float,
            resolution: float) -> Factor:
    mean, n = fmean(leaks), len(leaks)
    rounding = resolution / math.sqrt(12 * n)
    cdf = leak_distribution(mean, accuracy, rounding) if mean > 0 else None
    if cdf is None:  # nothing read: the leak is below half of the last digit
        low = inspiratory / (resolution / 2)
        return Factor(exercise=exercise, title=title, factor=None, low=low, p_above=1.0 if low > level else None,
                      basis="pressure", mask=mean, ambient=inspiratory)
    low, high = (inspiratory / _quantile(cdf, mean, p) for p in (0.975, 0.025))
    return Factor(exercise=exercise, title=title, factor=inspiratory / mean, low=low, high=high,
                  p_above=cdf(inspiratory / level), basis="pressure", mask=mean, ambient=inspiratory)


def leak_distribution(mean: float, accuracy: float, rounding: float) -> Callable[[float], float]:
    """Distribution of the true leak (ml/min) given its reading: mean * (1 + U(-accuracy, accuracy)) + N(0, rounding).

    A sum of several uniform rounding errors is taken as normal; of a single one that is a little wide.
    """
    shifts = [accuracy * (2 * (k + 0.5) / _NODES - 1) for k in range(_NODES)]
    sd = max(rounding, 1e-12 * mean)
    return lambda leak: fmean(_NORMAL.cdf((leak - mean * (1 + s)) / sd) for s in shifts)


def _quantile(cdf: Callable[[float], float], mean: float, p: float) -> float:
    low, high = 0.0, 2 * mean
    while cdf(high) < p:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if cdf(middle) < p else (low, middle)
    return max((low + high) / 2, 1e-9 * mean)


def next_donning(leaks: Sequence[Leak], most: float) -> float | None:
    """The probability that the leak of a further donning stays below `most` ml/min.

    Donnings taken as log-normal, predicted by Student's t with one degree of freedom fewer than donnings: rough, and
    None unless there are two or three of them with a leak each.
    """
    by: dict[int, list[float]] = {}
    for x in leaks:
        by.setdefault(x.donning, []).append(x.leak)
    means = [fmean(v) for v in by.values()]
    if len(means) not in (2, 3) or min(means) <= 0:
        return None
    logs = [math.log(m) for m in means]
    spread = stdev(logs) * math.sqrt(1 + 1 / len(logs))
    if spread == 0:
        return 1.0 if means[0] < most else 0.0
    return _student((math.log(most) - fmean(logs)) / spread, len(logs) - 1)


def _student(t: float, freedom: int) -> float:
    """Cumulative distribution of Student's t with 1 or 2 degrees of freedom, in closed form."""
    return 0.5 + math.atan(t) / math.pi if freedom == 1 else 0.5 + t / (2 * math.sqrt(2 + t * t))


def _sentence(passed: bool, overall: Factor, level: int, p_next: float | None, leaks: Sequence[Leak]) -> str:
    said = f"{overall.factor:.0f}" if overall.factor is not None else f"more than {overall.low or 0:.0f}"
    first = f"{'Passed' if passed else 'Failed'} at {said}"
    if p_next is None:
        return first
    donnings = len({x.donning for x in leaks})
    return (f"{first}. Donned {donnings} times; as far as so few can tell, the chance that the next donning reaches "
            f"{level} is {percent(p_next)}")


def percent(p: float) -> str:
    """A probability as people say it, never certain."""
    return "above 99 %" if p > 0.99 else "below 1 %" if p < 0.01 else f"about {100 * p:.0f} %"
