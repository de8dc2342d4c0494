"""Controlled negative pressure: the sum against the paragraph, the intervals against simulation, Student's t against
scipy."""

from __future__ import annotations

import random
from typing import Any

import pytest
from scipy import stats

from sealwright.assess.measured import Measured
from sealwright.assess.pressure import Leak, measure_leaks, next_donning, percent

FLOW = 53_800.0


def measured(*leaks: float, donnings: tuple[int, ...] = (), **options: Any) -> Measured:
    given = [Leak(exercise=f"e{n}", leak=x, donning=donnings[n] if donnings else 1) for n, x in enumerate(leaks)]
    return measure_leaks(given, **{"inspiratory": FLOW, "pass_level": 100, "pass_rule": "overall", **options})


@pytest.mark.parametrize(("leak", "factor"), [(538.0, 100.0), (107.6, 500.0), (53.8, 1000.0)])
def test_the_factor_is_the_modelled_flow_over_the_leak(leak: float, factor: float) -> None:
    """29 CFR 1910.134 App. A Part I.C.6, from memory: 53.8 l/min of modelled inspiratory flow over the leak."""
    assert measured(leak).overall.factor == pytest.approx(factor, rel=1e-12)


def test_the_overall_factor_is_the_harmonic_mean() -> None:
    """29 CFR 1910.134 App. A Part I.C.6(b) and (d), from memory: number of exercises over the sum of 1/FF."""
    made = measured(134.5, 538.0, 53.8)
    single = [x.factor for x in made.exercises]
    assert single == pytest.approx([400, 100, 1000])
    assert made.overall.factor == pytest.approx(3 / sum(1 / x for x in single if x))
    assert made.overall.factor == pytest.approx(stats.hmean(single))


def test_a_leak_that_does_not_count_bears_on_nothing() -> None:
    leaks = [Leak(exercise="a", leak=100.0), Leak(exercise="g", leak=5000.0, counts=False)]
    for rule in ("overall", "each"):
        made = measure_leaks(leaks, inspiratory=FLOW, pass_level=100, pass_rule=rule, accuracy=0.05)  # type: ignore[arg-type]
        assert made.passed and made.overall.factor == pytest.approx(538)
        assert [x.counts for x in made.exercises] == [True, False]


@pytest.mark.parametrize(("leaks", "overall", "each"), [
    ((538.0, 538.0), True, True), ((538.2, 538.0), False, False), ((300.0, 700.0), True, False)])
def test_passed_by_the_rule(leaks: tuple[float, ...], overall: bool, each: bool) -> None:
    assert measured(*leaks).passed is overall
    assert measured(*leaks, pass_rule="each").passed is each


def test_no_leak_read_is_a_lower_bound_only() -> None:
    """Below half of the last digit read: 0.5 ml/min of 53.8 l/min is a factor of 107,600."""
    made = measured(0.0, pass_level=500)
    assert made.overall.factor is None and made.overall.low == pytest.approx(107_600) and made.overall.high is None
    assert made.passed and made.overall.p_above == 1.0 and "more than" in made.sentence


def test_without_an_accuracy_on_record_no_chance_is_named() -> None:
    made = measured(500.0)
    assert made.p_pass is None and "not on record" in made.method
    assert measured(500.0, accuracy=0.05).p_pass is not None


@pytest.mark.parametrize(("leak", "accuracy", "resolution"), [
    (400.0, 0.05, 1.0), (130.0, 0.02, 1.0), (12.0, 0.05, 1.0), (30.0, 0.0, 1.0),
    (900.0, 0.1, 10.0), (50.0, 0.01, 0.1)])
