"""How the database is opened, migrated and kept to one dialect file."""

from __future__ import annotations

import ast
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable
from tests.ledger.invented import NOW, dosed, joined, some

from sealwright import ledger as package
from sealwright.errors import BadInput, Conflict, SealwrightError
from sealwright.ledger import Ledger, Unavailable, carry, dialect, intake, open_ledger, people, schema
from sealwright.ledger.append import Appender

HERE = Path(package.__file__).parent


def test_the_migrations_make_the_tables_of_the_code(ledger: Ledger, file: Path) -> None:
    engine = dialect.engine_for(str(file))
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": schema.VERSION_TABLE})
        assert compare_metadata(context, schema.metadata) == []
    engine.dispose()


def test_the_newest_migration_is_the_one_the_code_expects() -> None:
    config = Config()
    config.set_main_option("script_location", str(HERE / "migrations"))
    assert ScriptDirectory.from_config(config).get_current_head() == schema.REVISION


def test_a_newer_database_is_refused_and_untouched(ledger: Ledger, file: Path) -> None:
    ledger.append(some(2))
    connection = sqlite3.connect(file)
    connection.execute(f"UPDATE {schema.VERSION_TABLE} SET version_num = '0999'")
    connection.commit()
    with pytest.raises(Conflict, match="newer Sealwright") as raised:
        open_ledger(str(file), org="yard")
    assert raised.value.code == "newer-ledger"
    assert connection.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchone() == ("0999",)
    connection.close()


def test_the_chain_is_made_once_and_kept(tmp_path: Path) -> None:
    with open_ledger(str(tmp_path / "a.db"), org="yard") as first:
        made = first.chain
    with open_ledger(f"sqlite:///{tmp_path}/a.db", org="yard") as again:
        assert again.chain == made
    with open_ledger(str(tmp_path / "a.db"), org="yard", chain="mine") as named:
        assert named.chain == "mine"
    with open_ledger(str(tmp_path / "b.db"), org="yard") as other:
        assert other.chain != made


@pytest.mark.parametrize(("url", "org"), [
    ("mysql://x/y", "yard"), ("sqlite://", "yard"), ("sqlite:///:memory:", "yard"), ("://", "yard"),
    ("/proc/none/l.db", "yard"), ("/", "yard"), ("{tmp}/l.db", ""), ("{tmp}/l.db", "a b"), ("{tmp}/text", "yard"),
])
def test_what_cannot_be_opened(tmp_path: Path, url: str, org: str) -> None:
    (tmp_path / "text").write_text("Words, many of them, and no database to be found among them." * 40)
    with pytest.raises(BadInput) as raised:
        open_ledger(url.replace("{tmp}", str(tmp_path)), org=org)
    assert raised.value.place


def test_the_file_is_for_its_owner_alone(ledger: Ledger, file: Path) -> None:
    ledger.append([joined("w-1")])
    modes = {p.name: stat.S_IMODE(p.stat().st_mode) for p in file.parent.iterdir()}
    assert set(modes) == {"ledger.db", "ledger.db-wal", "ledger.db-shm"}
    assert set(modes.values()) == {0o600}


def test_every_connection_is_durable(file: Path, ledger: Ledger) -> None:
    """`synchronous` 2 is FULL: the log is synced at each commit (SQLite manual, PRAGMA synchronous)."""
    engine = dialect.engine_for(str(file))
    with engine.connect() as connection:
        asked = [connection.exec_driver_sql(f"PRAGMA {p}").scalar() for p in
                 ("journal_mode", "synchronous", "foreign_keys", "secure_delete", "busy_timeout")]
    engine.dispose()
    assert asked == ["wal", 2, 1, 1, dialect.WAIT_S * 1000]


