"""The tables. Every key is led by `org`, so that organisations are strictly apart and the store can be sharded."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

REVISION = "0002"
"""The newest migration: what a database opened by this code is brought to."""
VERSION_TABLE = "schema_version"

metadata = MetaData()


def _id(name: str, *, null: bool = False) -> Column[str]:
    return Column(name, String(80), nullable=null)


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False)


def _short(name: str) -> Column[str]:
    return Column(name, String(16), nullable=False)


def _whole(name: str, *, null: bool = False) -> Column[int]:
    return Column(name, BigInteger, nullable=null)


def _count(name: str, *, null: bool = False) -> Column[int]:
    return Column(name, Integer, nullable=null)


def _hash(name: str) -> Column[str]:
    return Column(name, String(64), nullable=False)


def _flag(name: str) -> Column[bool]:
    return Column(name, Boolean, nullable=False)


# What happened. Never updated, never deleted.
event = Table(
    "event", metadata,
    _id("org"), _id("chain"), _whole("n"), _id("id"), _id("stream"), _whole("seq"), _id("kind"), _whole("at"),
    _id("by"), _text("data"), _whole("recorded_at"), _hash("prev"), _hash("hash"),
    PrimaryKeyConstraint("org", "chain", "n"),
    UniqueConstraint("org", "id", name="event_id"),
    UniqueConstraint("org", "stream", "chain", "seq", name="event_place"))

# The end of each chain, so that a cut-off tail is noticed.
head = Table("head", metadata, _id("org"), _id("chain"), _whole("n"), _hash("hash"),
             PrimaryKeyConstraint("org", "chain"))

# Which chain this installation writes for an organisation.
installation = Table("installation", metadata, _id("org"), _id("chain"), _whole("made_at"), PrimaryKeyConstraint("org"))

# Personal details: besides the projections, the only rows that are ever deleted.
person = Table("person", metadata, _id("org"), _id("id"), _text("name"), _text("staff_no"), _text("contact"),
               PrimaryKeyConstraint("org", "id"))
mark = Table("mark", metadata, _id("org"), _id("mark"), _id("person"), _short("role"), _text("path"), _hash("sha256"),
             PrimaryKeyConstraint("org", "mark"), Index("mark_person", "org", "person"))

# Projections: made from events, and made again from them at will.
stream = Table("stream", metadata, _id("org"), _id("stream"), _id("chain"), _whole("seq"), _flag("closed"),
               _whole("last_at"), PrimaryKeyConstraint("org", "stream", "chain"))
wearer = Table("wearer", metadata, _id("org"), _id("id"), _text("language"), _text("site"), _text("role"),
               _whole("joined_at"), _flag("erased"), PrimaryKeyConstraint("org", "id"))
facepiece = Table("facepiece", metadata, _id("org"), _id("id"), _text("make"), _text("model"), _text("material"),
                  _text("size"), _short("kind"), PrimaryKeyConstraint("org", "id"))
tester = Table("tester", metadata, _id("org"), _id("id"), _whole("competent_until_at", null=True), _flag("erased"),
               PrimaryKeyConstraint("org", "id"))
lot = Table("lot", metadata, _id("org"), _id("id"), _short("agent"), _short("use"), _text("lot"), _whole("expires_at"),
            PrimaryKeyConstraint("org", "id"))
test = Table(
    "test", metadata,
    _id("org"), _id("id"), _id("wearer"), _text("facepiece"), _id("protocol"), _text("protocol_version"), _id("tester"),
    _count("try_no"), _id("previous", null=True), _whole("opened_at"), _count("level", null=True), _flag("closed"),
    _whole("closed_at", null=True), _short("result"), _text("reason"), _whole("tasted_at", null=True),
    _whole("factor_milli", null=True), _whole("low_milli", null=True), _whole("high_milli", null=True),
    _whole("pass_level", null=True),
    _count("notes"), _count("minors"), _count("majors"), _count("voids"),
    PrimaryKeyConstraint("org", "id"),
    Index("test_opened", "org", "opened_at"), Index("test_wearer", "org", "wearer", "opened_at"))

PROJECTIONS: dict[str, Table] = {"wearer": wearer, "facepiece": facepiece, "account": tester, "lot": lot, "test": test}
"""The table that the streams of each type are projected into."""
