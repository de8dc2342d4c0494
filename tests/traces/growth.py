"""Run in a process of its own: reads a trace, prints the most memory it took (MB) and what came of it."""

from __future__ import annotations

import json
import resource
import sys
from pathlib import Path

from sealwright.errors import SealwrightError
from sealwright.traces import Mapping, read_trace


def main(path: str, options: str) -> None:
    asked = json.loads(options)
    try:
        got = read_trace(path, Mapping(time="t", mask="mask", ambient="room", unit="per-cm3"), **asked)
        told = f"{len(got.t)} samples"
    except SealwrightError as e:
        told = str(e)
    status = Path("/proc/self/status").read_text() if Path("/proc/self/status").exists() else ""
    peak = next((int(r.split()[1]) for r in status.splitlines() if r.startswith("VmHWM")),
                resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    print(json.dumps({"mb": peak / 1024, "told": told}))


if __name__ == "__main__":
    main(*sys.argv[1:])
