"""Invented recordings with known windows: Poisson counts, breathing, drift, spikes, slow washout of the line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sealwright.assess.counting import Stream, Trace, Window
from sealwright.protocols import CountingProtocol, compile_score, get

FLOW = 100 / 60
"""cm3/s"""


@dataclass
class Recording:
    trace: Trace
    windows: list[Window]
    exercises: list[tuple[str, str, float, bool]]
    air: np.ndarray


def exercises_of(name: str) -> list[tuple[str, str, float, bool]]:
    protocol = get(name)
    return [(e.id, e.title, float(e.seconds), e.counts) for e in protocol.exercises]


def alternating(seed: int, factors: Sequence[float], *, name: str = "us-counting", outside: float = 3000.0,
                lead_s: float = 0.0, tail_s: float = 0.0, last_ambient: bool = True, washout_s: float = 1.2,
                drift: float = 0.15, spikes: int = 0, step_s: float = 1.0, clump: float = 0.35) -> Recording:
    """One channel that switches as the protocol's score says. `lead_s`: more room air before, `tail_s`: after."""
    chance, protocol = np.random.default_rng(seed), get(name)
    assert isinstance(protocol, CountingProtocol)
    acts = list(compile_score(protocol).of("sample"))
    if not last_ambient:
        acts = acts[:-1] if acts[-1].air == "ambient" else acts
    zero, end = acts[0].at - lead_s, acts[-1].at + acts[-1].lasts
    total = end - zero + (tail_s if last_ambient else 0)
    t = np.arange(step_s, total + 1e-9, step_s)
    room = outside * np.exp(drift * np.sin(2 * np.pi * t / 800 + chance.uniform(0, 6)))
    breath = np.exp(clump * np.sin(2 * np.pi * t / 4 + chance.uniform(0, 6)) - clump**2 / 4)
    level, air = room.copy(), np.zeros(len(t), np.int8)
    leak = dict(zip([e.id for e in protocol.exercises], factors, strict=True))
    for a in acts:
        inside = (t > a.at - zero) & (t <= a.at - zero + a.lasts)
        if a.air == "mask":
            level[inside], air[inside] = (room * breath / leak[a.exercise])[inside], 1
    mixed = level.copy()
    keep = np.exp(-step_s / washout_s) if washout_s else 0.0
    for i in range(1, len(t)):
        mixed[i] = level[i] + (mixed[i - 1] - level[i]) * keep
    counts = chance.poisson(mixed * FLOW * step_s).astype(float)
    for at in chance.integers(0, len(t), spikes):
        counts[at:at + 2] *= chance.choice([0.02, 30.0])
    titles = {e.id: e.title for e in protocol.exercises}
    windows = [Window(exercise=a.exercise if a.air == "mask" else "", air="mask" if a.air == "mask" else "ambient",
                      start_s=a.at - zero, end_s=a.at - zero + a.lasts, title=titles.get(a.exercise, ""))
               for a in acts]
    stream = Stream(t, counts)
    return Recording(Trace(mask=stream, ambient=stream, unit="count", flow_cm3_s=FLOW, step_s=step_s), windows,
                     exercises_of(name), air)


def both(seed: int, factors: Sequence[float], *, name: str = "us-aerosol", outside: float = 3000.0, lead_s: float = 0,
         tail_s: float = 0, worn: bool = True, jitter_s: float = 0.0, step_s: float = 1.0, clump: float = 0.35,
         drift: float = 0.15, spikes: int = 0) -> Recording:
    """Two channels at once, one exercise after another. `worn` False: before and after the test the facepiece is off;
    else the wearer breathes as in the first and the last exercise. `jitter_s`: exercises begin that much off."""
    chance, exercises = np.random.default_rng(seed), exercises_of(name)
    edges = np.cumsum([lead_s, *(e[2] for e in exercises)])
    edges[1:-1] += chance.uniform(-jitter_s, jitter_s, len(edges) - 2)
    t = np.arange(step_s, edges[-1] + tail_s + 1e-9, step_s)
    room = outside * np.exp(drift * np.sin(2 * np.pi * t / 800 + chance.uniform(0, 6)))
    which = np.clip(np.searchsorted(edges, t - 1e-9) - 1, 0, len(exercises) - 1)
    leak = 1 / np.asarray(factors, float)[which]
    if not worn:
        leak[(t <= edges[0]) | (t > edges[-1])] = 1.0
    breath = np.exp(clump * np.sin(2 * np.pi * t / 4) - clump**2 / 4)
    inside = chance.poisson(room * leak * np.where(leak < 1, breath, 1) * FLOW * step_s).astype(float)
    for at in chance.integers(0, len(t), spikes):
        inside[at:at + 2] = chance.choice([0.0, 30 * inside[at] + 5])
    windows = [Window(exercise=e[0], air="mask", start_s=float(a), end_s=float(b), title=e[1])
               for e, a, b in zip(exercises, edges, edges[1:], strict=False)]
    trace = Trace(mask=Stream(t, inside), ambient=Stream(t, chance.poisson(room * FLOW * step_s).astype(float)),
                  unit="count", flow_cm3_s=FLOW, step_s=step_s)
    return Recording(trace, windows, exercises, np.ones(len(t), np.int8))


def found(recording: Recording, proposed: Sequence[Window], within_s: float = 3.0, airs: str = "mask ambient") -> float:
    """Share of the true windows of which a proposed one of the same exercise and air has both ends within `within_s`.

    Of room air at the outer ends of the recording only the end next to the mask air counts.
    """
    wanted = [w for w in recording.windows if w.air in airs]
    first = min(w.start_s for w in recording.windows if w.air == "mask")
    last = max(w.end_s for w in recording.windows if w.air == "mask")

    def fits(w: Window, p: Window) -> bool:
        starts, ends = abs(w.start_s - p.start_s) <= within_s, abs(w.end_s - p.end_s) <= within_s
        if w.air == "ambient" and (w.end_s <= first or w.start_s >= last):
            return ends if w.end_s <= first else starts
        return starts and ends
    return sum(any(p.air == w.air and p.exercise == w.exercise and fits(w, p) for p in proposed)
               for w in wanted) / len(wanted)
