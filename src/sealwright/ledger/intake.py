"""From what is handed in to events fit to be recorded: typed, normalised, and every fault named with its place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from sealwright.assess import events as testing
from sealwright.assess.events import Data, Instant
from sealwright.errors import BadInput, TooLarge
from sealwright.ledger.canon import canonical
from sealwright.programme import registry

MOST_EVENTS = 5000
"""Events in one append; as many as a recorded test may hold."""
LARGEST_DATA = 16_384
"""Bytes of one event's data in canonical form."""

OPENERS = {"test": "opened", "wearer": "wearer-joined", "facepiece": "facepiece-stocked", "lot": "lot-received",
           "account": "tester-registered", "site": "pass-level-set"}
"""Stream type -> the kind of event that must come first in such a stream."""
_REGISTRY = {"wearer": ("wearer-joined", "language-chosen", "person-erased"), "facepiece": ("facepiece-stocked",),
             "lot": ("lot-received",), "account": ("tester-registered", "person-erased"),
             "site": ("pass-level-set",)}
KINDS: dict[str, dict[str, type[Data]]] = {
    "test": testing.KINDS,
    **{type_: {kind: registry.KINDS[kind] for kind in kinds} for type_, kinds in _REGISTRY.items()},
}
"""Stream type -> the kinds of event it may hold -> their fields."""

ID_PATTERN = r"^[A-Za-z0-9_.:-]+\Z"
Key = Annotated[str, Meta(min_length=1, max_length=64, pattern=ID_PATTERN)]


class Wire(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, gc=False):
    """An event as it is handed in."""

    stream: Annotated[str, Meta(max_length=80, pattern=r"^[a-z]+:[A-Za-z0-9_.:-]{1,64}\Z")]
    id: Key
    kind: Annotated[str, Meta(max_length=64)]
    at: Instant
    by: Key
    data: dict[str, Any]


class Fresh(msgspec.Struct, frozen=True, gc=False):
    """An event fit to be recorded. `data` is normalised canonical JSON; `place` is where it stood in what came in."""

    stream: str
    id: str
    kind: str
    at: int
    by: str
    data: str
    typed: Data
    place: str

    @property
    def type(self) -> str:
        return self.stream.partition(":")[0]

    @property
    def content(self) -> tuple[str, str, int, str, str]:
        """What must be the same when the same id comes again."""
        return self.stream, self.kind, self.at, self.by, self.data


def read_all(events: Sequence[dict[str, Any]]) -> list[Fresh]:
    """Check and normalise `events`; the first fault is raised with a place such as "events[3].data.act"."""
    if not isinstance(events, (list, tuple)):
        raise BadInput("events must come as a list", place="events")
    if len(events) > MOST_EVENTS:
        raise TooLarge(f"{len(events)} events at once", place="events", mend=f"Send at most {MOST_EVENTS} at a time.")
    return [read(event, f"events[{i}]") for i, event in enumerate(events)]


def read(event: Any, place: str) -> Fresh:
    """Check and normalise one event, named `place` in errors."""
    wire = _convert(event, Wire, place)
    typed = _convert(wire.data, _fields(wire, place), f"{place}.data")
    data = canonical(msgspec.to_builtins(typed), f"{place}.data")
    if len(data) > LARGEST_DATA:
        raise TooLarge(f"{len(data)} bytes of data in one event", place=f"{place}.data",
                       mend=f"Keep it under {LARGEST_DATA}.")
    return Fresh(wire.stream, wire.id, wire.kind, wire.at, wire.by, data.decode(), typed, place)


def typed_data(stream: str, kind: str, data: dict[str, Any]) -> Data:
    """The typed data of an event already on record; raises what msgspec and dict raise when it is damaged."""
    return msgspec.convert(data, KINDS[stream.partition(":")[0]][kind])


def _fields(wire: Wire, place: str) -> type[Data]:
    type_ = wire.stream.partition(":")[0]
    kinds = KINDS.get(type_)
    if kinds is None:
        raise BadInput(f"there are no streams of type {type_!r}", place=f"{place}.stream",
                       mend=f"Use one of: {', '.join(KINDS)}.")
    fields = kinds.get(wire.kind)
    if fields is None:
        raise BadInput(f"{wire.kind!r} cannot happen in a {type_} stream", place=f"{place}.kind",
                       mend=f"Use one of: {', '.join(kinds)}.")
    return fields


def _convert(value: Any, type_: Any, place: str) -> Any:
    try:
        return msgspec.convert(value, type_)
    except msgspec.ValidationError as fault:
        raise _bad(str(fault), place) from None
    except RecursionError:
        raise BadInput("nested too deeply", place=place) from None


_PATH = re.compile(r" - at `(?:key` in `)?\$(.*)`$")
_FIELD = re.compile(r"(?:missing required|contains unknown) field `(.*)`")


def _bad(message: str, place: str) -> BadInput:
    """msgspec's sentence, taken apart into what was found and where."""
    path = _PATH.search(message)
    found = _PATH.sub("", message)
    field = _FIELD.search(found)
    where = place + (path[1] if path else "") + (f".{field[1]}" if field else "")
    if field:
        missing = "missing" in field[0]
        return BadInput("the field is missing" if missing else "there is no such field", place=where,
                        mend="Add it." if missing else "Leave it out, or mend its name.")
    return BadInput(found[0].lower() + found[1:], place=where)
