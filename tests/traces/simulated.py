"""Traces of known truth: one counter that switches as a protocol's score has it, Poisson counts, a slow room."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from sealwright.protocols import compile_score, get

FACTORS = {"normal-1": 420, "deep": 380, "side": 260, "nod": 240, "talk": 310, "grimace": 45, "bend": 210,
           "normal-2": 400}
LEAD = 60
"""s before the first exercise"""


def truth(factors: dict[str, float] = FACTORS) -> float:
    """29 CFR 1910.134 App. A I.C.2(b)(8), from memory: n / sum(1 / FF), grimace left out."""
    counted = [v for k, v in factors.items() if k != "grimace"]
    return len(counted) / sum(1 / v for v in counted)


def switching(path: Path, *, protocol: str = "us-counting", factors: dict[str, float] = FACTORS, seed: int = 4,
              air: bool = False, marks: bool = False, room: float = 2500.0) -> Path:
    """A CSV of `time`, `counts` (and `air`, `exercise`), one row a second; time is when the sample ended."""
    rng, score = np.random.default_rng(seed), compile_score(get(protocol))
    total = score.lasts + LEAD + 20
    where, what = ["ambient"] * total, [""] * total
    for act in score.of("sample"):
        for s in range(max(0, act.at + LEAD), act.at + act.lasts + LEAD):
            where[s] = act.air
    for act in score.of("exercise"):
        for s in range(act.at + LEAD, act.at + act.lasts + LEAD):
            what[s] = act.exercise
    level = room * np.exp(np.cumsum(rng.normal(scale=0.001, size=total)))
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["time", "counts", *(["air"] if air else []), *(["exercise"] if marks else [])])
        mix = 1.0
        for s in range(total):
            mix = mix * 0.05 + (0.95 if where[s] == "ambient" else 0.0)
            mix = 0.0 if mix < 1e-4 else mix
            mean = level[s] * mix + (1 - mix) * level[s] / factors.get(what[s], 300)
            rows.writerow([s + 1, rng.poisson(mean * 100 / 60), *([where[s]] if air else []),
                           *([what[s]] if marks else [])])
    return path
