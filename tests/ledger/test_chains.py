"""Every way of tampering with the file by hand is found, and named."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.ledger.invented import NOW, joined, some

from sealwright.ledger import ChainReport, Damaged, Head, Ledger, open_ledger
from sealwright.ledger.append import link


def tamper(file: Path, *statements: str) -> None:
    connection = sqlite3.connect(file)
    for statement in statements:
        assert connection.execute(statement).rowcount == 1, statement
    connection.commit()
    connection.close()


def broken(report: ChainReport) -> tuple[int, str]:
    assert not report.ok and report.broken is not None
    return report.broken.n, report.broken.why


def test_a_whole_chain_is_whole(ledger: Ledger) -> None:
    assert ledger.check() == ChainReport(ok=True, events=0, chains=0)
    ledger.append(some(5))
    assert ledger.check(rows=True) == ChainReport(ok=True, events=5, chains=1)


@pytest.mark.parametrize("change", [
    "data = '{\"act\":\"first\",\"squeezes\":7}'", "data = replace(data, ',', ', ')", "data = x'00'", "at = at + 1",
    "at = 'noon'", "by = 'a-2'", "kind = 'tasted'", "id = 'other'", "stream = 'test:t-9'", "seq = 99",
    "recorded_at = 0", "hash = replace(hash, substr(hash, 1, 1), 'x')",
])
def test_changed_content_is_named(ledger: Ledger, file: Path, change: str) -> None:
    ledger.append(some(5))
    tamper(file, f"UPDATE event SET {change} WHERE n = 3")
    report = ledger.check()
    assert broken(report) == (3, "its content was changed")
    assert report.events == 2


def test_a_changed_link_is_named(ledger: Ledger, file: Path) -> None:
    ledger.append(some(5))
    tamper(file, "UPDATE event SET prev = hash WHERE n = 3")
    assert broken(ledger.check()) == (3, "it does not follow the event before it")


def test_an_event_changed_with_a_hash_made_anew_breaks_the_next(ledger: Ledger, file: Path) -> None:
    ledger.append(some(5))
    connection = sqlite3.connect(file)
    connection.row_factory = sqlite3.Row
    row = {**connection.execute("SELECT * FROM event WHERE n = 3").fetchone()}
    row["by"] = "a-2"
    row.pop("hash")
    connection.execute("UPDATE event SET \"by\" = 'a-2', hash = ? WHERE n = 3", (link(row),))
    connection.commit()
    connection.close()
    assert broken(ledger.check()) == (4, "it does not follow the event before it")


@pytest.mark.parametrize("n", [1, 3])
def test_an_event_taken_out_is_named(ledger: Ledger, file: Path, n: int) -> None:
    ledger.append(some(5))
    tamper(file, f"DELETE FROM event WHERE n = {n}")
    assert broken(ledger.check()) == (n, f"event {n} is missing")


def test_a_tail_cut_off_is_noticed(ledger: Ledger, file: Path) -> None:
    ledger.append(some(5))
    tamper(file, "DELETE FROM event WHERE n = 5")
    assert broken(ledger.check()) == (5, "the chain went on to event 5; its tail was cut off")


def test_all_events_gone_is_noticed(ledger: Ledger, file: Path) -> None:
    ledger.append(some(1))
    tamper(file, "DELETE FROM event")
    assert broken(ledger.check())[0] == 1


def test_a_head_gone_or_changed_is_noticed(ledger: Ledger, file: Path) -> None:
    ledger.append(some(2))
    tamper(file, "UPDATE head SET hash = substr(hash, 2) || 'x'")
    assert "head" in broken(ledger.check())[1]
    tamper(file, "DELETE FROM head")
    assert "head" in broken(ledger.check())[1]


def test_a_tail_cut_off_with_the_head_set_back_is_noticed_by_who_noted_the_head(ledger: Ledger, file: Path) -> None:
    ledger.append(some(5))
    noted = ledger.heads()
    assert noted == [Head(chain="office", n=5, hash=ledger.events("test:t-1")[-1].hash)]
    tamper(file, "DELETE FROM event WHERE n = 5",
           "UPDATE head SET n = 4, hash = (SELECT hash FROM event WHERE n = 4)")
    assert ledger.check().ok
    assert broken(ledger.check(known=noted)) == (5, "the chain went on to event 5; its tail was cut off")


def test_a_chain_written_anew_is_noticed_by_who_noted_a_head(tmp_path: Path, ledger: Ledger) -> None:
    ledger.append(some(5))
    with open_ledger(str(tmp_path / "forged.db"), org="yard", chain="office", now=lambda: NOW + 1) as forged:
        forged.append(some(6))
        assert forged.check().ok
        assert broken(forged.check(known=ledger.heads())) == (5, "it differs from the head noted earlier")
    ledger.append([joined("w-1")])
    assert ledger.check(known=ledger.heads()).ok


def test_a_chain_that_vanished_whole_is_noticed_by_who_noted_its_head(ledger: Ledger) -> None:
    assert not ledger.check(known=[Head(chain="van", n=3, hash="0" * 64)]).ok


@pytest.mark.parametrize("change", ["data = '{'", "data = x'00'", "data = '{\"squeezes\":1}'", "kind = 'danced'"])
def test_damage_is_named_by_whoever_meets_it(ledger: Ledger, file: Path, change: str) -> None:
    ledger.append(some(5))
    tamper(file, f"UPDATE event SET {change} WHERE n = 3")
    with pytest.raises(Damaged, match="event 3"):
        ledger.rebuild()
    assert ledger.test("t-1").id == "t-1"


def test_progress_is_told_on_the_way(ledger: Ledger) -> None:
    ledger.append(some(2500))
    told: list[int] = []
    assert ledger.check(progress=told.append).events == 2500
    assert told == [1000, 2000]


COLUMNS = ("chain", "n", "id", "stream", "seq", "kind", "at", "by", "data", "recorded_at", "prev", "hash")


@given(st.integers(1, 6), st.sampled_from(COLUMNS), st.text("01ab:{}", min_size=1, max_size=5) | st.integers(0, 9))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_any_other_value_in_any_column_breaks_the_chain(
        tmp_path_factory: pytest.TempPathFactory, n: int, column: str, value: Any) -> None:
    file = tmp_path_factory.mktemp("x") / "l.db"
    with open_ledger(str(file), org="yard", now=lambda: NOW) as ledger:
        ledger.append(some(6))
        connection = sqlite3.connect(file)
        try:
            done = connection.execute(f'UPDATE event SET "{column}" = ? WHERE n = ? AND "{column}" <> ?',
                                      (value, n, value))
            connection.commit()
        except sqlite3.IntegrityError:
            return
        finally:
            connection.close()
        assert ledger.check().ok == (done.rowcount == 0)
