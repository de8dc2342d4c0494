"""Samples from an instrument into a test's record: JSON lines in, stretches of whole numbers out, each sample once.

One line: {"t": 1760000000.5, "mask": 3, "ambient": 412}, or {"t": …, "value": 3, "air": "mask"}. `t` is when the sample
ended: seconds or milliseconds since 1970, an ISO 8601 time, or (below 10^8) seconds from the first exercise. A line
without `t` ended now by the server's clock. Values: particles counted in a sample, or particles per cm3.
"""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from sealwright.assess.events import InstrumentNamed, Opened, RunStarted, SamplesTaken
from sealwright.errors import BadInput, Conflict, TooLarge
from sealwright.web.hub import Hub

if TYPE_CHECKING:
    from sealwright.traces.live import Sample as Line

MOST_LINES = 5000
MOST_SAMPLES = 200_000
"""of one test; eight minutes of two airs at 100 a second are half of it"""
STRETCH = 600
"""samples in one event at most, so that it stays within what the ledger takes"""
SPAN_MS = 10_000
USUAL_STEP_MS = 1000
BY = "instrument"
_AIRS = ("mask", "ambient")
_KEPT_TESTS = 200
MS_FROM, SECONDS_FROM = 10**11, 10**8
"""from where on a number `t` is ms, and seconds, since 1970"""
LAST_MS = 32_503_680_000_000
MOST_VALUE = 10**9


class Sample(msgspec.Struct, frozen=True):
    """`at`: when it ended, ms; or `since`: ms from the first exercise; or neither. `milli`: value in thousandths."""

    at: int | None
    since: int | None
    air: str
    milli: int


class Way(msgspec.Struct, frozen=True, kw_only=True):
    """How the lines are to be read. `step_ms`: time from one sample to the next; None: as before, else one second."""

    unit: Literal["count", "per-cm3"] = "count"
    step_ms: int | None = None
    flow_mm3_s: int | None = None
    source: str = ""


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """`kept`: samples put on record now; `known`: samples that were on record before; `now`: the server's clock."""

    kept: int
    known: int
    now: int


def read_way(query: Any) -> Way:
    """From the fields unit, step_ms, flow_cm3_min and source of an address; BadInput names the one that is wrong."""
    said = query.get("unit") or "count"
    if said not in ("count", "per-cm3"):
        raise BadInput(f"{said[:40]!r} is no unit", place="unit", mend="Say count or per-cm3")
    unit: Literal["count", "per-cm3"] = "per-cm3" if said == "per-cm3" else "count"
    source = query.get("source") or ""
    if len(source) > 120 or not source.isprintable():
        raise BadInput("the name is too long or holds control characters", place="source", mend="Use 120 plain letters")
    step, flow = _whole(query, "step_ms", 10, 60_000, Decimal(1)), _whole(query, "flow_cm3_min", 1, 6 * 10**5,
                                                                        Decimal(1000) / 60)
    return Way(unit=unit, step_ms=step, flow_mm3_s=flow, source=source)


def _whole(query: Any, name: str, least: int, most: int, times: Decimal) -> int | None:
    text = query.get(name)
    if text is None:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        value = Decimal("NaN")
    if value.is_nan() or not least <= value <= most:
        raise BadInput(f"{text[:40]!r} cannot be", place=name, mend=f"Give a number from {least} to {most}")
    return max(1, round(value * times))


def read_lines(text: str, unit: str) -> list[Sample]:
    """All samples of some JSON lines; BadInput names the first line that is wrong, and then nothing is taken."""
    from sealwright.traces.live import parse_line  # brings number libraries with it

    lines = text.splitlines()
    if len(lines) > MOST_LINES:
        raise TooLarge(f"{len(lines)} lines at once", place="request body", mend=f"Send at most {MOST_LINES} at a time")
    found: list[Sample] = []
    for n, line in enumerate(lines, 1):
        try:
            found += _samples(parse_line(line), unit) if line.strip() else []
        except BadInput as error:
            raise BadInput(error.found, place=f"line {n}", mend=error.mend) from error
    return found


