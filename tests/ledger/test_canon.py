"""Canonical JSON against the `rfc8785` reference package and the RFC's own example."""

from __future__ import annotations

import hashlib
import json

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from sealwright.errors import BadInput
from sealwright.ledger.canon import DEEPEST, LARGEST, canonical, digest

# Text of every plane, control characters and the line separators too; lone surrogates are tested by themselves.
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
# Keys on both sides of U+FFFF: there the order by UTF-16 code unit and the order by code point part.
keys = texts | st.text(st.sampled_from("\ue000\uffff\U00010000\U0001f600ab\u0080\n"), max_size=3)
leaves = st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | texts
values = st.recursive(leaves, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=5))


@given(values)
@settings(deadline=None)
def test_equals_the_reference_package(value: object) -> None:
    assert canonical(value) == rfc8785.dumps(value)


@given(values)
@settings(deadline=None)
def test_says_the_same_and_is_a_fixed_point(value: object) -> None:
    written = canonical(value)
    assert json.loads(written) == value
    assert canonical(json.loads(written)) == written


def test_orders_the_example_of_the_rfc() -> None:
    """RFC 8785, section 3.2.3: the keys of the sorting example, in the order given there (from memory)."""
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    ordered = list(json.loads(canonical(dict.fromkeys(keys))))
    assert ordered == ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


def test_digest_is_sha256_of_the_canonical_form() -> None:
    value = {"b": [1, True, None], "a": "é\u2028\x1f"}
    assert digest(value) == hashlib.sha256(rfc8785.dumps(value)).hexdigest()


@pytest.mark.parametrize(("value", "place"), [
    ({"a": [0, 1.5]}, "d.a[1]"), ({"a": float("nan")}, "d.a"), ({"a": {"b": 2**53}}, "d.a.b"), (-(2**53), "d"),
    ({"a": "\ud800"}, "d.a"), ({"a": b"x"}, "d.a"), ({1: "x"}, "d"), ([{"\udfff": 1}], "d[0]"), ([1, 1.0, "é"], "d[1]"),
    ({"é": 1, "z": [0.5]}, "d.z[0]"),
])
def test_refuses_what_has_no_one_form_and_says_where(value: object, place: str) -> None:
    with pytest.raises(BadInput) as raised:
        canonical(value, "d")
    assert raised.value.place == place


def test_refuses_bottomless_nesting() -> None:
    value: object = 1
    for _ in range(DEEPEST + 1):
        value = [value]
    with pytest.raises(BadInput, match="deep"):
        canonical(value)
