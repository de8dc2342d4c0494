"""The invented yard: counts, sameness, and what must hold of every test in it.

The figures are our own choice of demo data; nothing here checks a fact of the trade.
"""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import msgspec
import pytest

from sealwright.assess import decode, judge, read_record, record_bytes
from sealwright.demo.build import Built, build
from sealwright.demo.history import held_tests
from sealwright.demo.yard import DAY, NEVER_TESTED, yard
from sealwright.errors import Conflict
from sealwright.ledger import Ledger, open_ledger
from sealwright.protocols import get

TODAY = date(2026, 11, 25)
TODAY_MS = int(datetime(2026, 11, 25, tzinfo=UTC).timestamp()) * 1000
MAKERS = {"Quillmoss", "Thrumbeck", "Osk & Daughters", "Pellitory Works"}
MODELS = {"Sedgefold", "Drumlin", "Kittiwick", "Little Marl", "Coppet", "Great Marl", "Lanternface"}


def _open(path: Path) -> Ledger:
    return open_ledger(str(path), org=yard().id, chain="demo-chain", now=lambda: TODAY_MS)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory):
    with _open(tmp_path_factory.mktemp("yard") / "demo.db") as ledger:
        build(ledger, today=TODAY)
        yield ledger


@pytest.fixture(scope="module")
def tests(book: Ledger):
    return sorted(book.tests(limit=1000), key=lambda t: t.opened_at)


def test_people_and_shelves(book):
    wearers = book.wearers()
    assert len(wearers) == 60 and len({w.name for w in wearers}) == 60
    assert {w.language for w in wearers} == {"en", "es", "pl"}
    assert all(w.site and w.role and w.name and w.staff_no and not w.contact for w in wearers)
    assert len(book.facepieces()) == 12 and {f.kind for f in book.facepieces()} == {"filtering", "half", "full"}
    until = sorted(t.competent_until_at for t in book.testers())
    assert len(until) == 3 and TODAY_MS < until[0] < TODAY_MS + 14 * DAY < until[1]
    assert {f"{x.agent} {x.use}" for x in book.lots()} == {"bitter screening", "bitter test", "sweet screening",
                                                           "sweet test"}
    assert [x.lot for x in book.lots() if x.expires_at < TODAY_MS] == ["BS-118"]


def test_a_year_of_tests_with_every_outcome(tests):
    assert 95 <= len(tests) <= 125 and all(t.closed for t in tests)
    assert {t.result for t in tests} == {"pass", "fail", "void", "unsuited"}
    first = [t for t in tests if t.try_no == 1]
    assert 0.65 < sum(t.result == "pass" for t in first) / len(first) < 0.85
    assert sum(t.result == "unsuited" for t in tests) == 2
    assert sum("unwell" in t.reason for t in tests) == 1
    assert any(t.notes + t.minors + t.majors and t.result == "pass" for t in tests)
    assert TODAY_MS - 365 * DAY < tests[0].opened_at < TODAY_MS - 330 * DAY


@pytest.mark.parametrize("seed", [0, 1, 7])
def test_masks_are_tested_by_number_too(seed):
    """Full face masks by counting and pressure, some half masks the short way; passes, fails and voids, all of UK
    level and rule; every planned fail is one."""
    told = []
    for held in held_tests(TODAY_MS, seed):
        if not get(held.events[0]["data"]["protocol"]).quantitative:
            continue
        verdict = judge([decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in held.events])
        kind = held.events[0]["data"]["facepiece"]["kind"]
        told.append((verdict.protocol, kind, verdict.result, {f.code for f in verdict.findings}))
        assert (verdict.result == "fail") == held.failed
        if verdict.measured:
            level = 2000 if kind == "full" else 100
            assert (verdict.measured.pass_rule, verdict.measured.pass_level) == ("each", level)
    assert {(p, k) for p, k, _, _ in told} == {("uk-counting", "full"), ("us-pressure", "full"),
                                               ("us-counting-short", "half")}
    assert {r for _, _, r, _ in told} >= {"pass", "void"}
    codes = set().union(*(c for _, _, _, c in told))
    assert {"instrument-out-of-date", "smoked-recently", "breath-not-held", "touched", "other-rule-set"} <= codes


def test_history_ends_yesterday(tests):
    assert TODAY_MS - DAY <= tests[-1].opened_at <= tests[-1].closed_at < TODAY_MS


def test_a_few_were_never_tested(tests):
    tested, everyone = {t.wearer for t in tests}, yard().wearers
    assert {w.id for w in everyone} - tested == {everyone[n].id for n in NEVER_TESTED}


def test_every_test_happened_after_its_wearer_joined_and_alone(book, tests):
    joined = {w.id: w.joined_at for w in book.wearers()}
    assert all(joined[t.wearer] < t.opened_at for t in tests)
    for person in ("tester", "wearer"):
        ends: dict[str, int] = {}
        for t in tests:
            who = getattr(t, person)
            assert ends.get(who, 0) < t.opened_at
            ends[who] = t.closed_at


def test_later_tries_name_the_try_before(tests):
    by_id = {t.id: t for t in tests}
    later = [t for t in tests if t.try_no > 1]
    assert later
    for t in later:
        before = by_id[t.previous]
        assert (before.wearer, before.try_no, before.result != "pass") == (t.wearer, t.try_no - 1, True)
        if before.result == "fail":
            assert before.facepiece.id != t.facepiece.id


