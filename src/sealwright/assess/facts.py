"""One pass over the events makes the facts the checks ask for: what stands, in which phase, at what second."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import msgspec

from sealwright.assess.codes import DEPARTURES
from sealwright.assess.events import (
    AgentScreened,
    ClockChecked,
    Closed,
    Data,
    Dosed,
    Event,
    ExercisesEnded,
    ExerciseStarted,
    ExposureBegun,
    FirstDoseBegun,
    HoodRemoved,
    Noticed,
    NotTasted,
    Opened,
    ReadingsComplete,
    RoomReturned,
    RunStarted,
    ScreeningStarted,
    SealBroken,
    Signed,
    Squeezed,
    Stopped,
    TakenBack,
    TakenOver,
    Tasted,
)
from sealwright.assess.method import Method, ScoredMethod, TasteMethod, ms_of
from sealwright.assess.verdict import Finding, Severity
from sealwright.protocols import MeasuredProtocol, Protocol, QualitativeProtocol, TasteProtocol, VapourProtocol

_NONE: list[Any] = []
FINAL = frozenset({Opened, TakenBack, ClockChecked, RoomReturned, TakenOver, Signed, Closed})
"""Kinds that no tap makes by mistake: they cannot be withdrawn."""


class Mark(msgspec.Struct, frozen=True, gc=False):
    """A standing event: `i` its place in recorded order, `at` its instant in ms (a dose's: when it was given)."""

    i: int
    at: int
    event: Event
    data: Any


class Facts:
    """What happened, sorted out. Ends of phases are places in recorded order (`*_i`) and instants in ms (`*_at`).

    `use_*` is where the test proper begins (first dose, entry into the chamber, first exercise), whichever of
    BEGINNINGS is recorded first; `origin` second 0 of the score; `end_*` the end of the run; `cut_at` the instant at
    which the agent noticed, or a stop, cut it off. `taste`: the agent noticed in the run; `threshold`: before it.
    """

    BEGINNINGS: tuple[type[Data], ...] = (RunStarted,)
    NOTICED: type[Data] | None = Tasted
    COMPLETE: type[Data] = SealBroken
    """the kind with which the test is complete"""
    m: Method
    p: Protocol

    def __init__(self, events: Sequence[Event], opened: Opened, method: Method) -> None:
        self.events, self.opened, self.m, self.p = events, opened, method, method.protocol
        self.findings: list[Finding] = []
        self.of: dict[type[Data], list[Mark]] = {}
        self.withdrawn: dict[int, int] = {}
        self.refused: list[tuple[int, str]] = []
        self.size = len(events)
        self.threshold: Mark | None = None
        self.taste: Mark | None = None
        self.squeezed: list[Mark] = []
        self.squeezes, self.screening_at, self.unsuited = 0, cast("int | None", None), False
        self._index()
        self._phases()

    def found(self, code: str, text: str, *, at: int | None = None, until: int | None = None,
              severity: Severity | None = None) -> None:
        """Add a finding; severity is needed where the code allows more than one."""
        row = DEPARTURES[code]
        at_s = None if at is None or self.origin is None else (at - self.origin) // 1000
        self.findings.append(Finding(code=code, severity=severity or row.severities[0], text=text,
                                     source=self.m.sources[code], at=at, until=until, at_s=at_s))

    def all(self, kind: type[Data]) -> list[Mark]:
        return self.of.get(kind, _NONE)

    def before(self, kind: type[Data], i: int | None) -> list[Mark]:
        """Marks of a kind recorded before place `i`; all of them when `i` is None."""
        marks = self.of.get(kind, _NONE)
        return marks if i is None or not marks or marks[-1].i < i else [m for m in marks if m.i < i]

    def last(self, kind: type[Data], i: int | None) -> Mark | None:
        marks = self.before(kind, i)
        return marks[-1] if marks else None

    def second(self, at: int) -> int:
        """Whole seconds from the first exercise (or what stands for it)."""
        return (at - (self.origin or 0)) // 1000

    def _index(self) -> None:
        """Sort events by kind. What follows the closing counts only if it is a taste."""
        events, of = self.events, self.of
        if any(type(e.data) is TakenBack for e in events):
            self._take_back()
        closed_i = None
        for i, e in enumerate(events):
            data = e.data
            kind = type(data)
            if (closed_i is not None and kind is not self.NOTICED) or i in self.withdrawn:
                continue
            at = e.at
            if kind is Dosed and data.given_at is not None:
                at = min(at, data.given_at)
            mark = Mark(i, at, e, data)
            if kind in of:
                of[kind].append(mark)
            else:
                of[kind] = [mark]
            if kind is Closed:
                closed_i = i
        self.closed_i = closed_i

    def _take_back(self) -> None:
        """Which events are withdrawn (place -> place of the take-back) and which take-backs change nothing."""
        place: dict[str, int] = {}
        for i, e in enumerate(self.events):
            if type(e.data) is TakenBack:
                target = place.get(e.data.event)
                if target is None or target in self.withdrawn or type(self.events[target].data) in FINAL:
                    self.refused.append((i, "take-back-refused"))
                elif not 0 <= e.at - self.events[target].at <= self.m.take_back_ms:
                    self.refused.append((i, "take-back-late"))
                else:
                    self.withdrawn[target] = i
            place[e.id] = i

    def _phases(self) -> None:
        uses = [found[0] for kind in self.BEGINNINGS if (found := self.all(kind))]
        starts, exercises = self.all(RunStarted), self.all(ExerciseStarted)
        self.use = min(uses, key=lambda m: m.i) if uses else None
        self.use_i = self.use.i if self.use else None
        self.use_at = min(m.at for m in uses) if uses else None
        run = [m for m in exercises if self.use_i is None or m.i > self.use_i]
        self.run_exercises = run if self.use else []
        self.origin = run[0].at if self.use and run else starts[0].at if starts else self.use_at
        self._screening()
        self._run_end()
        self.over = bool(self.taste or self.stopped or self.unsuited or self.COMPLETE in self.of or Closed in self.of)

    def _screening(self) -> None:
        """What came before the run and bears on who may be tested."""

    def _in_run(self, notice: Mark) -> bool:
        """Whether a notice falls at or after the beginning, by recorded order or by its instant."""
        if self.use_i is None or self.use_at is None:
            return False
        return notice.i > self.use_i or (notice is not self.threshold and notice.at >= self.use_at)

    def _run_end(self) -> None:
        after = self.use_i if self.use_i is not None else -1
        self.stopped = next(iter(self.all(Stopped)), None)
        broken = self.all(SealBroken)
        self.seal_broken = next((m for m in broken if m.i > after), None)
        done = next((m for m in self.all(self.COMPLETE) if m.i > after), None)
        self.exercises_ended = next((m for m in self.all(ExercisesEnded) if m.i > after), None)
        under_way = [m.i for m in (*self.run_exercises, self.exercises_ended) if m]
        self.stopped_late = bool(self.use and self.stopped and done and done.i < self.stopped.i
                                 and max(under_way, default=-1) < self.stopped.i)
        stop = self.stopped if self.stopped and not self.stopped_late else None
        cuts = [m for m in (self.taste, stop) if m and m.i > after]
        self.cut_at = min(cuts, key=lambda m: m.i).at if cuts else None
        closed = self.all(Closed)[:1]
        ends = [*cuts, *(m for m in (self.exercises_ended, self.seal_broken, *closed) if m and m.i > after)]
        end = min(ends, key=lambda m: m.i) if ends else None
        self.end_i = end.i if end else self.size
        self.end_at = end.at if end else (self.events[-1].at if self.events else None)
        if self.use is None:
            self.end_at = None


class TasteFacts(Facts):
    """A taste test: screening by squeezes, doses, a taste that ends it."""

    BEGINNINGS = (FirstDoseBegun, Dosed, RunStarted)
    m: TasteMethod
    p: TasteProtocol

    def _phases(self) -> None:
        super()._phases()
        if (begun := self.all(FirstDoseBegun)) and not self.run_exercises and not self.all(RunStarted):
            self.origin = begun[0].at + self._first_dose_ms()

    def _first_dose_ms(self) -> int:
        dose = self.p.dose_for(self.squeezes) or self.p.doses[0]
        return dose.first * self.p.squeeze_pace.value

    def _screening(self) -> None:
        """The last screening before the run: its squeezes, how often asked, the threshold taste, unsuited or not."""
        started = self.before(ScreeningStarted, self.use_i)
        self.screening_starts = started
        floor = started[-1].i if started else -1
        tastes = self.before(Tasted, self.use_i)
        self.threshold = next((m for m in tastes if m.i > floor), None)
        until = self.threshold.i if self.threshold else self.use_i
        squeezed = [m for m in self.before(Squeezed, until) if m.i > floor]
        self.squeezed = squeezed
        self.squeezes = sum(m.data.n for m in squeezed)
        self.asked = sum(m.i > floor for m in self.before(NotTasted, until))
        self.screening_at = started[-1].at if started else squeezed[0].at if squeezed else None
        self.taste = next((m for m in self.all(Tasted) if self._in_run(m)), None)
        self.unsuited = self._is_unsuited(until)

    def _is_unsuited(self, until: int | None) -> bool:
        if self.squeezes < self.m.screening_squeezes or not self.squeezed:
            return False
        last = self.squeezed[-1].i
        if self.threshold:
            denied = any(m.i > last for m in self.before(NotTasted, until))
            return denied or self.squeezes > self.m.screening_squeezes
        ends = (NotTasted, HoodRemoved, Closed)
        return self.use is not None or any(m.i > last for kind in ends for m in self.before(kind, until))


class NoticeFacts(Facts):
    """A vapour or smoke test: screened by a jar or a whiff; noticing the agent ends it."""

    BEGINNINGS = (ExposureBegun, RunStarted)
    NOTICED = Noticed
    m: ScoredMethod
    p: QualitativeProtocol

    def _phases(self) -> None:
        super()._phases()
        begun = self.all(ExposureBegun)
        if begun and not self.run_exercises and not self.all(RunStarted) and isinstance(self.p, VapourProtocol):
            self.origin = begun[0].at + ms_of(self.p.settle)

    def _screening(self) -> None:
        self.screened = self.last(AgentScreened, self.use_i)
        self.screening_at = self.screened.at if self.screened else None
        ended = self.use is not None or Closed in self.of or HoodRemoved in self.of
        self.unsuited = bool(self.screened and not self.screened.data.noticed and ended)
        self.taste = next((m for m in self.all(Noticed) if self._in_run(m)), None)


class MeasuredFacts(Facts):
    """A quantitative test: what was sampled or read for each exercise."""

    BEGINNINGS = (RunStarted,)
    NOTICED = None
    COMPLETE = ReadingsComplete
    m: ScoredMethod
    p: MeasuredProtocol


def clock(seconds: int) -> str:
    """Seconds from the first exercise as people say them: 3:09, or "0:05 before the start"."""
    text = f"{abs(seconds) // 60}:{abs(seconds) % 60:02d}"
    return text if seconds >= 0 else f"{text} before the start"


def span(ms: int) -> str:
    """A duration in words: 45 s, 12 min, 12 min 30 s, 3 h 5 min, 9 days; a negative one says so."""
    seconds = abs(ms) // 1000
    if seconds < 60:
        text = f"{seconds} s"
    elif seconds < 3600:
        text = f"{seconds // 60} min" + (f" {seconds % 60} s" if seconds % 60 else "")
    elif seconds >= 172_800:
        text = f"{seconds // 86_400} days"
    else:
        text = f"{seconds // 3600} h" + (f" {seconds // 60 % 60} min" if seconds // 60 % 60 else "")
    return text if ms >= 0 else f"minus {text}"
