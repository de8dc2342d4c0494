"""The hot path: events into a chain, inside a transaction that holds the write lock."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
from sqlalchemy import BindParameter, Connection, Dialect, Executable, bindparam, insert, select, update

from sealwright.errors import Conflict
from sealwright.ledger import projections, schema
from sealwright.ledger.canon import GENESIS
from sealwright.ledger.intake import OPENERS, Fresh
from sealwright.ledger.rows import Receipt

_encode = msgspec.json.Encoder(order="sorted").encode


def link(event: dict[str, Any]) -> str:
    """The hash of an event: SHA-256 over the RFC 8785 form of its org, chain, n, id, stream, seq, kind, at, by, data,
    recorded_at and prev. `data` is canonical JSON text already, and all other values are text or whole numbers."""
    return hashlib.sha256(_encode({**event, "data": msgspec.Raw(event["data"].encode())})).hexdigest()


class Prepared:
    """A Core statement compiled once for a dialect and run on the driver's own cursor: the same SQL on every store, at
    a sixth of the cost of executing it through the engine each time."""

    def __init__(self, statement: Executable, dialect: Dialect) -> None:
        compiled: Any = statement.compile(dialect=dialect)  # type: ignore[attr-defined]
        self.sql = str(compiled)
        self._order: list[str] | None = compiled.positiontup

    def run(self, cursor: Any, values: dict[str, Any]) -> Any:
        cursor.execute(self.sql, self._arrange(values))
        return cursor

    def run_all(self, cursor: Any, rows: Sequence[dict[str, Any]]) -> None:
        cursor.executemany(self.sql, [self._arrange(row) for row in rows])

    def _arrange(self, values: dict[str, Any]) -> Any:
        return values if self._order is None else tuple([values[name] for name in self._order])


class Appender:
    """Writes one chain of one organisation. Holds no state of the chain: each append reads it under the write lock."""

    def __init__(self, org: str, chain: str, dialect: Dialect) -> None:
        self.org, self.chain = org, chain
        e, h, s = schema.event, schema.head, schema.stream
        own: dict[str, BindParameter[str]] = {"org": bindparam("org"), "chain": bindparam("chain")}
        places = select(e.c.stream, e.c.kind, e.c.at, e.c.by, e.c.data, e.c.seq, e.c.n, e.c.hash)
        self._known = Prepared(places.where(e.c.org == own["org"], e.c.id == bindparam("id")), dialect)
        self._head = Prepared(select(h.c.n, h.c.hash).where(h.c.org == own["org"], h.c.chain == own["chain"])
                              .with_for_update(), dialect)
        self._stream = Prepared(select(s.c.chain, s.c.seq, s.c.closed, s.c.last_at)
                                .where(s.c.org == own["org"], s.c.stream == bindparam("stream")), dialect)
        self._add = Prepared(insert(e), dialect)
        self._add_head, self._add_stream = Prepared(insert(h), dialect), Prepared(insert(s), dialect)
        self._set_head = Prepared(
            update(h).where(h.c.org == bindparam("org_"), h.c.chain == bindparam("chain_"))
            .values(n=bindparam("n"), hash=bindparam("hash")), dialect)
        self._set_stream = Prepared(
            update(s).where(s.c.org == bindparam("org_"), s.c.stream == bindparam("stream_"),
                            s.c.chain == bindparam("chain_"))
            .values(seq=bindparam("seq"), closed=bindparam("closed"), last_at=bindparam("last_at")), dialect)

    def append(self, connection: Connection, events: Sequence[Fresh], recorded_at: int) -> list[Receipt]:
        """Record what is not yet on record; see `Ledger.append`."""
        batch = _Batch(self, connection, recorded_at)
        receipts = [batch.take(event) for event in events]
        batch.write()
        return receipts


class _Stream:
    """Where a stream stands, while a batch is taken in."""

    def __init__(self, rows: Iterable[Any], chain: str) -> None:
        self.seq, self.closed, self.last_at = 0, False, 0
        self.stored, self.alone, self.begun = False, True, False
        self.fresh: list[Fresh] = []
        for holder, seq, closed, last_at in rows:
            self.begun, self.closed = True, self.closed or bool(closed)
            if holder == chain:
                self.seq, self.last_at, self.stored = seq, last_at, True
            else:
                self.alone = False

    def admit(self, event: Fresh) -> None:
        """Refuse what may not follow here."""
        opener = OPENERS[event.type]
        if self.closed:
            raise Conflict("the test is closed", place=event.place, mend="Open another test.", code="closed")
        if not self.begun and event.kind not in (opener, "person-erased"):
            raise Conflict(f"{event.stream} is not on record", place=event.place, code="unopened",
                           mend=f"The first event of such a stream is {opener!r}.")
        if self.begun and event.kind == "opened":
            raise Conflict("the test is open already", place=event.place, mend="Give the new test an id of its own.")
        self.begun, self.closed = True, event.kind == "closed"
        self.seq, self.last_at = self.seq + 1, max(self.last_at, event.at)
        self.fresh.append(event)


class _Batch:
    """One append under way."""

    def __init__(self, to: Appender, connection: Connection, recorded_at: int) -> None:
        self.to, self.connection, self.recorded_at = to, connection, recorded_at
        self.own = {"org": to.org, "chain": to.chain}
        self.cursor: Any = connection.connection.cursor()
        found = to._head.run(self.cursor, self.own).fetchone()
        self.begun = found is not None
        self.n: int = found[0] if found else 0
        self.hash: str = found[1] if found else GENESIS
        self.rows: list[dict[str, Any]] = []
        self.streams: dict[str, _Stream] = {}
        self.taken: dict[str, tuple[Fresh, Receipt]] = {}

    def take(self, event: Fresh) -> Receipt:
        """The receipt of one event, new or known."""
        known = self._known(event)
        if known:
            return known
        stream = self.streams.get(event.stream) or self._open(event.stream)
        stream.admit(event)
        self.n += 1
        row = {**self.own, "n": self.n, "id": event.id, "stream": event.stream, "seq": stream.seq, "kind": event.kind,
               "at": event.at, "by": event.by, "data": event.data, "recorded_at": self.recorded_at, "prev": self.hash}
        self.hash = row["hash"] = link(row)
        self.rows.append(row)
        receipt = Receipt(id=event.id, stream=event.stream, seq=stream.seq, n=self.n, hash=self.hash, known=False)
        self.taken[event.id] = event, receipt
        return receipt

    def _known(self, event: Fresh) -> Receipt | None:
        twin = self.taken.get(event.id)
        if twin:
            same, receipt = event.content == twin[0].content, twin[1]
        else:
            row = self.to._known.run(self.cursor, {"org": self.to.org, "id": event.id}).fetchone()
            if row is None:
                return None
            *content, seq, n, hash = row
            same = event.content == tuple(content)
            receipt = Receipt(id=event.id, stream=content[0], seq=seq, n=n, hash=hash, known=True)
        if not same:
            raise Conflict(f"the id {event.id!r} is on record with other content", place=f"{event.place}.id",
                           mend="Give each event an id of its own.", code="id-taken")
        return msgspec.structs.replace(receipt, known=True)

    def _open(self, name: str) -> _Stream:
        rows = self.to._stream.run(self.cursor, {"org": self.to.org, "stream": name})
        stream = self.streams[name] = _Stream(rows, self.to.chain)
        return stream

    def write(self) -> None:
        """Events, the head of the chain, the heads of the streams, then what is made from them."""
        if not self.rows:
            return
        self.to._add.run_all(self.cursor, self.rows)
        end = {**self.own, "n": self.n, "hash": self.hash}
        if self.begun:
            self.to._set_head.run(self.cursor, {**end, "org_": self.to.org, "chain_": self.to.chain})
        else:
            self.to._add_head.run(self.cursor, end)
        for name, stream in self.streams.items():
            self._write_stream(name, stream)
            projections.apply(self.connection, self.to.org, name, stream.fresh, alone=stream.alone)

    def _write_stream(self, name: str, stream: _Stream) -> None:
        values = {**self.own, "stream": name, "seq": stream.seq, "closed": stream.closed, "last_at": stream.last_at}
        if stream.stored:
            keys = {"org_": self.to.org, "stream_": name, "chain_": self.to.chain}
            self.to._set_stream.run(self.cursor, {**values, **keys})
        else:
            self.to._add_stream.run(self.cursor, values)