def test_the_stored_verdict_is_what_its_events_say(book, tests):
    for t in tests:
        happened = [decode(e.kind, e.id, e.at, e.by, e.data) for e in book.events(f"test:{t.id}")]
        verdict = judge(happened)
        assert (verdict.result, verdict.reason) == (t.result, t.reason)


def test_every_test_is_a_whole_record_in_order(tests):
    for held in held_tests(TODAY_MS, 7):
        record = read_record(record_bytes(held.events), held.test)
        instants = [e.at for e in record.events]
        assert instants == sorted(instants) and held.events[-1]["kind"] == "closed"


def test_signatures_are_the_drawings_kept(book, tests):
    for t in tests:
        signed = [e.data for e in book.events(f"test:{t.id}") if e.kind == "signed"]
        assert {s["role"] for s in signed} == {"tester", "wearer"}
        for s in signed:
            mark = book.mark(s["mark"])
            assert (mark.sha256, mark.role) == (s["sha256"], s["role"])
            assert mark.person == (t.wearer if s["role"] == "wearer" else t.tester)


def test_no_name_stands_in_an_event(tmp_path, book):
    chain = tmp_path / "chain.jsonl"
    book.export_events(chain)
    text = json.dumps([json.loads(x) for x in chain.read_text("utf-8").splitlines()], ensure_ascii=False).lower()
    people = [*yard().wearers, *yard().testers]
    words = {part.lower() for p in people for part in p.name.split() if len(part) > 4}
    assert len(words) > 100 and not [w for w in words if w in text]


def test_makers_and_models_are_the_ones_looked_over(book, tests):
    """The names below were looked over by hand: none is known to us as a maker or model of respirators."""
    assert {f.make for f in book.facepieces()} | {t.facepiece.make for t in tests} == MAKERS
    assert {f.model for f in book.facepieces()} | {t.facepiece.model for t in tests} == MODELS


def test_same_seed_same_chain(tmp_path, book):
    with _open(tmp_path / "again.db") as other:
        build(other, today=TODAY)
        assert other.heads() == book.heads()
    with _open(tmp_path / "other.db") as other:
        build(other, today=TODAY, seed=8)
        assert other.heads() != book.heads()


def test_a_date_and_an_instant_of_it_are_the_same_day(tmp_path, book):
    with _open(tmp_path / "noon.db") as other:
        build(other, today=TODAY_MS + DAY // 2)
        assert other.heads() == book.heads()


def test_the_year_moves_with_its_day():
    """A week later it is the same year, every instant moved by a week."""
    week = 7 * DAY
    for now, then in zip(held_tests(TODAY_MS + week, 7), held_tests(TODAY_MS, 7), strict=True):
        assert now.marks == then.marks
        assert [_moved(e, -week) for e in now.events] == then.events


def _moved(value, by):
    if isinstance(value, dict):
        return {k: v + by if k == "at" or k.endswith("_at") else _moved(v, by) for k, v in value.items()}
    return value


def test_building_twice_is_building_once(tmp_path):
    with _open(tmp_path / "demo.db") as ledger:
        first = build(ledger, today=TODAY)
        heads = ledger.heads()
        second = build(ledger, today=date(2026, 12, 3))
        assert first.new and second == msgspec.structs.replace(first, new=False)
        assert ledger.heads() == heads


class Unplugged(Exception):
    pass


def test_cut_off_it_goes_on_where_it_was(tmp_path, book):
    def unplug(done: int, all: int) -> None:
        raise Unplugged

    with _open(tmp_path / "demo.db") as ledger:
        with pytest.raises(Unplugged):
            build(ledger, today=TODAY, progress=unplug)
        assert 0 < ledger.count() < book.count()
        built = build(ledger, today=date(2026, 11, 26))
        assert built.new and ledger.heads() == book.heads() and ledger.check(rows=True).ok


def test_progress_counts_up_to_all_events(tmp_path):
    seen: list[tuple[int, int]] = []
    with _open(tmp_path / "demo.db") as ledger:
        built: Built = build(ledger, today=TODAY, progress=lambda done, all: seen.append((done, all)))
        assert [d for d, _ in seen] == sorted({d for d, _ in seen}) and seen[-1] == (built.events, built.events)
        assert ledger.count() == built.events


def test_it_keeps_out_of_a_ledger_with_other_records(tmp_path):
    joined = {"stream": "wearer:w1", "id": "e1", "kind": "wearer-joined", "at": 1, "by": "office", "data": {}}
    with _open(tmp_path / "real.db") as ledger:
        ledger.append([joined])
        with pytest.raises(Conflict, match="another organisation"):
            build(ledger, today=TODAY)
        assert ledger.count() == 1


@pytest.mark.parametrize("seed", [0, 7])
@pytest.mark.parametrize("weekday", range(7))
def test_whatever_the_day_of_the_week_everyone_due_is_tested(seed, weekday):
    today = TODAY_MS + weekday * DAY
    held = list(held_tests(today, seed))
    assert len({h.events[0]["data"]["wearer"] for h in held}) == len(yard().wearers) - len(NEVER_TESTED)
    assert 95 <= len(held) <= 125 and today - 3 * DAY <= held[-1].events[-1]["at"] < today
    assert {(h.events[0]["at"] // DAY + 3) % 7 for h in held} <= {0, 1, 2, 3, 4}
