"""Reading a 2 GB CSV of samples: the most memory it takes, and its speed against a bare read of the bytes.

Two files, each read in a process of its own: long rows (a wide note; a tenth of the rows is kept), and short rows, of
which there are more than a trace may have (refused). The files are deleted afterwards. Size in MB as first argument.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

GROWTH = Path(__file__).resolve().parent.parent / "tests" / "traces" / "growth.py"


def make(path: Path, mb: int, note: str, rows_a_block: int = 100_000) -> int:
    """Rows of fixed width, so that a block is repeated with only its times changed. Returns the rows."""
    per_row = len(f"{0:010d},1.25,2000.5,{note}\n")
    rows = mb * 1_000_000 // per_row // rows_a_block * rows_a_block
    block = "".join(f"{{0:05d}}{i:05d},1.25,2000.5,{note}\n" for i in range(rows_a_block)).split("{0:05d}")
    with path.open("w") as file:
        file.write("t,mask,room,note\n")
        for b in range(rows // rows_a_block):
            file.write(f"{b:05d}".join(block))
    return rows


def bare(path: Path) -> float:
    """Seconds of reading the bytes and doing nothing, the second time round."""
    for _ in range(2):
        began = time.perf_counter()
        with path.open("rb", buffering=0) as file:
            while file.read(4 << 20):
                pass
    return time.perf_counter() - began


def read(path: Path, **options: Any) -> tuple[float, float, str]:
    """(MB at most, seconds, what came of it)."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, str(GROWTH), str(path), json.dumps(options)], capture_output=True, text=True,
                          check=True)
    got = json.loads(done.stdout)
    return got["mb"], time.perf_counter() - began, got["told"]


def main(mb: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trace.csv"
        for note, options in (("x" * 180, {}), ("x" * 180, {"from_s": 1_000_000, "to_s": 2_000_000}), ("y", {})):
            rows, size = make(path, mb, note), path.stat().st_size / 1e6
            plain = bare(path)
            peak, seconds, told = read(path, **options)
            print(f"{size:.0f} MB, {rows:,} rows, {options or 'all asked for'}\n  -> {told.split('trace.csv: ')[-1]}")
            print(f"  at most {peak:.0f} MB resident; {seconds:.2f} s, {size / seconds:.0f} MB/s; bare read "
                  f"{size / plain:.0f} MB/s (baseline), {seconds / plain:.1f} x its time")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
