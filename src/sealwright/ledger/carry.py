"""Chains on the move: exported as lines of JSON, and taken in, whole and checked, at another installation."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

import msgspec
from sqlalchemy import Connection, delete, insert, select
from sqlalchemy.exc import IntegrityError

from sealwright.errors import BadInput, Conflict, TooLarge
from sealwright.ledger import projections, schema
from sealwright.ledger.canon import GENESIS
from sealwright.ledger.chains import fault, rows_of
from sealwright.ledger.intake import Key, read

FORMAT = "sealwright-chain/1"
LONGEST_LINE = 65_536
_AT_ONCE = 1000


class Header(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The first line: whose chain this is, and where it ends, so that a file cut short is noticed."""

    format: str
    org: Key
    chain: Key
    n: int
    hash: str


class Line(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Every further line: one event with its links."""

    n: int
    id: str
    stream: str
    seq: int
    kind: str
    at: int
    by: str
    data: dict[str, Any]
    recorded_at: int
    prev: str
    hash: str


def export_events(connection: Connection, org: str, chain: str, path: Path) -> int:
    """Write the chain into a new file that bears its name only once it is whole."""
    h = schema.head.c
    end = connection.execute(select(h.n, h.hash).where(h.org == org, h.chain == chain)).first()
    n, hash = (end.n, end.hash) if end else (0, GENESIS)
    part = path.with_name(path.name + ".part")
    try:
        with part.open("wb") as file:
            file.write(_line(Header(format=FORMAT, org=org, chain=chain, n=n, hash=hash)))
            for row in rows_of(connection, org, chain):
                file.write(_line({name: row[name] for name in Line.__struct_fields__}
                                 | {"data": msgspec.Raw(row["data"].encode())}))
            file.flush()
            os.fsync(file.fileno())
        os.link(part, path)
    except FileExistsError:
        raise Conflict("there is a file already", place=str(path), mend="Choose another name.") from None
    except OSError as trouble:
        raise BadInput(f"the file cannot be written: {trouble.strerror}", place=str(path)) from None
    finally:
        part.unlink(missing_ok=True)
    return n


def _line(value: Any) -> bytes:
    return msgspec.json.encode(value) + b"\n"


def take_in(connection: Connection, org: str, path: Path) -> int:
    """Check an exported chain and keep what is new of it; the caller's transaction undoes all on error."""
    try:
        file = path.open("rb")
    except OSError as trouble:
        raise BadInput(f"the file cannot be read: {trouble.strerror}", place=str(path)) from None
    with file:
        header = _header(file, org, path)
        intake = _Intake(connection, header, path)
        for number, raw in enumerate(_lines(file, path), start=2):
            intake.take(raw, f"{path}:{number}")
        intake.finish()
    for stream in sorted(intake.streams):
        projections.rehead(connection, org, stream)
        projections.refold(connection, org, stream)
    return intake.new


def _header(file: BinaryIO, org: str, path: Path) -> Header:
    try:
        header = msgspec.json.decode(file.readline(LONGEST_LINE), type=Header)
    except (msgspec.DecodeError, UnicodeDecodeError) as fault_:
        raise BadInput(f"the first line does not name a chain: {fault_}", place=f"{path}:1") from None
    if header.format != FORMAT:
        raise BadInput(f"the format is {header.format!r}", place=f"{path}:1", mend=f"This program reads {FORMAT!r}.")
    if header.org != org:
        raise Conflict(f"the chain belongs to the organisation {header.org!r}", place=f"{path}:1",
                       mend=f"This ledger keeps {org!r}.")
    return header


def _lines(file: BinaryIO, path: Path) -> Iterator[bytes]:
    number = 1
    while raw := file.readline(LONGEST_LINE + 1):
        number += 1
        if len(raw) > LONGEST_LINE:
            raise TooLarge("the line is too long", place=f"{path}:{number}")
        yield raw


class _Intake:
    """Follows a handed-in chain from its first event, and keeps what lies beyond the part already here."""

    def __init__(self, connection: Connection, header: Header, path: Path) -> None:
        self.connection, self.header, self.path = connection, header, path
        self.n, self.hash, self.new = 0, GENESIS, 0
        self.streams: set[str] = set()
        self._rows: list[dict[str, Any]] = []
        h = schema.head.c
        self._here = connection.execute(
            select(h.n).where(h.org == header.org, h.chain == header.chain)).scalar() or 0
        self._meet = min(self._here, header.n)

    def take(self, raw: bytes, place: str) -> None:
        """One line: read, linked to the line before, typed as any event is."""
        row = self._read(raw, place)
        why = fault(row, self.n + 1, self.hash)
        if why:
            raise BadInput(why, place=place, mend="Nothing was taken in; export the chain again.", code="broken-chain")
        self.n, self.hash = row["n"], row["hash"]
        if self.n == self._meet:
            self._compare(place)
        if self.n > self._here:
            self._keep(row)

    def _read(self, raw: bytes, place: str) -> dict[str, Any]:
        try:
            line = msgspec.json.decode(raw, type=Line)
        except (msgspec.DecodeError, UnicodeDecodeError) as fault_:
            raise BadInput(f"the line is no event: {fault_}", place=place) from None
        row = msgspec.structs.asdict(line)
        fresh = read({name: row[name] for name in ("stream", "id", "kind", "at", "by", "data")}, place)
        return {**row, "org": self.header.org, "chain": self.header.chain, "data": fresh.data}

    def _compare(self, place: str) -> None:
        e = schema.event.c
        here = self.connection.execute(select(e.hash).where(
            e.org == self.header.org, e.chain == self.header.chain, e.n == self.n)).scalar()
        if here != self.hash:
            raise Conflict("this chain and the one taken in before have grown apart", place=place, code="forked",
                           mend="Two copies of one installation have both gone on; give one a chain of its own.")

    def _keep(self, row: dict[str, Any]) -> None:
        self.new += 1
        self.streams.add(row["stream"])
        self._rows.append(row)
        if len(self._rows) == _AT_ONCE:
            self._flush()

    def _flush(self) -> None:
        try:
            if self._rows:
                self.connection.execute(insert(schema.event), self._rows)
        except IntegrityError:
            raise Conflict("an event of this chain is on record in another chain", place=str(self.path),
                           code="id-taken") from None
        self._rows = []

    def finish(self) -> None:
        """The chain must end where its first line says; then it has a head here."""
        if (self.n, self.hash) != (self.header.n, self.header.hash):
            raise BadInput(f"the chain should end at event {self.header.n} but ends at {self.n}", place=str(self.path),
                           mend="Nothing was taken in; export the chain again.", code="broken-chain")
        self._flush()
        if self.new:
            h, key = schema.head, {"org": self.header.org, "chain": self.header.chain}
            self.connection.execute(delete(h).where(h.c.org == key["org"], h.c.chain == key["chain"]))
            self.connection.execute(insert(h), {**key, "n": self.n, "hash": self.hash})
