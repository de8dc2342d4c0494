"""Acknowledged events per second: the ledger against bare inserts of the same payload with the same durability.

Both write to a file on the repository's disk, in WAL mode with synchronous=FULL, one commit an event: when append
returns, the event is on disk. The bare side does nothing else: no checks, no chain, no rows made from events.
"""

from __future__ import annotations

import itertools
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from sealwright.ledger import Ledger, open_ledger

EVENTS = 1600
ROUNDS = 5
ROOM = 40
"""Events that a room may hand in at once after being cut off."""
NUMBERS = itertools.count(1)
FACEPIECE = {"id": "fp-1", "make": "Harrow", "model": "Lark 2", "material": "silicone", "size": "M", "kind": "half",
             "own": True}
OPENED = {"protocol": "uk-bitter", "protocol_version": "1", "wearer": "w-1", "facepiece": FACEPIECE,
          "tester": {"id": "a-1"}}


def events(test: str, n: int) -> list[dict[str, Any]]:
    """One test of `n` events: opened, then doses."""
    at, stream = 1_760_000_000_000, f"test:{test}"
    first = {"stream": stream, "id": f"{test}-0", "kind": "opened", "at": at, "by": "a-1", "data": OPENED}
    return [first, *({"stream": stream, "id": f"{test}-{i}", "kind": "dosed", "at": at + 1000 * i, "by": "a-1",
                      "data": {"squeezes": 5, "act": f"top-up-{i}"}} for i in range(1, n))]


def bare(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE event (org, chain, n, id, stream, seq, kind, at, by, data, recorded_at, prev, "
                       "hash, PRIMARY KEY (org, chain, n), UNIQUE (org, id), UNIQUE (org, stream, chain, seq))")
    return connection


def insert(connection: sqlite3.Connection, rows: list[tuple[Any, ...]]) -> None:
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany("INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
    connection.execute("COMMIT")


def rows(batch: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
    """The same values the ledger stores, with invented hashes."""
    return [("bench", "bench", next(NUMBERS), e["id"], e["stream"], next(NUMBERS), e["kind"], e["at"], e["by"],
             msgspec.json.encode(e["data"]).decode(), e["at"], "0" * 64, "f" * 64) for e in batch]


def seconds(act: Callable[[Any], object], batches: list[Any]) -> float:
    began = time.perf_counter()
    for batch in batches:
        act(batch)
    return time.perf_counter() - began


def measure(ledger: Ledger, connection: sqlite3.Connection, size: int) -> tuple[float, float]:
    """Median events per second of both, in turns so that a busy machine troubles both alike."""
    ours, theirs = [], []
    for turn in range(ROUNDS):
        happened = events(f"{size}-{turn}", EVENTS)
        batches = [happened[i:i + size] for i in range(0, EVENTS, size)]
        plain = [rows(batch) for batch in batches]
        ours.append(EVENTS / seconds(ledger.append, batches))
        theirs.append(EVENTS / seconds(lambda batch: insert(connection, batch), plain))
    return statistics.median(ours), statistics.median(theirs)


def main() -> None:
    here = Path(__file__).resolve().parent.parent / ".cache"
    here.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=here) as folder:
        connection = bare(Path(folder) / "bare.db")
        with open_ledger(f"sqlite:///{folder}/ledger.db", org="bench", chain="bench") as ledger:
            for size in (1, ROOM):
                ours, theirs = measure(ledger, connection, size)
                print(f"{size:>3} event(s) a transaction: ledger {ours:8.0f} events/s, bare sqlite3 {theirs:8.0f} "
                      f"events/s, ratio {ours / theirs:.2f}")
        connection.close()


if __name__ == "__main__":
    main()
