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
from sealwright.assess.words import chance, floored, rounded

_NORMAL = NormalDist()
METHOD = ("stated accuracy of the instrument as a uniform error shared by all readings, rounding as a uniform error of "
          "each; distribution of the leak in closed form")
NOT_WORKPLACE = "A fit factor, not a workplace protection factor."
percent = chance
_UNEVEN = "the accuracy is not on record and left out"


class Leak(msgspec.Struct, frozen=True, kw_only=True):
    """One reading: leak in ml/min. `donning`: 1 for the first, one more for each redonning.

    `counts` False: left out of the overall factor and of the result.
    """

    exercise: str
    title: str = ""
    leak: float
    donning: int = 1
    counts: bool = True


def measure_leaks(leaks: Sequence[Leak], *, inspiratory: float, pass_level: int, pass_rule: PassRule,
                  accuracy: float | None = None, resolution: float = 1.0) -> Measured:
    """Factors of all readings and the harmonic overall one. Flows in ml/min; at least one of the leaks must count.

    `accuracy`: stated relative accuracy of the leak (0.05: within 5 %); None: not on record, the interval leaves it
    out. `resolution`: the last digit of a reading, ml/min. A leak of 0 is below half of that: a lower bound only.
    """
    make = _Making(inspiratory, pass_level, accuracy or 0.0, resolution)
    counted = [x for x in leaks if x.counts]
    factors = tuple(make(x.exercise, x.title, [x.leak], counts=x.counts) for x in leaks)
    overall = make("overall", "Overall", [x.leak for x in counted])
    that_count = [f for f in factors if f.counts]
    least = [overall] if pass_rule == "overall" else that_count
    passed = min(f.factor or f.low or 0.0 for f in least) >= pass_level
    p_pass = overall.p_above if pass_rule == "overall" else _all_above(that_count)
    p_next = next_donning(counted, inspiratory / pass_level, resolution)
    method = METHOD if accuracy is not None else f"{METHOD}; {_UNEVEN}"
    return Measured(exercises=factors, overall=overall, pass_level=pass_level, pass_rule=pass_rule, passed=passed,
                    p_pass=p_pass if accuracy is not None else None, p_next=p_next, method=method,
                    sentence=_sentence(passed, that_count, overall, pass_level, pass_rule, p_next,
                                       len({x.donning for x in counted})))


def _all_above(factors: Sequence[Factor]) -> float | None:
    """The accuracy is shared, so the worst reading decides."""
    known = [f.p_above for f in factors if f.p_above is not None]
    return min(known) if known else None


class _Making(msgspec.Struct, frozen=True):
    """Makes a factor of one reading or of the mean of several."""

    inspiratory: float
    level: int
    accuracy: float
    resolution: float

    def __call__(self, exercise: str, title: str, leaks: Sequence[float], *, counts: bool = True) -> Factor:
        mean, flow = fmean(leaks), self.inspiratory
        made = Factor(exercise=exercise, title=title, factor=None, counts=counts, basis="pressure", mask=mean,
                      ambient=flow)
        if mean <= 0:  # nothing read: the leak is below half of the last digit
            low = flow / (self.resolution / 2)
            return msgspec.structs.replace(made, low=low, p_above=1.0 if low > self.level else None)
        cdf = leak_distribution(mean, self.accuracy, self.resolution, len(leaks))
        low, high = (flow / _quantile(cdf, mean, p) for p in (0.975, 0.025))
        return msgspec.structs.replace(made, factor=flow / mean, low=low, high=high, p_above=cdf(flow / self.level))


def leak_distribution(mean: float, accuracy: float, resolution: float, n: int) -> Callable[[float], float]:
    """Distribution of the true mean leak x (ml/min) given the mean of `n` readings: mean = x * (1 + a) + r.

    a: uniform within +-accuracy, shared by all; r: the mean of n rounding errors, each uniform within +-resolution/2
    (from two on taken as normal). In closed form.
    """
    half = max(resolution, 1e-9 * mean) / 2
    added = _uniform_and_uniform if n == 1 else _uniform_and_normal
    width = half if n == 1 else half / math.sqrt(3 * n)
    return lambda leak: added(leak - mean, accuracy * leak, width)


