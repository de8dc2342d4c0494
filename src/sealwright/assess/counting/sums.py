"""Samples to sums: which samples belong to which window, and what they add up to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sealwright.assess.counting.shapes import Floats, Stream, Trace, Window
from sealwright.errors import BadInput

Ints = NDArray[np.intp]
_T = TypeVar("_T", np.float64, np.intp)
_TOUCH = 0.1
"""Windows of the two airs may overlap by this share of the mask's before they count as simultaneous. Ours."""


@dataclass(frozen=True, eq=False)
class Sums:
    """One row a window: `total` of the values that are numbers and not below zero, how many those are (`n`), and the
    samples' index from `first` (included) to `until` (not). `start`, `end`: s."""

    total: Floats
    n: Ints
    first: Ints
    until: Ints
    start: Floats
    end: Floats

    @property
    def mean(self) -> Floats:
        """Mean value; NaN in a window without samples."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return self.total / self.n

    def kept(self, keep: NDArray[np.bool_] | Ints) -> Sums:
        """The rows marked true, or those with these indices."""
        return Sums(self.total[keep], self.n[keep], self.first[keep], self.until[keep], self.start[keep],
                    self.end[keep])


def sums(stream: Stream, start: Floats, end: Floats, step_s: float) -> Sums:
    """A sample belongs to a window when its middle lies within. Added up pairwise by NumPy, window by window, so that
    rounding does not pile up over a day as it would in one running sum."""
    t, values = stream.t, stream.values
    first = np.searchsorted(t, start + step_s / 2, side="left")
    until = np.maximum(np.searchsorted(t, end + step_s / 2, side="left"), first)
    n = until - first
    if len(values) and not values.min() >= 0:  # NaN included
        good = values >= 0
        values, n = np.where(good, values, 0.0), _reduced(good.astype(np.intp), first, until)
    return Sums(_reduced(values, first, until), n, first, until, start, end)


def _reduced(values: NDArray[_T], first: Ints, until: Ints) -> NDArray[_T]:
    """Sum of values[first:until] for each window, in any order and overlapping."""
    if not len(values) or not len(first):
        return np.zeros(len(first), dtype=values.dtype)
    ends = np.empty(2 * len(first), dtype=np.intp)
    ends[::2], ends[1::2] = first, until
    last = len(values)
    if until.max() >= last:  # reduceat takes no index past the end
        values = np.append(values, values.dtype.type(0))
        np.minimum(ends, last, out=ends)
    got: NDArray[_T] = np.add.reduceat(values, ends)[::2]
    got[first == until] = 0
    return got


def edges(windows: Sequence[Window]) -> tuple[Floats, Floats]:
    """Starts and ends, s."""
    n = len(windows)
    return (np.fromiter([w.start_s for w in windows], np.float64, n),
            np.fromiter([w.end_s for w in windows], np.float64, n))


def beside(mask_start: Floats, mask_end: Floats, start: Floats, end: Floats) -> tuple[Ints, Ints]:
    """For each mask window the ambient windows (rising in time) whose mean stands for it.

    Those that overlap it, where the room is counted at the same time; else the nearest before and the nearest after;
    at either end of the test the one that there is. First and last (included) index into the ambient windows.
    """
    if not len(start):
        raise BadInput("No ambient window with samples", place="windows",
                       mend="Give at least one window of the air outside")
    slack = _TOUCH * (mask_end - mask_start)
    before = np.searchsorted(np.maximum.accumulate(end), mask_start + slack, side="right") - 1
    after = np.searchsorted(start, mask_end - slack, side="left")
    low = np.where(after - before > 1, before + 1, np.where(before < 0, after, before))
    high = np.where(after - before > 1, after - 1, np.where(after >= len(start), before, after))
    return low, high


def in_order(trace: Trace) -> Trace:
    """The samples by rising time, as they should have come; a clock that jumped is a doubt (see `quality`)."""
    mask = _rising(trace.mask)
    ambient = mask if trace.ambient is trace.mask else _rising(trace.ambient)
    return trace if mask is trace.mask and ambient is trace.ambient else replace(trace, mask=mask, ambient=ambient)


def _rising(s: Stream) -> Stream:
    if (s.t[1:] >= s.t[:-1]).all():
        return s
    order = np.argsort(s.t, kind="stable")
    return Stream(s.t[order], s.values[order])


def factors(trace: Trace, windows: Sequence[Window], purge_s: float = 0.0) -> Floats:
    """Fit factor of each mask window, in the order given; NaN where nothing was counted in the mask or no sample is.

    The fast path: no intervals, no pooling of windows. Values below zero and NaN are left out as missing.
    """
    trace = in_order(trace)
    start, end = edges(windows)
    mask = np.fromiter([w.air == "mask" for w in windows], np.bool_, len(windows))
    inside, outside = _both(trace, start + purge_s if purge_s else start, end, mask)
    outside = _rows_in_order(outside)
    low, high = beside(inside.start, inside.end, outside.start, outside.end)
    with np.errstate(invalid="ignore", divide="ignore"):
        got = spanned(outside.mean, low, high) / inside.mean
    got[inside.total == 0] = np.nan
    return got


def running_means(stream: Stream) -> Callable[[Floats, Floats], Floats]:
    """A function of starts and ends, s, to the mean of the samples that end within each; NaN where none does.

    From one running sum: good enough to look at, not for a factor that counts.
    """
    added = np.concatenate([[0.0], np.cumsum(stream.values)])

    def means(start: Floats, end: Floats) -> Floats:
        first, until = (np.searchsorted(stream.t, at, side="right") for at in (start, end))
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(until > first, (added[until] - added[first]) / (until - first), np.nan)

    return means


def _both(trace: Trace, start: Floats, end: Floats, mask: NDArray[np.bool_]) -> tuple[Sums, Sums]:
    """Mask windows and ambient windows; in one go where one counter made both."""
    if trace.mask is trace.ambient:
        every = sums(trace.mask, start, end, trace.step_s)
        return every.kept(mask), every.kept(~mask)
    return (sums(trace.mask, start[mask], end[mask], trace.step_s),
            sums(trace.ambient, start[~mask], end[~mask], trace.step_s))


def _rows_in_order(s: Sums) -> Sums:
    """Rising in time, without those that hold no sample."""
    if (s.n > 0).all() and (s.start[1:] >= s.start[:-1]).all():
        return s
    order = np.argsort(s.start, kind="stable")
    return s.kept(order[s.n[order] > 0])


def ambient_sums(trace: Trace, room: Sequence[Window], purge_s: float) -> Sums:
    """Sums of the ambient windows, rising in time, without those that hold no sample."""
    start, end = edges(room)
    return _rows_in_order(sums(trace.ambient, start + purge_s, end, trace.step_s))


def spanned(values: Floats, low: Ints, high: Ints) -> Floats:
    """Mean of values[low..high], ends included."""
    wide = high - low > 1
    got: Floats = (values[low] + values[high]) / 2
    for i in np.flatnonzero(wide):
        got[i] = values[low[i]:high[i] + 1].mean()
    return got
