"""How well a test method agrees with a reference, and whether that is enough.

What is looked for is the fit that is not good enough, so a *fail* is the finding. Sensitivity is then the share of
inadequate fits that the test fails, specificity the share of adequate fits that it passes. In the literature beta is
mostly the chance of passing an inadequate fit (1 - sensitivity) and alpha of failing an adequate one (1 - specificity),
so in NIOSHTIC-2 20023787; papers that take "fits" as the finding have the two the other way round. Compare cells, not
letters.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from statistics import NormalDist
from typing import Literal

import msgspec

from sealwright.errors import BadInput
from sealwright.protocols.types import Read

Z = NormalDist().inv_cdf(0.975)
COMMON = 0.1
"""A share of inadequate fits to reckon predictive values at, beside the share in the sample. Ours."""


class Pair(msgspec.Struct, frozen=True, kw_only=True):
    """One wearing tested both ways. `factor`: the reference's fit factor; `adequate` only where it gave no number."""

    passed: bool
    factor: float | None = None
    adequate: bool | None = None
    id: str = ""


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """Counts of pairs. a: failed, inadequate; b: failed, adequate; c: passed, inadequate; d: passed, adequate."""

    a: int
    b: int
    c: int
    d: int

    @property
    def n(self) -> int:
        return self.a + self.b + self.c + self.d


class Proportion(msgspec.Struct, frozen=True, kw_only=True):
    """`hits` of `of`, with the exact (Clopper-Pearson) 95 % interval; `value` None: there was nothing to count."""

    hits: int
    of: int
    value: float | None
    low: float
    high: float


class Kappa(msgspec.Struct, frozen=True, kw_only=True):
    """Cohen's kappa with its large-sample standard error (Fleiss, Cohen and Everitt 1969) and 95 % interval.

    Where all pairs agree the standard error is 0 whatever their number, so no interval is given.
    """

    value: float | None
    se: float | None = None
    low: float | None = None
    high: float | None = None


class Zone(msgspec.Struct, frozen=True, kw_only=True):
    """Reference factors from `low` to `high`, ends included, are too near the pass `level` to say which side holds."""

    level: float
    cv: float
    low: float
    high: float

    def holds(self, factor: float) -> bool:
        return self.low <= factor <= self.high


class Criterion(msgspec.Struct, frozen=True, kw_only=True):
    """One of the standard's demands. `met` by the value itself; `sure`: by the whole 95 % interval too."""

    id: Literal["sensitivity", "pass-value", "specificity", "fail-value", "kappa"]
    title: str
    means: str
    value: float | None
    low: float | None
    high: float | None
    needed: float
    strictly: bool
    met: bool | None
    sure: bool
    source: str
    read: Read


class Agreement(msgspec.Struct, frozen=True, kw_only=True):
    """`table`: the pairs that count; `every`: those near the pass level too. `mcnemar`: exact two-sided p, whether the
    two methods pass equally often."""

    table: Table
    every: Table
    zone: Zone | None
    sensitivity: Proportion
    specificity: Proportion
    pass_value: Proportion
    fail_value: Proportion
    inadequate: Proportion
    kappa: Kappa
    mcnemar: float
    criteria: tuple[Criterion, ...]
    notes: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        """Every criterion is met by its value."""
        return all(c.met for c in self.criteria)


def compare(pairs: Sequence[Pair], level: float, cv: float = 0.0) -> Agreement:
    """Agreement of paired results at a pass level (a fit factor); `cv`: coefficient of variation of the reference.

    Raises BadInput, naming the pair, for one without a reference, and for a level or cv that is none.
    """
    zone = zone_around(level, cv)
    told = [(p, _adequate(p, i, level)) for i, p in enumerate(pairs)]
    near = [p.factor is not None and cv > 0 and zone.holds(p.factor) for p in pairs]
    if cv > 0 and (bare := sum(p.factor is None for p in pairs)):
        raise BadInput(f"{bare} pairs have no fit factor of the reference, so none can be called near the pass level",
                       place="cv", mend="Leave cv out, or give the reference's fit factors")
    counted = _count((p.passed, good) for (p, good), out in zip(told, near, strict=True) if not out)
    return _agreement(counted, _count((p.passed, good) for p, good in told), zone)


def from_table(a: int, b: int, c: int, d: int) -> Agreement:
    """Agreement of a table of counts; see `Table` for which cell is which. Raises BadInput for a count below zero."""
    for name, count in zip("abcd", (a, b, c, d), strict=True):
        if count < 0 or count != int(count):
            raise BadInput(f"{count} is no count", place=f"cell {name}", mend="Give a whole number, 0 or more")
    table = Table(a=a, b=b, c=c, d=d)
    return _agreement(table, table, None)


