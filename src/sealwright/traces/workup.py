"""From a recorded trace to fit factors: which windows count, then the numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import msgspec

from sealwright.assess.measured import Measured
from sealwright.assess.measuring import level_by
from sealwright.errors import BadInput
from sealwright.protocols import CountingProtocol, Protocol, compile_score
from sealwright.protocols import rule_set as named

if TYPE_CHECKING:
    from sealwright.assess.counting import Trace, Window
    from sealwright.traces.files import TraceFile

How = Literal["given", "marks", "score", "proposed"]
SHIFT_S = 10.0
"""how far the windows of a score may be moved to where the air changes; ours"""
NEAR = 0.02
"""decades of contrast that do not matter"""
COLUMNS = ("exercise", "air", "start_s", "end_s")
"""of a file of windows"""


class WorkedUp(msgspec.Struct, frozen=True, kw_only=True):
    """The numbers of a trace. `how`: where the windows come from; `sure`: of proposed ones, 0 to 1."""

    protocol: str
    kind: str
    how: How
    windows: tuple[Any, ...]
    measured: Measured
    sure: float | None = None
    text: str = ""
    purge_s: float = 0.0
    """left out at the start of each window, after the air has changed"""


def counting(protocol: Protocol) -> CountingProtocol:
    """The protocol, if it is one that counts particles; BadInput otherwise."""
    if not isinstance(protocol, CountingProtocol):
        raise BadInput(f"{protocol.id} does not count particles", place="protocol",
                       mend="Choose one with the method counting or aerosol: `sealwright protocol list`")
    return protocol


def work_up(read: TraceFile, protocol: Protocol, *, kind: str, start_s: float | None = None,
            windows: Sequence[Window] | None = None, rule_set: str = "", own_level: int | None = None) -> WorkedUp:
    """Fit factors of a recorded trace.

    Windows: those given; else from the marks in the file; else those of the score, its first exercise at `start_s` of
    the trace; else proposed from the data. Raises BadInput where the protocol or the windows do not fit.
    """
    from sealwright.assess.counting import measure
    from sealwright.traces import to_trace

    p = counting(protocol)
    if rule_set:
        named(rule_set)
    if own_level is not None and own_level < 1:
        raise BadInput(f"{own_level} is no fit factor", place="level", mend="Give your own level, 1 or more, or none")
    level = level_by(p, kind, rule_set, own_level)
    if level is None:
        raise BadInput(f"{p.id} has no pass level for a facepiece of the kind {kind}", place="kind",
                       mend=f"Choose one of {', '.join(p.suits.kinds)}")
    trace = to_trace(read)
    chosen, how, sure, text = _windows(read, trace, p, start_s, windows)
    _worth_measuring(chosen, trace, text)
    purge = float(p.purge.value) if trace.mask is trace.ambient and how != "given" else 0.0
    numbers = measure(trace, chosen, pass_level=level[0], pass_rule=level[1], purge_s=purge,
                      least_ambient=float(p.least_ambient.value))
    numbers = _of_all(msgspec.structs.replace(numbers, doubts=(*read.doubts, *numbers.doubts)), p)
    return WorkedUp(protocol=p.id, kind=kind, how=how, windows=tuple(chosen), measured=numbers, sure=sure, text=text,
                    purge_s=purge)


def _of_all(numbers: Measured, p: CountingProtocol) -> Measured:
    """No pass without every exercise that counts."""
    have = {x.exercise for x in numbers.exercises}
    missing = [e.title for e in p.exercises if e.counts and e.id not in have]
    if not missing or not numbers.passed:
        return numbers
    return msgspec.structs.replace(
        numbers, passed=False, p_pass=None,
        sentence=f"No pass can be claimed: nothing measured in {', '.join(missing)}")


def _windows(read: TraceFile, trace: Trace, p: CountingProtocol, start_s: float | None,
             windows: Sequence[Window] | None) -> tuple[list[Window], How, float | None, str]:
    if windows is not None:
        return list(windows), "given", None, ""
    if start_s is not None:
        laid, text = _settled(score_windows(p, start_s), trace, float(p.purge.value))
        return laid, "score", None, text
    from sealwright.assess.counting.windows import from_marks, propose

    exercises = [(e.id, e.title, float(e.seconds), e.counts) for e in p.exercises]
    if read.marks is not None:
        found = from_marks(read.t, read.marks, exercises=exercises, trace=trace, air=read.air)
        return list(found), "marks", None, ""
    seen = propose(trace, exercises=exercises, two_channels=trace.mask is not trace.ambient, air=read.air)
    return list(seen.windows), "proposed", seen.sure, seen.text


def score_windows(p: CountingProtocol, start_s: float) -> list[Window]:
    """The samples of the score as windows, its first exercise beginning at `start_s`."""
    from sealwright.assess.counting import Window

    counts, titles = {e.id: e.counts for e in p.exercises}, {e.id: e.title for e in p.exercises}
    return [Window(exercise=a.exercise, air="mask" if a.air == "mask" else "ambient", start_s=start_s + a.at,
                   end_s=start_s + a.at + a.lasts, counts=counts.get(a.exercise, True),
                   title=titles.get(a.exercise, ""))
            for a in compile_score(p).of("sample")]


def _settled(windows: list[Window], trace: Trace, purge_s: float) -> tuple[list[Window], str]:
    """The windows moved as one by up to SHIFT_S to where the air of a switching channel changes, and what was done.

    A second's error in "the first exercise began at" would otherwise count room air as leak.
    """
    import numpy as np

    if trace.mask is not trace.ambient:
        return windows, ""
    t, level = trace.mask.t, np.log10(np.nan_to_num(trace.mask.values) + 0.5)

    def contrast(shift: float) -> float:
        """Room above mask, in decades; of the mask the highest tenth, so that one sample of room air shows."""
        def inside(air: str) -> list[Any]:
            spans = [(w.start_s + shift + purge_s, w.end_s + shift) for w in windows if w.air == air]
            return [level[a:b] for a, b in (np.searchsorted(t, span, side="right") for span in spans) if b > a]

        mask, room = inside("mask"), inside("ambient")
        if not mask or not room:
            return -math.inf
        return float(np.mean([x.mean() for x in room]) - np.mean([np.quantile(x, 0.97) for x in mask]))

    count = int(SHIFT_S / trace.step_s)
    shifts = sorted((k * trace.step_s for k in range(-count, count + 1)), key=abs)
    found = {s: contrast(s) for s in shifts}
    most = max(found.values()) - NEAR
    best = next(s for s in shifts if found[s] >= most)
    if best == 0:
        return windows, ""
    moved = [msgspec.structs.replace(w, start_s=w.start_s + best, end_s=w.end_s + best) for w in windows]
    return moved, f"Moved by {best:+.1f} s, to where the air changes"


def _worth_measuring(windows: Sequence[Window], trace: Trace, text: str) -> None:
    if not any(w.air == "mask" and w.counts for w in windows):
        told = f" ({text[0].lower()}{text[1:].rstrip('.')})" if text else ""
        raise BadInput(f"no window of mask air that counts{told}", place="windows",
                       mend="Name the exercises in a column of marks, say when the first one began, or give windows")
    end = float(trace.mask.t[-1])
    if late := [w for w in windows if w.air == "mask" and w.start_s >= end]:
        raise BadInput(f"the window of {late[0].title or late[0].exercise} begins at {late[0].start_s:g} s, after the "
                       f"last sample at {end:g} s", place="windows", mend="Say when the first exercise began")


def read_windows(path: Path, protocol: CountingProtocol) -> list[Window]:
    """Windows from a CSV file with the columns exercise, air, start_s, end_s. BadInput names file, row and field."""
    import csv

    with path.open(newline="", encoding="utf-8-sig") as file:
        rows = csv.DictReader(file)
        if missing := [c for c in COLUMNS if c not in (rows.fieldnames or ())]:
            raise BadInput(f"no column {missing[0]!r}", place=f"{path}: row 1",
                           mend=f"Head the columns {', '.join(COLUMNS)}")
        numbered = [(rows.line_num, [row[c] or "" for c in COLUMNS]) for row in rows]
    return [_window(row, protocol, f"{path}: row {line}") for line, row in numbered]


def windows_from(rows: Sequence[Sequence[str]], protocol: CountingProtocol) -> list[Window]:
    """Windows from rows of exercise, air, start_s, end_s as text. BadInput names row and field."""
    return [_window(row, protocol, f"window {n}") for n, row in enumerate(rows, 1)]


def _window(row: Sequence[str], protocol: CountingProtocol, place: str) -> Window:
    from sealwright.assess.counting import Window

    exercises = {e.id: e for e in protocol.exercises}
    if len(row) != len(COLUMNS):
        raise BadInput(f"{len(row)} fields", place=place, mend=f"Give {', '.join(COLUMNS)}")
    exercise, air = row[0].strip(), row[1].strip()
    if air not in ("mask", "ambient"):
        raise BadInput(f"unknown air {air!r}", place=f"{place}: air", mend="Write mask or ambient")
    if exercise not in exercises and (exercise or air == "mask"):
        raise BadInput(f"no exercise {exercise!r} in {protocol.id}", place=f"{place}: exercise",
                       mend=f"Write one of {', '.join(exercises)}")
    start, end = (_seconds(text, f"{place}: {name}") for text, name in zip(row[2:], COLUMNS[2:], strict=True))
    if end <= start:
        raise BadInput(f"{end:g} does not come after {start:g}", place=f"{place}: end_s",
                       mend="Give the end after the start")
    e = exercises.get(exercise)
    return Window(exercise=exercise, air=air, start_s=start, end_s=end,  # type: ignore[arg-type]
                  counts=e.counts if e else True, title=e.title if e else "")


def _seconds(text: str | None, place: str) -> float:
    try:
        value = float(text or "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{text!r} is no number of seconds", place=place, mend="Write seconds, such as 62.5")
    return value
