"""Samples or typed readings to what a quantitative test yields."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sealwright.assess.counting.belief import Belief
from sealwright.assess.counting.foresight import ROUNDING
from sealwright.assess.counting.quality import LEAST_AMBIENT, quality
from sealwright.assess.counting.shapes import Reading, Trace, Window
from sealwright.assess.counting.tally import Tally, from_counts, tally
from sealwright.assess.counting.wording import sentence
from sealwright.assess.measured import Basis, Doubt, Factor, Measured, PassRule
from sealwright.errors import BadInput

_COUNTED = "95 % from the mid-P gamma distribution of a weighted sum of counts (Fay & Feuer 1997, Fay & Kim 2017)"
FROM_SAMPLES = (_COUNTED + "; breathing and clumping from blocks of samples, pooled over the exercises; noise and "
                "drift of the room's air between its windows as a random walk")
FROM_TOTALS = _COUNTED + "; counting alone: breathing and drift do not show in single totals and add to it"
NO_INTERVAL = "no interval: how many particles were counted is not on record"


_UNSURE = Doubt(code="no-uncertainty", text="No counts on record: how sure the factors are is not known")


class _Line(NamedTuple):
    """One exercise before it is judged. `reach`: ambient mean times what was sampled in the mask; a factor is
    reach / count."""

    exercise: str
    title: str
    in_overall: bool
    basis: Basis
    factor: float | None
    one_count: float
    """the factor if a single particle had been counted"""
    mask: float | None = None
    ambient: float | None = None
    particles: float | None = None
    seconds: float | None = None


def measure(trace: Trace, windows: Sequence[Window], *, pass_level: int, pass_rule: PassRule, purge_s: float = 0.0,
            least_ambient: float = LEAST_AMBIENT) -> Measured:
    """Factors of each exercise and overall, with 95 % intervals where counts are known.

    purge_s: seconds dropped at the start of each window. Several mask windows of one exercise are pooled. Overall: n /
    sum(1/FF) over the exercises that count (29 CFR 1910.134 App. A I.C.2(b)(8); from memory). Raises BadInput when a
    counting mask window or the ambient has no sample.
    """
    t = tally(trace, windows, purge_s)
    lines = [_line(trace, t, i) for i in range(len(t.firsts))]
    doubts = quality(trace, windows, least_ambient=least_ambient, purge_s=purge_s)
    return _measured(lines, t.belief, pass_level, pass_rule, FROM_SAMPLES if t.belief else NO_INTERVAL, doubts)


def _line(trace: Trace, t: Tally, i: int) -> _Line:
    w, scale = t.firsts[i], trace.concentration
    mask, ambient, count = float(t.mask[i]), float(t.ambient[i]), float(t.counted[i])
    known = t.belief is not None
    samples = float(t.seconds[i]) / trace.step_s
    return _Line(w.exercise, w.title, w.counts, "counts" if known else "concentrations",
                 ambient / mask if mask > 0 else None,
                 ambient * samples * (trace.per_value or 0.0), None if scale is None else mask * scale,
                 None if scale is None else ambient * scale, count if known else None, float(t.seconds[i]))


def from_readings(readings: Sequence[Reading], *, pass_level: int, pass_rule: PassRule) -> Measured:
    """Values typed in. Of each reading the first of these is used: counts with seconds, concentrations, a bare factor.

    Only counts make an interval, and only if every exercise that counts has them is there one overall.
    """
    lines = [_read(r, f"readings[{i}]") for i, r in enumerate(readings)]
    if not any(x.in_overall for x in lines):
        raise BadInput("No reading that counts", place="readings", mend="Give at least one exercise's reading")
    counted = [(x, r) for x, r in zip(lines, readings, strict=True) if x.basis == "counts"]
    if len(counted) < len(lines):
        return _measured(lines, None, pass_level, pass_rule, NO_INTERVAL, ())
    belief = from_counts(*(np.array(v, dtype=float) for v in zip(*(
        (x.particles, x.one_count, 1 / (r.ambient_count or 1), x.in_overall) for x, r in counted), strict=True)))
    unseen = Doubt(code="spread-unseen", text="Single totals show the chance of counting alone; breathing "
                                               "and drift add to it, often more than chance itself")
    return _measured(lines, belief, pass_level, pass_rule, FROM_TOTALS, (unseen,))


def _read(r: Reading, place: str) -> _Line:
    given = (r.ambient, r.mask, r.mask_count, r.mask_s, r.ambient_count, r.ambient_s, r.factor)
    if any(v is not None and not (math.isfinite(v) and v >= 0) for v in given):
        raise BadInput(f"{r.exercise}: a value below zero or no number", place=place, mend="Give numbers from zero up")
    if r.mask_count is not None and r.ambient_count and r.mask_s and r.ambient_s:
        one = r.ambient_count / r.ambient_s * r.mask_s
        return _Line(r.exercise, r.title, r.counts, "counts", one / r.mask_count if r.mask_count else None, one,
                     r.mask, r.ambient, float(r.mask_count), r.mask_s)
    if r.mask is not None and r.ambient:
        return _Line(r.exercise, r.title, r.counts, "concentrations", r.ambient / r.mask if r.mask else None, 0.0,
                     r.mask, r.ambient)
    if r.factor:
        return _Line(r.exercise, r.title, r.counts, "reading", r.factor, 0.0)
    raise BadInput(f"{r.exercise}: nothing that makes a factor", place=place,
                   mend="Give counts with their seconds, or both concentrations, or the factor; outside above zero")


def _measured(lines: Sequence[_Line], belief: Belief | None, level: int, rule: PassRule, method: str,
              doubts: tuple[Doubt, ...]) -> Measured:
    sure = _sure(belief, level) if belief else [(None, None, None)] * (len(lines) + 1)
    each = tuple(_factor(x._replace(factor=_snapped(x.factor, level)), *s) for x, s in zip(lines, sure, strict=False))
    counting = [f for f in each if f.counts]
    overall = _overall([x for x in lines if x.in_overall], level, *sure[-1])
    points = [x.factor or x.one_count for x in lines if x.in_overall]
    reached = [p * (1 + ROUNDING) >= level for p in points]
    point = overall.factor or len(points) * min(points)  # one count where it weighs most
    passed = point * (1 + ROUNDING) >= level if rule == "overall" else all(reached)
    p_pass = overall.p_above
    if belief and rule == "each":
        p_pass = belief.all_below(1 / level, np.array([f.counts for f in each] + [False]))
    if belief is None:
        doubts = (*doubts, _UNSURE)
    return Measured(exercises=each, overall=overall, pass_level=level, pass_rule=rule, passed=passed, p_pass=p_pass,
                    sentence=sentence(counting, overall, level, rule, passed, p_pass), method=method, doubts=doubts)


def _sure(belief: Belief, level: int) -> list[tuple[float | None, float | None, float | None]]:
    """low, high and p_above of each row."""
    ends, p = belief.ends(), belief.below(np.full(len(belief.rows.leak), 1 / level))
    return [(1 / float(b), 1 / float(a) if a > 0 else None, float(q)) for (a, b), q in zip(ends, p, strict=True)]


def _factor(x: _Line, low: float | None, high: float | None, p: float | None) -> Factor:
    return Factor(exercise=x.exercise, title=x.title, factor=x.factor, low=low, high=high, p_above=p,
                  counts=x.in_overall, basis=x.basis, mask=x.mask, ambient=x.ambient, mask_count=x.particles,
                  mask_s=x.seconds)


def _snapped(factor: float | None, level: int) -> float | None:
    """What differs from the level by the rounding of its sum alone is the level: 99.99999999999999 is 100."""
    return float(level) if factor is not None and abs(factor - level) <= ROUNDING * level else factor


def _overall(lines: Sequence[_Line], level: int, low: float | None, high: float | None, p: float | None) -> Factor:
    leaks = math.fsum(1 / x.factor for x in lines if x.factor)
    if not all(x.factor or x.one_count for x in lines):
        leaks = 0.0  # a zero of unknown size is no leak of nothing
    order: tuple[Basis, ...] = ("reading", "concentrations", "counts")
    basis = next(b for b in order if any(x.basis == b for x in lines))
    counted = [x.particles for x in lines if x.particles is not None]
    seconds = [x.seconds for x in lines if x.seconds is not None]
    factor = _snapped(len(lines) / leaks if leaks else None, level)
    return Factor(exercise="overall", title="Overall", factor=factor, low=low, high=high, p_above=p,
                  basis=basis, mask_count=math.fsum(counted) if len(counted) == len(lines) else None,
                  mask_s=math.fsum(seconds) if len(seconds) == len(lines) else None)
