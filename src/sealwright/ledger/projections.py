"""Tables made from events: how one event changes one row (pure), and how rows are kept, refilled and compared."""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from typing import Any, TypeAlias

import msgspec
from sqlalchemy import Connection, Select, Table, case, delete, func, insert, literal, select, true, update

from sealwright.assess import events as testing
from sealwright.assess import judge
from sealwright.assess.events import ENVELOPES, Data
from sealwright.assess.measured import Measured
from sealwright.errors import SealwrightError
from sealwright.ledger import schema
from sealwright.ledger.canon import canonical
from sealwright.ledger.intake import Fresh, typed_data
from sealwright.ledger.rows import StoredEvent
from sealwright.ledger.troubles import Damaged
from sealwright.programme import registry

Values: TypeAlias = "dict[str, Any]"

SILENT = frozenset([*(kind for kind in testing.KINDS if kind not in ("opened", "run-started", "closed")),
                    "pass-level-set"])
"""Kinds that change no projection; most of what happens in a test, and all in a stream that has no row."""
_MOST = 2**62
_NOT_JUDGED: Values = {"closed": False, "closed_at": None, "result": "unfinished", "reason": "", "tasted_at": None,
                       "factor_milli": None, "low_milli": None, "high_milli": None, "pass_level": None,
                       "notes": 0, "minors": 0, "majors": 0, "voids": 0}
_log = logging.getLogger(__name__)


# --- pure: rows from events


def step(row: Values | None, at: int, data: Data) -> Values | None:
    """The row of a stream after one more event at `at`; None while there is no row."""
    if isinstance(data, testing.Opened):
        return row or _opened(at, data)
    if isinstance(data, registry.WearerJoined):
        joined = row["joined_at"] if row else at
        return {**msgspec.structs.asdict(data), "joined_at": joined, "erased": False}
    if isinstance(data, registry.TesterRegistered):
        return {**msgspec.structs.asdict(data), "erased": False}
    if isinstance(data, registry.FacepieceStocked | registry.LotReceived):
        return msgspec.structs.asdict(data)
    return row and {**row, **_changed(at, data)}


def _opened(at: int, data: testing.Opened) -> Values:
    return {"wearer": data.wearer, "facepiece": canonical(msgspec.to_builtins(data.facepiece)).decode(),
            "protocol": data.protocol, "protocol_version": data.protocol_version, "tester": data.tester.id,
            "try_no": data.try_no, "previous": data.previous, "opened_at": at, "level": None, **_NOT_JUDGED}


def _changed(at: int, data: Data) -> Values:
    if isinstance(data, registry.LanguageChosen):
        return {"language": data.language}
    if isinstance(data, registry.PersonErased):
        return {"erased": True}
    if isinstance(data, testing.RunStarted):
        return {"level": data.level}
    if isinstance(data, testing.Closed):
        return {"closed": True, "closed_at": at}
    return {}


def fold(story: Sequence[StoredEvent]) -> Values | None:
    """The row of a stream from all its events."""
    row: Values | None = None
    for event in story:
        try:
            row = step(row, event.at, typed_data(event.stream, event.kind, event.data))
        except (KeyError, msgspec.ValidationError) as fault:
            raise _damaged(event.stream, event.chain, event.n, fault) from None
    return {**row, **judged(story)} if row and row.get("closed") else row


def judged(story: Sequence[StoredEvent]) -> Values:
    """The verdict on a closed test. What cannot be judged here stays recorded all the same, and says why."""
    try:
        verdict = judge([as_event(event) for event in story])
    except Exception as trouble:  # a fault in judging must never keep what happened off the record
        if not isinstance(trouble, SealwrightError):
            _log.exception("judging %s failed", story[0].stream)
        why = trouble if isinstance(trouble, SealwrightError) else "the program failed; a rebuild tries again"
        return {"result": "unfinished", "reason": f"not judged: {why}"}
    severities = [finding.severity for finding in verdict.findings]
    return {"result": verdict.result, "reason": verdict.reason, "tasted_at": verdict.tasted_at,
            "notes": severities.count("note"), "minors": severities.count("minor"),
            "majors": severities.count("major"), "voids": severities.count("void"), **numbers(verdict.measured)}


def numbers(measured: Measured | None) -> Values:
    """The overall factor of a quantitative test, its interval (thousandths) and the level it had to reach."""
    if measured is None:
        return {}
    whole = measured.overall
    ends = {"factor_milli": whole.factor, "low_milli": whole.low, "high_milli": whole.high}
    return {name: None if x is None else min(round(x * 1000), _MOST) for name, x in ends.items()} | {
        "pass_level": measured.pass_level}


def as_event(event: StoredEvent) -> testing.Event:
    """The typed event, as judging wants it."""
    return msgspec.convert({"kind": event.kind, "id": event.id, "at": event.at, "by": event.by, "data": event.data},
                           ENVELOPES[event.kind])


# --- rows kept


def read_stream(connection: Connection, org: str, stream: str) -> list[StoredEvent]:
    """All events of a stream. Where several chains hold some, by time of recording, each chain's own order kept."""
    e = schema.event.c
    rows = connection.execute(
        select(e.n, e.id, e.stream, e.seq, e.kind, e.at, e.by, e.data, e.recorded_at, e.hash, e.chain)
        .where(e.org == org, e.stream == stream).order_by(e.chain, e.seq)).all()
    story = [_stored(row) for row in rows]
    if not story or story[0].chain == story[-1].chain:
        return story
    return [event for _, event in sorted(_by_recording(story), key=lambda pair: pair[0])]


