"""Appending: all or nothing, once by id, every fault named with its place."""

from __future__ import annotations

import hashlib
from typing import Any

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.ledger.invented import FACEPIECE, NOW, closed, dosed, event, joined, opened, registered, some

from sealwright.errors import BadInput, Conflict, SealwrightError, TooLarge
from sealwright.ledger import Ledger, open_ledger


def test_receipts_number_the_chain_and_each_stream(ledger: Ledger) -> None:
    receipts = ledger.append([opened("t-1"), joined("w-1"), dosed("t-1", "d1")])
    assert [(r.n, r.stream, r.seq, r.known) for r in receipts] == [
        (1, "test:t-1", 1, False), (2, "wearer:w-1", 1, False), (3, "test:t-1", 2, False)]
    assert ledger.count() == 3
    assert ledger.append([]) == []


def test_the_hash_is_sha256_of_rfc_8785_json(ledger: Ledger) -> None:
    """Worked out apart with hashlib and the `rfc8785` package, from what was handed in."""
    a, b = joined("w-1", language="cy", site="Ystâd 3"), registered("a-1", competent_until_at=NOW)
    receipts = ledger.append([a, b])
    prev = "0" * 64
    for n, (given_, receipt) in enumerate(zip([a, b], receipts, strict=True), start=1):
        full = {**given_, "org": "yard", "chain": "office", "n": n, "seq": 1, "recorded_at": NOW, "prev": prev}
        prev = hashlib.sha256(rfc8785.dumps(full)).hexdigest()
        assert receipt.hash == prev


def test_stored_events_come_back_as_they_were(ledger: Ledger) -> None:
    first, second = some(2)
    receipts = ledger.append([first, second])
    stored = ledger.events("test:t-1")
    assert [(e.id, e.kind, e.at, e.by, e.data, e.n, e.seq, e.hash) for e in stored] == [
        (g["id"], g["kind"], g["at"], g["by"], g["data"], r.n, r.seq, r.hash)
        for g, r in zip([first, second], receipts, strict=True)]
    assert {(e.recorded_at, e.chain) for e in stored} == {(NOW, "office")}
    assert ledger.events("test:none") == []


def test_defaults_are_left_out_of_what_is_stored(ledger: Ledger) -> None:
    ledger.append([joined("w-1", language="en", site="", role="fitter")])
    assert ledger.events("wearer:w-1")[0].data == {"role": "fitter"}


def test_the_same_event_again_is_known(ledger: Ledger) -> None:
    first = ledger.append(some(3))
    again = ledger.append([*some(3), dosed("t-1", "late")])
    assert [r.known for r in again] == [True, True, True, False]
    assert [(r.n, r.seq, r.hash) for r in again[:3]] == [(r.n, r.seq, r.hash) for r in first]
    assert ledger.count() == 4


def test_a_default_spelt_out_is_the_same_content(ledger: Ledger) -> None:
    ledger.append([joined("w-1")])
    assert ledger.append([joined("w-1", language="en")])[0].known


def test_the_same_event_twice_in_one_append(ledger: Ledger) -> None:
    receipts = ledger.append([opened("t-1"), dosed("t-1", "d"), dosed("t-1", "d")])
    assert [(r.n, r.known) for r in receipts] == [(1, False), (2, False), (2, True)]


@pytest.mark.parametrize("other", [
    dosed("t-1", "t-1-1", squeezes=6, at=NOW + 1), dosed("t-1", "t-1-1", at=NOW), opened("t-2", "t-1-1"),
    {**dosed("t-1", "t-1-1", at=NOW + 1), "by": "a-2"},
])
def test_a_known_id_with_other_content_is_a_conflict(ledger: Ledger, other: dict[str, Any]) -> None:
    ledger.append(some(2))
    with pytest.raises(Conflict) as raised:
        ledger.append([dosed("t-1", "new"), other])
    assert (raised.value.code, raised.value.place) == ("id-taken", "events[1].id")
    assert ledger.count() == 2


def test_one_id_with_two_contents_in_one_append(ledger: Ledger) -> None:
    with pytest.raises(Conflict):
        ledger.append([opened("t-1"), dosed("t-1", "d", 5), dosed("t-1", "d", 6)])
    assert ledger.count() == 0


def test_nothing_follows_a_closed_test_but_what_is_known(ledger: Ledger) -> None:
    ledger.append([*some(2), closed("t-1")])
    for late in (dosed("t-1", "late"), closed("t-1", "again")):
        with pytest.raises(Conflict, match="the test is closed") as raised:
            ledger.append([joined("w-9"), late])
        assert (raised.value.place, raised.value.code) == ("events[1]", "closed")
    assert all(r.known for r in ledger.append([*some(2), closed("t-1")]))
    assert ledger.count() == 3


def test_closed_and_more_in_one_append(ledger: Ledger) -> None:
    with pytest.raises(Conflict, match="closed"):
        ledger.append([opened("t-1"), closed("t-1"), dosed("t-1", "late")])
    assert ledger.count() == 0


def test_a_test_is_opened_first_and_once(ledger: Ledger) -> None:
    with pytest.raises(Conflict, match="first event") as raised:
        ledger.append([dosed("t-1", "d")])
    assert raised.value.code == "unopened"
    ledger.append([opened("t-1")])
    with pytest.raises(Conflict, match="open already"):
        ledger.append([opened("t-1", "second")])


def test_a_stream_must_begin_with_what_makes_it(ledger: Ledger) -> None:
    choice = event("wearer:w-1", "c", "language-chosen", {"language": "pl"})
    with pytest.raises(Conflict, match="wearer:w-1 is not on record"):
        ledger.append([choice])
    ledger.append([joined("w-1"), choice])


