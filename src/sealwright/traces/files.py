"""From a recorded file to a trace, in bounded memory. Nothing is ever written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sealwright.assess.measured import Doubt
from sealwright.errors import BadInput, TooLarge
from sealwright.traces.cells import Floats, Place, counted, numbers, shown, words
from sealwright.traces.columnar import is_parquet, parquet_batches
from sealwright.traces.delimited import Batch, Layout, batches, layout
from sealwright.traces.doubts import doubts_about
from sealwright.traces.mapping import Mapping, Unit
from sealwright.traces.moments import Clock

if TYPE_CHECKING:
    from sealwright.assess.counting import Trace

MASK, AMBIENT, NEITHER = 1, 0, -1
MOST_MARKS = 100_000


@dataclass(frozen=True)
class Mark:
    """What the column of marks said from the sample at `start_s` up to and with the one at `end_s`."""

    start_s: float
    end_s: float
    text: str


@dataclass(frozen=True, eq=False, kw_only=True)
class TraceFile:
    """What was read. Arrays are of one length; NaN where no value was had.

    t: s from the first kept sample, strictly rising. start_at: ms since the epoch of that sample, None if not known.
    Two channels: `mask` and `ambient`. One that alternates: `value`, and `air` (1 mask, 0 ambient, -1 neither) if the
    file says. marks: stretches with the same word, empty ones left out; None: no such column.
    """

    t: Floats
    mask: Floats | None
    ambient: Floats | None
    value: Floats | None
    air: NDArray[np.int8] | None
    start_at: int | None
    marks: tuple[Mark, ...] | None
    unit: Unit
    flow_cm3_min: float | None
    doubts: tuple[Doubt, ...] = ()

    @property
    def step_s(self) -> float:
        """Seconds between samples (the median)."""
        return float(np.median(np.diff(self.t)))


def read_trace(path: Path | str, mapping: Mapping, *, from_s: float | None = None, to_s: float | None = None,
               most_samples: int = 10_000_000, progress: Callable[[float], None] | None = None) -> TraceFile:
    """Read a CSV or Parquet file as `mapping` says.

    from_s, to_s: s from the first sample of the file; rows outside are dropped on the way. progress: called with the
    share read, 0 to 1. Raises BadInput naming file, row and column, TooLarge beyond `most_samples` kept rows.
    """
    mapping.check()
    path, wanted = Path(path), (mapping.time, *mapping.numbers, *mapping.words)
    if is_parquet(path):
        source, decimal = parquet_batches(path, wanted), "."
    else:
        plan = layout(path, wanted, mapping.delimiter)
        source, decimal = batches(path, plan), mapping.decimal or decimal_of(plan, mapping, path)
    kept = _Kept(str(path), mapping, decimal, from_s, to_s, most_samples)
    size = max(path.stat().st_size, 1)
    for batch in source:
        if kept.take(batch):
            break
        if progress:
            progress(min(1.0, batch.done / size))
    read = kept.trace()
    if progress:
        progress(1.0)
    return read


def decimal_of(plan: Layout, mapping: Mapping, path: Path) -> str:
    """The decimal mark, from the first rows; BadInput when 1,234 could be either."""
    names = [*mapping.numbers, *([mapping.time] if mapping.time_unit != "timestamp" else [])]
    cells = [(i + 1, n, r[plan.places[n]].strip()) for i, r in enumerate(plan.head.rows) if i >= plan.data
             for n in names if plan.places[n] < len(r)]
    commas = [c for c in cells if "," in c[2]]
    if not commas or any("." in c[2] and c[2].rfind(",") < c[2].rfind(".") for c in cells):
        return "."
    if all(_either(c[2]) for c in commas):
        row, name, text = commas[0]
        raise BadInput(f"{shown(text)} may have a decimal comma or a thousands separator", place=f"{path}: row {row}, "
                       f"column {name!r}", mend='Say decimal "," or ".", and export without thousands separators')
    return ","


def _either(text: str) -> bool:
    head, _, tail = text.partition(",")
    return len(tail.split(",")[0]) == 3 and 1 <= len(head.lstrip("+-")) <= 3 and head.lstrip("+-") != "0"


@dataclass
class _Kept:
    """The rows kept so far, column by column."""

    path: str
    mapping: Mapping
    decimal: str
    from_s: float | None
    to_s: float | None
    most: int
    parts: dict[str, list[NDArray[np.generic]]] = field(default_factory=dict)
    runs: list[tuple[int, str]] = field(default_factory=list)
    n: int = 0

    def __post_init__(self) -> None:
        self.clock = Clock(self.mapping)
        self.clock.decimal = self.decimal

    def take(self, batch: Batch) -> bool:
        """Take in a batch; True when the end that was asked for is reached."""
        m = self.mapping
        t = self.clock.seconds(batch.columns[m.time], self._place(m.time, batch))
        there = ~np.isnan(t)
        with np.errstate(invalid="ignore"):
            keep = there & (t >= (-np.inf if self.from_s is None else self.from_s))
            keep &= t <= (np.inf if self.to_s is None else self.to_s)
        self._fits(keep, batch)
        for name in m.numbers:
            place = self._place(name, batch)
            values = counted(numbers(batch.columns[name], self.decimal, place), place)
            if (lost := ~there & ~np.isnan(values)).any():
                self._place(m.time, batch).bad(int(lost.argmax()), "a value without a time", "Put its time there")
            self._add(name, values[keep])
        if m.air:
            self._add(m.air, self._airs(batch, keep))
        if m.marks:
            self._mark(batch, keep)
        self._add(m.time, t[keep])
        self.n += int(keep.sum())
        return self.to_s is not None and bool(there.any()) and float(t[there][-1]) > self.to_s

    def _place(self, column: str, batch: Batch) -> Place:
        return Place(self.path, column, batch.first)

    def _add(self, name: str, values: NDArray[np.generic]) -> None:
        self.parts.setdefault(name, []).append(values)

    def _fits(self, keep: NDArray[np.bool_], batch: Batch) -> None:
        if self.n + int(keep.sum()) > self.most:
            row = batch.first + int(np.flatnonzero(keep)[self.most - self.n])
            raise TooLarge(f"more than {self.most:,} samples", place=f"{self.path}: row {row}",
                           mend="Say from and to (seconds from the first sample) to keep the part that matters")

    def _airs(self, batch: Batch, keep: NDArray[np.bool_]) -> NDArray[np.int8]:
        code, said = words(batch.columns[self.mapping.air or ""])
        plain = [w.casefold() for w in said]
        key = {self.mapping.mask_word.strip().casefold(): MASK, self.mapping.ambient_word.strip().casefold(): AMBIENT}
        which = np.array([key.get(w, NEITHER) for w in plain] or [NEITHER], dtype=np.int8)
        got: NDArray[np.int8] = which[code][keep]
        return got

    def _mark(self, batch: Batch, keep: NDArray[np.bool_]) -> None:
        """Where the word changes, counted in kept samples."""
        code, said = words(batch.columns[self.mapping.marks or ""])
        code = code[keep]
        starts = np.flatnonzero(np.diff(code, prepend=-1))
        for i in starts.tolist():
            text = said[code[i]]
            if not self.runs or self.runs[-1][1] != text:
                self.runs.append((self.n + i, text))
        if len(self.runs) > MOST_MARKS:
            self._place(self.mapping.marks or "", batch).bad(0, f"more than {MOST_MARKS:,} changes of mark",
                                                             "Name the column that holds the exercise under way")

    def _whole(self, name: str | None) -> Floats | None:
        """One column in one piece; its parts are let go at once."""
        return None if name is None else np.concatenate(self.parts.pop(name)).astype(np.float64, copy=False)

    def trace(self) -> TraceFile:
        m = self.mapping
        if self.n < 2:
            raise BadInput(f"{self.n} sample{'s' * (self.n != 1)} to keep", place=self.path,
                           mend="Check the columns, and from and to if they are given")
        t = self._whole(m.time)
        assert t is not None
        first = float(t[0])
        t -= first
        air = np.concatenate(self.parts.pop(m.air)).astype(np.int8, copy=False) if m.air else None
        at = self.clock.start_at
        read = TraceFile(t=t, mask=self._whole(m.mask), ambient=self._whole(m.ambient), value=self._whole(m.value),
                         air=air, start_at=None if at is None else round(at + first * 1000),
                         marks=tuple(self._marks(t)) if m.marks else None, unit=m.unit or "count",
                         flow_cm3_min=m.flow_cm3_min)
        found = doubts_about(read, m, self.path)
        return TraceFile(**{**{f: getattr(read, f) for f in read.__dataclass_fields__}, "doubts": found})

    def _marks(self, t: Floats) -> Iterator[Mark]:
        for (i, text), until in zip(self.runs, [r[0] for r in self.runs[1:]] + [self.n], strict=True):
            if text:
                yield Mark(float(t[i]), float(t[until - 1]), text)


def to_trace(read: TraceFile) -> Trace:
    """The streams that `assess.counting` works on; an alternating channel is the same stream for both."""
    from sealwright.assess.counting import Stream, Trace

    flow = None if read.flow_cm3_min is None else read.flow_cm3_min / 60
    mask = read.value if read.mask is None else read.mask
    assert mask is not None
    inside = Stream(read.t, mask)
    outside = inside if read.ambient is None else Stream(read.t, read.ambient)
    return Trace(mask=inside, ambient=outside, unit=read.unit, flow_cm3_s=flow, step_s=read.step_s)
