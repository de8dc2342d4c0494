"""Reading and writing test records: strict, and every refusal names the place and the mend."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from sealwright.assess.events import ENVELOPES, KINDS, Event, TestRecord
from sealwright.errors import BadInput

FORMAT = "sealwright-test/1"
_DECODER: msgspec.json.Decoder[Any] = msgspec.json.Decoder(TestRecord)
_AT = re.compile(r" - at (?:`key` in )?`\$\.?([^`]*)`$")
_NAMED = re.compile(r"field `([^`]+)`")

_INSTANT = "Write whole milliseconds since 1970-01-01 UTC, without quotes or a decimal point"
_ID = "Write 1 to 64 of the characters A-Z a-z 0-9 _ . : -"
_MENDS = {
    "size": 'Write the size printed on the facepiece; a model made in one size has the size "one size"',
    "size_read": "Write the size as read off the facepiece in the hand",
    "id": _ID, "by": _ID, "act": 'Write the act of the score, such as "dose-0" or "dose-30"',
    "data": "Write the particulars of the event as an object; {} when the kind has none",
    "format": f'Write "format": "{FORMAT}" beside "events"',
    "events": 'Write "events": [ ... ] in recorded order, 5000 at most',
    "seal_hair": 'Write "none", "stubble" or "hair"',
    "which": 'Write "screening" or "test" for a nebuliser, "stock" or "odour" for a solution of the vapour method',
    "air": 'Write "mask" or "ambient"',
    "unit": 'Write "count" or "milli-per-cm3"',
    "values": "Write 1 to 2000 whole numbers, none below zero, a longer stretch in several events",
    "step_ms": "Write how long one sample lasts, 10 to 60000 ms",
    "spans": "Write 1 to 60 stretches, each with air, exercise, from_at and until_at",
    "leak_ul_min": "Write the leak in thousandths of ml/min, a whole number",
    "rule_set": 'Write "us", "uk", "ca" or "anz", or leave it out for that of the protocol',
    "pass_level": "Write a whole fit factor above zero, or leave it out for that of the rules",
    "reason": 'Write "unwell", "breathless", "wearer-asked", "tester", "interrupted" or "kit"',
    "role": 'Write "tester" or "wearer"',
    "squeezes": "Write how many squeezes were given, 0 to 200",
    "n": "Write how many squeezes were given, 1 to 60",
    "sha256": "Write the SHA-256 of the drawing in 64 small hexadecimal digits",
    "checks": "Write each check's id with true or false",
    "facepiece": "Write id, make, model, material, size, kind and own",
}


def read_record(raw: bytes, place: str) -> Any:
    """A test record from the bytes of a JSON file, as `TestRecord`; `place` names the file in errors.

    Raises BadInput naming the event and field. Times that run backwards are no error here but a finding of `judge`.
    """
    try:
        record = _DECODER.decode(raw)
    except msgspec.ValidationError as error:
        raise _refusal(str(error), _plain(raw, place), place) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _no_json(error, place) from error
    _refuse_repeats(record.events, place)
    return record


def decode(kind: str, id: str, at: int, by: str, data: Mapping[str, Any], *, place: str = "") -> Event:
    """One event from its parts; raises BadInput whose place is `place` and the field, such as "data.facepiece.size"."""
    envelope = ENVELOPES.get(kind)
    parts = {"id": id, "at": at, "by": by, "data": data}
    try:
        if envelope is not None:
            return msgspec.convert(parts | {"kind": kind}, envelope)
    except msgspec.ValidationError as error:
        found, path = _parted(str(error))
        raise BadInput(found, place=_joined(place, path), mend=_mend(path, kind)) from error
    raise BadInput(f"unknown kind {kind!r}", place=_joined(place, "kind"), mend=_kinds_like(kind))


def record_bytes(events: Iterable[Mapping[str, Any]]) -> bytes:
    """A test record as a JSON file, from event dicts; what a record does not hold (stream, seq ...) is left out."""
    kept = [{k: e[k] for k in ("id", "kind", "at", "by", "data")} for e in events]
    return msgspec.json.format(msgspec.json.encode({"format": FORMAT, "events": kept}), indent=1) + b"\n"


def record_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a test record."""
    made = msgspec.json.decode(msgspec.json.encode(msgspec.json.schema(TestRecord)))
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Sealwright test record", **made}


