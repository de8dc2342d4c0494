"""The stages of every method: in order, each ended by an event the record knows, each with its own list and words."""

from __future__ import annotations

import re

import pytest

from sealwright.assess.events import KINDS
from sealwright.protocols import Protocol, Stage, compile_conduct, published

ALL = [(p, kind) for p in published().values() for kind in p.suits.kinds]
DONNING = ["donning", "seal-check", "comfort"]
AFTER = ["sign-wearer", "sign-tester", "close"]
MEASURED = ["kit", "instrument", "questions", "identity", *DONNING, "run", "readings", *AFTER]


def stages(protocol: str, kind: str = "half") -> dict[str, Stage]:
    return {s.id: s for s in compile_conduct(published()[protocol], kind)}


@pytest.mark.parametrize(("protocol", "kind", "order"), [
    ("us-vapour", "half", ["kit", "stock", "odour", "questions", "identity", "screening", *DONNING, "enter", "run",
                           "seal-break", *AFTER]),
    ("us-smoke", "half", ["kit", "questions", "identity", "screening", *DONNING, "enter", "run", "seal-break", *AFTER]),
    ("us-aerosol", "full", MEASURED), ("us-counting", "filtering", MEASURED), ("uk-counting", "full", MEASURED),
    ("us-counting-short", "full", MEASURED), ("us-counting-short-filtering", "filtering", MEASURED),
    ("us-pressure", "full", MEASURED), ("us-pressure-redon", "half", MEASURED),
])
def test_stages_in_order(protocol: str, kind: str, order: list[str]) -> None:
    assert list(stages(protocol, kind)) == order


@pytest.mark.parametrize(("protocol", "kind"), ALL, ids=lambda x: getattr(x, "id", x))
def test_every_stage_ends_with_an_event_that_the_record_knows(protocol: Protocol, kind: str) -> None:
    found = compile_conduct(protocol, kind)
    assert len({s.id for s in found}) == len(found)
    for s in found:
        assert set(s.where) <= set(KINDS[s.ends_with].__struct_fields__), s.id
        for redo in s.redo_on:
            assert set(redo.where) <= set(KINDS[redo.kind].__struct_fields__), s.id
        for wait in s.waits:
            assert wait.minutes > 0 and wait.why and wait.source, s.id


@pytest.mark.parametrize(("protocol", "kind"), ALL, ids=lambda x: getattr(x, "id", x))
def test_every_question_can_be_answered_and_every_item_is_named_once(protocol: Protocol, kind: str) -> None:
    for s in compile_conduct(protocol, kind):
        if s.shape in ("checks", "questions"):
            assert s.items and s.source, s.id
            assert all(re.fullmatch(r"[a-z_]+", i.id) for i in s.items), s.id
            assert len({i.id for i in s.items}) == len(s.items), s.id
        if s.shape == "ask":
            assert s.yes and s.no and s.prompt and s.yes != s.no, s.id


@pytest.mark.parametrize(("protocol", "asked"), [
    ("us-bitter", "last_taken"), ("us-counting", "smoked_at"), ("us-aerosol", "smoked_at"), ("us-pressure", None),
    ("us-vapour", None), ("us-smoke", None),
])
def test_each_method_asks_what_it_needs(protocol: str, asked: str | None) -> None:
    ids = {i.id for i in stages(protocol)["questions"].items}
    assert ids & {"last_taken", "smoked_at"} == ({asked} if asked else set())
    assert {"cleared", "trained", "feels_well", "seal_hair", "equipment"} <= ids


@pytest.mark.parametrize(("protocol", "kit"), [
    ("us-vapour", {"jars", "rooms", "chamber", "cartridges"}), ("us-smoke", {"ventilated", "filters"}),
    ("us-counting", {"zero", "ambient", "tubing", "probe"}), ("us-aerosol", {"zero", "chamber", "tubing", "probe"}),
    ("us-pressure", {"tight", "adapters"}),
])
def test_each_method_has_its_own_kit(protocol: str, kit: set[str]) -> None:
    items = {i.id for i in stages(protocol)["kit"].items}
    assert kit <= items
    assert "hood" not in items and "o_ring" not in items


def test_smoke_is_told_without_hood_and_with_shut_eyes_before_any_smoke_flows() -> None:
    """29 CFR 1910.134 App. A Part I.B.5(a)(3), copy, and (b)(2), (c)(2), memory."""
    found = stages("us-smoke")
    for stage in ("screening", "enter"):
        assert "yes shut" in found[stage].prompt and "o hood" in found[stage].prompt
    order = list(found)
    assert order.index("questions") < order.index("screening") < order.index("donning") < order.index("enter")


def test_the_vapour_fills_the_chamber_first() -> None:
    """29 CFR 1910.134 App. A Part I.B.2(b)(5), (6), memory: 0.75 ml on the towel, then two minutes."""
    found = stages("us-vapour")
    assert "0.75 ml" in found["enter"].prompt
    assert [(w.after, w.minutes) for w in found["run"].waits] == [("exposure-begun", 2)]


@pytest.mark.parametrize(("protocol", "words"), [
    ("uk-counting", ("stepping", "walking", "cycling")), ("us-pressure", ("breath", "10 s")),
    ("us-pressure-redon", ("breath", "10 s")), ("us-counting", ("line connected",)),
])
def test_the_run_begins_with_what_must_be_so(protocol: str, words: tuple[str, ...]) -> None:
    prompt = stages(protocol)["run"].prompt.lower()
    assert all(w in prompt for w in words)


def test_comfort_wear_is_waited_for_in_every_method() -> None:
    """US: Part I.A.12, memory; UK: common practice, no source: five minutes."""
    for protocol, kind in ALL:
        waits = next(s for s in compile_conduct(protocol, kind) if s.id == "comfort").waits
        assert [(w.after, w.minutes) for w in waits] == [("donned", 5)]
