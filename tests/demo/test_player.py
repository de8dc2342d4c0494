"""The played test: the same each time, in the protocol's order and with its waits, whatever the seed."""

from __future__ import annotations

import random
from statistics import fmean, variance

import pytest
from tests.assess.staging import START, judged, played

from sealwright.assess import KINDS
from sealwright.demo.particles import poisson
from sealwright.protocols import compile_conduct, compile_score, get, published

ORDER = [
    "opened", "kit-checked", "nebuliser-loaded", "questions-answered", "identity-confirmed", "screening-started",
    "tasted", "hood-removed", "nebuliser-loaded", "taste-gone", "donned", "seal-checked", "comfort-judged", "dosed",
    "run-started", "exercise-started", "mist-checked", "exercises-ended", "seal-broken", "signed", "signed", "closed"]


def test_same_arguments_same_events_and_another_seed_others() -> None:
    assert played() == played()
    assert played(seed=2) != played(seed=3)
    assert [e["id"] for e in played()] == [f"t-1-{n:03d}" for n in range(1, 44)]


@pytest.mark.parametrize("protocol", [p.id for p in published().values() if p.method == "taste"])
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


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("protocol", published())
def test_the_played_test_goes_through_every_stage_of_the_conduct(protocol: str, seed: int) -> None:
    """Each stage ends with an event that stands in the played test, in the order of the stages."""
    kind = get(protocol).suits.kinds[0]
    events = played(protocol=protocol, kind=kind, seed=seed)
    assert [e["at"] for e in events] == sorted(e["at"] for e in events)
    assert events == played(protocol=protocol, kind=kind, seed=seed)
    assert {e["kind"] for e in events} <= KINDS.keys()
    rest = iter(events)
    for stage in compile_conduct(get(protocol), kind):
        ends = [e for e in rest if e["kind"] == stage.ends_with][:1]
        assert ends, stage.id
        rest = iter(events[events.index(ends[0]) + 1:])


@pytest.mark.parametrize("protocol", [p.id for p in published().values() if p.quantitative])
def test_numbers_are_taken_where_the_score_has_samples(protocol: str) -> None:
    events = played(protocol=protocol, kind=get(protocol).suits.kinds[0])
    origin = next(e["at"] for e in events if e["kind"] == "exercise-started")
    acts = compile_score(get(protocol)).of("sample")
    if get(protocol).method == "pressure":
        assert [e["data"]["exercise"] for e in events if e["kind"] == "leak-read"] == [a.exercise for a in acts]
        return
    taken = [e["data"] for e in events if e["kind"] == "samples-taken"]
    assert [((x["started_at"] - origin) / 1000, x["air"], len(x["values"])) for x in taken] == [
        (a.at, a.air, a.lasts) for a in acts]


@pytest.mark.parametrize("mean", [0.2, 3.0, 40.0, 5000.0])
def test_counts_scatter_as_poisson_numbers(mean: float) -> None:
    """A Poisson number's variance is its mean."""
    luck = random.Random(3)
    drawn = [poisson(luck, mean) for _ in range(4000)]
    assert fmean(drawn) == pytest.approx(mean, rel=0.1)
    assert variance(drawn) == pytest.approx(mean, rel=0.15)
