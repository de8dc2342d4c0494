"""Reading test records: what is written is read back, and every refusal names the place and the mend."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from tests.assess.staging import events_of, played

from sealwright.assess import KINDS, decode, judge, read_record, record_bytes, record_schema
from sealwright.assess.record import FORMAT
from sealwright.demo import tweaks as bend
from sealwright.errors import BadInput

REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def record(*events: Any, **more: Any) -> dict[str, Any]:
    return {"format": FORMAT, "events": list(events), **more}


def stripped(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{k: v for k, v in e.items() if k != "stream"} for e in events]


def refused(value: Any) -> BadInput:
    raw = value if isinstance(value, bytes) else json.dumps(value).encode()
    with pytest.raises(BadInput) as caught:
        read_record(raw, "file.json")
    assert caught.value.mend
    return caught.value


def test_a_record_is_read_back_as_it_was() -> None:
    events = played(taste_at_squeeze=13)
    read = read_record(record_bytes(events), "file.json")
    assert read.events == events_of(events)
    assert judge(read.events).result == "pass"


def test_times_that_run_backwards_are_read_and_found() -> None:
    raw = record_bytes(played(bend.clock_backwards(30)))
    assert "times-backwards" in {f.code for f in judge(read_record(raw, "x").events).findings}


def test_a_facepiece_without_size() -> None:
    events = stripped(played())
    del events[0]["data"]["facepiece"]["size"]
    error = refused(record(*events))
    assert error.place == "file.json: events[0].data.facepiece.size"
    assert "missing" in error.found and "one size" in error.mend


def test_an_unknown_kind_names_the_closest_and_the_known() -> None:
    events = stripped(played())
    events[3]["kind"] = "question-answered"
    error = refused(record(*events))
    assert error.place == "file.json: events[3].kind"
    assert error.found == "unknown kind 'question-answered'"
    assert error.mend.startswith("Did you mean questions-answered?") and all(k in error.mend for k in KINDS)


@pytest.mark.parametrize(("name", "value", "place", "mend"), [
    ("at", 1.5, "events[0].at", "milliseconds"), ("at", "2026-01-01", "events[0].at", "milliseconds"),
    ("at", -1, "events[0].at", "milliseconds"), ("id", "a b", "events[0].id", "64"),
    ("id", "a\n", "events[0].id", "64"), ("by", "", "events[0].by", "64"), ("data", {"n": 0}, "events[0].data.n", "60"),
    ("data", {"m": 1}, "events[0].data.m", "fields: n"), ("seq", 1, "events[0].seq", "nothing else"),
    ("data", None, "events[0].data", "object"), ("kind", 7, "events[0].kind", "Known kinds"),
])
def test_a_wrong_field(name: str, value: Any, place: str, mend: str) -> None:
    error = refused(record({"id": "a", "kind": "squeezed", "at": 1, "by": "u", "data": {}} | {name: value}))
    assert error.place == f"file.json: {place}"
    assert mend in error.mend


@pytest.mark.parametrize("raw", [b"", b"{", b"\xff\xfe", b"[]", b"null",
                                 b'{"format":"sealwright-test/1","events":[]} x'])
def test_no_record_at_all(raw: bytes) -> None:
    assert refused(raw).place == "file.json"


@pytest.mark.parametrize(("value", "place"), [
    ({"format": "other", "events": []}, "format"), ({"events": []}, "format"), ({"format": FORMAT}, "events"),
    (record(more=1), "more"), (record(3), "events[0]"), (record({"at": 1}), "events[0].kind")])
def test_a_wrong_frame(value: Any, place: str) -> None:
    assert refused(value).place == f"file.json: {place}"


def test_ids_that_repeat_are_refused() -> None:
    events = stripped(played())
    events[5]["id"] = events[2]["id"]
    error = refused(record(*events))
    assert error.place == "file.json: events[5].id" and "events[2]" in error.found


def test_too_many_events_are_refused() -> None:
    one = {"kind": "hood-removed", "at": 1, "by": "u", "data": {}}
    assert refused(record(*({**one, "id": str(i)} for i in range(5001)))).place == "file.json: events"


@pytest.mark.parametrize(("place", "expected"), [("", "data.squeezes"), ("events[3]", "events[3].data.squeezes"),
                                                 ("file.json", "file.json: data.squeezes")])
def test_decoding_one_event_names_the_place(place: str, expected: str) -> None:
    with pytest.raises(BadInput) as caught:
        decode("dosed", "a", 1, "u", {"squeezes": -1, "act": "dose-0"}, place=place)
    assert caught.value.place == expected
    with pytest.raises(BadInput) as caught:
        decode("dozed", "a", 1, "u", {}, place="events[3]")
    assert caught.value.place == "events[3].kind" and "Did you mean dosed?" in caught.value.mend


def test_the_published_schema_is_current() -> None:
    assert json.loads((REFERENCE / "test-record.schema.json").read_text("utf-8")) == record_schema()


def test_every_kind_stands_in_the_schema_and_on_the_page() -> None:
    page = (REFERENCE / "test-record.md").read_text("utf-8")
    defined = record_schema()["$defs"]
    for kind, data in KINDS.items():
        assert f"`{kind}`" in page
        assert data.__name__ in defined
        assert all(f"`{field}`" in page for field in data.__struct_fields__), kind


@pytest.fixture(scope="module")
def validator() -> Any:
    schema = record_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("options", [{}, {"taste_at_squeeze": None}, {"taste_in_run_s": 95}, {"protocol": "uk-sweet"},
                                     {"tester": {"id": "u-1"}, "previous": "t-0", "previous_tasted_at": 5}])
def test_another_validator_accepts_played_records(validator: Any, options: dict[str, Any]) -> None:
    """Reference: the jsonschema library, JSON Schema draft 2020-12."""
    validator.validate(json.loads(record_bytes(played(**options))))


@pytest.mark.parametrize("break_it", [
    lambda r: r.pop("format"), lambda r: r["events"][0].pop("at"), lambda r: r["events"][0].update(kind="unknown"),
    lambda r: r["events"][0]["data"]["facepiece"].pop("size"), lambda r: r["events"][0].update(more=1),
    lambda r: r["events"][0].update(at=-1), lambda r: r["events"][0].update(id="a b"), lambda r: r.update(events={}),
    lambda r: r["events"][1]["data"]["checks"].update(o_ring="yes"), lambda r: r["events"][0].update(id="x" * 65)])
def test_both_readers_refuse_broken_records(validator: Any, break_it: Any) -> None:
    broken = json.loads(record_bytes(played()))
    break_it(broken)
    assert not validator.is_valid(broken)
    refused(broken)
