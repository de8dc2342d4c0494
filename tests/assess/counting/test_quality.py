"""Each doubt with a trace that has the fault, and the same trace without it, which raises none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from tests.assess.counting.made_tests import Floats

from sealwright.assess.counting import Stream, Trace, Window, quality

EXERCISES = ("normal", "deep", "side", "talking", "bend")
Fault = Callable[[Floats, Floats], object]


def windows() -> list[Window]:
    out = [Window(exercise="", air="ambient", start_s=0, end_s=20)]
    for i, name in enumerate(EXERCISES):
        at = 20 + 60 * i
        out += [Window(exercise=name, air="mask", start_s=at, end_s=at + 40),
                Window(exercise="", air="ambient", start_s=at + 40, end_s=at + 60)]
    return out


def good() -> tuple[Floats, Floats]:
    """Times and counts of one counter at 1 Hz: 5000 a second outside (2990 per cm3), 25 in the mask, with breathing."""
    t, rng = np.arange(1.0, 321.0), np.random.default_rng(4)
    rate = np.full(320, 5000.0)
    for w in windows():
        if w.air == "mask":
            n = int(w.end_s - w.start_s)
            rate[int(w.start_s):int(w.end_s)] = 25 * (1 + 0.5 * np.sin(np.arange(n) * 1.6))
    return t, rng.poisson(rate).astype(float)


def codes(fault: Fault | None = None, flow: float | None = 1.67) -> set[str]:
    t, v = good()
    if fault:
        fault(t, v)
    s = Stream(t, v)
    found = quality(Trace(mask=s, ambient=s, unit="count", flow_cm3_s=flow, step_s=1.0), windows(), least_ambient=1000)
    assert all(d.text and not d.text.endswith(".") for d in found)
    return {d.code for d in found}


def low(t: Floats, v: Floats) -> None:
    v[:] = np.floor(v / 4)


def drifting(t: Floats, v: Floats) -> None:
    v[120:] = np.floor(v[120:] * 1.6)


def spike(t: Floats, v: Floats) -> None:
    v[100] = 900


def room_spike(t: Floats, v: Floats) -> None:
    v[65] = 15000


def gap(t: Floats, v: Floats) -> None:
    t[100:] += 6


def clipped(t: Floats, v: Floats) -> None:
    np.minimum(v, 4950, out=v)


def repeated(t: Floats, v: Floats) -> None:
    t[100] = t[99]


def back(t: Floats, v: Floats) -> None:
    t[200:] -= 30


def smoked(t: Floats, v: Floats) -> None:
    v[:] = v + np.where(v < 1000, np.floor(400 * np.exp(-t / 60)), 0)


def speaking(t: Floats, v: Floats) -> None:
    v[200:240:5] += 1500
    v[201:240:5] += 900


def above(t: Floats, v: Floats) -> None:
    v[20:60] = 6500


def swapped(t: Floats, v: Floats) -> None:
    v[:] = np.where(v > 1000, np.floor(v / 200), v * 200)


def negative(t: Floats, v: Floats) -> None:
    v[30] = -1


def missing(t: Floats, v: Floats) -> None:
    v[30] = np.nan


def half_missing(t: Floats, v: Floats) -> None:
    v[20:45] = np.nan


def test_a_sound_trace_raises_no_doubt() -> None:
    assert codes() == set()


@pytest.mark.parametrize("fault, code", [
    (low, "ambient-low"), (drifting, "ambient-drift"), (spike, "spike"), (room_spike, "spike"), (gap, "gap"),
    (clipped, "clipped"), (repeated, "clock-step"), (back, "clock-step"), (smoked, "wearer-particles"),
    (speaking, "wearer-particles"), (above, "wearer-particles"), (swapped, "channels-swapped"), (negative, "negative"),
    (missing, "not-a-number"), (half_missing, "window-short")])
def test_a_fault_is_seen(fault: Fault, code: str) -> None:
    assert code in codes(fault)


@pytest.mark.parametrize("fault, code", [(low, "ambient-low"), (drifting, "ambient-drift"), (spike, "spike"),
                                         (room_spike, "spike"), (clipped, "clipped"), (negative, "negative")])
def test_and_no_other_fault_beside_it(fault: Fault, code: str) -> None:
    assert codes(fault) == {code}


def test_a_slipping_mask_is_not_called_the_wearers_particles() -> None:
    """A leak that grows, and a talking exercise that leaks evenly, are leaks."""
    def growing(t: Floats, v: Floats) -> None:
        v[:] = v + np.where(v < 1000, np.floor(t / 2), 0)

    def talking(t: Floats, v: Floats) -> None:
        v[200:240] = 300 + v[200:240]
    assert codes(growing) == codes(talking) == set()


def test_a_short_window_and_the_purge() -> None:
    t, v = good()
    s = Stream(t, v)
    trace = Trace(mask=s, ambient=s, unit="count", flow_cm3_s=1.67, step_s=1.0)
    assert {d.code for d in quality(trace, windows(), least_ambient=1000, purge_s=17)} == {"window-short"}


def test_without_flow_the_room_is_not_judged_too_thin() -> None:
    assert codes(low, flow=None) == set()


def test_a_doubt_says_where() -> None:
    t, v = good()
    v[100] = 900
    s = Stream(t, v)
    (found,) = quality(Trace(mask=s, ambient=s, unit="count", flow_cm3_s=1.67, step_s=1.0), windows(),
                       least_ambient=1000)
    assert (found.exercise, found.start_s, found.end_s) == ("deep", 100.0, 101.0)
