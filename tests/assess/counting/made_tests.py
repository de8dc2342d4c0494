"""Invented tests with a known truth, for simulations. Fixed seeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from sealwright.assess.counting import Stream, Trace, Window

Floats = NDArray[np.float64]
NAMES = ("normal", "deep", "side", "nod", "talk", "bend", "again")


@dataclass(frozen=True)
class Regime:
    """One kind of test: alternating ambient (`room_s`) and mask (`mask_s`) windows of one counter at `step` s.

    expected: particles per mask window, drawn log-uniformly between these two for each exercise; breath: variation of
    the leak in a breath and beyond it (coefficient); drift: of the room's logarithm per root second; white: noise of
    the room beyond counting, per sample; room: particles per cm3.
    """

    expected: tuple[float, float]
    breath: float = 0.0
    drift: float = 0.001
    white: float = 0.0
    room: float = 3000.0
    mask_s: float = 50.0
    room_s: float = 10.0
    flow: float = 1.67
    step: float = 1.0
    short: bool = False
    """the shortened protocol: room only before and after"""


@dataclass(frozen=True)
class Made:
    trace: Trace
    windows: tuple[Window, ...]
    leaks: Floats
    """1 / true factor of each exercise"""


def layout(r: Regime) -> tuple[Window, ...]:
    out, at = [Window(exercise="", air="ambient", start_s=0, end_s=r.room_s)], r.room_s
    for i, name in enumerate(NAMES):
        out.append(Window(exercise=name, air="mask", start_s=at, end_s=at + r.mask_s))
        at += r.mask_s
        if not r.short or i == len(NAMES) - 1:
            out.append(Window(exercise=name, air="ambient", start_s=at, end_s=at + r.room_s))
            at += r.room_s
    return tuple(out)


def breathing(rng: np.random.Generator, n: int, step: float, size: float) -> Floats:
    """A leak's course: a breath of about 4 s with wandering phase, and slower unevenness with a memory of 1.5 s.

    The expectation is 1; half of the variance is in either part.
    """
    if not size:
        return np.ones(n)
    phase = rng.uniform(0, 2 * np.pi) + 2 * np.pi * step / 4 * np.arange(n) + np.cumsum(rng.normal(0, 0.25, n))
    memory = np.exp(-step / 1.5)
    push = rng.normal(0, np.sqrt(1 - memory**2), n)
    push[0] = rng.normal()
    slow = lfilter([1.0], [1.0, -memory], push)
    s2 = np.log(1 + size**2 / 2)
    return (1 + size * np.sin(phase)) * np.exp(np.sqrt(s2) * slow - s2 / 2)


def make(r: Regime, rng: np.random.Generator) -> Made:
    """The true factor of an exercise: what counting without end would give, the room's mean over its window known."""
    windows = layout(r)
    n = round(windows[-1].end_s / r.step)
    walk = np.exp(np.cumsum(rng.normal(0, r.drift * np.sqrt(r.step), n)) + rng.normal(0, r.white, n))
    room = r.room * r.flow * r.step * walk
    leaks = np.exp(rng.uniform(*np.log(r.expected), len(NAMES))) / (r.mask_s * r.flow * r.room)
    rate, uneven = room.copy(), breathing(rng, n, r.step, r.breath)
    truth = np.empty(len(NAMES))
    for i, w in enumerate(w for w in windows if w.air == "mask"):
        at = slice(round(w.start_s / r.step), round(w.end_s / r.step))
        rate[at] = leaks[i] * room[at] * uneven[at]
        truth[i] = leaks[i]
    counts = Stream(t=(np.arange(n) + 1) * r.step, values=rng.poisson(rate).astype(float))
    return Made(Trace(mask=counts, ambient=counts, unit="count", flow_cm3_s=r.flow, step_s=r.step), windows, truth)
