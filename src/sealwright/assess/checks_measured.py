"""Departures of the quantitative methods: level, instrument, smoking, readings, data, held breath."""

from __future__ import annotations

from collections.abc import Sequence

from sealwright.assess.checks_before import true_time
from sealwright.assess.checks_run import segments
from sealwright.assess.codes import DEPARTURES
from sealwright.assess.events import (
    Donned,
    ExerciseRead,
    InstrumentNamed,
    LeakRead,
    QuestionsAnswered,
    RunStarted,
    SamplesTaken,
    WindowsAccepted,
)
from sealwright.assess.facts import MeasuredFacts, span
from sealwright.assess.measured import Measured
from sealwright.assess.measuring import SHARED_MS, last_readings, makes_factor, pass_level, sampled_peaks
from sealwright.assess.method import ms_of
from sealwright.protocols import CountingProtocol, PressureProtocol, rule_sets

SHARE_OFF = 10
"""A held pressure may differ by one part in this many. Ours, settable."""
SAMPLED_SHORT = 0.8
"""An exercise sampled for less than this share of the time asked for. Ours, as in the doubts about samples."""


def level_stands(f: MeasuredFacts) -> None:
    kind, own, other = f.opened.facepiece.kind, f.opened.pass_level, f.opened.rule_set
    found = pass_level(f)
    if found is None:
        if kind in f.p.suits.kinds:
            f.found("pass-level-none", f"No pass level for a facepiece of the kind {kind}")
        return
    if other and other != f.p.rule_set:
        f.found("other-rule-set", f"Judged by the pass level of: {rule_sets()[other].title}")
    if own is not None and own < found[0]:
        f.found("pass-level-low", f"The record asks for {own}; {found[0]} is the rule set's and was used")
    elif own is not None:
        f.found("pass-level-own", f"The site's own pass level: {own}")


def instrument_sound(f: MeasuredFacts) -> None:
    named = f.last(InstrumentNamed, None)
    if named is None:
        if f.use:
            f.found("instrument-unnamed", "Not on record which instrument measured")
        return
    due, at = named.data.due_at, f.use_at or named.at
    if due is None:
        f.found("instrument-undated", f"No date to the calibration of {named.data.instrument} on record", at=named.at)
    elif (late := true_time(f, at) - due) > 0:
        f.found("instrument-out-of-date", f"The calibration of {named.data.instrument} ran out {span(late)} before",
                at=at)


def smoke_free(f: MeasuredFacts) -> None:
    last = f.last(QuestionsAnswered, f.use_i)
    if last is None or f.use_at is None or last.data.smoked_at is None or not isinstance(f.p, CountingProtocol):
        return
    gap = f.use_at - last.data.smoked_at
    if gap < ms_of(f.p.smoke_free):
        f.found("smoked-recently", f"Smoked {span(gap)} before; {span(ms_of(f.p.smoke_free))} is asked for",
                at=f.use_at)


def begun_once(f: MeasuredFacts) -> None:
    if f.use is None and f.over and not f.stopped:
        f.found("exercise-missing", "No exercise on record")
    for mark in f.all(RunStarted)[1:]:
        f.found("run-again", "The exercises were begun again", at=mark.at)