def _refuse_repeats(events: list[Event], place: str) -> None:
    if len({e.id for e in events}) == len(events):
        return
    first: dict[str, int] = {}
    for i, e in enumerate(events):
        if e.id in first:
            raise BadInput(f"the id {e.id} stands at events[{first[e.id]}] too", place=f"{place}: events[{i}].id",
                           mend="Give every event an id of its own, or leave out the one that is there twice")
        first[e.id] = i


def _parted(message: str) -> tuple[str, str]:
    """What was found, and the path to the field (the missing or unknown field included)."""
    at = _AT.search(message)
    found, path = (message[:at.start()], at[1]) if at else (message, "")
    named = _NAMED.search(found)
    return found, _dotted(path, named[1]) if named else path


def _dotted(*parts: str) -> str:
    return ".".join(p for p in parts if p)


def _joined(place: str, path: str) -> str:
    """A file and a path part by a colon, an event and its field by a dot."""
    if not place or not path:
        return place or path
    return f"{place}.{path}" if place.endswith("]") else f"{place}: {path}"


def _no_json(error: Exception, place: str) -> BadInput:
    return BadInput(f"not readable as JSON: {error}", place=place,
                    mend=f'Write a JSON object with "format": "{FORMAT}" and "events"')


def _plain(raw: bytes, place: str) -> Any:
    """The JSON as plain values; where it breaks further on, that is the thing to say."""
    try:
        return msgspec.json.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise _no_json(error, place) from error


def _refusal(message: str, plain: Any, place: str) -> BadInput:
    found, path = _parted(message)
    kind = _kind_at(plain, path)
    if path.endswith(".kind") and not path.endswith("facepiece.kind"):
        wrong = found.removeprefix("Invalid value ").strip("'")
        return BadInput(f"unknown kind {wrong!r}" if "Invalid" in found else found, place=_joined(place, path),
                        mend=_kinds_like(wrong))
    return BadInput(found, place=_joined(place, path), mend=_mend(path, kind))


def _kind_at(plain: Any, path: str) -> str | None:
    """The kind of the event a path lies in, if it tells one."""
    at = re.match(r"events\[(\d+)\]", path)
    events = plain.get("events") if isinstance(plain, dict) else None
    if at is None or not isinstance(events, list) or int(at[1]) >= len(events):
        return None
    event = events[int(at[1])]
    kind = event.get("kind") if isinstance(event, dict) else None
    return kind if isinstance(kind, str) else None


def _mend(path: str, kind: str | None) -> str:
    name = re.split(r"[.\[]", path.removesuffix("[...]"))[-1].rstrip("]")
    if name == "at" or name.endswith("_at"):
        return _INSTANT
    if name == "kind" and path.endswith("facepiece.kind"):
        return 'Write "filtering", "half" or "full"'
    if name in _MENDS:
        return _MENDS[name]
    if kind in KINDS and ".data" in f".{path}":
        fields = ", ".join(KINDS[kind].__struct_fields__) or "none"
        return f"{kind} has these fields: {fields}. See docs/reference/test-record.md"
    if re.search(r"events\[\d+\]", path):
        return "An event has id, kind, at, by and data, and nothing else"
    return f'A test record has "format": "{FORMAT}" and "events", and nothing else'


def _kinds_like(wrong: str) -> str:
    close = difflib.get_close_matches(wrong, KINDS, n=1)
    return (f"Did you mean {close[0]}? " if close else "") + f"Known kinds: {', '.join(KINDS)}"
