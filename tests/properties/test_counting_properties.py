"""Whatever is counted: an answer that hangs together, or one clear refusal."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sealwright.assess.counting import Stream, Trace, Window, factors, measure
from sealwright.assess.measured import Factor
from sealwright.errors import BadInput

KINDS = st.lists(st.tuples(st.sampled_from([0.0, 0.02, 1.0, 30.0, 5e3, 1e7]), st.integers(1, 40)), min_size=2,
                 max_size=9)
"""Stretches of the trace: particles to expect in a sample, and how many samples."""
FAULTS = st.lists(st.tuples(st.integers(0, 300), st.sampled_from([math.nan, -1.0, 0.0, 1e9, 0.25])), max_size=6)
SPANS = st.lists(st.tuples(st.sampled_from(["mask", "ambient"]), st.sampled_from(["a", "b", "talking"]),
                           st.floats(0, 100), st.floats(0, 60), st.booleans()), min_size=2, max_size=8)


def sound(f: Factor, level: int) -> None:
    for value in (f.factor, f.low, f.high, f.p_above):
        assert value is None or (math.isfinite(value) and value >= 0)
    if f.low is not None:
        assert f.p_above is not None and 0 <= f.p_above <= 1
        assert f.low <= (f.factor or math.inf) <= (f.high or math.inf)
        assert f.p_above >= 0.97 or f.low < level * 1.001
        assert f.high is None or f.high >= level * 0.999 or f.p_above <= 0.03


@settings(max_examples=200, deadline=None)
@given(KINDS, FAULTS, SPANS, st.integers(0, 9), st.sampled_from([0.5, 1.0, 2.0]),
       st.sampled_from(["count", "per-cm3"]), st.sampled_from([None, 1.67, 1.67]),
       st.sampled_from(["overall", "each"]), st.sampled_from([0.0, 3.0]))
def test_any_samples_and_windows(kinds: list[tuple[float, int]], faults: list[tuple[int, float]],
                                 spans: list[tuple[str, str, float, float, bool]], seed: int, step: float, unit: str,
                                 flow: float | None, rule: str, purge: float) -> None:
    values = np.random.default_rng(seed).poisson(np.repeat(*zip(*kinds, strict=True))).astype(float)
    for at, value in faults:
        values[at % len(values)] = value
    stream = Stream(step * np.arange(1, len(values) + 1), values)
    trace = Trace(mask=stream, ambient=stream, unit=unit, flow_cm3_s=flow, step_s=step)
    windows = [Window(exercise=e, air=air, start_s=a, end_s=a + n, counts=c) for air, e, a, n, c in spans]
    try:
        got = measure(trace, windows, pass_level=100, pass_rule=rule, purge_s=purge)
    except BadInput as error:
        assert error.place == "windows" and error.mend
        return
    for f in (*got.exercises, got.overall):
        sound(f, 100)
    assert got.p_pass is None or 0 <= got.p_pass <= 1
    assert got.sentence.startswith("Passed" if got.passed else "Failed")
    assert not np.isinf(factors(trace, windows, purge_s=purge)).any()