GOOD = dosed("t-1", "d")


@pytest.mark.parametrize(("bad", "place"), [
    ({**GOOD, "kind": "danced"}, "events[1].kind"),
    ({**GOOD, "kind": "wearer-joined"}, "events[1].kind"),
    ({**GOOD, "stream": "castle:1"}, "events[1].stream"),
    ({**GOOD, "stream": "test:"}, "events[1].stream"),
    ({**GOOD, "stream": "test:" + "x" * 65}, "events[1].stream"),
    ({**GOOD, "stream": "test:t-1\n"}, "events[1].stream"),
    ({**GOOD, "stream": 7}, "events[1].stream"),
    ({**GOOD, "id": 7}, "events[1].id"),
    ({**GOOD, "id": ""}, "events[1].id"),
    ({**GOOD, "id": "x" * 65}, "events[1].id"),
    ({**GOOD, "id": "d\n"}, "events[1].id"),
    ({**GOOD, "id": "\ud800"}, "events[1].id"),
    ({**GOOD, "by": None}, "events[1].by"),
    ({**GOOD, "at": -1}, "events[1].at"),
    ({**GOOD, "at": 1.5}, "events[1].at"),
    ({**GOOD, "at": float("nan")}, "events[1].at"),
    ({**GOOD, "at": 2**80}, "events[1].at"),
    ({**GOOD, "at": True}, "events[1].at"),
    ({**GOOD, "seq": 4}, "events[1].seq"),
    ({k: v for k, v in GOOD.items() if k != "by"}, "events[1].by"),
    ({**GOOD, "data": None}, "events[1].data"),
    ({**GOOD, "data": {"act": "first"}}, "events[1].data.squeezes"),
    ({**GOOD, "data": {"act": "first", "squeezes": "5"}}, "events[1].data.squeezes"),
    ({**GOOD, "data": {"act": "first", "squeezes": 1000}}, "events[1].data.squeezes"),
    ({**GOOD, "data": {"act": "first", "squeezes": float("inf")}}, "events[1].data.squeezes"),
    ({**GOOD, "data": {"act": "first", "squeezes": 5, "mood": "x"}}, "events[1].data.mood"),
    (event("test:t-1", "c", "clock-checked", {"offset_ms": 2**53}), "events[1].data.offset_ms"),
    (event("test:t-1", "c", "taken-over", {"room": "\ud83d"}), "events[1].data.room"),
    (event("test:t-1", "k", "kit-checked", {"checks": {"hood": 1}}), "events[1].data.checks[...]"),
    (opened("t-2", facepiece={k: v for k, v in FACEPIECE.items() if k != "size"}), "events[1].data.facepiece.size"),
    ("text", "events[1]"), (None, "events[1]"), ([], "events[1]"),
])
def test_bad_events_are_refused_with_their_place(ledger: Ledger, bad: Any, place: str) -> None:
    with pytest.raises(BadInput) as raised:
        ledger.append([opened("t-1"), bad])
    assert raised.value.place == place
    assert ledger.count() == 0


def test_bounds_of_size(ledger: Ledger) -> None:
    with pytest.raises(TooLarge, match="10000 events"):
        ledger.append(some(10_000))
    with pytest.raises(TooLarge) as raised:
        ledger.append([opened("t-1", room="x" * 20_000)])
    assert raised.value.place == "events[0].data"
    with pytest.raises(BadInput, match="list"):
        ledger.append({"events": []})  # type: ignore[arg-type]
    assert ledger.count() == 0
    assert len(ledger.append(some(5000))) == 5000


def test_organisations_in_one_database_are_strangers(ledger: Ledger, file: Any) -> None:
    with open_ledger(f"sqlite:///{file}", org="mill", now=lambda: NOW) as other:
        ledger.append([*some(3), joined("w-1")])
        ledger.put_person("w-1", "Wanda Reed")
        assert (other.count(), other.tests(), other.wearers(), other.person("w-1")) == (0, [], [], None)
        assert other.events("test:t-1") == []
        receipts = other.append([*some(3), joined("w-1")])
        assert [r.known for r in receipts] == [False] * 4
        assert other.wearers()[0].name is None
        assert other.chain != ledger.chain
        other.rebuild()
        assert ledger.check(rows=True).ok and other.check(rows=True).ok
        with pytest.raises(SealwrightError):
            other.erase_person("w-2", by="a-1", at=NOW)
        other.erase_person("w-1", by="a-1", at=NOW)
        assert ledger.person("w-1") is not None


@given(st.lists(st.lists(st.tuples(st.integers(1, 3), st.integers(1, 12)), max_size=6), max_size=6))
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_resending_in_any_shape_is_once(
        tmp_path_factory: pytest.TempPathFactory, sent: list[list[tuple[int, int]]]) -> None:
    """Whatever a sender repeats, cuts or mixes: every event once, streams and chain counted without a gap."""
    with open_ledger(str(tmp_path_factory.mktemp("x") / "l.db"), org="yard", now=lambda: NOW) as ledger:
        ledger.append([opened(f"t-{t}") for t in (1, 2, 3)])
        for batch in sent:
            ledger.append([dosed(f"t-{t}", f"t-{t}.{i}", i) for t, i in batch])
        wanted = {f"t-{t}.{i}" for batch in sent for t, i in batch}
        streams = [ledger.events(f"test:t-{t}") for t in (1, 2, 3)]
        assert {e.id for s in streams for e in s[1:]} == wanted
        assert all([e.seq for e in s] == list(range(1, len(s) + 1)) for s in streams)
        assert sorted(e.n for s in streams for e in s) == list(range(1, len(wanted) + 4))
        assert ledger.check(rows=True).ok
