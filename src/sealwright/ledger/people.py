"""Personal details, apart from the events: names and signatures, which can be erased without touching a chain."""

from __future__ import annotations

import hashlib
import re
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta
from sqlalchemy import Connection, and_, delete, insert, or_, select, update
from uuid_utils import uuid7

from sealwright.errors import BadInput, Conflict, NotFound, TooLarge
from sealwright.ledger import schema
from sealwright.ledger.intake import Key
from sealwright.ledger.rows import MarkRow, PersonRow

LARGEST_MARK = 20_000
"""Bytes of one drawing."""
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_PATH = re.compile(rf"\s*[Mm](?:[MmLlHhVvCcSsQqTtAaZz]|{_NUMBER}|[\s,])*+", re.ASCII)
"""Path data of SVG 2, section 9.3, read loosely: its commands, numbers, commas and spaces, beginning with a move.
Nothing is tried twice, so that no drawing takes long to refuse."""


class _Person(msgspec.Struct, kw_only=True):
    id: Key
    name: Annotated[str, Meta(min_length=1, max_length=120)]
    staff_no: Annotated[str, Meta(max_length=60)]
    contact: Annotated[str, Meta(max_length=200)]


class _Mark(msgspec.Struct, kw_only=True):
    mark: Key
    person: Key
    role: Literal["tester", "wearer"]


def read_person(id: str, name: str, staff_no: str, contact: str) -> PersonRow:
    """Check personal details."""
    values = {"id": id, "name": name, "staff_no": staff_no, "contact": contact}
    _convert(values, _Person)
    for field, value in values.items():
        _well_formed(value, f"person.{field}")
    return PersonRow(**values)


def read_mark(mark_id: str, person_id: str, svg_path: str, role: str) -> MarkRow:
    """Check a drawing: plain path data, nothing that a browser could run or fetch."""
    _convert({"mark": mark_id, "person": person_id, "role": role}, _Mark)
    if isinstance(svg_path, str) and len(svg_path) > LARGEST_MARK:
        raise TooLarge(f"the drawing has {len(svg_path)} bytes", place="mark.path", mend=f"Keep it to {LARGEST_MARK}.")
    if not isinstance(svg_path, str) or not _PATH.fullmatch(svg_path):
        raise BadInput("the drawing is no SVG path data", place="mark.path", mend="Send commands and numbers only.")
    sha256 = hashlib.sha256(svg_path.encode()).hexdigest()
    return MarkRow(mark=mark_id, person=person_id, role=role, path=svg_path, sha256=sha256)


def _convert(values: dict[str, Any], type_: type) -> None:
    try:
        msgspec.convert(values, type_)
    except msgspec.ValidationError as fault:
        found, _, path = str(fault).partition(" - at `$")
        raise BadInput(found[0].lower() + found[1:], place=type_.__name__[1:].lower() + path.rstrip("`")) from None


def _well_formed(text: str, place: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError:
        raise BadInput("half a character (a lone surrogate) in the text", place=place) from None


def put_person(connection: Connection, org: str, person: PersonRow) -> None:
    p = schema.person
    values = {"name": person.name, "staff_no": person.staff_no, "contact": person.contact}
    done = connection.execute(update(p).where(p.c.org == org, p.c.id == person.id).values(values))
    if done.rowcount == 0:
        connection.execute(insert(p), {"org": org, "id": person.id, **values})


def person(connection: Connection, org: str, id: str) -> PersonRow | None:
    p = schema.person.c
    row = connection.execute(select(p.id, p.name, p.staff_no, p.contact).where(p.org == org, p.id == id)).first()
    return PersonRow(**row._mapping) if row else None


def put_mark(connection: Connection, org: str, new: MarkRow) -> None:
    kept = mark(connection, org, new.mark)
    if kept is None:
        connection.execute(insert(schema.mark), {"org": org, **msgspec.structs.asdict(new)})
    elif kept != new:
        raise Conflict(f"the drawing {new.mark!r} is on record and differs", place="mark.mark",
                       mend="Give each drawing an id of its own.", code="id-taken")


def mark(connection: Connection, org: str, mark_id: str) -> MarkRow | None:
    m = schema.mark.c
    row = connection.execute(select(m.mark, m.person, m.role, m.path, m.sha256)
                             .where(m.org == org, m.mark == mark_id)).first()
    return MarkRow(**row._mapping) if row else None


def erase(connection: Connection, org: str, id: str, *, by: str, at: int) -> list[dict[str, Any]]:
    """Delete the details and drawings; returns the events that record it, one for each stream of the person."""
    p, m, s = schema.person, schema.mark, schema.stream.c
    names = (f"wearer:{id}", f"account:{id}")
    found = select(s.stream).where(s.org == org, or_(*[s.stream == name for name in names])).distinct()
    streams = list(connection.execute(found.order_by(s.stream)).scalars())
    gone = connection.execute(delete(p).where(and_(p.c.org == org, p.c.id == id))).rowcount
    gone += connection.execute(delete(m).where(and_(m.c.org == org, m.c.person == id))).rowcount
    if not streams and not gone:
        raise NotFound(f"nothing is on record about {id!r}", place="person.id")
    return [{"stream": stream, "id": str(uuid7()), "kind": "person-erased", "at": at, "by": by, "data": {}}
            for stream in streams or names[:1]]
