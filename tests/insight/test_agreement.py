"""Agreement of methods: definitions, the zone, degenerate tables; statsmodels is the outside check of every figure."""

from __future__ import annotations

import random
import subprocess
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from statsmodels.stats.contingency_tables import mcnemar
from statsmodels.stats.inter_rater import cohens_kappa
from statsmodels.stats.proportion import proportion_confint

from sealwright.errors import BadInput
from sealwright.insight.agreement import (
    Pair,
    Table,
    compare,
    from_table,
    kappa_of,
    mcnemar_p,
    predictive_values,
    proportion,
    zone_around,
)

CELL, FULL = st.integers(0, 400), st.integers(1, 400)


@given(CELL, CELL)
@settings(max_examples=60, deadline=None)
def test_exact_intervals_are_those_of_statsmodels(hits: int, more: int) -> None:
    """statsmodels 0.15, proportion_confint(method="beta"): Clopper-Pearson."""
    if hits + more == 0:
        return
    mine, (low, high) = proportion(hits, hits + more), proportion_confint(hits, hits + more, method="beta")
    assert mine.low == pytest.approx(low, abs=1e-9) and mine.high == pytest.approx(high, abs=1e-9)


@given(st.tuples(FULL, FULL, FULL, FULL))
@example((8, 0, 1, 16))
@example((0, 3, 5, 40))
@settings(max_examples=60, deadline=None)
def test_kappa_and_its_standard_error_are_those_of_statsmodels(cells: tuple[int, int, int, int]) -> None:
    """statsmodels 0.15, cohens_kappa: kappa and std_kappa (Fleiss, Cohen and Everitt 1969)."""
    a, b, c, d = cells
    mine = kappa_of(Table(a=a, b=b, c=c, d=d))
    theirs = cohens_kappa([[a, b], [c, d]])
    assert mine.value == pytest.approx(theirs.kappa, abs=1e-9)
    assert mine.se == pytest.approx(theirs.std_kappa, abs=1e-7)


@given(st.integers(0, 300), st.integers(0, 300))
@settings(max_examples=60, deadline=None)
def test_mcnemar_is_that_of_statsmodels(b: int, c: int) -> None:
    if b + c:
        assert mcnemar_p(b, c) == pytest.approx(mcnemar([[5, b], [c, 5]], exact=True).pvalue, abs=1e-9)


def test_which_way_sensitivity_goes() -> None:
    """The finding is a fit that is not good enough: 18 of 20 such fits failed, 70 of 80 good ones passed."""
    found = from_table(a=18, b=10, c=2, d=70)
    assert (found.sensitivity.hits, found.sensitivity.of) == (18, 20)
    assert (found.specificity.hits, found.specificity.of) == (70, 80)
    assert (found.pass_value.hits, found.pass_value.of) == (70, 72)
    assert (found.fail_value.hits, found.fail_value.of) == (18, 28)
    assert found.inadequate.value == pytest.approx(0.2)


def test_predictive_values_at_the_samples_own_share_are_those_of_the_table() -> None:
    found = from_table(a=18, b=10, c=2, d=70)
    passed, failed = predictive_values(18 / 20, 70 / 80, 0.2)
    assert passed == pytest.approx(found.pass_value.value) and failed == pytest.approx(found.fail_value.value)
    assert predictive_values(1.0, 0.0, 1.0) == (None, 1.0)


def test_the_zone_is_left_out_and_the_rest_is_counted() -> None:
    factors = [10, 83, 83.4, 100, 119.9, 120.1, 400]  # zone at cv 0.2: 83.3 to 120
    found = compare([Pair(passed=f >= 100, factor=f) for f in factors], 100, 0.2)
    assert (found.every.n, found.table.n) == (7, 4)
    assert found.table == Table(a=2, b=0, c=0, d=2)
    assert found.zone and (found.zone.low, found.zone.high) == (pytest.approx(83.333, abs=1e-3), 120)
    assert "3 of 7 pairs" in found.notes[0]


def test_without_a_cv_nothing_is_left_out_and_the_level_itself_is_adequate() -> None:
    found = compare([Pair(passed=True, factor=100), Pair(passed=False, factor=99.9)], 100)
    assert found.table == found.every == Table(a=1, b=0, c=0, d=1)