def readings_made(f: MeasuredFacts) -> None:
    kind = LeakRead if isinstance(f.p, PressureProtocol) else ExerciseRead
    marks, sampled = f.all(kind), f.all(SamplesTaken)
    if marks and sampled:
        f.found("reading-beside-samples", "Readings were entered beside the samples; the samples count")
    last = last_readings(f)
    if len([m for m in marks if m.data.exercise in last]) > len(last) and not sampled:
        f.found("reading-again", "Read more than once; the last reading of each exercise counts")
    for mark in last.values():
        if kind is ExerciseRead and not makes_factor(mark.data) and not sampled:
            f.found("reading-short", f"{f.m.titles[mark.data.exercise]}: the reading makes no factor", at=mark.at)
    if len({(m.data.unit, m.data.step_ms) for m in sampled}) > 1:
        f.found("samples-mixed", "Samples of more than one unit or step", at=sampled[0].at)
    for air, said in (("mask", "mask air"), ("ambient", "room air")):
        spans = [(m.data.started_at, m.data.started_at + m.data.step_ms * len(m.data.values))
                 for m in sampled if m.data.air == air]
        if twice := _shared(spans, max((m.data.step_ms for m in sampled), default=0)):
            f.found("samples-overlap", f"Samples of {said} are on record twice for the same time", at=twice)
    if any(m.data.proposed for m in f.all(WindowsAccepted)):
        f.found("windows-proposed", "The windows were proposed from the data and accepted by the tester")


def _shared(spans: Sequence[tuple[int, int]], slack: int) -> int | None:
    """Where a span begins more than `slack` ms before one that began earlier has ended."""
    last = None
    for start, end in sorted(spans):
        if last is not None and start < last - slack:
            return start
        last = end if last is None else max(last, end)
    return None