def test_intervals_hold_the_truth_as_often_as_they_say(leak: float, accuracy: float, resolution: float) -> None:
    """2,000 instruments, each off by its own uniform share and rounding: 93 to 97 % of the intervals hold the truth."""
    luck = random.Random(f"{leak} {accuracy} {resolution}")
    held = {1: 0, 3: 0}
    for n in held:
        for _ in range(2000):
            off = 1 + luck.uniform(-accuracy, accuracy)
            truths = [leak * luck.uniform(0.8, 1.2) for _ in range(n)]
            read = [round(t * off / resolution) * resolution for t in truths]
            whole = measured(*read, accuracy=accuracy, resolution=resolution).overall
            assert whole.low is not None and whole.high is not None
            held[n] += whole.low <= FLOW * n / sum(truths) <= whole.high
    assert all(0.93 <= n / 2000 <= 0.97 for n in held.values()), held


def test_the_chance_agrees_with_how_often_it_comes_true() -> None:
    """Of tests with a stated chance between 20 and 80 %, that share has a true factor above the level."""
    luck, said, came = random.Random(4), 0.0, 0
    for _ in range(4000):
        truth = luck.uniform(500, 580)
        read = round(truth * (1 + luck.uniform(-0.05, 0.05)))
        chance = measured(read, accuracy=0.05).p_pass
        assert chance is not None
        if 0.2 < chance < 0.8:
            said, came = said + chance, came + (FLOW / truth > 100) - 0
    assert came == pytest.approx(said, rel=0.08)


@pytest.mark.parametrize("logs", [(4.0, 4.6), (4.0, 4.2, 5.1), (6.0, 5.0), (5.5, 5.4, 5.45)])
@pytest.mark.parametrize("most", [80.0, 107.6, 538.0])
def test_the_next_donning_is_students_t(logs: tuple[float, ...], most: float) -> None:
    """Prediction of one more value of a normal sample, by scipy.stats.t."""
    import math
    leaks = [Leak(exercise=f"e{n}", leak=math.exp(x), donning=n + 1) for n, x in enumerate(logs)]
    n, mean = len(logs), sum(logs) / len(logs)
    spread = float(stats.tstd(logs)) * math.sqrt(1 + 1 / n)
    assert next_donning(leaks, most) == pytest.approx(stats.t.cdf((math.log(most) - mean) / spread, n - 1), rel=1e-9)


def test_the_next_donning_is_not_foretold_from_one_nor_from_nothing() -> None:
    assert next_donning([Leak(exercise="a", leak=10.0)], 100) is None
    assert next_donning([Leak(exercise="a", leak=10.0), Leak(exercise="b", leak=0.0, donning=2)], 100) is None
    same = [Leak(exercise=e, leak=10.0, donning=n) for n, e in enumerate("ab", 1)]
    above, below = next_donning(same, 100), next_donning(same, 5)
    assert above and below and 0.9 < above < 1 and 0 < below < 0.1


def test_no_chance_is_beyond_one() -> None:
    """Rounding once made 1.0000000000000002 of these."""
    made = measure_leaks([Leak(exercise=e, leak=100.0, donning=n) for n, e in enumerate("ab", 1)], inspiratory=53_800,
                         pass_level=100, pass_rule="overall", accuracy=0.05)
    assert made.p_pass is not None and 0.99 < made.p_pass <= 1


@pytest.mark.parametrize(("p", "said"), [(0.999, "above 99 %"), (0.5, "about 50 %"), (0.001, "below 1 %")])
def test_chances_are_never_certain(p: float, said: str) -> None:
    assert percent(p) == said


def test_the_sentence_goes_by_the_rule() -> None:
    leaks = [Leak(exercise="a", title="First", leak=300.0), Leak(exercise="b", title="Second", leak=700.0)]
    said = {rule: measure_leaks(leaks, inspiratory=FLOW, pass_level=100, pass_rule=rule, accuracy=0.05).sentence
            for rule in ("overall", "each")}  # type: ignore[arg-type]
    assert said["overall"].startswith("Passed at 108. ") and "not a workplace protection factor" in said["overall"]
    assert said["each"] == "Failed: “Second” at 77, where each must reach 100"
    one = measured(538.2).sentence
    assert one == "Failed at 99.96"
