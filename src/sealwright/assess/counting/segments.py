"""Even bins, change points, and pieces of known lengths laid over a stretch of a trace. All thresholds are ours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sealwright.assess.counting.shapes import Floats, Stream, Trace

MOST_BINS = 4000
BREATH_S = 5.0
"""About one breath: shorter changes are breathing."""
ALIKE = 12.0
"""Bins that count as one: averaged over a breath, neighbours tell the same."""
VISIBLE = 0.12
"""Decades: a smaller change between exercises is not seen."""


@dataclass(frozen=True, eq=False)
class Bins:
    """Values on an even grid: bin i from `start + i * step` on. `y`: logarithms to base 10."""

    start: float
    step: float
    y: Floats

    def at(self, i: float) -> float:
        return float(self.start + i * self.step)

    def index(self, s: float) -> int:
        return int(np.clip(round((s - self.start) / self.step), 0, len(self.y)))


def grid(stream: Stream, step_s: float) -> tuple[float, float, Floats]:
    """Start, bin width, and the mean value in each bin; what is missing is bridged."""
    start, end = float(stream.t[0]) - step_s, float(stream.t[-1])
    step = max(step_s, min(1.0, 5 * step_s), (end - start) / MOST_BINS)
    n = max(1, round((end - start) / step))
    which = np.clip(((stream.t - step_s / 2 - start) / step).astype(int), 0, n - 1)
    good = stream.values >= 0
    total = np.bincount(which[good], stream.values[good], n)
    number = np.bincount(which[good], minlength=n)
    seen = np.flatnonzero(number)
    return start, step, np.interp(np.arange(n), seen, total[seen] / number[seen]) if len(seen) else np.zeros(n)


def coarse(stream: Stream, step_s: float) -> Bins:
    """To tell room air from mask air: running medians; what lies more than 2.5 decades below the room is all one."""
    start, step, values = grid(stream, step_s)
    floor = max(float(np.quantile(values, 0.9)) * 0.003, 1e-9)
    return Bins(start, step, np.log10(np.maximum(median(values, max(1, round(2 / step))), floor)))


def fine(values: Floats, step: float, one: float) -> tuple[Floats, Floats]:
    """To tell exercises apart: spikes capped, means over about a breath, half a particle (`one`) where none came.

    Logarithms, and the variance that counting alone gives them (of a Poisson count n: log10(e)^2 / n)."""
    size = max(1, round(BREATH_S / step))
    capped = np.minimum(values, 4 * median(values, size) + 6 * one * step / size)
    means = np.maximum(_mean(capped, size), 0.5 * one / size)
    return np.log10(means), 0.19 / (_mean(means, 4 * size) * size / one + 0.5)


def _mean(values: Floats, size: int) -> Floats:
    """Running mean over `size` bins."""
    padded = np.pad(values, (size // 2, size - 1 - size // 2), mode="edge")
    sums = np.concatenate([[0.0], np.cumsum(padded)])
    got: Floats = np.maximum(sums[size:] - sums[:-size], 0.0) / size
    return got


def one_particle(trace: Trace, step: float) -> float:
    """The mean value of a bin in which one particle was counted; where that is not known, the smallest value seen."""
    if trace.per_value:
        return trace.step_s / step / trace.per_value
    some = trace.mask.values[trace.mask.values > 0]
    return float(some.min()) if len(some) else 1.0


def median(values: Floats, half: int) -> Floats:
    """Running median over 2 half + 1 bins."""
    padded = np.pad(values, half, mode="edge")
    got: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)
    return got


def changes_in(y: Floats, least: float, shortest: int) -> list[int]:
    """Indices at which the level changes. `least`: sum of squares, decades^2, that a change must explain."""
    import ruptures

    if len(y) < 2 * shortest + 2:
        return []
    noise = float(np.median(np.abs(np.diff(y)))) / 0.95
    penalty = max(least, 3 * np.log(len(y)) * noise**2)
    found = ruptures.KernelCPD(kernel="linear", min_size=max(2, shortest)).fit(y[:, None]).predict(pen=penalty)
    return [int(i) for i in found[:-1]]


def placed(y: Floats, chance: Floats, wanted: Sequence[float], *, free_ends: bool,
            loose: float = 0.0) -> tuple[list[int], list[bool]]:
    """Boundaries that part y into pieces of about the wanted lengths, levels as even as can be; and for each boundary
    whether a change is seen there.

    Dynamic programming over boundaries: squares about each piece's mean, over the noise, and squares of (length -
    wanted) over a tolerance. free_ends: y may begin before and end after the pieces; what is outside costs as much a
    bin as noise does. loose: tolerance of the first and the last length, bins.
    """
    n, k = len(y), len(wanted)
    scale = min(1.0, n / sum(wanted)) if free_ends else n / sum(wanted)
    lengths = [w * scale for w in wanted]
    weight = 1 / (_noise(y, chance) + chance)
    sums = tuple(np.concatenate([[0.0], np.cumsum(v)]) for v in (weight, weight * y, weight * y**2))
    cost = np.zeros(n + 1) if free_ends else np.where(np.arange(n + 1) == 0, 0.0, np.inf)
    cost = cost + _drag(n, lengths, free_ends)
    back = np.zeros((k, n + 1), dtype=int)
    for i, length in enumerate(lengths):
        cost, back[i] = _next(cost, sums, length, loose if i in (0, k - 1) else 0.0)
    end = int(np.argmin(cost)) if free_ends else n
    if not np.isfinite(cost[end]):
        even = np.round(np.concatenate([[0.0], np.cumsum(lengths)])).astype(int)
        return [int(e) for e in np.minimum(even, n)], [False] * (k + 1)
    cuts = [end]
    for i in reversed(range(k)):
        cuts.append(int(back[i][cuts[-1]]))
    cuts = cuts[::-1]
    return cuts, _seen(y, cuts)


def _noise(y: Floats, chance: Floats) -> float:
    """Variance within a piece beyond that of counting, decades^2: that of most short parts, and somewhat more."""
    parts = [float(np.var(y[i:i + 20]) - chance[i:i + 20].mean()) for i in range(0, max(1, len(y) - 19), 10)]
    return max(1.3 * float(np.median(parts)), 2e-3)


def _drag(n: int, lengths: Sequence[float], free_ends: bool) -> Floats:
    """What beginning late costs, where there is more room than the pieces need: a recording is begun for the test."""
    spare = n - sum(lengths)
    if not free_ends or spare < 1:
        return np.zeros(n + 1)
    late: Floats = np.arange(n + 1) * len(lengths) / sum(lengths)
    return late


def _next(cost: Floats, sums: tuple[Floats, ...], length: float,
          loose: float) -> tuple[Floats, NDArray[np.intp]]:
    """Cost of ending one more piece at each bin, and where that piece begins."""
    n = len(cost) - 1
    spread = max(1.5, 0.05 * length, loose)
    reach = int(min(max(4.0, 0.45 * length), 30 * spread))
    best, begun = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.intp)
    for m in range(max(2, round(length) - reach), round(length) + reach + 1):
        if m > n:
            break
        weight, total, square = (s[m:] - s[:-m] for s in sums)
        tried = cost[:-m] + (square - total**2 / weight - m) / ALIKE + ((m - length) / spread) ** 2 / 2
        better = tried < best[m:]
        best[m:][better] = tried[better]
        begun[m:][better] = np.arange(n + 1 - m)[better]
    return best, begun


def _seen(y: Floats, cuts: Sequence[int]) -> list[bool]:
    """Whether the level changes at each boundary by more than the eye needs; the outer ends count as seen at the edge
    of the data."""
    got = []
    for i, c in enumerate(cuts):
        before = y[cuts[i - 1] if i else max(0, c - 20):c]
        after = y[c:cuts[i + 1] if i + 1 < len(cuts) else c + 20]
        if len(before) < 3 or len(after) < 3:
            got.append(True)
            continue
        apart = abs(float(before.mean() - after.mean()))
        unsure = np.sqrt((before.var() / len(before) + after.var() / len(after)) * 5)
        got.append(bool(apart > max(VISIBLE, 2 * unsure)))
    return got