def _uniform_and_uniform(z: float, a: float, b: float) -> float:
    """P(A + B <= z), A uniform within +-a, B uniform within +-b > 0."""
    if a < 1e-9 * b:
        return min(max(0.5 + z / (2 * b), 0.0), 1.0)

    def piece(t: float) -> float:
        return max(t, 0.0) ** 2 / 2
    if z >= a + b:
        return 1.0
    return min((piece(z + a + b) - piece(z + a - b) - piece(z - a + b) + piece(z - a - b)) / (4 * a * b), 1.0)


def _uniform_and_normal(z: float, a: float, sd: float) -> float:
    """P(A + B <= z), A uniform within +-a, B normal around 0."""
    if a < 1e-9 * sd:
        return _NORMAL.cdf(z / sd)
    return min(max(sd / (2 * a) * (_ramp((z + a) / sd) - _ramp((z - a) / sd)), 0.0), 1.0)


def _ramp(t: float) -> float:
    """The integral of the normal distribution function up to t."""
    return t * _NORMAL.cdf(t) + _NORMAL.pdf(t)


def _quantile(cdf: Callable[[float], float], mean: float, p: float) -> float:
    low, high = 0.0, 2 * mean
    while cdf(high) < p and high < 1e6 * mean:
        high *= 2
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if cdf(middle) < p else (low, middle)
    return max((low + high) / 2, 1e-9 * mean)


def next_donning(leaks: Sequence[Leak], most: float, resolution: float = 1.0) -> float | None:
    """The probability that the leak of a further donning stays below `most` ml/min.

    Donnings taken as log-normal, predicted by Student's t with one degree of freedom fewer than donnings: rough, and
    None unless there are two or three of them with a leak each. Readings that are alike differ by their rounding still.
    """
    by: dict[int, list[float]] = {}
    for x in leaks:
        by.setdefault(x.donning, []).append(x.leak)
    means = [fmean(v) for v in by.values()]
    if len(means) not in (2, 3) or min(means) <= 0:
        return None
    logs = [math.log(m) for m in means]
    spread = max(stdev(logs), resolution / math.sqrt(12) / fmean(means)) * math.sqrt(1 + 1 / len(logs))
    return _student((math.log(most) - fmean(logs)) / spread, len(logs) - 1)


def _student(t: float, freedom: int) -> float:
    """Cumulative distribution of Student's t with 1 or 2 degrees of freedom, in closed form."""
    return 0.5 + math.atan(t) / math.pi if freedom == 1 else 0.5 + t / (2 * math.sqrt(2 + t * t))


def _sentence(passed: bool, factors: Sequence[Factor], overall: Factor, level: int, rule: PassRule,
              p_next: float | None, donnings: int) -> str:
    """Result, and what may be hoped of the next donning. `factors`: those that count."""
    said = [_overall(passed, overall, level) if rule == "overall" else _each(passed, factors, level)]
    if p_next is not None:
        said.append(f"Donned {donnings} times; as far as so few can tell, the chance that the next donning reaches "
                    f"{level} is {chance(p_next)}")
    return ". ".join([*said, *([NOT_WORKPLACE] if passed else [])])


def _overall(passed: bool, f: Factor, level: int) -> str:
    return f"{'Passed' if passed else 'Failed'} at {_said(f, level)}"


def _each(passed: bool, factors: Sequence[Factor], level: int) -> str:
    if not passed:
        below = [f for f in factors if f.factor is not None and f.factor < level]
        return f"Failed: {', '.join(_named(f, level) for f in below)}, where each must reach {level}"
    worst = min(factors, key=lambda f: f.factor or math.inf)
    return f"Passed; the lowest, {_named(worst, level)}"


def _named(f: Factor, level: int) -> str:
    return f"“{f.title or f.exercise}” at {_said(f, level)}"


def _said(f: Factor, level: int) -> str:
    """In whole numbers; in more figures where that would lift it over the level."""
    if f.factor is None:
        return f"more than {floored(f.low or 0).replace(',', '')}"
    whole = round(f.factor)
    return rounded(f.factor, level) if (whole >= level) != (f.factor >= level) else f"{whole}"
