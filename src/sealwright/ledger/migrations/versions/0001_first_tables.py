"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def _key(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.String(80), nullable=False) for name in ("org", *names)]


def _text(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text, nullable=False) for name in names]


def _whole(*names: str) -> list[sa.Column[int]]:
    return [sa.Column(name, sa.BigInteger, nullable=False) for name in names]


def _hash(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.String(64), nullable=False) for name in names]


def _short(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.String(16), nullable=False) for name in names]


def upgrade() -> None:
    """Events and heads, personal details, projections."""
    _events()
    _people()
    _projections()
    _tests()


def _events() -> None:
    op.create_table(
        "event", *_key("chain"), *_whole("n"), *_key("id", "stream")[1:], *_whole("seq"), *_key("kind")[1:],
        *_whole("at"), *_key("by")[1:], *_text("data"), *_whole("recorded_at"), *_hash("prev", "hash"),
        sa.PrimaryKeyConstraint("org", "chain", "n"), sa.UniqueConstraint("org", "id", name="event_id"),
        sa.UniqueConstraint("org", "stream", "chain", "seq", name="event_place"))
    op.create_table("head", *_key("chain"), *_whole("n"), *_hash("hash"), sa.PrimaryKeyConstraint("org", "chain"))
    op.create_table("installation", *_key("chain"), *_whole("made_at"), sa.PrimaryKeyConstraint("org"))


def _people() -> None:
    op.create_table("person", *_key("id"), *_text("name", "staff_no", "contact"), sa.PrimaryKeyConstraint("org", "id"))
    op.create_table("mark", *_key("mark", "person"), *_short("role"), *_text("path"), *_hash("sha256"),
                    sa.PrimaryKeyConstraint("org", "mark"))
    op.create_index("mark_person", "mark", ["org", "person"])


def _projections() -> None:
    own = sa.PrimaryKeyConstraint
    op.create_table("stream", *_key("stream", "chain"), *_whole("seq"), sa.Column("closed", sa.Boolean, nullable=False),
                    *_whole("last_at"), own("org", "stream", "chain"))
    op.create_table("wearer", *_key("id"), *_text("language", "site", "role"), *_whole("joined_at"),
                    sa.Column("erased", sa.Boolean, nullable=False), own("org", "id"))
    op.create_table("facepiece", *_key("id"), *_text("make", "model", "material", "size"), *_short("kind"),
                    own("org", "id"))
    op.create_table("tester", *_key("id"), sa.Column("competent_until_at", sa.BigInteger),
                    sa.Column("erased", sa.Boolean, nullable=False), own("org", "id"))
    op.create_table("lot", *_key("id"), *_short("agent", "use"), *_text("lot"), *_whole("expires_at"), own("org", "id"))


def _tests() -> None:
    op.create_table(
        "test", *_key("id", "wearer"), *_text("facepiece"), *_key("protocol")[1:], *_text("protocol_version"),
        *_key("tester")[1:], sa.Column("try_no", sa.Integer, nullable=False), sa.Column("previous", sa.String(80)),
        *_whole("opened_at"), sa.Column("level", sa.Integer), sa.Column("closed", sa.Boolean, nullable=False),
        sa.Column("closed_at", sa.BigInteger), *_short("result"), *_text("reason"),
        sa.Column("tasted_at", sa.BigInteger),
        *[sa.Column(name, sa.Integer, nullable=False) for name in ("notes", "minors", "majors", "voids")],
        sa.PrimaryKeyConstraint("org", "id"))
    op.create_index("test_opened", "test", ["org", "opened_at"])
    op.create_index("test_wearer", "test", ["org", "wearer", "opened_at"])
