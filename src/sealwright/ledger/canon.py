"""Canonical JSON (RFC 8785) of what an event may hold, and the SHA-256 that links one event to the next.

Allowed are text, whole numbers within ±(2^53 - 1), true, false, null, lists and objects with text keys. Floats are
refused: their one written form is the hard part of RFC 8785, and no event needs one.
"""

from __future__ import annotations

import hashlib
from typing import Any

import msgspec

from sealwright.errors import BadInput

GENESIS = "0" * 64
"""What the first event of a chain names as its predecessor."""
LARGEST = 2**53 - 1
"""The largest whole number that every JSON reader keeps exactly (RFC 8785, section 3.2.2.3; RFC 7493, section 2.2)."""
DEEPEST = 64

_sorted = msgspec.json.Encoder(order="sorted")
_as_given = msgspec.json.Encoder()


def canonical(value: Any, place: str = "") -> bytes:
    """The one RFC 8785 form of `value`, as UTF-8. BadInput names the `place` of what has no such form."""
    by_bytes = _vet(value, place, 0)
    return _sorted.encode(value) if by_bytes else _as_given.encode(_in_order(value))


def digest(value: Any) -> str:
    """SHA-256 of the canonical form, as 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value)).hexdigest()


def _vet(value: Any, place: str, depth: int) -> bool:
    """Refuse what may not stand in an event. True when sorting keys by bytes is also the order RFC 8785 asks for."""
    kind = type(value)
    if kind is str:
        return _vet_text(value, place)
    if kind is int:
        if not -LARGEST <= value <= LARGEST:
            raise BadInput(f"the number {value} is larger than 2^53 - 1", place=place, mend="Use a smaller number.")
        return True
    if kind is bool or value is None:
        return True
    if depth == DEEPEST:
        raise BadInput(f"nested more than {DEEPEST} deep", place=place)
    if kind is dict:
        return _vet_object(value, place, depth + 1)
    if kind is list or kind is tuple:
        by_bytes = True
        for i, item in enumerate(value):
            by_bytes &= _vet(item, f"{place}[{i}]", depth + 1)
        return by_bytes
    raise BadInput(f"a value of type {kind.__name__} cannot be recorded", place=place,
                   mend="Use text, whole numbers, true, false, null, lists or objects.")


def _vet_text(text: str, place: str) -> bool:
    if not text.isascii():
        try:
            text.encode()
        except UnicodeEncodeError:
            raise BadInput("half a character (a lone surrogate) in the text", place=place,
                           mend="Send well-formed Unicode text.") from None
    return True


def _vet_object(value: dict[Any, Any], place: str, depth: int) -> bool:
    by_bytes = True
    for key, item in value.items():
        if type(key) is not str:
            raise BadInput(f"the key {key!r} is not text", place=place)
        if not key.isascii():
            _vet_text(key, place)
            by_bytes = False
        by_bytes &= _vet(item, f"{place}.{key}" if place else key, depth)
    return by_bytes


def _in_order(value: Any) -> Any:
    """Objects with keys by UTF-16 code unit, which differs from code point order beyond U+FFFF (RFC 8785, 3.2.3)."""
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be"))
        return {key: _in_order(value[key]) for key in keys}
    if isinstance(value, (list, tuple)):
        return [_in_order(item) for item in value]
    return value
