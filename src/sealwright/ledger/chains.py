"""Is every chain as it was written? Reads all events again, in order, and follows the hashes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, select

from sealwright.ledger import schema
from sealwright.ledger.append import link
from sealwright.ledger.canon import GENESIS
from sealwright.ledger.rows import Broken, ChainReport, Head

HASHED = ("org", "chain", "n", "id", "stream", "seq", "kind", "at", "by", "data", "recorded_at", "prev")
"""The columns an event's hash is made over."""
_PAGE = 1000


def heads(connection: Connection, org: str) -> list[Head]:
    h = schema.head.c
    rows = connection.execute(select(h.chain, h.n, h.hash).where(h.org == org).order_by(h.chain))
    return [Head(**row._mapping) for row in rows]


def rows_of(connection: Connection, org: str, chain: str) -> Iterator[dict[str, Any]]:
    """The stored events of a chain by number, with their hashes; a page at a time in memory."""
    e = schema.event.c
    query = select(*[e[name] for name in HASHED], e.hash).where(e.org == org, e.chain == chain).order_by(e.n)
    page = connection.execute(query.limit(_PAGE)).all()
    while page:
        for row in page:
            yield dict(row._mapping)
        page = connection.execute(query.where(e.n > page[-1].n).limit(_PAGE)).all()


def fault(row: dict[str, Any], n: int, prev: str) -> str | None:
    """Why `row` is not event number `n` of its chain, following the hash `prev`; None when it is."""
    if row["n"] != n:
        return f"event {n} is missing"
    if row["prev"] != prev:
        return "it does not follow the event before it"
    if not isinstance(row["data"], str) or link({name: row[name] for name in HASHED}) != row["hash"]:
        return "its content was changed"
    return None


def check(connection: Connection, org: str, known: Sequence[Head],
          progress: Callable[[int], None] | None) -> ChainReport:
    """Follow all chains of an organisation to their heads, stopping at the first broken link."""
    ends = {head.chain: head for head in heads(connection, org)}
    e = schema.event.c
    named = connection.execute(select(e.chain).where(e.org == org).distinct()).scalars()
    noted = [head.chain for head in known]
    walk, events = _Walk(known, progress), 0
    chains = sorted({*ends, *named, *noted})
    for chain in chains:
        broken = walk.follow(rows_of(connection, org, chain), chain, ends.get(chain))
        events = walk.events
        if broken:
            return ChainReport(ok=False, events=events, chains=len(chains), broken=broken)
    return ChainReport(ok=True, events=events, chains=len(chains))


class _Walk:
    """Counts what was read, and compares with heads noted earlier on the way."""

    def __init__(self, known: Sequence[Head], progress: Callable[[int], None] | None) -> None:
        self.events, self._progress = 0, progress
        self._known = {(head.chain, head.n): head.hash for head in known}

    def follow(self, rows: Iterator[dict[str, Any]], chain: str, end: Head | None) -> Broken | None:
        n, prev, id = 0, GENESIS, ""
        for row in rows:
            n, id = n + 1, row["id"]
            why = fault(row, n, prev) or self._noted(chain, n, row["hash"])
            if why:
                return Broken(chain=chain, n=n, id=id, why=why)
            prev = row["hash"]
            self._count()
        return self._ending(chain, n, id, prev, end)

    def _noted(self, chain: str, n: int, hash: str) -> str | None:
        noted = self._known.pop((chain, n), hash)
        return None if noted == hash else "it differs from the head noted earlier"

    def _ending(self, chain: str, n: int, id: str, hash: str, end: Head | None) -> Broken | None:
        if end is None:
            return Broken(chain=chain, n=n, id=id, why="the head of the chain is missing")
        reached = max([end.n, *[m for c, m in self._known if c == chain]])
        if n < reached:
            why = f"the chain went on to event {reached}; its tail was cut off"
            return Broken(chain=chain, n=n + 1, id="", why=why)
        if (end.n, end.hash) != (n, hash):
            return Broken(chain=chain, n=n, id=id, why="the head of the chain does not match its last event")
        return None

    def _count(self) -> None:
        self.events += 1
        if self._progress and self.events % _PAGE == 0:
            self._progress(self.events)
