"""Personal details apart from the chain, and gone when erased."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from tests.ledger.invented import NOW, joined, registered, some

from sealwright.errors import BadInput, Conflict, NotFound, TooLarge
from sealwright.ledger import Ledger, PersonRow

PATH = "M 10,20 l.5-1e-3 C1 2 3 4 5 6 Z"


def test_details_are_kept_replaced_and_found(ledger: Ledger) -> None:
    assert ledger.person("w-1") is None
    ledger.put_person("w-1", "Wanda Reed", staff_no="17")
    ledger.put_person("w-1", "Wanda Reed-Ash", contact="w@yard.example")
    assert ledger.person("w-1") == PersonRow(id="w-1", name="Wanda Reed-Ash", staff_no="", contact="w@yard.example")


@pytest.mark.parametrize(("args", "place"), [
    (("w 1", "Wanda"), "person.id"), (("w-1", ""), "person.name"), (("w-1", "x" * 121), "person.name"),
    (("w-1", 5), "person.name"), (("w-1", "\ud800"), "person.name"), (("w-1", "W", "9" * 61), "person.staff_no"),
])
def test_details_that_cannot_be_kept(ledger: Ledger, args: tuple[str, ...], place: str) -> None:
    with pytest.raises(BadInput) as raised:
        ledger.put_person(*args)
    assert raised.value.place == place


def test_a_drawing_is_kept_once(ledger: Ledger) -> None:
    sha256 = ledger.put_mark("m-1", "w-1", PATH)
    assert sha256 == hashlib.sha256(PATH.encode()).hexdigest() == ledger.put_mark("m-1", "w-1", PATH)
    kept = ledger.mark("m-1")
    assert kept is not None and (kept.path, kept.person, kept.role, kept.sha256) == (PATH, "w-1", "wearer", sha256)
    with pytest.raises(Conflict):
        ledger.put_mark("m-1", "w-1", "M0 0")
    assert ledger.mark("m-2") is None


@pytest.mark.parametrize("path", [
    "", "L0 0", "M0 0<script>", 'M0 0" onload="x', "M0 0 url(x)", "M0 0&#10;", "M1 B2", "M0 0\x00", "M٣ ٤", 7,
    "M" + "1" * 19_000 + "<", "M" + "1 " * 9_000 + "<",
])
def test_what_is_not_path_data_is_no_drawing(ledger: Ledger, path: str) -> None:
    with pytest.raises(BadInput) as raised:
        ledger.put_mark("m-1", "w-1", path)
    assert raised.value.place == "mark.path"
    assert ledger.mark("m-1") is None


def test_a_drawing_may_not_be_huge(ledger: Ledger) -> None:
    ledger.put_mark("m-1", "w-1", "M" + "0 " * 9_999)
    with pytest.raises(TooLarge):
        ledger.put_mark("m-2", "w-1", "M" + "0 " * 10_000)
    with pytest.raises(BadInput):
        ledger.put_mark("m-2", "w-1", PATH, role="witness")


def test_erasing_removes_the_details_and_leaves_the_chain_whole(ledger: Ledger) -> None:
    ledger.append([joined("w-1", language="pl"), *some(3)])
    heads = ledger.heads()
    ledger.put_person("w-1", "Wanda Reed")
    ledger.put_mark("m-1", "w-1", PATH)
    ledger.put_mark("m-2", "a-1", PATH, role="tester")
    [receipt] = ledger.erase_person("w-1", by="a-1", at=NOW + 5)
    assert receipt.stream == "wearer:w-1"
    assert (ledger.person("w-1"), ledger.mark("m-1")) == (None, None)
    assert ledger.mark("m-2") is not None
    wearer = ledger.wearer("w-1")
    assert (wearer.shown, wearer.name, wearer.erased, wearer.language) == ("w-1", None, True, "pl")
    last = ledger.events("wearer:w-1")[-1]
    assert (last.kind, last.by, last.at, last.data) == ("person-erased", "a-1", NOW + 5, {})
    assert ledger.test("t-1").wearer_name is None
    assert ledger.check(known=heads, rows=True).ok


def test_one_person_both_wearer_and_tester(ledger: Ledger) -> None:
    ledger.append([joined("p-1"), registered("p-1")])
    assert [r.stream for r in ledger.erase_person("p-1", "a-1", NOW)] == ["account:p-1", "wearer:p-1"]
    assert ledger.testers()[0].erased and ledger.wearers()[0].erased
    ledger.append([joined("p-1", "back")])
    assert not ledger.wearer("p-1").erased


def test_details_without_a_stream_are_erased_too(ledger: Ledger) -> None:
    ledger.put_person("x-1", "Wanda Reed")
    assert [r.stream for r in ledger.erase_person("x-1", "a-1", NOW)] == ["wearer:x-1"]
    assert ledger.wearers() == []
    assert ledger.check(rows=True).ok


def test_an_unknown_person_and_a_bad_erasure_change_nothing(ledger: Ledger) -> None:
    with pytest.raises(NotFound):
        ledger.erase_person("w-9", "a-1", NOW)
    ledger.put_person("w-1", "Wanda Reed")
    with pytest.raises(BadInput):
        ledger.erase_person("w-1", "", NOW)
    assert ledger.person("w-1") is not None
    assert ledger.count() == 0


def test_no_byte_of_an_erased_name_stays_in_the_files(ledger: Ledger, file: Path) -> None:
    ledger.append([joined("w-1")])
    ledger.put_person("w-1", "Wanda Quillfeather")
    ledger.put_mark("m-1", "w-1", "M 31415 92653")
    ledger.put_person("w-1", "Wanda Brackenridge")

    def held() -> bytes:
        return b"".join(p.read_bytes() for p in file.parent.iterdir())

    assert b"Brackenridge" in held() and b"31415 92653" in held()
    ledger.erase_person("w-1", "a-1", NOW)
    assert not [word for word in (b"Quillfeather", b"Brackenridge", b"31415 92653") if word in held()]
