"""The ledger of one organisation: append events, read rows, keep personal details apart, prove that nothing changed."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec
from sqlalchemy import Connection, Engine, func, insert, select
from sqlalchemy.exc import DatabaseError, OperationalError
from uuid_utils import uuid7

from sealwright.errors import BadInput
from sealwright.ledger import carry, chains, dialect, migrations, people, projections, schema, views
from sealwright.ledger.append import Appender
from sealwright.ledger.intake import Key, read, read_all
from sealwright.ledger.rows import (
    ChainReport,
    FacepieceRow,
    Head,
    LotRow,
    MarkRow,
    PersonRow,
    Receipt,
    StoredEvent,
    TesterRow,
    TestRow,
    WearerRow,
)
from sealwright.ledger.troubles import Unavailable


def wall_clock() -> int:
    """Milliseconds since 1970 UTC."""
    return time.time_ns() // 1_000_000


def open_ledger(url: str, *, org: str, chain: str | None = None, now: Callable[[], int] = wall_clock) -> Ledger:
    """Open the ledger of `org` in the database `url` (`sqlite:///<path>` or a bare path), made if it is not there.

    `chain` is the id of this installation's own chain; when None it is the one made at the first opening. `now` gives
    the server's time in ms. Conflict (code "newer-ledger") when the database was made by a newer program.
    """
    for name, value in (("org", org), ("chain", chain)):
        _vet_key(name, value)
    engine = dialect.engine_for(url)
    try:
        with dialect.for_writing(engine.connect()) as connection, connection.begin():
            migrations.upgrade(connection)
            chain = _own_chain(connection, org, chain, now())
    except OperationalError as trouble:
        engine.dispose()
        raise Unavailable(f"the ledger cannot be opened: {trouble.orig}", place=url) from None
    except DatabaseError as trouble:
        engine.dispose()
        raise BadInput(f"this is no ledger: {trouble.orig}", place=url) from None
    except BaseException:
        engine.dispose()
        raise
    return Ledger(engine, org=org, chain=chain, now=now)


def _vet_key(name: str, value: str | None) -> None:
    try:
        msgspec.convert(value, Key | None)
    except msgspec.ValidationError as fault:
        raise BadInput(str(fault), place=name, mend="Use 1 to 64 of: letters, digits, _ . : -") from None


def _own_chain(connection: Connection, org: str, chain: str | None, at: int) -> str:
    table = schema.installation
    kept = connection.execute(select(table.c.chain).where(table.c.org == org)).scalar()
    if kept is None:
        kept = chain or str(uuid7())
        connection.execute(insert(table), {"org": org, "chain": kept, "made_at": at})
    return chain or kept


class Ledger:
    """One organisation's ledger; safe to use from several threads, and beside other processes on the same file."""

    def __init__(self, engine: Engine, *, org: str, chain: str, now: Callable[[], int]) -> None:
        self.org, self.chain = org, chain
        self._engine, self._now = engine, now
        self._lock = threading.Lock()
        self._writer: Connection | None = None
        self._driver_error: type[Exception] = engine.dialect.loaded_dbapi.Error
        self._appender = Appender(org, chain, engine.dialect)

    def close(self) -> None:
        """Let go of the database."""
        with self._lock:
            self._drop_writer()
        self._engine.dispose()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- events

    def append(self, events: Sequence[dict[str, Any]]) -> list[Receipt]:
        """Record `events` ({stream, id, kind, at, by, data} each) in one transaction: all of them or none.

        When this returns they are on disk. An event whose id is on record with the same content is known, not recorded
        twice. Raises BadInput (unknown kind, wrong field: place "events[3].data.act"), TooLarge, Conflict (the id
        has other content, the test is closed, opened twice or not opened), Unavailable (try again later).
        """
        fresh = read_all(events)
        if not fresh:
            return []
        with self._write() as connection:
            return self._appender.append(connection, fresh, self._now())

    def events(self, stream: str) -> list[StoredEvent]:
        """All events of a stream ("test:t-1"), in the order of recording; empty when there are none."""
        with self._read() as connection:
            return projections.read_stream(connection, self.org, stream)

    def count(self) -> int:
        """How many events are on record, all chains together."""
        with self._read() as connection:
            return connection.execute(select(func.count()).where(schema.event.c.org == self.org)).scalar_one()

    def heads(self) -> list[Head]:
        """The end of every chain."""
        with self._read() as connection:
            return chains.heads(connection, self.org)

    # --- rows

    def tests(self, *, open_only: bool = False, wearer: str | None = None, limit: int = 50) -> list[TestRow]:
        """Tests, last opened first."""
        with self._read() as connection:
            return views.tests(connection, self.org, open_only=open_only, wearer=wearer, limit=limit)

    def test(self, id: str) -> TestRow:
        """One test; NotFound when there is none."""
        with self._read() as connection:
            return views.test(connection, self.org, id)

    def wearers(self) -> list[WearerRow]:
        """Wearers by name; those without a name last, by id."""
        with self._read() as connection:
            return views.wearers(connection, self.org)

    def wearer(self, id: str) -> WearerRow:
        """One wearer; NotFound when there is none."""
        with self._read() as connection:
            return views.wearer(connection, self.org, id)

    def facepieces(self) -> list[FacepieceRow]:
        """Facepieces in stock, by make, model and size."""
        with self._read() as connection:
            return views.facepieces(connection, self.org)

    def testers(self) -> list[TesterRow]:
        """Fit testers by name."""
        with self._read() as connection:
            return views.testers(connection, self.org)

    def lots(self) -> list[LotRow]:
        """Lots of solution, the one that lasts longest first."""
        with self._read() as connection:
            return views.lots(connection, self.org)

    # --- personal details

    def put_person(self, id: str, name: str, staff_no: str = "", contact: str = "") -> None:
        """Keep or replace the personal details behind a pseudonymous id."""
        person = people.read_person(id, name, staff_no, contact)
        with self._write() as connection:
            people.put_person(connection, self.org, person)

    def person(self, id: str) -> PersonRow | None:
        """The personal details behind an id; None when not on record or erased."""
        with self._read() as connection:
            return people.person(connection, self.org, id)

    def put_mark(self, mark_id: str, person_id: str, svg_path: str, *, role: str = "wearer") -> str:
        """Keep the drawing of a signature (SVG path data); returns its SHA-256. Conflict when the id has another."""
        mark = people.read_mark(mark_id, person_id, svg_path, role)
        with self._write() as connection:
            people.put_mark(connection, self.org, mark)
        return mark.sha256

    def mark(self, mark_id: str) -> MarkRow | None:
        """The drawing of a signature; None when not on record or erased."""
        with self._read() as connection:
            return people.mark(connection, self.org, mark_id)

    def erase_person(self, id: str, by: str, at: int) -> list[Receipt]:
        """Remove a person's details and signatures, and record that it was done; the chain stays whole.

        NotFound when nothing is known of `id`. Copies made before (backups, printed papers) are not reached.
        """
        with self._write() as connection:
            events = people.erase(connection, self.org, id, by=by, at=at)
            fresh = [read(event, "erase") for event in events]
            receipts = self._appender.append(connection, fresh, self._now())
        with self._lock, self._engine.connect() as connection:
            dialect.forget_deleted(connection)
        return receipts

    # --- proof and care

    def check(self, *, known: Sequence[Head] = (), rows: bool = False,
              progress: Callable[[int], None] | None = None) -> ChainReport:
        """Read every event again and name the first broken link. `known`: heads noted earlier and elsewhere, which must
        still be in their chains. `rows`: compare the projections with their events too. `progress` is told the number
        of events read so far."""
        with self._read() as connection:
            report = chains.check(connection, self.org, known, progress)
            drift = projections.drift(connection, self.org) if rows and report.ok else ()
        return msgspec.structs.replace(report, drift=drift, ok=report.ok and not drift)

    def rebuild(self) -> int:
        """Drop the projections and make them again from the events; returns the number of events."""
        with self._write() as connection:
            return projections.refill(connection, self.org)

    def backup(self, path: str | Path) -> None:
        """Copy the whole database (all organisations, personal details too) into a new file while work goes on, and
        look the copy over. Conflict when the file is there already."""
        with self._engine.connect() as connection:
            dialect.copy_out(connection, Path(path))

    def export_events(self, path: str | Path, *, chain: str | None = None) -> int:
        """Write a chain (None: this installation's own) into a new file, one JSON object a line; returns the number of
        events. No personal details are in it."""
        with self._read() as connection:
            return carry.export_events(connection, self.org, chain or self.chain, Path(path))

    def take_in(self, path: str | Path) -> int:
        """Take another installation's exported chain in, whole, beside this one's; returns the number of new events.

        Every hash is checked first; BadInput names the first line that does not hold, and nothing is taken. Conflict
        when the file and what was taken in before disagree."""
        with self._write() as connection:
            return carry.take_in(connection, self.org, Path(path))

    # --- transactions

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        """A transaction that holds the write lock from its start; rolled back by any error."""
        with self._lock:
            try:
                if self._writer is None:
                    self._writer = dialect.for_writing(self._engine.connect())
                with self._writer.begin():
                    yield self._writer
            except (DatabaseError, self._driver_error) as trouble:
                if self._writer is not None:
                    self._writer.invalidate()  # after such trouble a new connection is the safe one
                self._drop_writer()
                raise Unavailable(f"the ledger could not be written: {getattr(trouble, 'orig', trouble)}",
                                  place="ledger", mend="Nothing was recorded; try again.") from trouble

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        """A transaction that sees one state of the database, whatever is written meanwhile."""
        try:
            with self._engine.begin() as connection:
                yield connection
        except DatabaseError as trouble:
            raise Unavailable(f"the ledger could not be read: {trouble.orig}", place="ledger") from trouble

    def _drop_writer(self) -> None:
        if self._writer is not None:
            self._writer.close()
            self._writer = None


def restore(source: str | Path, target: str | Path) -> None:
    """Make the new ledger file `target` from the backup `source`; Conflict when `target` is there already."""
    dialect.copy_file(Path(source), Path(target))


