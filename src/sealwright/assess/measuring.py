"""What was read or sampled in a quantitative test, made into numbers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from sealwright.assess.events import ExerciseRead, InstrumentNamed, LeakRead, SamplesTaken, Span, WindowsAccepted
from sealwright.assess.facts import Mark, MeasuredFacts
from sealwright.assess.measured import Measured, PassRule
from sealwright.assess.method import ms_of
from sealwright.assess.pressure import Leak, measure_leaks
from sealwright.errors import BadInput
from sealwright.protocols import CountingProtocol, MeasuredProtocol, PressureProtocol, rule_sets

if TYPE_CHECKING:
    from sealwright.assess.counting import Reading, Stream, Trace, Window


SHARED_MS = 1000
"""Accepted windows may share so much with their neighbours. Ours."""


def pass_level(f: MeasuredFacts) -> tuple[int, PassRule] | None:
    """The level this test must reach and by which rule."""
    return level_by(f.p, f.opened.facepiece.kind, f.opened.rule_set, f.opened.pass_level)


def level_by(p: MeasuredProtocol, kind: str, rule_set: str = "", own: int | None = None) -> tuple[int, PassRule] | None:
    """Level and rule for a kind of facepiece: the protocol's, another rule set's, or the site's own if stricter.

    None when there is no level for the kind.
    """
    rules = rule_sets().get(rule_set) if rule_set and rule_set != p.rule_set else None
    found = rules.level_for(kind) if rules else p.level_for(kind)
    if found is None:
        return None
    rule: PassRule = rules.pass_rule.value if rules else p.pass_rule.value
    return max(found.value, own or 0), rule


def last_readings(f: MeasuredFacts) -> dict[str, Mark]:
    """The last reading of each exercise of the protocol, of those recorded since the exercises began."""
    kind = LeakRead if isinstance(f.p, PressureProtocol) else ExerciseRead
    begun = f.size if f.use_i is None else f.use_i
    return {m.data.exercise: m for m in f.all(kind) if m.i > begun and m.data.exercise in f.m.exercise_seconds}


def measured(f: MeasuredFacts) -> Measured | None:
    """The numbers of the test so far; None when nothing that makes a factor is on record."""
    level = pass_level(f)
    if level is None:
        return None
    if isinstance(f.p, PressureProtocol):
        return _leaks(f, f.p, *level)
    if f.all(SamplesTaken) and f.origin is not None:
        return _samples(f, *level)
    return _readings(f, *level)


def _leaks(f: MeasuredFacts, p: PressureProtocol, level: int, rule: PassRule) -> Measured | None:
    marks, donning, leaks = last_readings(f), 1, []
    for e in p.exercises:
        donning += e.kind == "redon"
        if (mark := marks.get(e.id)) is not None:
            leaks.append(Leak(exercise=e.id, title=e.title, leak=mark.data.leak_ul_min / 1000, donning=donning,
                              counts=e.counts))
    if not any(x.counts for x in leaks):
        return None
    named = f.last(InstrumentNamed, None)
    stated = named.data.accuracy_per_mille if named else None
    return measure_leaks(leaks, inspiratory=p.inspiratory_flow.value, pass_level=level, pass_rule=rule,
                         accuracy=None if stated is None else stated / 1000, resolution=_last_digit(leaks))


def _last_digit(leaks: Sequence[Leak]) -> float:
    """The last digit the readings were given to, ml/min: 1, or a decimal part of it."""
    step = 1000
    while step > 1 and any(round(x.leak * 1000) % step for x in leaks):
        step //= 10
    return step / 1000


def _readings(f: MeasuredFacts, level: int, rule: PassRule) -> Measured | None:
    from sealwright.assess.counting import from_readings

    marks = last_readings(f)
    made = [_reading(f, e.id, e.title, e.counts, marks[e.id].data) for e in f.p.exercises if e.id in marks]
    good = [r for r in made if r is not None]
    return from_readings(good, pass_level=level, pass_rule=rule) if any(r.counts for r in good) else None


def _reading(f: MeasuredFacts, exercise: str, title: str, counts: bool, x: ExerciseRead) -> Reading | None:
    from sealwright.assess.counting import Reading

    if not makes_factor(x):
        return None
    return Reading(exercise=exercise, title=title, counts=counts, factor=_thousandth(x.factor_milli),
                   mask=_thousandth(x.mask_milli), ambient=_thousandth(x.ambient_milli), mask_count=x.mask_count,
                   mask_s=_thousandth(x.mask_ms), ambient_count=x.ambient_count, ambient_s=_thousandth(x.ambient_ms))


def makes_factor(x: ExerciseRead) -> bool:
    """Whether a reading has what a factor needs. A mask that read zero makes none, unless counts tell how much that is.
    """
    counted = None not in (x.mask_count, x.ambient_count) and bool(x.mask_ms and x.ambient_ms and x.ambient_count)
    return bool(x.factor_milli) or bool(x.mask_milli and x.ambient_milli) or counted


def _thousandth(value: int | None) -> float | None:
    return None if value is None else value / 1000


def _samples(f: MeasuredFacts, level: int, rule: PassRule) -> Measured | None:
    from sealwright.assess.counting import measure

    windows, trace = purged(f, windows_of(f)), trace_of(f)
    if trace is None or not windows or not isinstance(f.p, CountingProtocol):
        return None
    try:
        return measure(trace, windows, pass_level=level, pass_rule=rule, least_ambient=float(f.p.least_ambient.value))
    except BadInput:  # no window holds a sample, or the room's air held nothing: found as readings that are missing
        return None


def purged(f: MeasuredFacts, windows: Sequence[Window]) -> list[Window]:
    """Windows without the time in which the air before leaves the line: after each change of air on one channel.

    Windows drawn by hand are taken as they were drawn.
    """
    import msgspec

    accepted = f.last(WindowsAccepted, None)
    if not isinstance(f.p, CountingProtocol) or (accepted and not accepted.data.proposed) or _two_channels(f):
        return list(windows)
    ordered, purge_s, found = sorted(windows, key=lambda w: w.start_s), ms_of(f.p.purge) / 1000, []
    for n, w in enumerate(ordered):
        changed = n == 0 or ordered[n - 1].air != w.air
        found.append(msgspec.structs.replace(w, start_s=min(w.start_s + purge_s, w.end_s)) if changed else w)
    return found


def _two_channels(f: MeasuredFacts) -> bool:
    """Whether mask and room were sampled at the same time."""
    spans = sorted((m.data.started_at, m.data.started_at + m.data.step_ms * len(m.data.values), m.data.air)
                   for m in f.all(SamplesTaken))
    return any(a[2] != b[2] and b[0] < a[1] - 1000 for a, b in pairwise(spans))


def sampled_peaks(f: MeasuredFacts) -> list[tuple[str, float, int]]:
    """(exercise, highest mask sample as a share of the mean outside, its instant) of each mask window."""
    trace, found = trace_of(f), []
    mean = float(trace.ambient.values.mean()) if trace else 0.0
    if trace is None or mean <= 0:
        return []
    for w in purged(f, windows_of(f)):
        within = ((trace.mask.t > w.start_s) & (trace.mask.t <= w.end_s)).nonzero()[0]
        if w.air == "mask" and len(within):
            k = within[trace.mask.values[within].argmax()]
            found.append((w.exercise, float(trace.mask.values[k]) / mean,
                          (f.origin or 0) + round(float(trace.mask.t[k]) * 1000)))
    return found


def trace_of(f: MeasuredFacts) -> Trace | None:
    """All samples on record; seconds from the first exercise. None when an air is missing or they are of two sorts."""
    from sealwright.assess.counting import Trace

    marks = f.all(SamplesTaken)
    mask, ambient = (_stream(f, [m for m in marks if m.data.air == air]) for air in ("mask", "ambient"))
    if mask is None or ambient is None or len({(m.data.unit, m.data.step_ms) for m in marks}) > 1:
        return None
    first = marks[0].data
    named = f.last(InstrumentNamed, None)
    flow = named.data.flow_mm3_s / 1000 if named and named.data.flow_mm3_s else None
    return Trace(mask=mask, ambient=ambient, unit="count" if first.unit == "count" else "per-cm3", flow_cm3_s=flow,
                 step_s=first.step_ms / 1000)


def _stream(f: MeasuredFacts, marks: Sequence[Mark]) -> Stream | None:
    import numpy as np

    from sealwright.assess.counting import Stream

    if not marks:
        return None
    origin, times, values = f.origin or 0, [], []
    for m in sorted(marks, key=lambda m: int(m.data.started_at)):
        x = m.data
        scale = 1.0 if x.unit == "count" else 1000.0
        times.append((x.started_at - origin + x.step_ms * np.arange(1, len(x.values) + 1)) / 1000)
        values.append(np.asarray(x.values, dtype=float) / scale)
    return Stream(t=np.concatenate(times), values=np.concatenate(values))


def windows_of(f: MeasuredFacts, *, whole: bool = True) -> list[Window]:
    """Which stretches count for what: as accepted by the tester, else as the score has them, told from when each
    exercise was in truth begun; of exercises that the protocol does not have, none. `whole`: only those that samples
    reach the end of, else all that have begun."""
    from sealwright.assess.counting import Window

    counts = {e.id: e.counts for e in f.p.exercises}
    accepted, origin = f.last(WindowsAccepted, None), f.origin or 0
    if accepted is not None:
        known = [s for s in accepted.data.spans if s.air == "ambient" or s.exercise in counts]
        return [Window(exercise=s.exercise, air=s.air, start_s=(s.from_at - origin) / 1000,
                       end_s=(s.until_at - origin) / 1000, counts=counts.get(s.exercise, True),
                       title=f.m.titles.get(s.exercise, "")) for s in _apart(known)]
    done_s, late, windows = reached_s(f), delays(f), []
    for a in f.m.score.of("sample"):
        start = a.at + next((s for at, s in reversed(late) if at <= a.at), 0)
        if start + (a.lasts if whole else 0) <= done_s + 0.5:
            windows.append(Window(exercise=a.exercise, air="mask" if a.air == "mask" else "ambient",
                                  start_s=float(start), end_s=float(start + a.lasts),
                                  counts=counts.get(a.exercise, True), title=f.m.titles.get(a.exercise, "")))
    return windows


def _apart(spans: Sequence[Span]) -> list[Span]:
    """Those that share no samples with one of the same air begun earlier: no sample counts twice."""
    until, found = {"mask": -SHARED_MS, "ambient": -SHARED_MS}, []
    for s in sorted(spans, key=lambda s: (s.from_at, s.until_at)):
        if s.from_at >= until[s.air] - SHARED_MS:
            found.append(s)
            until[s.air] = max(until[s.air], s.until_at)
    return found


def delays(f: MeasuredFacts) -> list[tuple[int, float]]:
    """(second at which the score begins an exercise, by how many seconds it was begun later or earlier); below one
    second none."""
    begun = {m.data.exercise: m.at for m in reversed(f.run_exercises)}
    found = []
    for act in f.m.score.of("exercise"):
        off = (begun[act.exercise] - (f.origin or 0)) / 1000 - act.at if act.exercise in begun else 0.0
        found.append((act.at, off if abs(off) >= 1 else 0.0))
    return found


def reached_s(f: MeasuredFacts) -> float:
    """Up to which second of the score samples reach."""
    ends = [m.data.started_at + m.data.step_ms * len(m.data.values) for m in f.all(SamplesTaken)]
    return (max(ends) - (f.origin or 0)) / 1000 if ends else 0.0
