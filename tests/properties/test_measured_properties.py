"""Measured tests bent in any way: judged, foretold and drawn without a stop, with numbers that can be."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.assess.staging import events_of, played

from sealwright.assess import judge
from sealwright.assess.events import Stopped
from sealwright.assess.live import live, running
from sealwright.errors import SealwrightError
from sealwright.pictures.factors import factor_svg
from sealwright.protocols import get, published

MEASURED = [p.id for p in published().values() if p.quantitative]
ODD = st.sampled_from([0, 1, 2, 1000, 10**6, 10**9, 10**12])
FAR = st.sampled_from([0, 32_503_680_000_000])
Draft = list[dict[str, Any]]


@st.composite
def bent(draw: st.DrawFn) -> tuple[str, Draft]:
    """A played test with up to four things wrong."""
    protocol = get(draw(st.sampled_from(MEASURED)))
    how = {} if protocol.method == "pressure" else {"way": draw(st.sampled_from(["samples", "samples", "counts"]))}
    made = played(protocol=protocol.id, kind=draw(st.sampled_from(protocol.suits.kinds)), seed=draw(st.integers(0, 2)),
                  rule_set=draw(st.sampled_from(["", "us", "uk", "ca", "anz"])), **how)
    for _ in range(draw(st.integers(0, 4))):
        i = draw(st.integers(0, len(made) - 1))
        draw(st.sampled_from([_gone, _twice, _far, _swapped, _odd, _windows]))(draw, made, i)
    return protocol.id, made


def _gone(draw: st.DrawFn, made: Draft, i: int) -> None:
    if len(made) > 2:
        del made[i]


def _twice(draw: st.DrawFn, made: Draft, i: int) -> None:
    made.insert(draw(st.integers(0, len(made))), {**made[i], "id": f"twice-{len(made)}"})


def _far(draw: st.DrawFn, made: Draft, i: int) -> None:
    made[i] = {**made[i], "at": draw(st.one_of(FAR, st.integers(-10**6, 10**6).map(lambda by: made[i]["at"] + by)))}


def _swapped(draw: st.DrawFn, made: Draft, i: int) -> None:
    j = draw(st.integers(0, len(made) - 1))
    made[i], made[j] = made[j], made[i]


def _odd(draw: st.DrawFn, made: Draft, i: int) -> None:
    """Odd numbers in samples and readings."""
    for e in made:
        if e["kind"] == "samples-taken" and draw(st.booleans()):
            e["data"] = {**e["data"], "values": [draw(ODD)] * len(e["data"]["values"])}
        if e["kind"] in ("exercise-read", "leak-read"):
            e["data"] = {k: draw(ODD) if k.endswith(("count", "ms", "min")) else v for k, v in e["data"].items()}


def _windows(draw: st.DrawFn, made: Draft, i: int) -> None:
    start = next((e["at"] for e in made if e["kind"] == "run-started"), made[0]["at"])
    ids = ["normal-1", "deep", "side", "nod", "talk", "bend", "normal-2", "grimace", "hop"]
    seconds = st.integers(-60, 600)
    spans = [{"air": draw(st.sampled_from(["mask", "ambient"])), "exercise": draw(st.sampled_from(ids)),
              "from_at": max(0, start + 1000 * draw(seconds)), "until_at": max(0, start + 1000 * draw(seconds))}
             for _ in range(draw(st.integers(1, 12)))]
    made.insert(i, {**made[0], "id": f"windows-{len(made)}", "kind": "windows-accepted", "data": {"spans": spans}})


@given(bent())
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_no_bent_measurement_stops_the_judge_nor_passes_without_the_whole(one: tuple[str, Draft]) -> None:
    protocol, made = get(one[0]), one[1]
    try:
        events = events_of(made)
    except SealwrightError:
        return
    verdict = judge(events)
    if any(e["kind"] == "opened" for e in made):
        live(events)
    running(events, protocol)
    m = verdict.measured
    for x in (*m.exercises, m.overall) if m else ():
        known = [v for v in (x.low, x.factor, x.high) if v is not None]
        assert all(math.isfinite(v) and v >= 0 for v in known)
        assert all(a <= b * (1 + 1e-6) for a, b in pairwise(known))
        assert x.p_above is None or 0 <= x.p_above <= 1
    if m:
        factor_svg(m, title="Bent", width=900, pass_level=m.pass_level, standalone=False)
    if verdict.result == "pass":
        assert m and m.passed and not any(f.severity == "void" for f in verdict.findings)
        assert {x.exercise for x in m.exercises if x.counts} == {e.id for e in protocol.exercises if e.counts}
        assert not any(isinstance(e.data, Stopped) for e in events)
    else:
        assert "Passed" not in (m.sentence if m else "")
