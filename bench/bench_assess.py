"""Judging recorded tests: seven-minute tests of about 40 events, decoded from JSON and judged, on one core.

Baseline: bare `json.loads` of the same files in the same run. Aim: 5,000 tests a second, decoding included.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

from sealwright.assess import judge, read_record, record_bytes
from sealwright.demo import tweaks
from sealwright.demo.player import play
from sealwright.protocols import published

FACEPIECE = {"id": "fp-1", "make": "Larkwell", "model": "Tern 2", "material": "silicone", "size": "M", "kind": "half",
             "own": True}
OUTLINES: list[dict[str, Any]] = [
    {}, {}, {}, {"taste_at_squeeze": 13}, {"taste_at_squeeze": 25},
    {"tweaks": [tweaks.late("dose-180", 7), tweaks.short("nod", 2)]}, {"tweaks": [tweaks.missed("dose-90")]}]


def recorded(count: int) -> list[bytes]:
    """Records as files would hold them, in few bytes."""
    methods = [p for p in published().values() if p.method == "taste"]
    made = []
    for i in range(count):
        events = play(methods[i % len(methods)], test_id=f"t-{i}", wearer=f"w-{i}", facepiece=FACEPIECE, tester="u-1",
                      start_at=1_790_000_000_000 + i * 3_600_000, seed=i, **OUTLINES[i % len(OUTLINES)])
        made.append(json.dumps(json.loads(record_bytes(events)), separators=(",", ":")).encode())
    return made


def seconds(work: Callable[[bytes], object], files: list[bytes], rounds: int = 7) -> float:
    """The best of some rounds over all files, by process time so that other work on the machine counts less."""
    best = float("inf")
    for _ in range(rounds):
        began = time.process_time()
        for raw in files:
            work(raw)
        best = min(best, time.process_time() - began)
    return best


def main() -> None:
    files = recorded(1000)
    events = [read_record(raw, "x").events for raw in files]
    verdicts = [judge(e) for e in events]
    loads, read = seconds(json.loads, files), seconds(lambda raw: read_record(raw, "x"), files)
    both = seconds(lambda raw: judge(read_record(raw, "x").events), files)
    n = len(files)
    print(f"{n} tests, {sum(map(len, events)) / n:.1f} events and {sum(map(len, files)) / n:.0f} bytes each; "
          f"{sum(v.result == 'pass' for v in verdicts)} pass")
    print(f"json.loads alone:  {n / loads:8.0f} tests/s   (baseline)")
    print(f"read and checked:  {n / read:8.0f} tests/s   {read / loads:.2f} x the baseline's time")
    print(f"read and judged:   {n / both:8.0f} tests/s   {both / loads:.2f} x the baseline's time; aim: 5000/s")


if __name__ == "__main__":
    main()