def windows_sound(f: MeasuredFacts) -> None:
    """Accepted windows are of exercises that were done, at the time they were done, and each counts its own samples."""
    accepted = f.last(WindowsAccepted, None)
    if accepted is None or isinstance(f.p, PressureProtocol):
        return
    masks = [s for s in accepted.data.spans if s.air == "mask" and s.exercise in f.m.exercise_seconds]
    if extra := [s for s in accepted.data.spans if s.air == "mask" and s not in masks]:
        f.found("exercise-extra", f"Windows of exercises that {f.p.id} does not have are left out ({len(extra)})")
    if twice := _shared([(s.from_at, s.until_at) for s in masks], SHARED_MS):
        f.found("windows-overlap", "Two accepted windows of mask air share samples", at=twice)
    done: dict[str, list[tuple[int, int]]] = {}
    for exercise, start, ms in segments(f):
        done.setdefault(exercise, []).append((start, start + ms))
    off = [f.m.titles[s.exercise] for s in masks if s.exercise in done and not any(
        a <= (s.from_at + s.until_at) // 2 <= b for a, b in done[s.exercise])]
    if off:
        f.found("windows-elsewhere", f"Window not where the exercise was done: {', '.join(dict.fromkeys(off))}",
                at=accepted.at)


def all_measured(f: MeasuredFacts, numbers: Measured | None) -> None:
    """Every exercise that counts has a number, once the test is over."""
    have = {x.exercise for x in numbers.exercises} if numbers else set()
    if not f.all(SamplesTaken):
        have |= last_readings(f).keys()  # one that makes no factor is found as such
    missing = [e.title for e in f.p.exercises if e.counts and e.id not in have]
    if missing and f.over and f.use and pass_level(f):
        f.found("reading-missing", f"No reading: {', '.join(missing)}", at=f.end_at)
    bare = [x.title for x in numbers.exercises if x.counts and x.factor is None and x.low is None] if numbers else []
    if bare:
        f.found("reading-short", f"The mask read zero, and without counts that makes no factor: {', '.join(bare)}",
                at=f.end_at)


def sampled_enough(f: MeasuredFacts, numbers: Measured | None) -> None:
    """Each exercise that counts was sampled in the mask for about the time the protocol asks."""
    told = {d.exercise for d in numbers.doubts if d.code == "window-short"} if numbers else set()
    short = _sampled_short(f, numbers)
    void = {x: said for x, (share, said) in short.items() if share < 0.5}
    more = {x: said for x, (_, said) in short.items() if x not in void and x not in told}
    for severity, which in (("void", void), ("major", more)):
        if which:
            f.found("data-window-short", f"Sampled too briefly: {', '.join(which.values())}",
                    severity="void" if severity == "void" else "major")


def _sampled_short(f: MeasuredFacts, numbers: Measured | None) -> dict[str, tuple[float, str]]:
    """Exercise -> share of the time asked for and both in words, of those that count and were sampled too briefly."""
    if numbers is None or not isinstance(f.p, CountingProtocol):
        return {}
    asked = dict[str, float]()
    for a in f.m.score.of("sample"):
        if a.air == "mask":
            asked[a.exercise] = asked.get(a.exercise, 0.0) + a.lasts - ms_of(f.p.purge) / 1000
    had = {x.exercise: (x.mask_s / asked[x.exercise], f"{x.title} {x.mask_s:.3g} of {asked[x.exercise]:.3g} s")
           for x in numbers.exercises if x.counts and x.mask_s is not None and asked.get(x.exercise, 0) > 0}
    return {x: found for x, found in had.items() if found[0] < SAMPLED_SHORT}


def data_sound(f: MeasuredFacts, numbers: Measured | None) -> None:
    """The doubts about the data as findings."""
    if numbers is None:
        return
    origin = f.origin or 0
    void = {x for x, (share, _) in _sampled_short(f, numbers).items() if share < 0.5}
    for d in numbers.doubts:
        if d.code == "window-short" and d.exercise in void:
            continue  # told already
        code = next((c for c in (f"data-{d.code}", d.code) if c in DEPARTURES), "data-other")
        at = None if d.start_s is None else origin + round(d.start_s * 1000)
        f.found(code, d.text, at=at, until=None if d.end_s is None else origin + round(d.end_s * 1000))
    if numbers.overall.low is None and not any(d.code == "no-uncertainty" for d in numbers.doubts):
        f.found("no-uncertainty", "No counts on record: how sure the number is cannot be said")


def peaks_low(f: MeasuredFacts, numbers: Measured | None) -> None:
    """Generated aerosol: a peak in the mask above its share of the challenge ends the test."""
    limits = f.p.peaks if isinstance(f.p, CountingProtocol) else ()
    limit = next((p for p in limits if p.kind == f.opened.facepiece.kind), None)
    if limit is None:
        return
    for exercise, share, at in sampled_peaks(f) if f.all(SamplesTaken) else _read_peaks(f):
        if share * 1000 > limit.per_mille:
            f.found("peak-high", f"{f.m.titles.get(exercise, exercise)}: a peak of {100 * share:.1f} % of the "
                                 f"challenge; {limit.per_mille / 10:g} % ends the test", at=at)


def _read_peaks(f: MeasuredFacts) -> list[tuple[str, float, int]]:
    """(exercise, peak as a share of the challenge, instant) as read off the instrument."""
    read = last_readings(f).items()
    return [(exercise, m.data.peak_milli / m.data.ambient_milli, m.at) for exercise, m in read
            if getattr(m.data, "peak_milli", None) is not None and m.data.ambient_milli]


def breath_held(f: MeasuredFacts) -> None:
    if not isinstance(f.p, PressureProtocol):
        return
    asked = f.p.pressure.value
    for exercise, mark in last_readings(f).items():
        title, held = f.m.titles[exercise], mark.data.pressure
        if not mark.data.steady:
            f.found("breath-not-held", f"{title}: the breath was not held still", at=mark.at)
        if held is not None and abs(held - asked) * SHARE_OFF > asked:
            f.found("pressure-off", f"{title}: {held / 10:g} mm of water held; {asked / 10:g} is asked for", at=mark.at,
                    severity="void" if held * 2 < asked else "major")
    again = [m for m in f.all(Donned) if f.use_i is not None and m.i > f.use_i]
    if f.over and f.use and f.cut_at is None and len(again) < f.p.redonnings.value:
        f.found("redonning-missing", f"Donned anew {len(again)} of {f.p.redonnings.value} times", at=f.end_at)


CHECKS = (level_stands, instrument_sound, smoke_free, begun_once, readings_made, windows_sound, breath_held)
NUMBER_CHECKS = (all_measured, sampled_enough, data_sound, peaks_low)
