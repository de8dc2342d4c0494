"""Result and doubt in one plain sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sealwright.assess.measured import Factor, PassRule
from sealwright.assess.words import floored, rounded

NOT_WORKPLACE = "A fit factor of this donning, not a workplace protection factor."
_ODDS = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 50, 100, 200, 500, 1000)
_WORTH_A_BUT = 1 / 50
"""From this chance of being wrong on, a pass is said with a "but". Ours."""


def chance(p: float) -> str:
    """A probability as people say it, with its article: "a 1 in 6 chance"."""
    if p < 0.001:
        return "less than a 1 in 1,000 chance"
    if p > 0.999:
        return "more than a 999 in 1,000 chance"
    if p > 0.6:
        n = _nearest(1 - p)
        return f"a {n - 1} in {n} chance"
    return f"a 1 in {_nearest(p)} chance"


def _nearest(p: float) -> int:
    return min(_ODDS, key=lambda n: abs(math.log(p * n)))


def said(factor: float, level: int) -> str:
    """A factor in whole numbers; with decimals below 10, or where rounding would lift it over the level; from 1000 on
    in three figures."""
    if factor >= 1000:
        return rounded(factor, level).replace(",", "")  # as the level is written
    if factor < 10:
        return f"{factor:.1f}"
    if factor < level <= round(factor):
        return f"{math.floor(factor * 100) / 100:.2f}"
    return f"{factor:.0f}"


def sentence(factors: Sequence[Factor], overall: Factor, level: int, rule: PassRule, passed: bool,
             p_pass: float | None) -> str:
    """`factors`: those that count."""
    result = _overall(overall, level, passed) if rule == "overall" else _each(factors, level, passed)
    return f"{result}{_doubt(rule, level, passed, p_pass)}{' ' + NOT_WORKPLACE if passed else ''}"


def _overall(f: Factor, level: int, passed: bool) -> str:
    if f.factor is not None:
        return f"{'Passed' if passed else 'Failed'} at {said(f.factor, level)}"
    return _none_counted("", f, level, passed)


def _none_counted(where: str, f: Factor, level: int, passed: bool) -> str:
    if f.low is None:
        return f"Failed: {where}the mask read zero, and without counts that makes no factor"
    if not passed:
        return f"Failed: {where}nothing was counted in the mask, but too little air was sampled to show {level}"
    return f"Passed: {where}nothing was counted in the mask; the factor is above {floored(f.low).replace(',', '')}"


def _each(factors: Sequence[Factor], level: int, passed: bool) -> str:
    known = [f for f in factors if f.factor is not None]
    below = [f for f in known if f.factor is not None and f.factor < level]
    if below and not passed:
        names = ", ".join(f"{_name(f)} at {said(f.factor or 0, level)}" for f in below)
        return f"Failed: {names}, where each must reach {level}"
    if not passed or not known:
        worst = min((f for f in factors if f.factor is None), key=lambda f: f.low or 0.0)
        return _none_counted(f"in {_name(worst)} ", worst, level, passed)
    worst = min(known, key=lambda f: f.factor or 0)
    return f"Passed; the lowest exercise, {_name(worst)}, at {said(worst.factor or 0, level)}"


def _name(f: Factor) -> str:
    return f"“{f.title or f.exercise}”"


def _doubt(rule: PassRule, level: int, passed: bool, p: float | None) -> str:
    truth = "the true value is" if rule == "overall" else "at least one exercise is truly"
    if p is None:
        return "; how sure that is cannot be said from what is on record."
    if passed:
        join = ", but the data leave" if 1 - p >= _WORTH_A_BUT else "; the data leave"
        return f"{join} {chance(1 - p)} that {truth} below {level}."
    reach = "the true value reaches" if rule == "overall" else "every exercise truly reaches"
    return f"; there is {chance(p)} that {reach} {level}. The rule goes by the measured value{'s' * (rule == 'each')}."