def zone_around(level: float, cv: float) -> Zone:
    """One coefficient of variation either side of the pass level, as a ratio: level / (1 + cv) to level * (1 + cv).

    Fit factors spread lognormally, so the same ratio either side is the same doubt. That it is a ratio is ours: the
    annex was not read; a study judged by it left out 72 to 138 at level 100, which is this form at cv 0.38.
    """
    if not (math.isfinite(level) and level >= 1):
        raise BadInput(f"{level:g} is no pass level", place="level", mend="Give a fit factor of 1 or more, as 100")
    if not (math.isfinite(cv) and 0 <= cv < 5):
        raise BadInput(f"{cv:g} is no coefficient of variation", place="cv", mend="Give a share, as 0.2; 0 for none")
    return Zone(level=level, cv=cv, low=level / (1 + cv), high=level * (1 + cv))


def _adequate(pair: Pair, index: int, level: float) -> bool:
    place = f"pairs[{index}]" + (f" ({pair.id})" if pair.id else "")
    if pair.factor is not None:
        if not (math.isfinite(pair.factor) and pair.factor > 0):
            raise BadInput(f"{pair.factor:g} is no fit factor", place=place, mend="Give a number above 0")
        return pair.factor >= level
    if pair.adequate is None:
        raise BadInput("no reference result", place=place, mend="Give `factor`, or `adequate` where there is no number")
    return pair.adequate


def _count(results: Iterable[tuple[bool, bool]]) -> Table:
    """(test passed, reference adequate) counted."""
    seen = list(results)
    return Table(a=seen.count((False, False)), b=seen.count((False, True)), c=seen.count((True, False)),
                 d=seen.count((True, True)))


def proportion(hits: int, of: int) -> Proportion:
    """A share with its exact 95 % interval (Clopper and Pearson 1934)."""
    if of == 0:
        return Proportion(hits=0, of=0, value=None, low=0.0, high=1.0)
    from scipy.special import betaincinv

    low = 0.0 if hits == 0 else float(betaincinv(hits, of - hits + 1, 0.025))
    high = 1.0 if hits == of else float(betaincinv(hits + 1, of - hits, 0.975))
    return Proportion(hits=hits, of=of, value=hits / of, low=low, high=high)


def kappa_of(t: Table) -> Kappa:
    """Agreement beyond chance; no value where chance alone would agree in every pair (all in one row and column)."""
    n = t.n
    if n == 0:
        return Kappa(value=None)
    p = [[t.a / n, t.b / n], [t.c / n, t.d / n]]
    rows, columns = [sum(r) for r in p], [p[0][0] + p[1][0], p[0][1] + p[1][1]]
    seen, chance = p[0][0] + p[1][1], rows[0] * columns[0] + rows[1] * columns[1]
    if math.isclose(chance, 1.0):
        return Kappa(value=None)
    value = (seen - chance) / (1 - chance)
    if t.b == t.c == 0:
        return Kappa(value=1.0, se=0.0)
    se = math.sqrt(max(_kappa_spread(p, rows, columns, value, chance), 0.0) / n) / (1 - chance)
    return Kappa(value=value, se=se, low=max(value - Z * se, -1.0), high=min(value + Z * se, 1.0))


def _kappa_spread(p: list[list[float]], rows: list[float], columns: list[float], value: float, chance: float) -> float:
    """n times the variance of kappa, before it is divided by (1 - chance) squared."""
    agree = sum(p[i][i] * (1 - (rows[i] + columns[i]) * (1 - value)) ** 2 for i in (0, 1))
    differ = sum(p[i][1 - i] * (columns[i] + rows[1 - i]) ** 2 for i in (0, 1)) * (1 - value) ** 2
    return agree + differ - (value - chance * (1 - value)) ** 2


def mcnemar_p(b: int, c: int) -> float:
    """Exact two-sided p that a disagreement goes either way as often (McNemar 1947, by the binomial)."""
    n, k = b + c, min(b, c)
    return min(1.0, float(2 * sum(math.comb(n, i) for i in range(k + 1)) / 2 ** n))


def predictive_values(sensitivity: float, specificity: float, inadequate: float) -> tuple[float | None, float | None]:
    """(of a pass, of a fail) where a share `inadequate` of fits is not good enough: Bayes' rule."""
    passed = specificity * (1 - inadequate), (1 - sensitivity) * inadequate
    failed = sensitivity * inadequate, (1 - specificity) * (1 - inadequate)
    return (passed[0] / sum(passed) if sum(passed) else None, failed[0] / sum(failed) if sum(failed) else None)


