"""The air under the hood: closed form against a solver, mass balance, steady state, and what is told of faults."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sealwright.errors import BadInput
from sealwright.insight.hood import (
    ASSUMED,
    ENOUGH,
    HoodParameters,
    air,
    explain,
    explanations,
    fault_of,
    predict,
    settling_velocity,
    stretches,
)
from sealwright.protocols import Score, compile_score, get

PACE = 0.8


def score(level: int = 20) -> Score:
    return compile_score(get("us-bitter"), level)


def written(s: Score | None = None) -> list[tuple[float, int]]:
    return [(a.at, a.squeezes) for a in (s or score()).of("dose")]


def without(*dues: int) -> list[tuple[float, int]]:
    return [d for d in written() if d[0] not in dues]


# --- the equation ---

@pytest.mark.parametrize("rate", [0.004, 0.0232, 0.2])
def test_the_closed_form_is_what_the_solver_finds(rate: float) -> None:
    """scipy 1.17 solve_ivp on dc/dt = feed(t) - rate c, the outside check; steps kept short of the pulses."""
    from scipy.integrate import solve_ivp

    doses = [(-16.0, 20), (30.0, 10), (47.5, 3), (50.0, 10)]  # the last two overlap for a moment

    def change(t: float, c: list[float]) -> list[float]:
        return [sum(1 / PACE for at, n in doses if at <= t < at + n * PACE) - rate * c[0]]

    seconds = [-10.0, 0.0, 31.0, 40.0, 49.0, 51.0, 60.0, 120.0]
    found = solve_ivp(change, (-16.0, 120.0), [0.0], t_eval=seconds, max_step=0.02, rtol=1e-8, atol=1e-10)
    for t, c in zip(seconds, found.y[0], strict=True):
        assert air(doses, t, pace_s=PACE, rate=rate) == pytest.approx(c, rel=2e-3, abs=2e-3)


@given(st.lists(st.tuples(st.floats(-30, 400), st.integers(0, 30)), max_size=8), st.floats(0.001, 0.5))
@settings(max_examples=60, deadline=None)
def test_mass_balance(doses: list[tuple[float, int]], rate: float) -> None:
    """What was squeezed is what is left and what has gone: the loss is the integral of rate * c, by Simpson's rule."""
    end, steps = 480.0, 20_400
    h = (end + 30) / steps
    points = [air(doses, -30 + i * h, pace_s=PACE, rate=rate) for i in range(0, steps + 1, 1)] if doses else [0.0]
    if not doses:
        assert air(doses, end, pace_s=PACE, rate=rate) == 0
        return
    gone = rate * h / 3 * sum(c * (1 if i in (0, steps) else 4 if i % 2 else 2) for i, c in enumerate(points))
    assert gone + points[-1] == pytest.approx(sum(n for _, n in doses), rel=2e-3, abs=2e-3)


def test_periodic_squeezes_settle_at_the_geometric_series() -> None:
    """Instant doses m each T: just after the last of many, c = m (1 + q + q^2 + ...) = m / (1 - q), q = e^(-rate T)."""
    rate, every, q = 0.0232, 30.0, math.exp(-0.0232 * 30)
    doses = [(every * i, 10) for i in range(60)]
    assert air(doses, every * 59 + 1e-9, pace_s=0.0, rate=rate) == pytest.approx(10 / (1 - q), rel=1e-9)


def test_without_losses_everything_stays() -> None:
    assert air([(0.0, 10)], 4.0, pace_s=PACE, rate=0.0) == pytest.approx(5)
    assert air([(0.0, 10)], 99.0, pace_s=PACE, rate=0.0) == pytest.approx(10)
    assert air([(0.0, 10)], 0.0, pace_s=PACE, rate=0.1) == 0


# --- the hood ---

@pytest.mark.parametrize("um, m_s", [(1, 3.48e-5), (5, 7.7e-4), (10, 3.06e-3)])
def test_drops_settle_as_the_textbook_says(um: float, m_s: float) -> None:
    """Hinds, Aerosol Technology, appendix table of unit-density spheres at 20 C (from memory)."""
    assert settling_velocity(um) == pytest.approx(m_s, rel=0.02)
    assert settling_velocity(0) == 0


def test_the_hood_has_the_published_size_and_halves_in_about_half_a_minute() -> None:
    """30.5 cm across and 35.6 cm tall (29 CFR 1910.134 App. A, from memory) is 26.0 l, worked by hand."""
    hood = HoodParameters()
    assert hood.volume_l + hood.head_l == pytest.approx(26.0, abs=0.05)
    assert math.log(2) / hood.rate == pytest.approx(30, abs=1)


