"""Doubts about the samples: what weakens the number, said modestly. All limits are ours and can be set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sealwright.assess.counting.shapes import Floats, Stream, Trace, Window
from sealwright.assess.measured import Doubt

LEAST_AMBIENT = 1000.0
"""Particles per cm3 outside. Common practice, no source."""
_TOP_STEPS = 50
"""A top below so many steps of the instrument is no ceiling but a small number that happens often."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """When a doubt is raised. Ours."""

    drift: float = 0.3
    """change of the room's mean from one ambient window to the next, as a share of the smaller"""
    spike: float = 5.0
    """a mask sample so many times its neighbours and its window's median"""
    room_spike: float = 2.0
    """an ambient sample so many times its neighbours"""
    short: float = 0.8
    """samples fill less than this share of a window"""
    least_s: float = 5.0
    """a window shorter than this after the purge"""
    flat: int = 3
    """so many samples in a row at the stream's maximum"""
    decay: float = 2.0
    """the first mask window above the second and the last by this factor, while both fall within"""
    falling: float = 1.2
    """what is called falling within a window: its first half above its second by this factor"""
    bursts: float = 5.0
    """a talking exercise above the middle one of the others by this factor"""


@dataclass(frozen=True, eq=False)
class Piece:
    """A window with its samples."""

    window: Window
    t: Floats
    values: Floats

    @property
    def good(self) -> Floats:
        got: Floats = self.values[self.values >= 0]
        return got

    @property
    def mean(self) -> float:
        return float(self.good.mean()) if len(self.good) else float("nan")

    @property
    def seconds(self) -> float:
        return self.window.end_s - self.window.start_s


@dataclass(frozen=True, eq=False)
class Look:
    """What the checks see: pieces in time after the purge, the trace with its times put in order."""

    trace: Trace
    mask: tuple[Piece, ...]
    room: tuple[Piece, ...]
    limits: Limits
    least_ambient: float

    def counts(self, value: float) -> float:
        """Particles counted for a value; where not known, enough to let a ratio alone decide."""
        per = self.trace.per_value
        return 1e9 if per is None else value * per


def quality(trace: Trace, windows: Sequence[Window], *, least_ambient: float = LEAST_AMBIENT, purge_s: float = 0.0,
            limits: Limits | None = None) -> tuple[Doubt, ...]:
    """Every doubt about samples within the windows and about the clock. `least_ambient`: particles per cm3."""
    ordered = tuple(sorted(windows, key=lambda w: w.start_s))
    look = Look(trace, tuple(_piece(trace.mask, w, trace.step_s, purge_s) for w in ordered if w.air == "mask"),
                tuple(_piece(trace.ambient, w, trace.step_s, purge_s) for w in ordered if w.air == "ambient"),
                limits or Limits(), least_ambient)
    return tuple(doubt for check in _CHECKS for doubt in check(look))


def _piece(stream: Stream, w: Window, step_s: float, purge_s: float) -> Piece:
    start = w.start_s + purge_s
    middle = stream.t - step_s / 2
    inside = (middle >= start) & (middle < w.end_s)
    kept = Window(exercise=w.exercise, air=w.air, start_s=min(start, w.end_s), end_s=w.end_s, counts=w.counts,
                  title=w.title)
    return Piece(kept, stream.t[inside], stream.values[inside])


def _at(code: str, text: str, p: Piece, start: float | None = None, end: float | None = None) -> Doubt:
    w = p.window
    return Doubt(code=code, text=text, exercise=w.exercise, start_s=float(w.start_s if start is None else start),
                 end_s=float(w.end_s if end is None else end))


def _called(p: Piece) -> str:
    w = p.window
    return f"“{w.title or w.exercise}”" if w.air == "mask" else f"room at {w.start_s:.0f} s"


def _no_numbers(look: Look) -> Iterator[Doubt]:
    for p in (*look.mask, *look.room):
        if n := int(np.isnan(p.values).sum()):
            yield _at("not-a-number", f"{_called(p)}: {n} of {len(p.values)} samples are no number; left out", p)
        if n := int((p.values < 0).sum()):
            yield _at("negative", f"{_called(p)}: {n} of {len(p.values)} samples are below zero; left out", p)


def _clock(look: Look) -> Iterator[Doubt]:
    streams = (look.trace.mask,) if look.trace.mask is look.trace.ambient else (look.trace.mask, look.trace.ambient)
    for t in (s.t for s in streams):
        back = np.flatnonzero(np.diff(t) < 0.5 * look.trace.step_s)
        if len(back):
            i = int(back[0])
            yield Doubt(code="clock-step", text=f"The samples' times jump back or repeat ({len(back)}); put in order",
                        start_s=float(min(t[i], t[i + 1])), end_s=float(max(t[i], t[i + 1])))


def _gaps(look: Look) -> Iterator[Doubt]:
    step = look.trace.step_s
    for p in (*look.mask, *look.room):
        apart = np.diff(np.sort(p.t))
        if len(apart) and apart.max() > 1.9 * step:
            i = int(apart.argmax())
            yield _at("gap", f"{_called(p)}: no sample for {apart[i] - step:.3g} s", p, np.sort(p.t)[i],
                      np.sort(p.t)[i + 1])


