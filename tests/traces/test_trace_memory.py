"""A file far larger than what is kept of it is read in bounded memory; one that keeps too much is refused."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

GROWTH = Path(__file__).with_name("growth.py")
ROWS, SIZE = 1_200_000, 150_000_000


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """About 150 MB: rows with a long note that nobody asked for."""
    path = tmp_path_factory.mktemp("large") / "large.csv"
    note = "x" * 100
    with path.open("w") as file:
        file.write("t,mask,room,note\n")
        for start in range(0, ROWS, 10_000):
            file.write("".join(f"{i},1.25,2000.5,{note}\n" for i in range(start, start + 10_000)))
    assert path.stat().st_size > 0.9 * SIZE
    return path


def grown(path: Path, **options: Any) -> tuple[float, str]:
    done = subprocess.run([sys.executable, str(GROWTH), str(path), json.dumps(options)], capture_output=True, text=True,
                          check=True)
    got = json.loads(done.stdout)
    return got["mb"], got["told"]


def test_reading_takes_far_less_than_the_file(large: Path, tmp_path: Path) -> None:
    small = tmp_path / "small.csv"
    with large.open() as file:
        small.write_text("".join(file.readline() for _ in range(1000)))
    base, told = grown(small)
    assert told == "999 samples"
    whole, told = grown(large)
    assert told == f"{ROWS} samples"
    kept = ROWS * 3 * 8 / 2**20
    assert whole - base < 2 * kept + 60
    part, told = grown(large, from_s=1_000_000, to_s=1_000_600)
    assert told == "601 samples" and part - base < 60


def test_too_many_samples_are_refused_without_reading_on(large: Path) -> None:
    mb, told = grown(large, most_samples=500_000)
    assert "row 500002" in told and "more than 500,000 samples" in told and mb < 400
