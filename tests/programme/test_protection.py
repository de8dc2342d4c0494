"""What protection is needed, what reaches it, and the three factors told apart. Concentrations are invented."""

from __future__ import annotations

import inspect
import math
import random
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sealwright.errors import BadInput, NotFound
from sealwright.programme import protection
from sealwright.programme.protection import (
    Amount,
    AskCompetentPerson,
    classes_reaching,
    equipment,
    explain,
    exposure_inside,
    greatest_use_concentration,
    needed_factor,
    table,
    tables,
    tolerance_k,
    usable_factor,
    workplace_protection_factor,
)

LIMIT = Amount(0.1, "mg/m3")


def test_the_hazard_ratio() -> None:
    assert needed_factor(Amount(0.8, "mg/m3"), LIMIT) == pytest.approx(8)
    assert needed_factor(Amount(50, "ug/m3"), Amount(100, "µg/m³")) == 0.5


@pytest.mark.parametrize("concentration, limit, place", [
    (Amount(8, "ppm"), LIMIT, "unit"), (Amount(0, "mg/m3"), LIMIT, "concentration"),
    (Amount(1, "mg/m3"), Amount(-1, "mg/m3"), "limit"), (Amount(math.nan, "mg/m3"), LIMIT, "concentration"),
    (Amount(1, "stone"), LIMIT, "concentration.unit"), (Amount(1, "mg/m3"), Amount(1, ""), "limit.unit"),
])
def test_amounts_that_cannot_be_used(concentration: Amount, limit: Amount, place: str) -> None:
    with pytest.raises(BadInput) as caught:
        needed_factor(concentration, limit)
    assert caught.value.place == place and caught.value.mend


@pytest.mark.parametrize("atmosphere", ["oxygen-deficient", "immediately-dangerous", "unknown"])
def test_no_ratio_where_only_a_competent_person_may_decide(atmosphere) -> None:
    with pytest.raises(AskCompetentPerson, match="competent person must decide"):
        needed_factor(Amount(0.8, "mg/m3"), LIMIT, atmosphere=atmosphere)
    with pytest.raises(BadInput):
        needed_factor(Amount(0.8, "mg/m3"), LIMIT, atmosphere="thin")  # type: ignore[arg-type]


@given(st.floats(0.01, 20_000), st.sampled_from(["us", "uk"]))
def test_a_class_reaches_if_and_only_if_its_factor_does(factor: float, rules: str) -> None:
    reached = {c.id for c in classes_reaching(rules, factor)}
    assert reached == {c.id for c in table(rules).classes if c.apf >= factor}
    apfs = [c.apf for c in classes_reaching(rules, factor)]
    assert apfs == sorted(apfs)


def test_classes_for_gas_leave_particle_filters_out() -> None:
    assert "ffp3" not in {c.id for c in classes_reaching("uk", 10, form="gas")}
    assert next(c.id for c in classes_reaching("uk", 15, form="gas")) == "full-gas"


def test_a_full_facepiece_passed_by_taste_does_not_reach_eleven_times_the_limit() -> None:
    assert "full" in {c.id for c in classes_reaching("us", 11)}
    assert "full" not in {c.id for c in classes_reaching("us", 11, passed_by="qualitative")}
    assert "full" in {c.id for c in classes_reaching("us", 10, passed_by="qualitative")}
    assert usable_factor(equipment("us", "half"), "qualitative").factor == 10
    assert "not to be passed" in usable_factor(equipment("uk", "full-p3"), "qualitative").why


def test_greatest_use_concentration_stops_below_danger() -> None:
    assert greatest_use_concentration(10, LIMIT) == Amount(pytest.approx(1.0), "mg/m3")
    assert greatest_use_concentration(1000, LIMIT, dangerous=Amount(5, "mg/m3")) == Amount(5, "mg/m3")
    with pytest.raises(BadInput):
        greatest_use_concentration(10, LIMIT, dangerous=Amount(5, "ppm"))
    with pytest.raises(BadInput):
        greatest_use_concentration(0, LIMIT)


@pytest.mark.parametrize("factor", [0, -1, math.nan, math.inf])
def test_no_factor_is_refused(factor: float) -> None:
    with pytest.raises(BadInput):
        classes_reaching("us", factor)


def test_unknown_tables_and_classes_name_those_there_are() -> None:
    with pytest.raises(NotFound, match="us"):
        table("mars")
    with pytest.raises(NotFound, match="filtering"):
        equipment("us", "scarf")