def test_a_reference_without_numbers_is_counted_but_has_no_zone() -> None:
    pairs = [Pair(passed=True, adequate=False), Pair(passed=True, factor=101)]
    assert compare(pairs, 100).table == Table(a=0, b=0, c=1, d=1)
    with pytest.raises(BadInput, match="1 pairs have no fit factor"):
        compare(pairs, 100, 0.2)


def test_five_criteria_each_with_its_need_and_source() -> None:
    found = from_table(a=190, b=40, c=4, d=160)
    assert [(c.id, c.needed, c.strictly, c.met) for c in found.criteria] == [
        ("sensitivity", 0.95, False, True), ("pass-value", 0.95, False, True), ("specificity", 0.5, True, True),
        ("fail-value", 0.5, True, True), ("kappa", 0.7, True, True)]
    assert found.accepted and all(c.source and c.read in ("copy", "memory") for c in found.criteria)
    assert not found.criteria[0].sure and any("Sensitivity is met by its value" in n for n in found.notes)


@pytest.mark.parametrize("cells, name, met", [
    ((19, 0, 1, 20), "sensitivity", True),  # 0.95 exactly is enough
    ((18, 0, 1, 20), "sensitivity", False),  # 18 of 19 is 0.947
    ((20, 10, 0, 10), "specificity", False),  # 0.50 exactly is not more than 0.50
    ((20, 10, 0, 11), "specificity", True),
    ((10, 10, 0, 20), "fail-value", False),
    ((20, 0, 1, 19), "pass-value", True),
])
def test_at_the_edge(cells: tuple[int, int, int, int], name: str, met: bool) -> None:
    assert next(c for c in from_table(*cells).criteria if c.id == name).met is met


def test_seventy_two_poor_fits_all_found_are_the_fewest_that_make_sure() -> None:
    """Clopper-Pearson by hand: with all of n found the lower end is 0.025 ** (1 / n), which passes 0.95 at n = 72."""
    assert 0.025 ** (1 / 71) < 0.95 <= 0.025 ** (1 / 72)
    assert not from_table(71, 0, 0, 90).criteria[0].sure and from_table(72, 0, 0, 90).criteria[0].sure


@pytest.mark.parametrize("cells", [(0, 0, 0, 0), (0, 0, 0, 12), (5, 0, 0, 0), (0, 7, 0, 0), (0, 3, 0, 9)])
def test_what_cannot_be_told_is_not_told(cells: tuple[int, int, int, int]) -> None:
    found = from_table(*cells)
    assert not found.accepted
    assert all(c.met is None for c in found.criteria if c.value is None)
    assert found.sensitivity.value is None or cells[0] + cells[2] > 0


def test_all_agreeing_gives_no_interval_of_kappa_and_no_certainty() -> None:
    found = from_table(2, 0, 0, 3)
    assert found.kappa.value == 1 and found.kappa.low is None and not found.criteria[-1].sure
    assert "Kappa has no interval where all pairs agree." in found.notes


@pytest.mark.parametrize("call, place", [
    (lambda: compare([Pair(passed=True, id="w7")], 100), "pairs[0] (w7)"),
    (lambda: compare([Pair(passed=True, factor=0)], 100), "pairs[0]"),
    (lambda: compare([Pair(passed=True, factor=float("nan"))], 100), "pairs[0]"),
    (lambda: compare([], 0.5), "level"), (lambda: compare([], float("inf")), "level"),
    (lambda: zone_around(100, -0.1), "cv"), (lambda: zone_around(100, float("nan")), "cv"),
    (lambda: from_table(1, -1, 0, 0), "cell b"),
])
def test_bad_input_names_its_place(call, place: str) -> None:
    with pytest.raises(BadInput) as caught:
        call()
    assert caught.value.place == place and caught.value.mend


def test_the_interval_covers_as_often_as_it_says() -> None:
    """A seeded simulation: of 2,000 samples of 40 at a true share of 0.9 at least 95 % of the intervals hold it."""
    chance = random.Random(7)
    held = [p.low <= 0.9 <= p.high for p in (proportion(sum(chance.random() < 0.9 for _ in range(40)), 40)
                                             for _ in range(2000))]
    assert sum(held) / len(held) >= 0.95


def test_importing_it_loads_no_number_library() -> None:
    code = "import sys, sealwright.insight.agreement; print([m for m in ('numpy', 'scipy') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"
