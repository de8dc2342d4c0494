"""All that is particular to SQLite: how a file is opened, locked, copied and looked over. Other stores come in here."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import QueuePool

from sealwright.errors import BadInput, Conflict
from sealwright.ledger.schema import VERSION_TABLE

WAIT_S = 30
"""How long a writer waits for another before it gives up."""


def engine_for(url: str) -> Engine:
    """An engine for `url`: `sqlite:///<path>` or a bare path. The file and its folder are made if need be."""
    path = file_of(url)
    _prepare(path)
    engine = create_engine(f"sqlite:///{path}", poolclass=QueuePool, connect_args={"timeout": WAIT_S})
    event.listen(engine, "connect", _on_connect)
    event.listen(engine, "begin", _on_begin)
    return engine


def file_of(url: str) -> Path:
    """The file a ledger's address names."""
    if "://" not in url:
        return Path(url).expanduser()
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise BadInput(f"{url!r} is no address of a ledger", place="url", mend="Use sqlite:///<path>.") from None
    if parsed.get_backend_name() != "sqlite" or not parsed.database or parsed.database == ":memory:":
        raise BadInput("only SQLite files can be opened", place="url", mend="Use sqlite:///<path>.")
    return Path(parsed.database)


def for_writing(connection: Connection) -> Connection:
    """Mark a connection: its transactions take the write lock at once, so that what they read stays true."""
    return connection.execution_options(sealwright_writes=True)


def forget_deleted(connection: Connection) -> None:
    """Wipe what was deleted from the write-ahead log too (secure_delete has zeroed it in the file).

    Waits a little for readers that still need the log; where they need it longer, the last to close it wipes it."""
    connection.exec_driver_sql("PRAGMA busy_timeout=2000")
    connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.exec_driver_sql(f"PRAGMA busy_timeout={WAIT_S * 1000}")


def copy_out(connection: Connection, target: Path) -> None:
    """Copy the whole database, as it stands now, into the new file `target`; other writers need not stop."""
    if target.exists():
        raise Conflict("there is a file already", place=str(target), mend="Choose another name, or move it away.")
    source: Any = connection.connection.driver_connection
    _copy(source, target)


def copy_file(source: Path, target: Path) -> None:
    """Copy the database file `source` into the new file `target`."""
    if not source.is_file():
        raise BadInput("there is no such file", place=str(source))
    if target.exists():
        raise Conflict("there is a file already", place=str(target), mend="Restore to a new name.")
    reader = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)
    try:
        _copy(reader, target)
    finally:
        reader.close()


def _copy(source: sqlite3.Connection, target: Path) -> None:
    """Through a neighbouring file, so that a broken copy never bears the name of a whole one."""
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    _prepare(part)
    try:
        _fill(source, part)
        os.link(part, target)  # unlike a rename, this never replaces a file made meanwhile
    except FileExistsError:
        raise Conflict("there is a file already", place=str(target), mend="Choose another name.") from None
    except sqlite3.DatabaseError as trouble:
        raise BadInput(f"cannot be copied: {trouble}", place=str(target)) from None
    finally:
        part.unlink(missing_ok=True)


def _fill(source: sqlite3.Connection, part: Path) -> None:
    copy = sqlite3.connect(part)
    try:
        source.backup(copy)
        found = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if found != "ok":
            raise BadInput(f"the copy is not sound: {found}", place=str(part))
        if not copy.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (VERSION_TABLE,)).fetchone():
            raise BadInput("this is no ledger", place=str(part))
    finally:
        copy.close()
    with part.open("rb+") as file:
        os.fsync(file.fileno())


def _prepare(path: Path) -> None:
    """Make the file readable by its owner alone (SQLite gives its side files the same rights)."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as trouble:
        raise BadInput(f"the ledger's file cannot be opened: {trouble.strerror}", place=str(path)) from None


def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
    # Without a level of its own the driver begins no transaction behind our back.
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _on_begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("sealwright_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
