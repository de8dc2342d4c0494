"""Migrations, run by `open_ledger`; there is no alembic.ini."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from sealwright.errors import Conflict
from sealwright.ledger.schema import REVISION, VERSION_TABLE


def version(connection: Connection) -> str | None:
    """The migration the database stands at; None when it is new."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    return connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()


def upgrade(connection: Connection) -> None:
    """Bring the database to this code's tables, inside the caller's transaction."""
    found = version(connection)
    if found == REVISION:
        return
    if found is not None and found > REVISION:
        raise Conflict(f"the database stands at version {found}, this program knows only {REVISION}",
                       place="ledger", mend="Open it with a newer Sealwright.", code="newer-ledger")
    from alembic import command  # half a second to import, needed once
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
