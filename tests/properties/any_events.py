"""Strategies for events of every kind, made from the event types themselves, and for bent tests."""

from __future__ import annotations

from typing import Any, Literal

import msgspec
from hypothesis import strategies as st
from msgspec import inspect
from tests.assess.staging import START, events_of, played

from sealwright.assess import ENVELOPES

WORDS = ["a", "b", "u-1", "w-1", "dose-0", "dose-30", "dose-390", "dose-7", "normal-1", "deep", "bend", "us-bitter",
         "uk-sweet", "xx", "room-1", "M", "1", "t-1-001", "t-1-016", "t-1-030", "o_ring", "mist_test", "chin",
         "us-counting", "us-pressure", "us-vapour", "side-left", "jog"]
INSTANTS = st.one_of(
    st.integers(START - 3_600_000, START + 3_600_000), st.sampled_from([0, 32_503_680_000_000, START]),
    st.integers(0, 32_503_680_000_000))


def of_type(kind: inspect.Type, name: str = "") -> st.SearchStrategy[Any]:
    """Values that msgspec accepts for a type."""
    simple = _simple(kind, name)
    if simple is not None:
        return simple
    if isinstance(kind, inspect.UnionType):
        return st.one_of(*(of_type(t, name) for t in kind.types))
    if isinstance(kind, inspect.DictType):
        return st.dictionaries(st.sampled_from(WORDS), of_type(kind.value_type), max_size=5)
    if isinstance(kind, inspect.VarTupleType):
        least = kind.min_length or 0
        return st.lists(of_type(kind.item_type), min_size=least, max_size=least + 3)
    if isinstance(kind, inspect.Metadata):
        return of_type(kind.type, name)
    assert isinstance(kind, inspect.StructType), kind
    return st.fixed_dictionaries(
        {f.encode_name: of_type(f.type, f.name) for f in kind.fields if f.required},
        optional={f.encode_name: of_type(f.type, f.name) for f in kind.fields if not f.required})


def _simple(kind: inspect.Type, name: str) -> st.SearchStrategy[Any] | None:
    if isinstance(kind, inspect.Metadata) and (name == "at" or name.endswith("_at")):
        return INSTANTS
    if isinstance(kind, inspect.IntType):
        if name == "at" or name.endswith("_at"):
            return INSTANTS
        if kind.ge is None or kind.le is None:
            return st.integers(-10**12, 10**12)
        return st.one_of(st.integers(kind.ge, kind.le), st.integers(kind.ge, min(kind.ge + 2000, kind.le)))
    if isinstance(kind, inspect.StrType):
        return st.just("0" * 64) if kind.pattern and "64" in kind.pattern else st.sampled_from(WORDS)
    if isinstance(kind, inspect.LiteralType):
        return st.sampled_from(kind.values)
    if isinstance(kind, inspect.BoolType):
        return st.booleans()
    return st.none() if isinstance(kind, inspect.NoneType) else None


def event_dicts() -> st.SearchStrategy[dict[str, Any]]:
    """Any one event."""
    made = []
    for kind, envelope in ENVELOPES.items():
        data = next(f.type for f in inspect.type_info(envelope).fields if f.name == "data")  # type: ignore[attr-defined]
        made.append(st.fixed_dictionaries({
            "id": st.sampled_from(WORDS), "kind": st.just(kind), "at": INSTANTS, "by": st.sampled_from(WORDS),
            "data": of_type(data)}))
    return st.one_of(made)


Op = Literal["drop", "twice", "swap", "move", "replace", "insert"]
OUTLINES: list[dict[str, Any]] = [
    {}, {"taste_at_squeeze": 13}, {"taste_at_squeeze": None}, {"taste_in_run_s": 95}, {"seal_break_tasted": False},
    {"protocol": "uk-sweet", "taste_at_squeeze": 30}, {"kind": "full"},
    {"protocol": "us-vapour"}, {"protocol": "us-vapour", "notice_in_run_s": 95},
    {"protocol": "us-vapour", "screened": False},
    {"protocol": "us-smoke", "seal_break": False}, {"protocol": "us-smoke", "notice_in_run_s": -10},
    {"protocol": "us-pressure"}, {"protocol": "us-pressure-redon", "leaks": {"shake": 900.0}},
    {"protocol": "us-counting-short"}, {"protocol": "us-counting-short", "kind": "full", "factors": {"jog": 40.0}},
    {"protocol": "uk-counting", "way": "counts"}, {"protocol": "us-aerosol", "way": "concentrations"},
    {"protocol": "us-counting", "way": "factors", "factors": {"grimace": 3.0}}]
NOTICED = {"taste": "tasted", "vapour": "noticed", "smoke": "noticed"}
BEGINNINGS = {"taste": ("dosed", "run-started"), "vapour": ("exposure-begun", "run-started"),
              "smoke": ("exposure-begun", "run-started")}


@st.composite
def bent_tests(draw: st.DrawFn) -> list[dict[str, Any]]:
    """A played test with up to eight events dropped, doubled, swapped, moved in time, replaced or added."""
    events = played(seed=draw(st.integers(0, 3)), **draw(st.sampled_from(OUTLINES)))
    for op in draw(st.lists(st.sampled_from(["drop", "twice", "swap", "move", "replace", "insert"]), max_size=8)):
        if not events:
            break
        i, j = (draw(st.integers(0, len(events) - 1)) for _ in "ij")
        if op == "drop":
            del events[i]
        elif op == "twice":
            events.insert(j, dict(events[i]))
        elif op == "swap":
            events[i], events[j] = events[j], events[i]
        elif op == "move":
            events[i] = {**events[i], "at": draw(INSTANTS)}
        else:
            events[i:i + (op == "replace")] = [draw(event_dicts())]
    return events


def shifted(value: Any, by: int, name: str = "") -> Any:
    """Every instant moved: `at` and all names that end in `_at`."""
    if isinstance(value, dict):
        return {k: shifted(v, by, k) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [shifted(v, by) for v in value]
    if isinstance(value, int) and not isinstance(value, bool) and (name == "at" or name.endswith("_at")):
        return value + by
    return value


__all__ = ["bent_tests", "event_dicts", "events_of", "msgspec", "shifted"]
