"""A column of times to seconds: plain seconds, milliseconds, or timestamps with or without a zone."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, NoReturn, cast

import numpy as np
from numpy.typing import NDArray

from sealwright.traces.cells import Floats, Place, cell_of, numbers, shown
from sealwright.traces.mapping import Mapping, zone_of

if TYPE_CHECKING:
    import pyarrow as pa

Ints = NDArray[np.int64]
_NONE = np.iinfo(np.int64).min
_QUARTER = 15 * 60 * 10**9
_DATE = r"\d{4}[-/]\d{2}[-/]\d{2}[T ]\d{2}:\d{2}(:\d{2}([.,]\d{1,9})?)?"
_NAIVE = re.compile(_DATE)
_ZONED = re.compile(_DATE + r"(Z|[+-]\d{2}(:?\d{2})?)")
_DAY_FIRST = re.compile(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}\b.*", re.S)
_CLOCK = re.compile(r"\d{1,3}:\d{2}(:\d{2})?([.,]\d+)?( ?[ap]m)?", re.I)
ISO = "Write dates as 2026-02-01 12:00:00.5, with the zone at the end if it is known (Z or +01:00)"


class Clock:
    """Reads one column of times, batch after batch. `start_at`: ms since the epoch of the first, where known."""

    def __init__(self, mapping: Mapping) -> None:
        self.unit, self.decimal = mapping.time_unit, "."
        self.zone = cast(tzinfo, zone_of(mapping.zone)) if mapping.zone else None
        self.start_at: float | None = None
        self._zero: float | int | None = None
        self._last, self._zoned, self._clock, self._folded = -np.inf, cast(bool | None, None), _NONE, False

    def seconds(self, cells: pa.Array, place: Place) -> Floats:
        """s from the first time of the file, strictly rising; NaN where a cell is empty."""
        if self.unit == "timestamp":
            ns = self._instants(cells, place)
            got = self._from_first(ns, ns != _NONE)
        else:
            got = self._plain(cells, place)
        self._rising(got, cells, place)
        return got

    def _plain(self, cells: pa.Array, place: Place) -> Floats:
        import pyarrow as pa

        if pa.types.is_temporal(cells.type):
            place.bad(0, f"the column holds {cells.type}, not numbers", 'Say time_unit "timestamp"')
        if pa.types.is_string(cells.type):
            self._refuse_clock(cells, place)
        values = numbers(cells, self.decimal, place)
        if np.isinf(values).any():
            place.bad(int(np.isinf(values).argmax()), "an infinite time", "Put the time of the sample there")
        there = values[~np.isnan(values)]
        if self._zero is None and len(there) > 1:
            day = 20_000 < there[0] < 80_000 and abs(there[1] - there[0]) < 0.004 and self.unit == "s"
            if day and there[0] % 1:
                place.bad(0, f"{there[0]:.5f} looks like a spreadsheet's day number, not seconds", _TO_TEXT)
        if self._zero is None and len(there):
            self._zero = float(there[0])
        got: Floats = (values - (self._zero or 0.0)) / (1000.0 if self.unit == "ms" else 1.0)
        return got

    def _refuse_clock(self, cells: pa.Array, place: Place) -> None:
        first = cell_of(cells, 0).strip() if len(cells) else ""
        if _NAIVE.match(first) or _ZONED.match(first) or _DAY_FIRST.fullmatch(first):
            place.bad(0, f"{shown(first)} is a date, not {'seconds' if self.unit == 's' else 'milliseconds'}",
                      'Say time_unit "timestamp"')
        if _CLOCK.fullmatch(first):
            place.bad(0, f"{shown(first)} is a time of day or a stopwatch's time", "Give seconds, such as 62.5")

    def _from_first(self, ns: Ints, there: NDArray[np.bool_]) -> Floats:
        if self._zero is None and there.any():
            self._zero = int(ns[there.argmax()])
            if self._zoned or self.zone:
                self.start_at = self._zero / 1e6
        got = np.full(len(ns), np.nan)
        got[there] = (ns[there] - int(self._zero or 0)) / 1e9
        return got

    def _rising(self, t: Floats, cells: pa.Array, place: Place) -> None:
        there = np.flatnonzero(~np.isnan(t))
        steps = np.diff(t[there], prepend=self._last)
        if (steps <= 0).any():
            i = int((steps <= 0).argmax())
            back = -float(steps[i])
            mend = "Put the rows in order of time, or cut the file where another recording begins"
            if self.unit == "timestamp" and 1700 <= back <= 7300 and not self._zoned:
                mend = "If clocks were put back then, say the zone (such as Europe/London), or write offsets"
            elif back == 0:
                mend = "Name a column with finer time, or export one sample for each time"
            said = "the same time as in the row before" if back == 0 else f"a time {back:g} s before the row above"
            place.bad(int(there[i]), f"time does not rise: {said}", mend)
        if len(there):
            self._last = float(t[there[-1]])

    # Timestamps

    def _instants(self, cells: pa.Array, place: Place) -> Ints:
        """ns since the epoch, or of the clock on the wall where no zone is known; _NONE where a cell is empty."""
        import pyarrow as pa

        t = cells.type
        if pa.types.is_timestamp(t):
            ns = _ints(cells.cast(pa.timestamp("ns", t.tz)))
            zoned: bool | None = t.tz is not None
        elif pa.types.is_string(t) or pa.types.is_large_string(t):
            ns, zoned = self._read(cells, place)
        elif pa.types.is_integer(t) or pa.types.is_floating(t):
            place.bad(0, f"{shown(cells[0].as_py())} is a number, not a timestamp", 'Say time_unit "s" or "ms"')
        else:
            place.bad(0, f"the column holds {t}, not timestamps", "Name a column of timestamps")
        if zoned is None:
            return ns
        if self._zoned not in (None, zoned):
            place.bad(int((ns != _NONE).argmax()), _MIXED, ISO)
        self._zoned = zoned
        return ns if zoned or self.zone is None else self._by_zone(ns, place)

    def _read(self, cells: pa.Array, place: Place) -> tuple[Ints, bool | None]:
        import pyarrow as pa
        import pyarrow.compute as pc

        text = pc.utf8_trim_whitespace(cells) if _valid(cells) else cells
        text = pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text)
        if text.null_count == len(text):
            return np.full(len(text), _NONE), None
        for tidied in (False, True):
            if tidied:
                text = pc.replace_substring_regex(text, r"^(\d{4})/(\d\d)/(\d\d)", r"\1-\2-\3")
                text = pc.replace_substring(text, ",", ".")
            for zoned in ((True, False) if self._zoned else (False, True)):
                try:
                    return _ints(pc.cast(text, pa.timestamp("ns", "UTC" if zoned else None))), zoned
                except pa.ArrowInvalid:
                    continue
        self._blame(cells, place)

    def _blame(self, cells: pa.Array, place: Place) -> NoReturn:
        kind = self._zoned
        for i in range(len(cells)):
            text = cell_of(cells, i).strip()
            zoned = True if _ZONED.fullmatch(text) else False if _NAIVE.fullmatch(text) else None
            if zoned is None and text:
                _no_timestamp(text, i, place)
            if text and kind not in (None, zoned):
                place.bad(i, _MIXED, ISO)
            kind = zoned if text else kind
            if text and _impossible(text):
                place.bad(i, f"{shown(text)} is no date and time that there is", ISO)
        place.bad(0, "timestamps that cannot be read", ISO)

    def _by_zone(self, ns: Ints, place: Place) -> Ints:
        """The clock on the wall in the zone -> instants. The hour that comes twice is told apart by its order."""
        there = ns != _NONE
        quarter, which = np.unique(ns[there] // _QUARTER, return_inverse=True)
        early, late, gone = _offsets(quarter, cast(tzinfo, self.zone))
        rows = np.flatnonzero(there)
        if gone[which].any():
            i = int(rows[gone[which].argmax()])
            place.bad(i, f"a time of day that {self.zone} skipped when clocks were put forward",
                      "Check the zone, or write the offset of each time (+01:00)")
        twice = early[which] != late[which]
        offset = early[which]
        if twice.any():
            offset = np.where(twice & self._second_time(ns[there], twice, rows, place), late[which], offset)
        self._clock, self._folded = (int(ns[there][-1]), self._folded) if there.any() else (self._clock, self._folded)
        got = ns.copy()
        got[there] -= offset
        return got

    def _second_time(self, ns: Ints, twice: NDArray[np.bool_], rows: NDArray[np.intp],
                     place: Place) -> NDArray[np.bool_]:
        """Whether each row lies after the clocks were put back: from the first row whose clock goes back on."""
        back = np.diff(ns, prepend=self._clock) < 0
        if self._clock == _NONE:
            back[0] = False
            if twice[0] and not (back & twice).any():
                place.bad(int(rows[0]), f"a time of day that comes twice in {self.zone}, and nothing tells which it is",
                          "Write the offset of each time (+01:00)")
        after = np.logical_or.accumulate(np.concatenate([[self._folded], back & twice]))[1:]
        self._folded = bool(after[-1])
        got: NDArray[np.bool_] = after
        return got


_TO_TEXT = ("In the spreadsheet give the column the number format yyyy-mm-dd hh:mm:ss.000, save as CSV again and say "
            'time_unit "timestamp"')
_MIXED = "timestamps with a zone and without one in the same column"


def _valid(cells: pa.Array) -> bool:
    import pyarrow as pa

    try:
        cells.validate(full=True)
    except pa.ArrowInvalid:
        return False
    return True


def _ints(cells: pa.Array) -> Ints:
    import pyarrow as pa

    got: Ints = cells.cast(pa.int64()).fill_null(int(_NONE)).to_numpy(zero_copy_only=False)
    return got


def _no_timestamp(text: str, i: int, place: Place) -> NoReturn:
    """Say what a cell is that is no timestamp."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if 20_000 <= value < 80_000:
        place.bad(i, f"{shown(text)} looks like a spreadsheet's day number", _TO_TEXT)
    if value >= 0:
        place.bad(i, f"{shown(text)} is a number, not a timestamp", 'Say time_unit "s" or "ms"')
    if _DAY_FIRST.fullmatch(text):
        parts = [int(p) for p in re.findall(r"\d+", text)[:2]]
        two = " may be day/month or month/day" if max(parts) <= 12 else " has the year last"
        place.bad(i, f"{shown(text)}{two}", ISO)
    if _CLOCK.fullmatch(text):
        place.bad(i, f"{shown(text)} is a time without a date", "Join date and time in one column, or give seconds")
    place.bad(i, f"{shown(text)} is no timestamp", ISO)


def _impossible(text: str) -> bool:
    try:
        datetime.fromisoformat(text.replace("/", "-").replace(",", ".")[:19])
    except ValueError:
        return True
    return False


def _offsets(quarters: Ints, zone: tzinfo) -> tuple[Ints, Ints, NDArray[np.bool_]]:
    """For each quarter of an hour on the wall: offset the first time, the second time (ns), and whether it was skipped.

    Offsets change on quarters of an hour in all zones of today."""
    early, late, gone = [], [], []
    for q in quarters.tolist():
        wall = datetime(1970, 1, 1) + timedelta(minutes=15 * q)
        first, second = (_offset(wall.replace(tzinfo=zone, fold=f)) for f in (0, 1))
        real = wall.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        skipped = real != wall
        early.append(first)
        late.append(second if not skipped else first)
        gone.append(skipped)
    return np.array(early, np.int64), np.array(late, np.int64), np.array(gone, bool)


def _offset(moment: datetime) -> int:
    return round((moment.utcoffset() or timedelta()).total_seconds() * 1e9)
