"""A worked-up trace as events of a test: the samples as whole numbers, and the windows that the tester accepted."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from sealwright.errors import BadInput
from sealwright.traces.cells import Floats

if TYPE_CHECKING:
    from sealwright.traces.files import TraceFile
    from sealwright.traces.workup import WorkedUp

MOST_VALUES = 600
"""of one event, within what a ledger takes"""
APART_MS = 30 * 60_000
"""A trace whose own clock puts it further than this from the test is of another test, or of another zone."""


def events_of(read: TraceFile, worked: WorkedUp, *, test: str, by: str, now: int, run_at: int) -> list[dict[str, Any]]:
    """Event dicts: samples-taken for each stretch, then windows-accepted. The same trace gives the same ids.

    run_at: when the first exercise of the test began, ms. A trace that knows no date is laid so that its first window
    of mask air begins where the score has it. Raises BadInput when the trace is of another time or not of counts.
    """
    from sealwright.protocols import compile_score, get
    from sealwright.traces import to_trace

    trace = to_trace(read)
    first = next(w for w in worked.windows if w.air == "mask")
    due = next(a.at for a in compile_score(get(worked.protocol)).of("sample")
               if a.air == "mask" and a.exercise == first.exercise)
    zero = run_at + (due - first.start_s) * 1000 if read.start_at is None else float(read.start_at)
    _same_time(zero + first.start_s * 1000, run_at + due * 1000)
    made = []
    for air, stream in (("mask", trace.mask), ("ambient", trace.ambient)):
        inside = _inside(stream.t, [w for w in worked.windows if w.air == air])
        if trace.mask is not trace.ambient:
            inside[:] = True
        for start, values in _stretches(stream.t[inside], stream.values[inside], read.step_s):
            made.append(_samples(air, round(zero + start * 1000), values, read, test, by, now))
    spans = [{"air": w.air, "exercise": w.exercise, "from_at": round(zero + w.start_s * 1000),
              "until_at": round(zero + w.end_s * 1000)} for w in worked.windows]
    made.append(_event("windows-accepted", {"spans": spans, "proposed": worked.how == "proposed"}, test, by, now))
    return made


def _same_time(at: float, run_at: float) -> None:
    if abs(at - run_at) > APART_MS:
        raise BadInput(f"the trace lies {abs(at - run_at) / 3_600_000:.1f} h from the test by its own clock",
                       place="time", mend="Check that it is this test's trace, and name the time zone of its clock")


def _inside(t: Floats, windows: list[Any]) -> Any:
    inside = np.zeros(len(t), dtype=bool)
    for w in windows:
        inside |= (t > w.start_s) & (t <= w.end_s)
    return inside


def _stretches(t: Floats, values: Floats, step: float) -> Iterator[tuple[float, Floats]]:
    """(when the first sample began, its values) of samples that follow one another evenly."""
    good = ~np.isnan(values)
    t, values = t[good], values[good]
    cuts = np.flatnonzero(np.abs(np.diff(t) - step) > step / 4) + 1
    for part in np.split(np.arange(len(t)), cuts):
        for k in range(0, len(part), MOST_VALUES):
            some = part[k:k + MOST_VALUES]
            if len(some):
                yield float(t[some[0]]) - step, values[some]


def _samples(air: str, started_at: int, values: Floats, read: TraceFile, test: str, by: str,
             now: int) -> dict[str, Any]:
    scaled = values if read.unit == "count" else values * 1000
    whole = np.rint(scaled)
    if read.unit == "count" and np.abs(whole - scaled).max() > 1e-6:
        raise BadInput("counts that are not whole numbers", place="unit",
                       mend="Say per-cm3 if the column holds concentrations")
    data = {"air": air, "started_at": started_at, "step_ms": max(10, round(read.step_s * 1000)),
            "unit": "count" if read.unit == "count" else "milli-per-cm3", "values": [int(v) for v in whole],
            "source": "file"}
    return _event("samples-taken", data, test, by, now)


def _event(kind: str, data: dict[str, Any], test: str, by: str, now: int) -> dict[str, Any]:
    told = hashlib.sha256(repr((test, kind, data)).encode()).hexdigest()[:24]
    return {"stream": f"test:{test}", "id": f"tr-{told}", "kind": kind, "at": now, "by": by, "data": data}
