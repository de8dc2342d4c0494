"""Proposing windows for traces of 600 samples, against splitting them plainly at a threshold. Aim: under 200 ms."""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from sealwright.assess.counting.windows import propose

PATH = Path(__file__).resolve().parent.parent / "tests" / "assess" / "counting" / "recorded.py"


def recordings() -> Any:
    spec = importlib.util.spec_from_file_location("recorded", PATH)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules["recorded"] = module
    spec.loader.exec_module(module)
    return module


def threshold(recording: Any) -> list[int]:
    """Room air is what lies above the middle between the extremes of the logarithm."""
    y = np.log10(np.maximum(recording.trace.mask.values, 0.5))
    return np.flatnonzero(np.diff((y > (y.max() + y.min()) / 2).astype(int))).tolist()


def each_ms(work: Callable[[Any], object], given: list[Any], rounds: int = 5) -> float:
    best = float("inf")
    for _ in range(rounds):
        began = time.process_time()
        for one in given:
            work(one)
        best = min(best, time.process_time() - began)
    return 1000 * best / len(given)


def main() -> None:
    made = recordings()
    one = [made.alternating(i, [30, 100, 500, 2000, 80, 60, 900, 20000], lead_s=100, tail_s=50) for i in range(20)]
    two = [made.both(i, [30, 100, 500, 2000, 80, 60, 900, 20000], lead_s=100, tail_s=65, worn=False)
           for i in range(20)]
    base = each_ms(threshold, one)
    print(f"threshold split, {len(one[0].trace.mask.t)} samples: {base:.3f} ms (baseline)")
    for name, given, both in (("one channel", one, False), ("two channels", two, True)):
        took = each_ms(lambda r, both=both: propose(r.trace, exercises=r.exercises, two_channels=both), given)
        found = np.mean([made.found(r, propose(r.trace, exercises=r.exercises, two_channels=both).windows, airs="mask")
                         for r in given])
        print(f"{name}, {len(given[0].trace.mask.t)} samples: {took:.2f} ms, {took / base:.0f} x the baseline; aim "
              f"200 ms; {found:.0%} of mask windows within 3 s")


if __name__ == "__main__":
    main()
