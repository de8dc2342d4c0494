"""Particle counts to fit factors.

A day of twelve counters at 1 Hz: one million samples, every exercise a window and the room between. Baselines: NumPy's
means of the same windows, (a) found in the samples' times and added by one `np.add.reduceat`, the same job and so the
fair one; (b) with the indices ready made, (c) by a Python loop over slices. Aim: under 5 times (a). Then a test of some
minutes with intervals. Aim: under 20 ms.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from sealwright.assess.counting import Stream, Trace, Window, factors, measure
from sealwright.assess.counting.tally import tally

SAMPLES, MASK_S, ROOM_S = 1_000_000, 50, 20


def windows_for(seconds: int) -> list[Window]:
    """Room and mask by turns; the window begins on a sample."""
    out, at = [Window(exercise="", air="ambient", start_s=0, end_s=ROOM_S)], ROOM_S
    while at + MASK_S + ROOM_S <= seconds:
        out.append(Window(exercise=f"exercise-{len(out) // 2 % 7}", air="mask", start_s=at, end_s=at + MASK_S))
        out.append(Window(exercise="", air="ambient", start_s=at + MASK_S, end_s=at + MASK_S + ROOM_S))
        at += MASK_S + ROOM_S
    return out


def trace_for(windows: list[Window], seconds: int) -> Trace:
    rng = np.random.default_rng(7)
    rate = np.full(seconds, 5000.0)
    for w in windows:
        if w.air == "mask":
            rate[int(w.start_s):int(w.end_s)] = 5000 / np.exp(rng.uniform(3, 8))
    stream = Stream(t=np.arange(1, seconds + 1, dtype=float), values=rng.poisson(rate).astype(float))
    return Trace(mask=stream, ambient=stream, unit="count", flow_cm3_s=1.67, step_s=1.0)


def means(trace: Trace, windows: list[Window]) -> object:
    """Baseline (a)."""
    t, values = trace.mask.t, trace.mask.values
    ends = np.empty(2 * len(windows), dtype=np.intp)
    ends[::2] = np.searchsorted(t, np.array([w.start_s for w in windows]), side="right")
    ends[1::2] = np.searchsorted(t, np.array([w.end_s for w in windows]), side="right")
    return np.add.reduceat(values, np.minimum(ends, len(values) - 1))[::2] / (ends[1::2] - ends[::2])


def best(work: Callable[[], object], rounds: int = 9) -> float:
    """Least process time of some rounds, s."""
    took = []
    for _ in range(rounds):
        began = time.process_time()
        work()
        took.append(time.process_time() - began)
    return min(took)


def main() -> None:
    windows = windows_for(SAMPLES)
    trace = trace_for(windows, SAMPLES)
    values = trace.mask.values
    pairs = [(int(w.start_s), int(w.end_s)) for w in windows]
    flat = np.minimum(np.array(pairs).ravel(), SAMPLES - 1)
    lengths = np.diff(np.array(pairs), axis=1).ravel()
    bare = best(lambda: np.add.reduceat(values, flat)[::2] / lengths)
    loop = best(lambda: [values[a:b].mean() for a, b in pairs], 3)
    fair = best(lambda: means(trace, windows))
    ours = best(lambda: factors(trace, windows))
    n = sum(w.air == "mask" for w in windows)
    print(f"{SAMPLES:,} samples, {len(windows):,} windows, {n:,} factors: {1e3 * ours:.1f} ms")
    print(f"  {ours / fair:5.2f} x windows found and added by one reduceat ({1e3 * fair:.1f} ms); aim: under 5")
    print(f"  {ours / bare:5.1f} x one reduceat with indices ready made ({1e3 * bare:.2f} ms)")
    print(f"  {ours / loop:5.2f} x a loop over slices ({1e3 * loop:.1f} ms)")
    one = windows_for(ROOM_S + 7 * (MASK_S + ROOM_S))
    short = trace_for(one, int(one[-1].end_s))
    plain = best(lambda: factors(short, one), 50)
    rows = best(lambda: tally(short, one), 50)
    whole = best(lambda: measure(short, one, pass_level=100, pass_rule="overall"), 50)
    print(f"A test of {one[-1].end_s / 60:.1f} min with intervals, chances, doubts: {1e3 * whole:.1f} ms; "
          "aim: under 20 ms")
    print(f"  {whole / plain:5.0f} x the bare factors ({1e3 * plain:.2f} ms); sums and spread {1e3 * rows:.1f} ms")


if __name__ == "__main__":
    main()