def _samples(line: Line, unit: str) -> list[Sample]:
    at, since = _time(line)
    if line.value is not None and line.air is None:
        raise BadInput("it does not say which air", mend='Say "air": "mask" or "ambient" beside "value"')
    pairs = {line.air or "": line.value} if line.value is not None else {"mask": line.mask, "ambient": line.ambient}
    return [Sample(at, since, air, _milli(value, unit)) for air, value in pairs.items() if value is not None]


def _milli(value: float, unit: str) -> int:
    if value > MOST_VALUE:
        raise BadInput(f"a value of {value:g}", mend=f"Values go up to {MOST_VALUE}")
    if unit == "count" and value != int(value):
        raise BadInput(f"a count of {value:g}, and counts are whole",
                       mend="Send counts, or say unit=per-cm3 in the address")
    return round(value * 1000)


def _time(line: Line) -> tuple[int | None, int | None]:
    """(instant, time since the first exercise), ms, of which one at most is there."""
    if line.at is not None or line.t is None:
        return _instant(line.at), None
    if line.t >= SECONDS_FROM:
        return _instant(round(line.t if line.t >= MS_FROM else line.t * 1000)), None
    if line.t < -3600:
        raise BadInput(f"t is {line.t:g}", mend="Seconds from the first exercise: an hour before it at most")
    return None, round(line.t * 1000)


def _instant(ms: int | None) -> int | None:
    if ms is not None and not 0 <= ms <= LAST_MS:
        raise BadInput("t lies before 1970 or beyond the year 3000", mend="Give seconds or milliseconds since 1970")
    return ms


class _Book:
    """What is on record of one test: unit and step of its samples, the stretches covered, and times seen since."""

    def __init__(self, events: Sequence[Any]) -> None:
        self.origin = next((e.at for e in events if type(e.data) is RunStarted), None)
        self.opened = any(type(e.data) is Opened for e in events)
        named = [e.data for e in events if type(e.data) is InstrumentNamed]
        self.named: InstrumentNamed | None = named[-1] if named else None
        taken = [e.data for e in events if type(e.data) is SamplesTaken]
        self.unit: str | None = taken[0].unit if taken else None
        self.step: int | None = taken[0].step_ms if taken else None
        self.count = sum(len(x.values) for x in taken)
        self.covered = {air: [(x.started_at, x.started_at + x.step_ms * len(x.values)) for x in taken if x.air == air]
                        for air in _AIRS}