def _agreement(t: Table, every: Table, zone: Zone | None) -> Agreement:
    sensitivity, specificity = proportion(t.a, t.a + t.c), proportion(t.d, t.b + t.d)
    pass_value, fail_value = proportion(t.d, t.c + t.d), proportion(t.a, t.a + t.b)
    inadequate, kappa = proportion(t.a + t.c, t.n), kappa_of(t)
    found: dict[str, Proportion | Kappa] = {
        "sensitivity": sensitivity, "pass-value": pass_value, "specificity": specificity, "fail-value": fail_value,
        "kappa": kappa}
    criteria = tuple(_criterion(demand, found[demand[0]]) for demand in DEMANDS)
    return Agreement(
        table=t, every=every, zone=zone, sensitivity=sensitivity, specificity=specificity, pass_value=pass_value,
        fail_value=fail_value, inadequate=inadequate, kappa=kappa, mcnemar=mcnemar_p(t.b, t.c), criteria=criteria,
        notes=tuple(_notes(t, every, zone, sensitivity, specificity, inadequate, criteria)))


_ANNEX = "ANSI/AIHA Z88.10-2010 Annex A2"
_BETA = "ANSI Z88.10-2001, as quoted in NIOSHTIC-2 20023787 (no more than 5 % wrong passes and 50 % wrong fails)"
_KAPPA = "ANSI Z88.10, as quoted in J Occup Environ Hyg, doi 10.1080/15459624.2016.1237030 (0.70)"
Demand = tuple[Literal["sensitivity", "pass-value", "specificity", "fail-value", "kappa"], str, str, float, bool, str,
               Read]
DEMANDS: tuple[Demand, ...] = (
    ("sensitivity", "Sensitivity", "of the fits that are not good enough, the share that the test fails", 0.95, False,
     _BETA, "copy"),
    ("pass-value", "Predictive value of a pass", "of those that pass, the share whose fit is good enough", 0.95, False,
     _ANNEX, "memory"),
    ("specificity", "Specificity", "of the fits that are good enough, the share that the test passes", 0.50, True,
     _BETA, "copy"),
    ("fail-value", "Predictive value of a fail", "of those that fail, the share whose fit is not good enough", 0.50,
     True, _ANNEX, "memory"),
    ("kappa", "Kappa", "agreement beyond what chance would bring", 0.70, True, _KAPPA, "copy"),
)
"""id, title, meaning, what is needed, whether more than that, source, how it was read"""


def _criterion(demand: Demand, found: Proportion | Kappa) -> Criterion:
    name, title, means, needed, strictly, source, read = demand

    def enough(value: float | None) -> bool:
        return value is not None and (value > needed if strictly else value >= needed)

    return Criterion(id=name, title=title, means=means, value=found.value, low=found.low, high=found.high,
                     needed=needed, strictly=strictly, met=None if found.value is None else enough(found.value),
                     sure=found.value is not None and enough(found.low), source=source, read=read)


def _notes(t: Table, every: Table, zone: Zone | None, sensitivity: Proportion, specificity: Proportion,
           inadequate: Proportion, criteria: Sequence[Criterion]) -> Iterable[str]:
    """What a reader of the figures must know, in sentences."""
    if zone and zone.cv:
        yield (f"{every.n - t.n} of {every.n} pairs lie between {zone.low:.3g} and {zone.high:.3g}: too near "
               f"{zone.level:g} to say which side holds, so they are left out.")
    if inadequate.value is None:
        yield "No pair is left to count."
        return
    if sensitivity.value is not None and specificity.value is not None:
        value, _ = predictive_values(sensitivity.value, specificity.value, COMMON)
        said = f"{value:.3f}" if value is not None else "not known"
        yield (f"{100 * inadequate.value:.0f} % of these fits are not good enough. Predictive values hold for that "
               f"share alone: were it {100 * COMMON:.0f} %, the predictive value of a pass would be {said}.")
    for c in criteria:
        if c.met is None:
            yield f"{c.title} cannot be told: there is no such pair."
        elif c.met and c.low is None:
            yield f"{c.title} has no interval where all pairs agree."
        elif c.met and not c.sure:
            yield f"{c.title} is met by its value; its interval reaches down to {c.low:.2f}: too few pairs to be sure."
    yield ("How the pairs were gathered (how many people, both tests in one donning, enough poor fits among them) the "
           "standard asks for too; it is not seen here.")