def test_every_value_has_a_source_and_ids_differ() -> None:
    for t in tables().values():
        ids = [c.id for c in t.classes]
        assert len(ids) == len(set(ids)) and all(c.rule_set == t.id for c in t.classes)
        assert all(c.source and c.read in ("copy", "memory") for c in [*t.classes, t.ceiling, t])


def test_workplace_factors_of_a_lognormal_sample() -> None:
    """Worked by hand: factors e, e^2, e^3 have geometric mean e^2 and geometric standard deviation e."""
    found = workplace_protection_factor([math.e, math.e ** 2, math.e ** 3], [1, 1, 1])
    assert found.middle == pytest.approx(math.e ** 2) and found.spread == pytest.approx(math.e)
    assert found.fifth == pytest.approx(math.exp(2 - 1.6449), rel=1e-4)
    assert workplace_protection_factor([100], [2]).spread is None


def test_the_fifth_percentile_of_many_is_that_of_the_population() -> None:
    """A seeded sample of 20,000 from a lognormal with geometric mean 80 and spread 2.5: 80 / 2.5 ** 1.6449 = 17.7."""
    chance = random.Random(11)
    inside = [math.exp(chance.gauss(-math.log(80), math.log(2.5))) for _ in range(20_000)]
    found = workplace_protection_factor([1.0] * len(inside), inside)
    assert found.fifth == pytest.approx(17.72, rel=0.03)
    ranked = sorted(found.factors)[1000]
    assert ranked == pytest.approx(found.fifth, rel=0.05)
    assert found.fifth_low is not None and found.fifth is not None and found.fifth_low < found.fifth


@pytest.mark.parametrize("n, k", [(3, 7.655), (5, 4.202), (10, 2.911), (20, 2.396), (30, 2.220)])
def test_tolerance_factors_are_those_of_the_tables(n: int, k: float) -> None:
    """One-sided, 95 % of the population with 95 % confidence: Natrella 1963, Table A-7 (from memory)."""
    assert tolerance_k(n) == pytest.approx(k, abs=0.002)


@pytest.mark.parametrize("outside, inside, place", [
    ([], [], "inside"), ([1], [], "inside"), ([1, 2], [1, 0], "inside[1]"), ([math.inf], [1], "outside[0]")])
def test_samples_that_are_none(outside: list[float], inside: list[float], place: str) -> None:
    with pytest.raises(BadInput) as caught:
        workplace_protection_factor(outside, inside)
    assert caught.value.place == place


def test_the_three_factors_are_told_apart() -> None:
    said = explain(340, 10, 100)
    assert "340" in said.fit and "reaches the pass level of 100" in said.fit
    assert "Assigned protection factor 10" in said.assigned and "not measured here" in said.workplace
    assert "10 times the assigned factor" in said.together and "does not raise" in said.together
    assert "does not reach" in explain(99, 10, 100).fit and "not worn at all" in explain(99, 10, 100).together
    assert "none was measured" in explain(None, 10, 100).fit
    told = explain(340, 10, 100, workplace_protection_factor([50, 90, 30], [1, 1, 1])).workplace
    assert "3 measured at work" in told and "above the assigned 10" in told
    assert "says nothing of the spread" in explain(340, 10, 100, workplace_protection_factor([50], [1])).workplace
    with pytest.raises(BadInput):
        explain(-1, 10, 100)


def test_exposure_is_never_divided_by_a_fit_factor() -> None:
    with pytest.raises(AskCompetentPerson, match="not worked out here"):
        exposure_inside(Amount(5, "mg/m3"), 340)
    for name, f in inspect.getmembers(protection, inspect.isfunction):
        if "fit_factor" in inspect.signature(f).parameters and f.__module__ == protection.__name__:
            assert name in ("explain", "exposure_inside", "_fit", "_together"), f"{name} does what with a fit factor?"


def test_importing_it_loads_no_number_library() -> None:
    code = "import sys, sealwright.programme.protection; print([m for m in ('numpy', 'scipy') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_numbers_that_cannot_be_are_refused_with_their_place() -> None:
    with pytest.raises(BadInput) as times:
        needed_factor(Amount(1e300, "ppm"), Amount(1e-300, "ppm"))
    with pytest.raises(BadInput) as ratio:
        workplace_protection_factor([1e308, 5], [1e-308, 1])
    with pytest.raises(BadInput) as none:
        explain(100, 0, 100)
    with pytest.raises(BadInput) as form:
        classes_reaching("us", 10, form="soup")  # type: ignore[arg-type]
    assert [e.value.place for e in (times, ratio, none, form)] == ["concentration", "inside[0]", "class", "form"]