def _stored(row: Any) -> StoredEvent:
    try:
        return StoredEvent(**{**row._mapping, "data": msgspec.json.decode(row.data)})
    except (TypeError, msgspec.DecodeError) as fault:
        raise _damaged(row.stream, row.chain, row.n, fault) from None


def _damaged(stream: str, chain: str, n: int, fault: Exception) -> Damaged:
    return Damaged(f"event {n} of the chain {chain!r} cannot be read: {fault}", place=stream,
                   mend="Check the ledger, and restore a backup of it.")


def _by_recording(story: Sequence[StoredEvent]) -> Iterator[tuple[tuple[int, str, int], StoredEvent]]:
    """Sort keys. A clock that was set back must not turn a chain's own order round, so the latest time seen counts."""
    chain, latest = "", 0
    for event in story:
        latest = max(latest, event.recorded_at) if event.chain == chain else event.recorded_at
        chain = event.chain
        yield (latest, chain, event.seq), event


def apply(connection: Connection, org: str, stream: str, fresh: Sequence[Fresh], *, alone: bool) -> None:
    """Bring a stream's row up to date with events just recorded. `alone`: no other chain holds some of this stream."""
    if all(event.kind in SILENT for event in fresh):
        return
    if not alone:
        return refold(connection, org, stream)
    table, id = _row_of(stream)
    before = _load(connection, org, table, id)
    row = before
    for event in fresh:
        row = step(row, event.at, event.typed)
    if row and row.get("closed"):
        row = {**row, **judged(read_stream(connection, org, stream))}
    _save(connection, org, table, id, before, row)


def refold(connection: Connection, org: str, stream: str) -> None:
    """Make a stream's row again from all its events."""
    if not _has_row(stream):
        return
    table, id = _row_of(stream)
    _save(connection, org, table, id, _load(connection, org, table, id), fold(read_stream(connection, org, stream)))


def rehead(connection: Connection, org: str, stream: str) -> None:
    """Make again the record of where a stream stands in each chain."""
    s = schema.stream
    connection.execute(delete(s).where(s.c.org == org, s.c.stream == stream))
    heads = _stream_heads(org).where(schema.event.c.stream == stream)
    connection.execute(insert(s).from_select(s.c.keys(), heads))


def refill(connection: Connection, org: str) -> int:
    """Drop all of an organisation's projections and make them again. Returns the number of events read."""
    for table in (schema.stream, *schema.PROJECTIONS.values()):
        connection.execute(delete(table).where(table.c.org == org))
    connection.execute(insert(schema.stream).from_select(schema.stream.c.keys(), _stream_heads(org)))
    for stream in _streams(connection, org):
        table, id = _row_of(stream)
        _save(connection, org, table, id, None, fold(read_stream(connection, org, stream)))
    return connection.execute(select(func.count()).where(schema.event.c.org == org)).scalar_one()


def drift(connection: Connection, org: str) -> tuple[str, ...]:
    """Names of the projection rows that differ from what their events make, or that no event makes."""
    wrong = [stream for stream in _streams(connection, org) if _differs(connection, org, stream)]
    for type_, table in schema.PROJECTIONS.items():
        known = select(schema.event.c.id).where(schema.event.c.org == org,
                                                schema.event.c.stream == literal(f"{type_}:") + table.c.id)
        extra = select(table.c.id).where(table.c.org == org, ~known.exists())
        wrong += [f"{type_}:{id}" for id in connection.execute(extra).scalars()]
    stored = select(*schema.stream.c).where(schema.stream.c.org == org)
    heads = {tuple(row) for row in connection.execute(_stream_heads(org))}
    odd = heads ^ {tuple(row) for row in connection.execute(stored)}
    return tuple(sorted({*wrong, *(row[1] for row in odd)}))


def _differs(connection: Connection, org: str, stream: str) -> bool:
    table, id = _row_of(stream)
    return _load(connection, org, table, id) != fold(read_stream(connection, org, stream))


def _streams(connection: Connection, org: str) -> list[str]:
    """Streams that make a row."""
    e = schema.event.c
    found = connection.execute(select(e.stream).where(e.org == org).distinct().order_by(e.stream)).scalars()
    return [stream for stream in found if _has_row(stream)]


def _stream_heads(org: str) -> Select[Any]:
    e = schema.event.c
    closed = func.max(case((e.kind == "closed", 1), else_=0)) == 1
    return (select(e.org, e.stream, e.chain, func.max(e.seq), case((closed, true()), else_=~true()), func.max(e.at))
            .where(e.org == org).group_by(e.org, e.stream, e.chain))


def _has_row(stream: str) -> bool:
    return stream.partition(":")[0] in schema.PROJECTIONS


def _row_of(stream: str) -> tuple[Table, str]:
    type_, _, id = stream.partition(":")
    return schema.PROJECTIONS[type_], id


def _load(connection: Connection, org: str, table: Table, id: str) -> Values | None:
    row = connection.execute(select(table).where(table.c.org == org, table.c.id == id)).first()
    return {k: v for k, v in row._mapping.items() if k not in ("org", "id")} if row else None


def _save(connection: Connection, org: str, table: Table, id: str, before: Values | None, row: Values | None) -> None:
    if row == before:
        return
    if before is None and row is not None:
        connection.execute(insert(table), {"org": org, "id": id, **row})
    elif row is None:
        connection.execute(delete(table).where(table.c.org == org, table.c.id == id))
    else:
        connection.execute(update(table).where(table.c.org == org, table.c.id == id), row)
