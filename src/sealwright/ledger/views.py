"""Rows for people to look at: projections joined with names."""

from __future__ import annotations

from typing import Any

import msgspec
from sqlalchemy import Connection, Select, and_, func, select

from sealwright.assess.events import Facepiece
from sealwright.errors import NotFound
from sealwright.ledger import schema
from sealwright.ledger.rows import FacepieceRow, LotRow, TesterRow, TestRow, WearerRow

MOST = 10_000
"""Tests in one answer."""


def tests(connection: Connection, org: str, *, open_only: bool, wearer: str | None, limit: int) -> list[TestRow]:
    t = schema.test.c
    query = _tests(org).order_by(t.opened_at.desc(), t.id).limit(max(0, min(limit, MOST)))
    if open_only:
        query = query.where(~t.closed)
    if wearer is not None:
        query = query.where(t.wearer == wearer)
    return [_test(row) for row in connection.execute(query)]


def test(connection: Connection, org: str, id: str) -> TestRow:
    row = connection.execute(_tests(org).where(schema.test.c.id == id)).first()
    if row is None:
        raise NotFound(f"there is no test {id!r}", place=f"test:{id}")
    return _test(row)


def _tests(org: str) -> Select[Any]:
    t, s = schema.test, schema.stream.c
    worn, tester = schema.person.alias(), schema.person.alias()
    last = (select(func.max(s.last_at)).where(s.org == t.c.org, s.stream == "test:" + t.c.id)
            .scalar_subquery().label("last_at"))
    columns = [column for column in t.c if column.name != "org"]
    return (select(*columns, last, worn.c.name.label("wearer_name"), tester.c.name.label("tester_name"))
            .outerjoin(worn, and_(worn.c.org == t.c.org, worn.c.id == t.c.wearer))
            .outerjoin(tester, and_(tester.c.org == t.c.org, tester.c.id == t.c.tester))
            .where(t.c.org == org))


def _test(row: Any) -> TestRow:
    return TestRow(**{**row._mapping, "facepiece": msgspec.json.decode(row.facepiece, type=Facepiece)})


def wearers(connection: Connection, org: str) -> list[WearerRow]:
    return sorted([WearerRow(**row._mapping) for row in connection.execute(_wearers(org))], key=_by_name)


def _by_name(row: WearerRow | TesterRow) -> tuple[bool, str, str]:
    """In the program, because stores differ in how they order letters."""
    return row.name is None, (row.name or "").casefold(), row.id


def wearer(connection: Connection, org: str, id: str) -> WearerRow:
    row = connection.execute(_wearers(org).where(schema.wearer.c.id == id)).first()
    if row is None:
        raise NotFound(f"there is no wearer {id!r}", place=f"wearer:{id}")
    return WearerRow(**row._mapping)


def _wearers(org: str) -> Select[Any]:
    w, p = schema.wearer, schema.person
    columns = [column for column in w.c if column.name != "org"]
    return (select(*columns, p.c.name, p.c.staff_no, p.c.contact)
            .outerjoin(p, and_(p.c.org == w.c.org, p.c.id == w.c.id)).where(w.c.org == org))


def facepieces(connection: Connection, org: str) -> list[FacepieceRow]:
    f = schema.facepiece.c
    query = select(f.id, f.make, f.model, f.material, f.size, f.kind).where(f.org == org)
    return [FacepieceRow(**row._mapping) for row in connection.execute(query.order_by(f.make, f.model, f.size, f.id))]


def testers(connection: Connection, org: str) -> list[TesterRow]:
    t, p = schema.tester, schema.person
    query = (select(t.c.id, t.c.competent_until_at, t.c.erased, p.c.name)
             .outerjoin(p, and_(p.c.org == t.c.org, p.c.id == t.c.id)).where(t.c.org == org))
    return sorted([TesterRow(**row._mapping) for row in connection.execute(query)], key=_by_name)


def lots(connection: Connection, org: str) -> list[LotRow]:
    x = schema.lot.c
    query = select(x.id, x.agent, x.use, x.lot, x.expires_at).where(x.org == org).order_by(x.expires_at.desc(), x.id)
    return [LotRow(**row._mapping) for row in connection.execute(query)]
