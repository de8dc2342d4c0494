"""Rows made from events: what they say, and that a rebuild says the same."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import msgspec
import pytest
from tests.ledger.invented import FACEPIECE, NOW, closed, dosed, event, joined, opened, registered, some

from sealwright.assess import judge
from sealwright.demo.player import play
from sealwright.errors import NotFound
from sealwright.ledger import Ledger, projections
from sealwright.protocols import get

TABLES = ("stream", "wearer", "facepiece", "tester", "lot", "test")


def dump(file: Path) -> dict[str, list[Any]]:
    connection = sqlite3.connect(file)
    rows = {table: sorted(connection.execute(f"SELECT * FROM {table}"), key=repr) for table in TABLES}
    connection.close()
    return rows


def played(test: str, **kwargs: Any) -> list[dict[str, Any]]:
    return play(get("uk-bitter"), test_id=test, wearer="w-1", facepiece=FACEPIECE, tester="a-1", start_at=NOW, **kwargs)


def stock(ledger: Ledger) -> None:
    model = {k: v for k, v in FACEPIECE.items() if k not in ("id", "own")}
    ledger.append([
        joined("w-1", language="pl", site="North", role="welder"), joined("w-2"), registered("a-1"),
        registered("a-2", competent_until_at=NOW + 5),
        event("facepiece:fp-1", "f", "facepiece-stocked", model),
        event("lot:l-1", "l", "lot-received", {"agent": "bitter", "use": "test", "lot": "B7", "expires_at": NOW + 9}),
        event("wearer:w-2", "c", "language-chosen", {"language": "cy"}),
    ])


def test_what_a_programme_keeps(ledger: Ledger) -> None:
    stock(ledger)
    ledger.put_person("w-2", "ada Thorn", staff_no="17", contact="ada@yard.example")
    ledger.put_person("a-2", "Bo Lind")
    first, second = ledger.wearers()
    assert (first.id, first.shown, first.language, first.staff_no, first.contact) == (
        "w-2", "ada Thorn", "cy", "17", "ada@yard.example")
    assert (second.shown, second.name, second.site, second.role) == ("w-1", None, "North", "welder")
    assert ledger.wearer("w-1") == second
    assert [(t.id, t.shown, t.competent_until_at) for t in ledger.testers()] == [
        ("a-2", "Bo Lind", NOW + 5), ("a-1", "a-1", None)]
    assert [(f.id, f.make, f.model, f.size, f.kind) for f in ledger.facepieces()] == [
        ("fp-1", "Harrow", "Lark 2", "M", "half")]
    assert [(x.id, x.agent, x.use, x.lot, x.expires_at) for x in ledger.lots()] == [
        ("l-1", "bitter", "test", "B7", NOW + 9)]
    for missing in (lambda: ledger.wearer("w-9"), lambda: ledger.test("t-9")):
        with pytest.raises(NotFound):
            missing()


def test_a_later_event_of_the_same_thing_stands(ledger: Ledger) -> None:
    stock(ledger)
    ledger.append([event("account:a-1", "again", "tester-registered", {"competent_until_at": 7}),
                   event("wearer:w-1", "back", "wearer-joined", {"site": "South"}, at=NOW + 9)])
    assert {t.id: t.competent_until_at for t in ledger.testers()}["a-1"] == 7
    assert (ledger.wearer("w-1").site, ledger.wearer("w-1").joined_at) == ("South", NOW)


def test_an_open_test(ledger: Ledger) -> None:
    ledger.append([opened("t-1", try_no=2, previous="t-0"), dosed("t-1", "d", at=NOW + 50),
                   event("test:t-1", "r", "run-started", {"level": 20}, at=NOW + 40)])
    row = ledger.test("t-1")
    assert msgspec.to_builtins(row.facepiece) == FACEPIECE
    assert (row.wearer, row.tester, row.try_no, row.previous, row.protocol) == ("w-1", "a-1", 2, "t-0", "uk-bitter")
    assert (row.opened_at, row.last_at, row.level, row.closed, row.result) == (NOW, NOW + 50, 20, False, "unfinished")


@pytest.mark.parametrize(("kwargs", "result"), [
    ({}, "pass"), ({"taste_in_run_s": 100}, "fail"), ({"taste_at_squeeze": None}, "unsuited"),
    ({"seal_break_tasted": False}, "void"),
])
def test_a_closed_test_carries_its_verdict(ledger: Ledger, kwargs: dict[str, Any], result: str) -> None:
    events = played("t-1", **kwargs)
    for e in events:
        ledger.append([e])
    row = ledger.test("t-1")
    verdict = judge([projections.as_event(e) for e in ledger.events("test:t-1")])
    assert (row.closed, row.result, row.reason, row.tasted_at) == (True, result, verdict.reason, verdict.tasted_at)
    counted = [sum(f.severity == s for f in verdict.findings) for s in ("note", "minor", "major", "void")]
    assert [row.notes, row.minors, row.majors, row.voids] == counted
    assert row.closed_at == events[-1]["at"]


def test_what_cannot_be_judged_is_recorded_all_the_same(
        ledger: Ledger, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> None:
    def fails(_: object) -> None:
        raise ZeroDivisionError("a slip")

    monkeypatch.setattr(projections, "judge", fails)
    ledger.append(played("t-1"))
    row = ledger.test("t-1")
    assert (row.closed, row.result) == (True, "unfinished")
    assert row.reason.startswith("not judged")
    assert "a slip" in caplog.text
    monkeypatch.undo()
    assert ledger.check(rows=True).drift == ("test:t-1",)
    ledger.rebuild()
    assert ledger.test("t-1").result == "pass"


def test_lists_of_tests(ledger: Ledger) -> None:
    for i in range(5):
        ledger.append([{**opened(f"t-{i}", wearer=f"w-{i % 2}"), "at": NOW + i}])
    ledger.append([closed("t-4")])
    assert [t.id for t in ledger.tests()] == ["t-4", "t-3", "t-2", "t-1", "t-0"]
    assert [t.id for t in ledger.tests(open_only=True, wearer="w-0")] == ["t-2", "t-0"]
    assert [t.id for t in ledger.tests(limit=2)] == ["t-4", "t-3"]
    assert ledger.tests(limit=0) == []
    ledger.put_person("w-1", "Wanda Reed")
    ledger.put_person("a-1", "Tom Ash")
    assert [(t.wearer_name, t.tester_name) for t in ledger.tests(wearer="w-1", limit=1)] == [("Wanda Reed", "Tom Ash")]


def test_a_rebuild_makes_the_same_rows(ledger: Ledger, file: Path) -> None:
    stock(ledger)
    ledger.append(played("t-1"))
    ledger.append(played("t-2", taste_in_run_s=40))
    ledger.append(some(4, "t-3"))
    ledger.put_person("w-1", "Wanda Reed")
    ledger.erase_person("w-1", by="a-1", at=NOW + 1)
    before = dump(file)
    assert all(before.values())
    assert ledger.rebuild() == ledger.count()
    assert dump(file) == before


@pytest.mark.parametrize(("statement", "named"), [
    ("UPDATE test SET result = 'pass' WHERE id = 't-2'", "test:t-2"),
    ("DELETE FROM wearer WHERE id = 'w-2'", "wearer:w-2"),
    ("INSERT INTO lot SELECT org, 'l-2', agent, use, lot, expires_at FROM lot", "lot:l-2"),
    ("UPDATE stream SET closed = 0 WHERE stream = 'test:t-1'", "test:t-1"),
    ("UPDATE stream SET seq = seq + 1 WHERE stream = 'wearer:w-1'", "wearer:w-1"),
])
def test_rows_that_differ_from_their_events_are_named_and_mended(
        ledger: Ledger, file: Path, statement: str, named: str) -> None:
    stock(ledger)
    ledger.append(played("t-1"))
    ledger.append(played("t-2", taste_in_run_s=40))
    connection = sqlite3.connect(file)
    assert connection.execute(statement).rowcount == 1
    connection.commit()
    connection.close()
    assert ledger.check().ok
    report = ledger.check(rows=True)
    assert (report.ok, report.drift) == (False, (named,))
    ledger.rebuild()
    assert ledger.check(rows=True).ok