def _short(look: Look) -> Iterator[Doubt]:
    for p in (*look.mask, *look.room):
        had = len(p.good) * look.trace.step_s
        if p.seconds < look.limits.least_s:
            yield _at("window-short", f"{_called(p)}: only {p.seconds:.3g} s of sampling", p)
        elif had < look.limits.short * p.seconds:
            yield _at("window-short", f"{_called(p)}: {had:.3g} of {p.seconds:.3g} s have samples", p)


def _room_low(look: Look) -> Iterator[Doubt]:
    scale = look.trace.concentration
    if scale is None:
        return
    low = [p for p in look.room if p.mean * scale < look.least_ambient]
    if low:
        least = min(p.mean for p in low) * scale
        yield _at("ambient-low", f"Down to {least:.0f} particles per cm3 outside; {look.least_ambient:.0f} are asked "
                                 "for", low[0], end=low[-1].window.end_s)


def _room_drift(look: Look) -> Iterator[Doubt]:
    for a, b in zip(look.room, look.room[1:], strict=False):
        less, more = sorted((a.mean, b.mean))
        noise = 4 * np.sqrt(2 / max(look.counts(less * min(len(a.good), len(b.good))), 1.0))
        if less > 0 and more / less - 1 > max(look.limits.drift, noise):
            yield _at("ambient-drift", f"The room changed by {100 * (b.mean / a.mean - 1):+.0f} % between "
                                       f"{a.window.start_s:.0f} and {b.window.end_s:.0f} s", a, end=b.window.end_s)


def _spikes(look: Look) -> Iterator[Doubt]:
    for p in (*look.mask, *look.room):
        v = p.values
        if len(v) < 4:
            continue
        padded = np.concatenate([[v[1]], v, [v[-2]]])
        beside = np.maximum(padded[:-2], padded[2:])
        mask = p.window.air == "mask"
        times, base = (look.limits.spike, np.nanmedian(v)) if mask else (look.limits.room_spike, 0.0)
        floor = 0.0 if look.trace.per_value is None else 25 / look.trace.per_value
        high = np.flatnonzero(v > times * np.maximum(beside, base) + floor)
        if len(high):
            yield _at("spike", f"{_called(p)}: {_single(len(high))}", p,
                      p.t[high[0]] - look.trace.step_s, p.t[high[-1]])


def _single(n: int) -> str:
    return "a single sample stands far above its neighbours" if n == 1 else (
        f"{n} single samples stand far above their neighbours")


def _clipped(look: Look) -> Iterator[Doubt]:
    alone = look.trace.mask is look.trace.ambient
    for pieces in ((*look.mask, *look.room),) if alone else (look.mask, look.room):
        good = [p.good for p in pieces if len(p.good)]
        levels = np.unique(np.concatenate(good)) if good else np.zeros(0)
        if len(levels) < 2 or levels[-1] < _TOP_STEPS * np.diff(levels).min():
            continue
        for p in pieces:
            flat = _longest(p.values == levels[-1])
            if flat >= look.limits.flat:
                yield _at("clipped", f"{_called(p)}: {flat} samples in a row stick at the highest value, "
                                     f"{levels[-1]:.6g}", p)


def _longest(true: object) -> int:
    """Length of the longest run."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(true, dtype=int), [0]])))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0


def _swapped(look: Look) -> Iterator[Doubt]:
    room = np.nanmean([p.mean for p in look.room]) if look.room else np.nan
    above = [p for p in look.mask if p.mean > room]
    if above and 2 * len(above) > len(look.mask):
        yield Doubt(code="channels-swapped", text="More particles inside the mask than outside in most exercises: "
                                                  "channels swapped, or the facepiece is off?")
    elif above:
        yield _at("wearer-particles", f"{_called(above[0])}: more particles inside the mask than outside; particles "
                                      "from the wearer (smoking shortly before?) are suspected", above[0])


def _decay(look: Look) -> Iterator[Doubt]:
    first = look.mask[:2]
    if len(look.mask) < 3 or not all(_falls(look, p) for p in first):
        return
    last = min(p.mean for p in look.mask[2:])
    if first[0].mean > look.limits.decay * max(first[1].mean, last):
        yield _at("wearer-particles", "Particles in the mask die away slowly from the start; particles from the wearer "
                                      "(smoking shortly before?) are suspected", first[0], end=first[1].window.end_s)


def _falls(look: Look, p: Piece) -> bool:
    half = len(p.values) // 2
    early, late = float(np.nansum(p.values[:half])), float(np.nansum(p.values[half:2 * half]))
    certain = look.counts(early - late) > 4 * np.sqrt(max(look.counts(early + late), 0.0))
    return bool(certain and early > look.limits.falling * late)


def _talking(look: Look) -> Iterator[Doubt]:
    talk = [p for p in look.mask if "talk" in p.window.exercise.lower() and len(p.good)]
    rest = [p.mean for p in look.mask if "talk" not in p.window.exercise.lower() and len(p.good)]
    for p in talk:
        usual = float(np.median(rest)) if len(rest) > 2 else float("inf")
        bursts = np.percentile(p.good, 90) > 2 * np.median(p.good)
        enough = look.counts(float(p.good.sum())) > 50
        if p.mean > look.limits.bursts * usual and bursts and enough:
            yield _at("wearer-particles", f"{_called(p)}: particles in bursts while the other exercises are low; they "
                                          "may be the wearer's own, from speech, and not a leak", p)


_CHECKS = (_no_numbers, _clock, _gaps, _short, _room_low, _room_drift, _spikes, _clipped, _swapped, _decay, _talking)
