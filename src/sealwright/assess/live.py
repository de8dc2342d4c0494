"""The numbers of a quantitative test while it goes on: factors so far, and whether the end is certain already."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec

from sealwright.assess.events import Event, Opened, SamplesTaken
from sealwright.assess.facts import MeasuredFacts
from sealwright.assess.measured import Factor, Measured, PassRule
from sealwright.assess.measuring import measured, pass_level, purged, trace_of, windows_of
from sealwright.assess.method import method_of
from sealwright.errors import BadInput
from sealwright.protocols import Protocol, get

if TYPE_CHECKING:
    from sealwright.assess.counting import Trace, Window


class Foreseen(msgspec.Struct, frozen=True, kw_only=True):
    """`certain`: pass or fail whatever is still to come, else empty. `needed`: factor the exercises to come must reach,
    on the whole or each by the rule; None: nothing can be asked of them."""

    certain: str = ""
    needed: float | None = None
    text: str = ""


class Arrived(msgspec.Struct, frozen=True, kw_only=True):
    """Samples on record: how many, the last value of each air (particles per cm3 or in a sample), the last's end."""

    count: int = 0
    unit: str = ""
    mask: float | None = None
    ambient: float | None = None
    last_at: int | None = None


class Live(msgspec.Struct, frozen=True, kw_only=True):
    """`level` None: the rule set has none for this kind of facepiece. `numbers` None: nothing makes a factor yet."""

    level: int | None
    rule: PassRule
    factors: tuple[Factor, ...]
    overall: Factor | None
    outlook: Foreseen
    sentence: str
    samples: Arrived
    numbers: Measured | None = None

    remaining: int = 0
    """exercises that count and have no number yet"""


def live(events: Sequence[Event], protocol: Protocol | None = None) -> Live:
    """The numbers so far of a quantitative test; BadInput for a test of another method, or of none.

    `protocol`: None takes the published one the record names.
    """
    opened = next((e.data for e in events if type(e.data) is Opened), None)
    if opened is None:
        raise BadInput("the test was never opened", place="test", mend="Send the event that opens it first")
    protocol = protocol or get(opened.protocol)
    if not protocol.quantitative:
        raise BadInput(f"{protocol.title} measures nothing", place="test",
                       mend="Ask for the numbers of a quantitative test")
    f = MeasuredFacts(events, opened, method_of(protocol))
    numbers, asked = measured(f), pass_level(f)
    level, rule = asked or (None, f.p.pass_rule.value)
    have = {x.exercise for x in numbers.exercises} if numbers else set()
    remaining = sum(e.counts and e.id not in have for e in f.p.exercises)
    return Live(level=level, rule=rule, remaining=remaining, factors=numbers.exercises if numbers else (),
                overall=numbers.overall if numbers else None, outlook=_foreseen(f, numbers, level, rule),
                sentence=numbers.sentence if numbers and not remaining else "", samples=_arrived(f), numbers=numbers)


def _foreseen(f: MeasuredFacts, numbers: Measured | None, level: int | None, rule: PassRule) -> Foreseen:
    """From the exercises that count. Nothing counted in the mask stands for an endless factor."""
    if level is None:
        return Foreseen(text="No pass level for this kind of facepiece")
    from sealwright.assess.counting import outlook

    so_far = {x.exercise: math.inf if x.factor is None else x.factor
              for x in (numbers.exercises if numbers else ()) if x.counts}
    remaining = sum(e.counts and e.id not in so_far for e in f.p.exercises)
    seen = outlook([x for x in so_far.values() if x > 0], remaining, pass_level=level, pass_rule=rule)
    if numbers and not remaining and seen.certain != (end := "pass" if numbers.passed else "fail"):
        return Foreseen(certain=end, text=numbers.sentence)  # a zero that proves too little is no endless factor
    return Foreseen(certain=seen.certain, needed=seen.needed, text=seen.text)


RUN_S = 6.0
"""About a breath: the running factor is of so many seconds of mask air."""
MOST_POINTS = 20_000
"""More than a screen can show: of a longer trace every so many-th sample's is told."""


class Running(msgspec.Struct, frozen=True, kw_only=True):
    """The fit factor as it comes. `times`: s from the first exercise; `factors`: None while it is not known."""

    times: tuple[float, ...]
    factors: tuple[float | None, ...]


def running(events: Sequence[Event], protocol: Protocol) -> Running | None:
    """Room air over mask air, each mask sample with those of the RUN_S before it in its window; None without samples.

    Room air: that of the same seconds where both are sampled at once, else the last window of it. A moving number to
    look at, not the one that counts.
    """
    opened = next((e.data for e in events if type(e.data) is Opened), None)
    if opened is None or not protocol.quantitative:
        return None
    f = MeasuredFacts(events, opened, method_of(protocol))
    trace = trace_of(f) if f.origin is not None else None
    if trace is None:
        return None
    windows = sorted(purged(f, windows_of(f, whole=False)), key=lambda w: w.start_s)
    return _running(trace, windows)


def _running(trace: Trace, windows: Sequence[Window]) -> Running:
    import numpy as np

    from sealwright.assess.counting.sums import in_order, running_means

    trace = in_order(trace)
    rooms = [w for w in windows if w.air == "ambient"]
    starts = np.array([w.start_s for w in rooms])
    inside, outside = running_means(trace.mask), running_means(trace.ambient)
    last = np.append(outside(starts, np.array([w.end_s for w in rooms])), np.nan)  # -1, none before, is not known
    times, factors = list[float](), list[float | None]()
    for w in (w for w in windows if w.air == "mask"):
        a, b = np.searchsorted(trace.mask.t, [w.start_s, w.end_s], side="right")
        t = trace.mask.t[a:b:max(1, (b - a) * len(windows) // MOST_POINTS)]
        before = np.maximum(w.start_s, t - RUN_S)
        mask, room = inside(before, t), outside(before, t)
        room = np.where(np.isnan(room), last[np.searchsorted(starts, t, side="left") - 1], room)
        if times:
            times.append(w.start_s)
            factors.append(None)
        times += t.tolist()
        factors += [r / m if m > 0 and r > 0 else None for m, r in zip(mask.tolist(), room.tolist(), strict=True)]
    return Running(times=tuple(times), factors=tuple(factors))


def _arrived(f: MeasuredFacts) -> Arrived:
    marks = f.all(SamplesTaken)
    if not marks:
        return Arrived()
    last = {air: max((m.data for m in marks if m.data.air == air), key=_end, default=None)
            for air in ("mask", "ambient")}
    return Arrived(count=sum(len(m.data.values) for m in marks), unit=marks[0].data.unit,
                   mask=_value(last["mask"]), ambient=_value(last["ambient"]), last_at=max(_end(m.data) for m in marks))


def _end(x: SamplesTaken) -> int:
    return x.started_at + x.step_ms * len(x.values)


def _value(x: SamplesTaken | None) -> float | None:
    if x is None:
        return None
    return float(x.values[-1]) if x.unit == "count" else x.values[-1] / 1000
