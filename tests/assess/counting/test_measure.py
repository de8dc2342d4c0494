"""From samples or typed values to factors: windows, pooling, purge, bases, zero counts, words."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import pytest
from tests.assess.counting.made_tests import Floats

from sealwright.assess.counting import Reading, Stream, Trace, Window, factors, from_readings, measure
from sealwright.assess.measured import Measured
from sealwright.errors import BadInput


def trace(values: Floats | list[float], unit: str = "count", flow: float | None = 2.0, step: float = 1.0) -> Trace:
    v = np.asarray(values, dtype=float)
    stream = Stream(t=step * np.arange(1, len(v) + 1), values=v)
    return Trace(mask=stream, ambient=stream, unit="count" if unit == "count" else "per-cm3", flow_cm3_s=flow,
                 step_s=step)


def room(start: float, end: float) -> Window:
    return Window(exercise="", air="ambient", start_s=start, end_s=end)


def worn(start: float, end: float, exercise: str = "normal", counts: bool = True) -> Window:
    return Window(exercise=exercise, air="mask", start_s=start, end_s=end, counts=counts, title=exercise.title())


STEPS = [1000.0] * 10 + [10.0] * 20 + [2000.0] * 10 + [5.0] * 20 + [2000.0] * 10
"""room 1000, mask 10, room 2000, mask 5, room 2000"""
TWO = [room(0, 10), worn(10, 30), room(30, 40), worn(40, 60, "deep"), room(60, 70)]



def test_the_room_before_and_after_stands_for_the_room_meanwhile() -> None:
    """Mean of the windows before and after: 29 CFR 1910.134 App. A I.C.3 (from memory). 1500/10 and 2000/5, by hand."""
    got = measure(trace(STEPS), TWO, pass_level=100, pass_rule="overall")
    assert [f.factor for f in got.exercises] == pytest.approx([150, 400])
    assert got.overall.factor == pytest.approx(2 / (1 / 150 + 1 / 400))
    assert got.passed and got.overall.low is not None and got.overall.low < got.overall.factor
    first = got.exercises[0]
    assert (first.mask_count, first.mask_s, first.mask, first.ambient) == pytest.approx((200, 20, 5, 750))
    assert first.basis == "counts" and first.title == "Normal"
    assert msgspec.json.decode(msgspec.json.encode(got), type=Measured) == got  # plain numbers, none of NumPy's


def test_one_side_alone_will_do_and_none_will_not() -> None:
    assert factors(trace(STEPS), TWO[:2]) == pytest.approx([100])
    assert factors(trace(STEPS), TWO[1:3]) == pytest.approx([200])
    with pytest.raises(BadInput, match="No ambient window"):
        factors(trace(STEPS), [TWO[1]])
    with pytest.raises(BadInput, match="No mask window"):
        measure(trace(STEPS), [TWO[0], worn(500, 520)], pass_level=100, pass_rule="overall")


def test_two_channels_at_once_use_the_room_meanwhile() -> None:
    t = np.arange(1.0, 61.0)
    outside = np.concatenate([np.full(30, 1000.0), np.full(30, 3000.0)])
    both = Trace(mask=Stream(t, np.full(60, 10.0)), ambient=Stream(t, outside), unit="per-cm3", flow_cm3_s=None,
                 step_s=1.0)
    windows = [worn(0, 30), worn(30, 60, "deep"), room(0, 30), room(30, 60)]
    assert factors(both, windows) == pytest.approx([100, 300])
    windows = [worn(0, 60), room(0, 20), room(20, 40), room(40, 60)]
    assert factors(both, windows) == pytest.approx([200])


def test_windows_of_one_exercise_are_pooled_and_the_grimace_stays_out() -> None:
    windows = [*TWO[:3], worn(40, 60, "normal"), TWO[4]]
    got = measure(trace(STEPS), windows, pass_level=100, pass_rule="overall")
    assert [f.factor for f in got.exercises] == pytest.approx([(1500 * 20 + 2000 * 20) / (200 + 100)])
    windows = [*TWO[:3], worn(40, 60, "grimace", counts=False), TWO[4]]
    got = measure(trace(STEPS), windows, pass_level=100, pass_rule="overall")
    assert got.overall.factor == pytest.approx(150) and len(got.exercises) == 2


def test_the_purge_drops_what_is_left_of_the_other_air() -> None:
    values = list(STEPS)
    values[10:14] = [900.0, 400.0, 100.0, 30.0]
    values[30:34] = [100.0, 800.0, 1500.0, 1900.0]
    assert measure(trace(values), TWO, pass_level=100, pass_rule="overall").exercises[0].factor != pytest.approx(150)
    got = measure(trace(values), TWO, pass_level=100, pass_rule="overall", purge_s=4)
    assert got.exercises[0].factor == pytest.approx(150) and got.exercises[0].mask_s == 16
    assert factors(trace(values), TWO, purge_s=4) == pytest.approx([150, 400])


def test_concentrations_with_flow_are_counts_and_without_have_no_interval() -> None:
    by_flow = measure(trace(STEPS, "per-cm3"), TWO, pass_level=100, pass_rule="overall")
    assert by_flow.exercises[0].mask_count == pytest.approx(20 * 10 * 2.0) and by_flow.exercises[0].mask == 10
    bare = measure(trace(STEPS, "per-cm3", None), TWO, pass_level=100, pass_rule="overall")
    assert bare.overall.factor == pytest.approx(by_flow.overall.factor or 0)
    assert (bare.overall.low, bare.overall.high, bare.p_pass) == (None, None, None)
    assert bare.exercises[0].basis == "concentrations" and bare.method.startswith("no interval")
    assert {d.code for d in bare.doubts} - {d.code for d in by_flow.doubts} == {"no-uncertainty"}
    assert "cannot be said" in bare.sentence
    counts_alone = measure(trace(STEPS, "count", None), TWO, pass_level=100, pass_rule="overall")
    assert counts_alone.overall.low is not None and counts_alone.exercises[0].mask is None


def test_nothing_counted_gives_a_lower_bound_and_never_infinity() -> None:
    values = [2000.0 if v > 100 else v for v in STEPS]
    values[10:30] = [0.0] * 20
    got = measure(trace(values), TWO, pass_level=100, pass_rule="overall")
    none, some = got.exercises
    assert none.factor is None and none.high is None
    assert none.low == pytest.approx(2000 * 20 / math.log(20), rel=0.001)
    assert some.factor == pytest.approx(400) and got.overall.factor == pytest.approx(800)
    assert np.isnan(factors(trace(values), TWO)[0])
    values[40:60] = [0.0] * 20
    got = measure(trace(values), TWO, pass_level=100, pass_rule="overall")
    assert got.overall.factor is None and got.passed and "nothing was counted in the mask" in got.sentence


def test_nothing_counted_in_too_little_air_passes_nothing() -> None:
    """One particle is taken as seen, for the pass alone: ours, on the safe side."""
    def of(room_count: int) -> bool:
        reading = Reading(exercise="normal", mask_count=0, mask_s=10, ambient_count=room_count, ambient_s=10)
        return from_readings([reading], pass_level=100, pass_rule="overall").passed
    assert not of(99) and of(100)


def test_missing_and_impossible_samples_are_left_out_and_said() -> None:
    values = list(STEPS)
    values[12], values[45] = math.nan, -3.0
    got = measure(trace(values), TWO, pass_level=100, pass_rule="overall")
    assert [f.factor for f in got.exercises] == pytest.approx([150, 400])
    assert factors(trace(values), TWO) == pytest.approx([150, 400])
    assert {"not-a-number", "negative"} <= {d.code for d in got.doubts}


def test_samples_out_of_order_are_put_in_order() -> None:
    t, order = trace(STEPS), np.random.default_rng(1).permutation(len(STEPS))
    mixed = Stream(t.mask.t[order], t.mask.values[order])
    assert factors(Trace(mask=mixed, ambient=mixed, unit="count", flow_cm3_s=2.0, step_s=1.0), TWO) == pytest.approx(
        factors(t, TWO))


def test_the_fast_path_agrees_with_a_plain_loop() -> None:
    rng = np.random.default_rng(8)
    values = rng.poisson(500, 3000).astype(float)
    windows = [w for k in range(40) for w in (room(70 * k, 70 * k + 10), worn(70 * k + 10, 70 * k + 70, str(k)))]
    got = factors(trace(values), windows)
    for k in range(40):
        after = values[70 * k + 70:70 * k + 80].mean() if k < 39 else values[70 * k:70 * k + 10].mean()
        wanted = (values[70 * k:70 * k + 10].mean() + after) / 2 / values[70 * k + 10:70 * k + 70].mean()
        assert got[k] == pytest.approx(wanted, rel=1e-12)


def test_each_and_overall_are_different_rules() -> None:
    values = [8000.0] * 10 + [100.0] * 20 + [8000.0] * 10 + [20.0] * 20 + [8000.0] * 10
    us = measure(trace(values), TWO, pass_level=100, pass_rule="overall")
    uk = measure(trace(values), TWO, pass_level=100, pass_rule="each")
    assert us.passed and not uk.passed and us.p_pass is not None and uk.p_pass is not None
    assert us.p_pass > 0.99 > 0.1 > uk.p_pass
    assert uk.sentence.startswith("Failed: “Normal” at 80, where each must reach 100; there is less than a 1 in 1,000")


def test_the_sentence_says_result_and_doubt() -> None:
    def said(mask_count: int) -> str:
        reading = Reading(exercise="normal", mask_count=mask_count, mask_s=60, ambient_count=1_000_000, ambient_s=60)
        return from_readings([reading], pass_level=10_000, pass_rule="overall").sentence
    assert said(93) == ("Passed at 10800, but the data leave a 1 in 4 chance that the true value is below 10000. "
                        "A fit factor of this donning, not a workplace protection factor.")
    assert said(40).startswith("Passed at 25000; the data leave less than a 1 in 1,000 chance")
    assert said(107) == ("Failed at 9350; there is a 1 in 4 chance that the true value reaches 10000. "
                         "The rule goes by the measured value.")


def test_a_near_miss_is_not_rounded_up_to_the_level() -> None:
    got = from_readings([Reading(exercise="normal", factor=99.7)], pass_level=100, pass_rule="overall")
    assert not got.passed and got.sentence.startswith("Failed at 99.7") and got.exercises[0].basis == "reading"


def test_exactly_the_level_passes() -> None:
    made = [Reading(exercise=f"e{i}", factor=100.0) for i in range(7)]
    assert all(from_readings(made, pass_level=100, pass_rule=r).passed for r in ("overall", "each"))


def test_readings_use_counts_before_concentrations_before_a_bare_factor() -> None:
    full = Reading(exercise="a", factor=5.0, mask=1.0, ambient=60.0, mask_count=10, mask_s=30, ambient_count=1000,
                   ambient_s=10)
    got = from_readings([full], pass_level=100, pass_rule="overall")
    assert got.exercises[0].factor == pytest.approx(300) and got.exercises[0].low is not None
    assert [d.code for d in got.doubts] == ["spread-unseen"]
    got = from_readings([full, Reading(exercise="b", factor=5.0, mask=1.0, ambient=60.0)], pass_level=100,
                        pass_rule="overall")
    assert [f.basis for f in got.exercises] == ["counts", "concentrations"] and got.overall.low is None
    zero = from_readings([Reading(exercise="b", mask=0.0, ambient=60.0)], pass_level=100, pass_rule="overall")
    assert zero.overall.factor is None and not zero.passed and "makes no factor" in zero.sentence


@pytest.mark.parametrize("bad", [Reading(exercise="a"), Reading(exercise="a", mask=1.0, ambient=0.0),
                                 Reading(exercise="a", factor=math.nan), Reading(exercise="a", factor=-1.0)])
def test_a_reading_that_makes_no_factor_is_refused_by_place(bad: Reading) -> None:
    with pytest.raises(BadInput) as error:
        from_readings([Reading(exercise="z", factor=9.0), bad], pass_level=100, pass_rule="overall")
    assert error.value.place == "readings[1]" and error.value.mend


def test_more_counting_makes_a_narrower_interval() -> None:
    def width(times: int) -> float:
        reading = Reading(exercise="a", mask_count=10 * times, mask_s=30.0 * times, ambient_count=10**6, ambient_s=10)
        f = from_readings([reading], pass_level=100, pass_rule="overall").overall
        assert f.high is not None and f.low is not None
        return f.high / f.low
    assert width(1) > width(4) > width(100) > 1
