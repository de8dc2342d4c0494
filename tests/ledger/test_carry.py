"""Copies and chains on the move."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from tests.ledger.invented import NOW, closed, dosed, event, joined, opened, some

from sealwright.errors import BadInput, Conflict, TooLarge
from sealwright.ledger import Ledger, open_ledger, restore


@pytest.fixture
def van(tmp_path: Path) -> Iterator[Ledger]:
    """A laptop that was away, its clock a minute ahead."""
    with open_ledger(str(tmp_path / "van.db"), org="yard", chain="van", now=lambda: NOW + 60_000) as ledger:
        yield ledger


def test_a_backup_is_whole_and_restores(ledger: Ledger, tmp_path: Path) -> None:
    ledger.append([*some(4), joined("w-1")])
    ledger.put_person("w-1", "Wanda Reed")
    ledger.backup(tmp_path / "copy.db")
    ledger.append([dosed("t-1", "later")])
    restore(tmp_path / "copy.db", tmp_path / "new" / "back.db")
    with open_ledger(str(tmp_path / "new" / "back.db"), org="yard", now=lambda: NOW) as back:
        assert (back.count(), back.chain) == (5, "office")
        assert back.person("w-1") == ledger.person("w-1")
        assert back.check(rows=True).ok
        assert not back.check(known=ledger.heads()).ok


def test_no_copy_overwrites_a_file(ledger: Ledger, tmp_path: Path) -> None:
    there = tmp_path / "there.db"
    there.write_text("mine")
    ledger.backup(tmp_path / "copy.db")
    for act in (lambda: ledger.backup(there), lambda: restore(tmp_path / "copy.db", there),
                lambda: ledger.export_events(there)):
        with pytest.raises(Conflict):
            act()
    assert there.read_text() == "mine"
    assert not list(tmp_path.glob("*.part"))


def test_what_cannot_be_restored(ledger: Ledger, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        restore(tmp_path / "none.db", tmp_path / "new.db")
    (tmp_path / "text.db").write_text("This is no database at all, but long enough to have a header of its own." * 9)
    with pytest.raises(BadInput):
        restore(tmp_path / "text.db", tmp_path / "new.db")
    ledger.append(some(200))
    ledger.backup(tmp_path / "copy.db")
    raw = bytearray((tmp_path / "copy.db").read_bytes())
    raw[8192:40960] = b"\xa5" * (40960 - 8192)
    (tmp_path / "torn.db").write_bytes(raw)
    with pytest.raises(BadInput):
        restore(tmp_path / "torn.db", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()


def test_a_database_of_something_else_is_not_restored(tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE recipe (name)")
    other.close()
    with pytest.raises(BadInput, match="no ledger"):
        restore(tmp_path / "other.db", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()


def test_a_chain_is_taken_in_whole_and_once(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    van.append([joined("w-7"), *some(3, "t-7"), closed("t-7")])
    van.put_person("w-7", "Wilf Penn")
    assert van.export_events(tmp_path / "van.jsonl") == 5
    assert b"Wilf" not in (tmp_path / "van.jsonl").read_bytes()
    ledger.append(some(2))
    assert ledger.take_in(tmp_path / "van.jsonl") == 5
    assert ledger.events("test:t-7") == van.events("test:t-7")
    assert {h.chain: h.n for h in ledger.heads()} == {"office": 2, "van": 5}
    assert (ledger.test("t-7"), ledger.wearer("w-7").name) == (van.test("t-7"), None)
    report = ledger.check(known=van.heads(), rows=True)
    assert (report.ok, report.chains, report.events) == (True, 2, 7)
    assert ledger.take_in(tmp_path / "van.jsonl") == 0
    van.append([joined("w-8")])
    van.export_events(tmp_path / "more.jsonl")
    assert ledger.take_in(tmp_path / "more.jsonl") == 1
    assert ledger.take_in(tmp_path / "van.jsonl") == 0
    assert ledger.check(rows=True).events == 8
    assert ledger.export_events(tmp_path / "again.jsonl", chain="van") == 6
    assert (tmp_path / "again.jsonl").read_bytes() == (tmp_path / "more.jsonl").read_bytes()
    with pytest.raises(Conflict, match="closed"):
        ledger.append([dosed("t-7", "late")])
    assert ledger.append([opened("t-7")])[0].known


Change = Callable[[list[dict[str, Any]]], object]
WRONG: dict[str, tuple[Change, str]] = {
    "content": (lambda x: x[2].update(at=1), ":3"),
    "data": (lambda x: x[2]["data"].update(squeezes=9), ":3"),
    "hash": (lambda x: x[2].update(hash="0" * 64), ":3"),
    "missing": (lambda x: x.pop(2), ":3"),
    "order": (lambda x: x.insert(2, x.pop(3)), ":3"),
    "cut": (lambda x: x.pop(), "jsonl"),
    "more": (lambda x: x[0].update(n=2), "jsonl"),
    "end": (lambda x: x[0].update(hash="0" * 64), "jsonl"),
    "chain": (lambda x: x[0].update(chain="bus"), ":2"),
    "kind": (lambda x: x[2].update(kind="danced"), ":3.kind"),
    "field": (lambda x: x[2].update(mood="x"), ":3"),
    "nan": (lambda x: x[2].update(at=float("nan")), ":3"),
    "format": (lambda x: x[0].update(format="x"), ":1"),
    "header": (lambda x: x.pop(0), ":1"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_chain_that_does_not_hold_is_not_taken(name: str, ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    change, place = WRONG[name]
    van.append(some(4, "t-7"))
    van.export_events(tmp_path / "van.jsonl")
    lines = [json.loads(line) for line in (tmp_path / "van.jsonl").read_text().splitlines()]
    change(lines)
    (tmp_path / "bad.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    with pytest.raises(BadInput) as raised:
        ledger.take_in(tmp_path / "bad.jsonl")
    assert raised.value.place.endswith(place)
    assert (ledger.count(), ledger.heads(), ledger.tests()) == (0, [], [])


@pytest.mark.parametrize("raw", [b"", b"\n", b"\xff\xfe", b"[]\n", b"x" * 200_000])
def test_files_that_are_no_chain(ledger: Ledger, tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "f").write_bytes(raw)
    with pytest.raises(BadInput):
        ledger.take_in(tmp_path / "f")
    with pytest.raises(BadInput):
        ledger.take_in(tmp_path / "none")


def test_an_endless_line_is_not_read(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    van.append(some(1))
    van.export_events(tmp_path / "van.jsonl")
    with (tmp_path / "van.jsonl").open("ab") as file:
        file.write(b" " * 200_000)
    with pytest.raises(TooLarge):
        ledger.take_in(tmp_path / "van.jsonl")
    assert ledger.count() == 0


def test_a_chain_of_another_organisation_is_not_taken(ledger: Ledger, tmp_path: Path) -> None:
    with open_ledger(str(tmp_path / "m.db"), org="mill", chain="van", now=lambda: NOW) as mill:
        mill.append(some(1))
        mill.export_events(tmp_path / "m.jsonl")
    with pytest.raises(Conflict, match="mill"):
        ledger.take_in(tmp_path / "m.jsonl")


def test_two_copies_that_both_went_on_are_not_mixed(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    van.append(some(3, "t-7"))
    van.backup(tmp_path / "twin.db")
    van.append([dosed("t-7", "here")])
    with open_ledger(str(tmp_path / "twin.db"), org="yard", now=lambda: NOW) as twin:
        assert twin.chain == "van"
        twin.append([dosed("t-7", "there"), dosed("t-7", "there-2")])
        twin.export_events(tmp_path / "twin.jsonl")
    van.export_events(tmp_path / "van.jsonl")
    ledger.take_in(tmp_path / "van.jsonl")
    with pytest.raises(Conflict) as raised:
        ledger.take_in(tmp_path / "twin.jsonl")
    assert raised.value.code == "forked"
    assert ledger.count() == 4


def test_an_id_that_stands_in_another_chain_is_not_taken_twice(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    van.append([joined("w-1")])
    ledger.append([joined("w-1")])
    van.export_events(tmp_path / "van.jsonl")
    with pytest.raises(Conflict) as raised:
        ledger.take_in(tmp_path / "van.jsonl")
    assert raised.value.code == "id-taken"
    assert ledger.count() == 1


def test_one_stream_in_two_chains_reads_by_time_of_recording(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    """The van recorded a minute after the office: its choice stands, also after a rebuild."""
    ledger.append([joined("w-1", "here", language="pl"),
                   event("wearer:w-1", "c1", "language-chosen", {"language": "cy"})])
    van.append([joined("w-1", "there", language="lt", site="Van")])
    van.export_events(tmp_path / "van.jsonl")
    ledger.take_in(tmp_path / "van.jsonl")
    assert [e.id for e in ledger.events("wearer:w-1")] == ["here", "c1", "there"]
    assert (ledger.wearer("w-1").language, ledger.wearer("w-1").site) == ("lt", "Van")
    ledger.append([event("wearer:w-1", "c2", "language-chosen", {"language": "uk"})])
    assert [e.id for e in ledger.events("wearer:w-1")] == ["here", "c1", "c2", "there"]
    assert ledger.wearer("w-1").language == "lt"
    assert ledger.check(rows=True).ok
    ledger.rebuild()
    assert ledger.check(rows=True).ok


def test_an_empty_chain_can_be_carried(ledger: Ledger, van: Ledger, tmp_path: Path) -> None:
    assert van.export_events(tmp_path / "van.jsonl") == 0
    assert ledger.take_in(tmp_path / "van.jsonl") == 0
    assert ledger.check().ok


@pytest.mark.parametrize(("first", "second"), [("aft", "van"), ("van", "aft")])
def test_a_test_opened_at_two_sites_stays_as_first_opened_and_closed_if_either_closed_it(
        tmp_path: Path, first: str, second: str) -> None:
    with open_ledger(str(tmp_path / "1.db"), org="yard", chain=first, now=lambda: NOW) as here, \
            open_ledger(str(tmp_path / "2.db"), org="yard", chain=second, now=lambda: NOW + 1) as there:
        here.append([opened("t-7", "here", wearer="w-1"), dosed("t-7", "d1")])
        there.append([opened("t-7", "there", wearer="w-2"), closed("t-7")])
        there.export_events(tmp_path / "there.jsonl")
        here.take_in(tmp_path / "there.jsonl")
        assert (here.test("t-7").wearer, here.test("t-7").closed) == ("w-1", True)
        with pytest.raises(Conflict, match="closed"):
            here.append([dosed("t-7", "d2")])
        assert here.check(rows=True).ok


def test_a_clock_set_back_turns_no_chain_round(van: Ledger, tmp_path: Path) -> None:
    """The office's clock falls back by an hour between two of its events; they keep their order beside the van's."""
    clock = iter([NOW, NOW, NOW + 100_000, NOW - 3_600_000])
    with open_ledger(str(tmp_path / "l.db"), org="yard", chain="office", now=lambda: next(clock)) as office:
        office.append([joined("w-1", "o1", language="pl")])
        office.append([event("wearer:w-1", "o2", "language-chosen", {"language": "cy"})])
        office.append([event("wearer:w-1", "o3", "language-chosen", {"language": "ga"})])
        van.append([joined("w-1", "v1", language="lt")])
        van.export_events(tmp_path / "van.jsonl")
        office.take_in(tmp_path / "van.jsonl")
        assert [e.id for e in office.events("wearer:w-1")] == ["o1", "v1", "o2", "o3"]
        assert office.wearer("w-1").language == "ga"
