"""The played test: the same each time, in the protocol's order and with its waits, whatever the seed."""

from __future__ import annotations

import pytest
from tests.assess.staging import START, judged, played

from sealwright.protocols import compile_score, get, published

ORDER = [
    "opened", "kit-checked", "nebuliser-loaded", "questions-answered", "identity-confirmed", "screening-started",
    "tasted", "hood-removed", "nebuliser-loaded", "taste-gone", "donned", "seal-checked", "comfort-judged", "dosed",
    "run-started", "exercise-started", "mist-checked", "exercises-ended", "seal-broken", "signed", "signed", "closed"]


def test_same_arguments_same_events_and_another_seed_others() -> None:
    assert played() == played()
    assert played(seed=2) != played(seed=3)
    assert [e["id"] for e in played()] == [f"t-1-{n:03d}" for n in range(1, 44)]


@pytest.mark.parametrize("protocol", published())
@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("squeeze", "level"), [(1, 10), (12, 20), (30, 30)])
def test_order_waits_and_doses(protocol: str, seed: int, squeeze: int, level: int) -> None:
    """Washout and wear as the protocol has them, read off the events without the judge."""
    events = played(protocol=protocol, seed=seed, taste_at_squeeze=squeeze)
    kinds = [e["kind"] for e in events]
    rest = iter(kinds)
    assert all(kind in rest for kind in ORDER)
    assert [e["at"] for e in events] == sorted(e["at"] for e in events)
    at = {e["kind"]: e["at"] for e in reversed(events)}
    assert at["dosed"] - at["tasted"] >= get(protocol).washout.value * 60_000
    assert at["dosed"] - at["donned"] >= get(protocol).wear.value * 60_000
    doses = [(e["data"]["act"], e["data"]["squeezes"]) for e in events if e["kind"] == "dosed"]
    assert doses == [(a.id, a.squeezes) for a in compile_score(get(protocol), level).of("dose")]
    assert judged(protocol=protocol, seed=seed, taste_at_squeeze=squeeze).findings == ()


def test_a_test_begins_when_it_is_told_to_and_ends_with_a_taste() -> None:
    events = played(taste_in_run_s=95)
    assert events[0]["at"] == START
    assert [e["kind"] for e in events[-5:]] == ["tasted", "hood-removed", "signed", "signed", "closed"]