class _Memory:
    """Of one test since the server started: times taken in, and the stretches that were on record before that."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.seen: dict[str, set[int]] = {air: set() for air in _AIRS}
        self.before: dict[str, list[tuple[int, int]]] | None = None

    def knows(self, air: str, t: int, step: int) -> bool:
        return t in self.seen[air] or any(a + step // 2 <= t < b + step // 2 for a, b in (self.before or {})[air])


class Samples:
    """Takes in samples of running tests. One delivery at a time for each test; safe from several threads."""

    def __init__(self, hub: Hub) -> None:
        self.hub = hub
        self._lock = threading.Lock()
        self._tests: OrderedDict[str, _Memory] = OrderedDict()

    def take(self, test: str, samples: Sequence[Sample], way: Way) -> Kept:
        """Puts samples on record, all or none. A sample whose time is on record already is known and left out."""
        memory = self._of(test)
        with memory.lock:
            self.hub.ledger.test(test)
            book, now = _Book(self.hub.events_of(test)), self.hub.now()
            memory.before = book.covered if memory.before is None else memory.before
            step, room_now = self._fits(book, way), now + self.hub.offset_of(test)
            timed = _timed(samples, book.origin, room_now, step)
            fresh = {air: [row for row in rows if not memory.knows(air, row[0], step)] for air, rows in timed.items()}
            kept = sum(map(len, fresh.values()))
            if book.count + kept > MOST_SAMPLES:
                raise TooLarge(f"{book.count} samples of this test are on record", place="request body",
                               mend=f"A test holds at most {MOST_SAMPLES}; send fewer a second")
            self._append(test, book, fresh, way, step, room_now)
            for air, rows in fresh.items():
                memory.seen[air].update(t for t, _ in rows)
            return Kept(kept=kept, known=sum(map(len, timed.values())) - kept, now=now)

    def _of(self, test: str) -> _Memory:
        with self._lock:
            found = self._tests.setdefault(test, _Memory())
            self._tests.move_to_end(test)
            while len(self._tests) > _KEPT_TESTS:
                self._tests.popitem(last=False)
            return found

    @staticmethod
    def _fits(book: _Book, way: Way) -> int:
        """The step of the samples; Conflict when unit or step differ from what is on record."""
        unit = "count" if way.unit == "count" else "milli-per-cm3"
        step = way.step_ms or book.step or USUAL_STEP_MS
        if book.unit not in (None, unit):
            raise Conflict("the samples on record have another unit", place="unit", mend="Go on in the unit begun with")
        if book.step not in (None, step):
            raise Conflict(f"the samples on record are {book.step} ms apart", place="step_ms",
                           mend="Go on with the step begun with")
        return step

    def _append(self, test: str, book: _Book, fresh: dict[str, list[tuple[int, int]]], way: Way, step: int,
                now: int) -> None:
        events = [_event(test, air, stretch, way, step) for air, rows in fresh.items()
                  for stretch in _stretches(rows, step, book.covered[air])]
        if events and way.flow_mm3_s and (book.named is None or book.named.flow_mm3_s != way.flow_mm3_s):
            events.insert(0, _named(test, book.named, way, now))
        if events:
            self.hub.ledger.append(events)
            self.hub.heard({test}, self.hub.offset_of(test))


def _timed(samples: Sequence[Sample], origin: int | None, now: int, step: int) -> dict[str, list[tuple[int, int]]]:
    """(instant in ms, thousandths) of each air, rising. Without a time: one step apart, the last of them now."""
    timed: dict[str, list[tuple[int, int]]] = {air: [] for air in _AIRS}
    for air in _AIRS:
        rows = [s for s in samples if s.air == air]
        bare = sum(s.at is None and s.since is None for s in rows)
        for s in rows:
            at = s.at if s.since is None else _from_first(s.since, origin)
            bare -= at is None
            timed[air].append((now - bare * step if at is None else at, s.milli))
        timed[air] = sorted(dict(reversed(timed[air])).items())
    return timed


def _from_first(since: int, origin: int | None) -> int:
    if origin is None:
        raise BadInput("t counts from the first exercise, which has not begun", place="t",
                       mend="Send seconds since 1970, or begin the exercises first")
    return origin + since


def _stretches(rows: Sequence[tuple[int, int]], step: int,
               covered: Sequence[tuple[int, int]]) -> list[tuple[int, list[int]]]:
    """Runs of evenly spaced samples: (start, thousandths). A sample half a step or more off the beat begins another."""
    found: list[tuple[int, list[int]]] = []
    ends = {b for _, b in covered}
    for t, value in rows:
        if found:
            start, values = found[-1]
            off = t - (start + step * (len(values) + 1))
            if 2 * abs(off) < step and len(values) < STRETCH and step * len(values) < SPAN_MS:
                values.append(value)
                continue
            end = start + step * len(values)
        else:
            end = max((b for b in ends if 2 * abs(t - step - b) < step), default=t - step)
        found.append((end if 2 * abs(t - step - end) < step else t - step, [value]))
    return found


def _event(test: str, air: str, stretch: tuple[int, list[int]], way: Way, step: int) -> dict[str, Any]:
    start, milli = stretch
    count = way.unit == "count"
    data = {"air": air, "started_at": start, "step_ms": step, "unit": "count" if count else "milli-per-cm3",
            "values": [v // 1000 for v in milli] if count else milli, **({"source": way.source} if way.source else {})}
    return _wire(test, "samples-taken", start + step * len(milli), data)


def _named(test: str, before: InstrumentNamed | None, way: Way, now: int) -> dict[str, Any]:
    known = msgspec.to_builtins(before) if before else {"instrument": way.source or "Counter"}
    return _wire(test, "instrument-named", now, {**known, "flow_mm3_s": way.flow_mm3_s})


def _wire(test: str, kind: str, at: int, data: dict[str, Any]) -> dict[str, Any]:
    """An event whose id is made from what it says: the same samples delivered twice are one event."""
    digest = hashlib.sha256(json.dumps([test, kind, at, data], sort_keys=True).encode()).hexdigest()
    return {"stream": f"test:{test}", "id": f"s-{digest[:40]}", "kind": kind, "at": at, "by": BY, "data": data}