def test_a_locked_store_says_so_and_recovers(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dialect, "WAIT_S", 0.05)
    with open_ledger(str(file), org="yard", now=lambda: NOW) as ledger:
        ledger.append(some(2))
        other = sqlite3.connect(file, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(Unavailable, match="locked") as raised:
            ledger.append([dosed("t-1", "d")])
        assert raised.value.status == 503
        assert ledger.count() == 2
        other.execute("ROLLBACK")
        other.close()
        assert not ledger.append([dosed("t-1", "d")])[0].known


def test_a_full_disk_says_so_and_leaves_all_as_it_was(ledger: Ledger) -> None:
    """A page limit stands in for a full disk: SQLite answers both with SQLITE_FULL."""
    ledger.append(some(2))
    with ledger._write() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages}")
    with pytest.raises(Unavailable, match="full"):
        ledger.append([*some(2), *some(400, "t-2")])
    assert ledger.count() == 2
    assert ledger.check(rows=True).ok
    assert len(ledger.append(some(400, "t-2"))) == 400


def test_nothing_particular_to_sqlite_stands_outside_the_dialect_file() -> None:
    words = ("pragma", "sqlite", "immediate", "rowid", "insert or", "on conflict", "json_extract")
    texts = {path.name: [node.value.lower() for node in ast.walk(ast.parse(path.read_text()))
                         if isinstance(node, ast.Constant) and isinstance(node.value, str)]
             for path in HERE.rglob("*.py")}
    found = {name for name, strings in texts.items() for s in strings for w in words if w in s and "\n" not in s}
    assert found - {"__init__.py"} == {"dialect.py"}


def test_the_same_statements_can_be_written_for_postgresql() -> None:
    """Compiled only: no PostgreSQL server is asked."""
    there = postgresql.dialect(paramstyle="named")
    for table in schema.metadata.sorted_tables:
        assert f"CREATE TABLE {table.name}" in str(CreateTable(table).compile(dialect=there)).replace('"', "")
    appender = Appender("yard", "office", there)
    assert "FOR UPDATE" in appender._head.sql


OPENER = """
import sys
from sealwright.ledger import open_ledger
with open_ledger(sys.argv[1], org="yard") as ledger:
    print(ledger.chain)
"""


def test_processes_that_open_a_new_ledger_at_once_agree(file: Path) -> None:
    started = [subprocess.Popen([sys.executable, "-c", OPENER, str(file)], stdout=subprocess.PIPE, text=True)
               for _ in range(4)]
    said = [process.communicate(timeout=120)[0].strip() for process in started]
    assert [process.returncode for process in started] == [0] * 4
    assert len(set(said)) == 1 and said[0]


def test_errors_are_of_the_house(ledger: Ledger) -> None:
    assert issubclass(Unavailable, SealwrightError)
    ledger.close()
    ledger.close()


def test_the_reference_names_every_public_call_and_limit() -> None:
    page = (Path(__file__).parents[2] / "docs" / "reference" / "ledger.md").read_text()
    calls = [name for name in vars(Ledger) if not name.startswith("_")]
    assert [name for name in (*calls, "open_ledger", "restore") if f"`{name}(" not in page] == []
    for limit in (intake.MOST_EVENTS, intake.LARGEST_DATA, people.LARGEST_MARK, carry.LONGEST_LINE):
        assert str(limit) in page
    kinds = {kind for type_, kinds in intake.KINDS.items() if type_ != "test" for kind in kinds}
    assert [kind for kind in (*kinds, *intake.OPENERS) if f"`{kind}" not in page] == []


def test_a_ledger_of_the_version_before_is_brought_forward_with_its_rows(ledger: Ledger, file: Path) -> None:
    ledger.append(some(2))
    before = ledger.tests()
    ledger.close()
    connection = sqlite3.connect(file)
    for name in ("factor_milli", "low_milli", "high_milli", "pass_level"):
        connection.execute(f"ALTER TABLE test DROP COLUMN {name}")
    connection.execute(f"UPDATE {schema.VERSION_TABLE} SET version_num = '0001'")
    connection.commit()
    connection.close()
    with open_ledger(str(file), org="yard") as again:
        assert again.tests() == before and before
        assert again.check(rows=True).ok