def test_every_assumption_is_listed_with_its_source() -> None:
    assert {a.name: a.value for a in ASSUMED} == {n: getattr(HoodParameters(), n) for n in
                                                  HoodParameters.__struct_fields__}
    assert all(a.source for a in ASSUMED)


@pytest.mark.parametrize("wrong", [{"head_l": 40}, {"breathing_l_min": -1}, {"drop_um": math.nan}])
def test_a_hood_that_cannot_be(wrong: dict[str, float]) -> None:
    with pytest.raises(BadInput):
        HoodParameters(**wrong)


# --- what is told ---

def test_the_score_as_written_holds_what_it_asks_for() -> None:
    p = predict(written(), nominal_score=score())
    assert {r for r in p.relative if r is not None} == {1.0}
    assert stretches(p) == () and explanations(p) == ()


@pytest.mark.parametrize("level", [10, 20, 30])
def test_topping_up_with_half_each_half_minute_keeps_the_air_even(level: int) -> None:
    """What the rate is chosen for: the peaks after each top-up stay within a fifth of the first dose's."""
    s = score(level)
    p = predict(written(s), nominal_score=s)
    for a in s.of("dose")[1:]:
        peak = p.asked[p.times.index(float(a.at + a.lasts))]
        assert 0.8 < peak < 1.2


def test_a_missing_dose_halves_the_air_and_is_told() -> None:
    said = explain(predict(without(210), nominal_score=score()), 210)
    assert said == ("After the missing dose at 3:30 the air held about 54 % of what the score asks for until 4:00, "
                    "at the least 50 %; it was back at 90 % by 5:03.")


def test_two_missing_doses_are_told_apart_and_recovery_once() -> None:
    first, second = explanations(predict(without(150, 180), nominal_score=score()))
    assert "missing dose at 2:30" in first and "back" not in first
    assert "missing dose at 3:00" in second and "back at 90 %" in second


def test_the_last_dose_has_no_recovery() -> None:
    (said,) = explanations(predict(without(390), nominal_score=score()))
    assert "until 7:00" in said and "back" not in said


@pytest.mark.parametrize("change, word", [(lambda a, n: (a + 14, n), "late"), (lambda a, n: (a, n // 2), "short")])
def test_late_and_short(change, word: str) -> None:
    p = predict([change(a, n) if a == 150 else (a, n) for a, n in written()], nominal_score=score())
    assert fault_of(p, 150) == word and f"After the {word} dose at 2:30" in explain(p, 150)
    assert explain(p, 120) == ""


def test_a_very_late_dose_is_known_by_its_act() -> None:
    doses = [(a + 28 if a == 150 else a, n) for a, n in written()]
    acts = [a.id for a in score().of("dose")]
    assert fault_of(predict(doses, nominal_score=score(), acts=acts), 150) == "late"


def test_a_few_seconds_either_way_are_not_told() -> None:
    doses = [(a + (3 if i % 2 else -2), n) for i, (a, n) in enumerate(written())]
    assert explanations(predict(doses, nominal_score=score())) == ()


def test_a_test_that_ended_early_misses_nothing_after_its_end() -> None:
    p = predict(written()[:3], nominal_score=score(), until=83)
    assert p.times[-1] <= 83 and explanations(p) == ()


@given(st.sets(st.sampled_from([30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330, 360, 390]), max_size=6))
@settings(max_examples=40, deadline=None)
def test_less_is_never_more(missed: set[int]) -> None:
    """With doses left out the air never holds more than asked, and each one missed is told once."""
    p = predict(without(*missed), nominal_score=score())
    assert all(h <= a + 1e-12 for h, a in zip(p.held, p.asked, strict=True))
    assert len(explanations(p)) == len(missed)
    assert all(s.least < ENOUGH and s.start <= s.end for s in stretches(p))


@pytest.mark.parametrize("call, place", [
    (lambda: predict([(0, -1)], nominal_score=score()), "doses[0]"),
    (lambda: predict([(math.nan, 1)], nominal_score=score()), "doses[0]"),
    (lambda: predict([(0, 1)], nominal_score=score(), acts=["a", "b"]), "acts"),
    (lambda: explain(predict([], nominal_score=score()), 31), "due"),
])
def test_bad_input_names_its_place(call, place: str) -> None:
    with pytest.raises(BadInput) as caught:
        call()
    assert caught.value.place == place and caught.value.mend


def test_a_score_without_doses_has_no_air() -> None:
    s = score()
    bare = Score(protocol="x", protocol_version="1", level=0, lasts=60, squeezes=0, acts=s.of("exercise"))
    with pytest.raises(BadInput, match="gives no doses"):
        predict([], nominal_score=bare)


def test_importing_it_loads_no_number_library() -> None:
    code = "import sys, sealwright.insight.hood; print([m for m in ('numpy', 'scipy') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"
