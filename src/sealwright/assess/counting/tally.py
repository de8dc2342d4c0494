"""From samples to leaks: one row an exercise and a last row for all that count together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import msgspec
import numpy as np

from sealwright.assess.counting.belief import Belief, Rows
from sealwright.assess.counting.shapes import Floats, Trace, Window
from sealwright.assess.counting.spread import (
    BLOCK_S,
    Clumping,
    Spread,
    clumping,
    drift,
    path_variance,
    room_noise,
)
from sealwright.assess.counting.sums import Ints, Sums, ambient_sums, beside, edges, in_order, spanned, sums
from sealwright.errors import BadInput


@dataclass(frozen=True, eq=False)
class Tally:
    """Per exercise, in the order of their first windows: `mask`, `ambient` mean values in the trace's unit, `counted`
    particles in the mask (NaN: not known), `seconds` sampled there. `belief`: of each exercise, then of all together;
    None when counts are not known."""

    firsts: tuple[Window, ...]
    mask: Floats
    ambient: Floats
    counted: Floats
    seconds: Floats
    belief: Belief | None

    @property
    def counts(self) -> Floats:
        """1.0 for each exercise in the overall factor."""
        return np.array([float(w.counts) for w in self.firsts])


@dataclass(frozen=True, eq=False)
class _Parts:
    """Mask windows with samples, their ambient windows, and the exercise each belongs to."""

    inside: Sums
    outside: Sums
    low: Ints
    high: Ints
    owner: Ints
    reach: Floats
    """ambient mean times samples: what the mask window's total is compared with"""


def tally(trace: Trace, windows: Sequence[Window], purge_s: float = 0.0) -> Tally:
    """Raises BadInput when no counting mask window or no ambient window holds a sample."""
    trace, masks = in_order(trace), [w for w in windows if w.air == "mask"]
    start, end = edges(masks)
    all_inside = sums(trace.mask, start + purge_s, end, trace.step_s)
    masks = [w for w, n in zip(masks, all_inside.n, strict=True) if n]
    if not any(w.counts for w in masks):
        raise BadInput("No mask window with samples", place="windows",
                       mend="Give windows within the trace, longer than the purge")
    inside = all_inside.kept(all_inside.n > 0)
    outside = ambient_sums(trace, [w for w in windows if w.air == "ambient"], purge_s)
    low, high = beside(inside.start, inside.end, outside.start, outside.end)
    room = spanned(outside.mean, low, high)
    if not np.all(room > 0):
        raise BadInput("Nothing was counted outside the mask", place="windows",
                       mend="Check the instrument and which stream is which")
    names = list(dict.fromkeys(w.exercise for w in masks))
    owner = np.array([names.index(w.exercise) for w in masks])
    parts = _Parts(inside, outside, low, high, owner, room * inside.n)
    total, reach, n = (_by(owner, v) for v in (inside.total, parts.reach, inside.n.astype(float)))
    firsts = tuple(_first([w for w in masks if w.exercise == name]) for name in names)
    per = trace.per_value
    return Tally(firsts, total / n, reach / n, total * (np.nan if per is None else per), n * trace.step_s,
                 None if per is None else _belief(trace, parts, per, np.array([float(w.counts) for w in firsts])))


def _first(windows: list[Window]) -> Window:
    """The first window of an exercise; it counts when any of them does."""
    return msgspec.structs.replace(windows[0], counts=any(w.counts for w in windows))


def _by(owner: Ints, values: Floats) -> Floats:
    """Sums by exercise."""
    got: Floats = np.bincount(owner, weights=values).astype(np.float64)
    return got


def _belief(trace: Trace, p: _Parts, per: float, counts: Floats) -> Belief:
    outside = Sums(p.outside.total * per, p.outside.n, p.outside.first, p.outside.until, p.outside.start, p.outside.end)
    noise, _ = room_noise(_clean(trace.ambient.values) * per, outside, trace.step_s)
    k, reach = (_by(p.owner, v) * per for v in (p.inside.total, p.reach))
    lengths = np.maximum(1, p.inside.n * trace.step_s / BLOCK_S)
    clump = _by(p.owner, (p.inside.total * per) ** 2 / lengths)
    weights = np.vstack([np.diag(1 / reach), counts / counts.sum() / reach])
    shares = _shares(weights * k, p.owner, p.reach * per / reach[p.owner])
    room, path = _room(p, outside, shares, noise)
    rows = Rows(leak=weights @ k, chance=weights**2 @ k, clump=weights**2 @ clump, heaviest=weights.max(axis=1),
                noise=room, path=path)
    wander = drift(outside, noise)
    return Belief(rows, clumping(_clean(trace.mask.values) * per, p.inside, trace.step_s, wander.value), wander)


def _clean(values: Floats) -> Floats:
    got: Floats = np.where(values >= 0, values, 0.0)
    return got


def _shares(leaks: Floats, owner: Ints, within: Floats) -> Floats:
    """By which share the ambient error of each mask window enters each row, (rows, mask windows)."""
    total = leaks.sum(axis=1, keepdims=True)
    n = leaks.shape[1]
    even = np.vstack([np.eye(n), np.full((1, n), 1 / n)])
    with np.errstate(invalid="ignore"):
        share = np.where(total > 0, leaks / total, even)
    got: Floats = share[:, owner] * within
    return got


def _room(p: _Parts, outside: Sums, shares: Floats, noise: Floats) -> tuple[Floats, Floats]:
    """Variance of each row's ambient mean from noise, and for a drift of rate 1 (the delta method on logarithms)."""
    mean, use = outside.mean, np.zeros((len(p.owner), len(outside.n)))
    for m, (low, high) in enumerate(zip(p.low, p.high, strict=True)):
        part = mean[low:high + 1] if high - low > 1 else mean[[low, high]]
        np.add.at(use[m], np.arange(low, high + 1) if high - low > 1 else [low, high], part / part.sum())
    weight = shares @ use
    path = np.empty(len(shares))
    for r, share in enumerate(shares):
        path[r] = path_variance(_spans(p.inside, share), _spans(outside, weight[r]))
    got: Floats = weight**2 @ noise
    return got, path


def _spans(s: Sums, weight: Floats) -> tuple[Floats, Floats, Floats]:
    used = weight != 0
    return s.start[used], s.end[used], weight[used]


def from_counts(k: Floats, reach: Floats, noise: Floats, counts: Floats) -> Belief:
    """Single totals: particles in the mask, what they are compared with, relative variance of the ambient counts.

    Neither clumping nor drift can be seen in single totals; each ambient count is taken as its own.
    """
    weights = np.vstack([np.diag(1 / reach), counts / counts.sum() / reach])
    n = len(k)
    shares = _shares(weights * k, np.arange(n), np.ones(n))
    zero = np.zeros(n + 1)
    rows = Rows(leak=weights @ k, chance=weights**2 @ k, clump=zero, heaviest=weights.max(axis=1),
                noise=shares**2 @ noise, path=zero)
    return Belief(rows, Clumping(0.0, 0.0, 0.0), Spread(0.0, 0.0))
