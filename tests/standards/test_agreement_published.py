"""Agreement of methods against published tables and figures, to the digits printed.

No table of a fit-test comparison with all four cells was found in a text that could be read, so whole tables are taken
from another field (a nasal strip against PCR), and fit-test papers are checked in what they print.
"""

from __future__ import annotations

import pytest

from sealwright.insight.agreement import from_table, predictive_values, proportion, zone_around


@pytest.mark.parametrize("found, wrong_pass, clear, npv, accuracy, sensitivity, kappa, se", [
    (8, 1, 16, "94.1", "96.0", "88.9", "0.911", "0.087"),
    (10, 1, 14, "93.3", "96.0", "90.9", "0.918", "0.080"),
    (2, 1, 17, "94.4", "95.0", "66.7", "0.773", "0.216"),
    (4, 1, 15, "93.8", "95.0", "80.0", "0.857", "0.138"),
])
def test_strip_against_pcr(found: int, wrong_pass: int, clear: int, npv: str, accuracy: str, sensitivity: str,
                           kappa: str, se: str) -> None:
    """Sci Rep 2024, s41598-024-57230-8, Table 5, read in the table: four tables with kappa and its standard error.

    A strip that is positive is a finding, as a failed fit test is: a = both positive, c = PCR alone.
    """
    got = from_table(a=found, b=0, c=wrong_pass, d=clear)
    assert f"{got.kappa.value:.3f}" == kappa and f"{got.kappa.se:.3f}" == se
    assert f"{100 * (got.sensitivity.value or 0):.1f}" == sensitivity
    assert f"{100 * (got.pass_value.value or 0):.1f}" == npv
    assert f"{100 * (found + clear) / got.table.n:.1f}" == accuracy
    assert got.specificity.value == got.fail_value.value == 1.0


def test_the_classical_two_by_two_of_fifty_proposals() -> None:
    """The worked example of encyclopaedias (50 grant proposals, two readers; from memory): kappa 0.40."""
    got = from_table(20, 5, 10, 15)
    assert f"{got.kappa.value:.2f}" == "0.40"


@pytest.mark.parametrize("failed, of, printed", [(158, 643, "25"), (92, 643, "14"), (41, 137, "30"), (30, 137, "22")])
def test_a_seal_check_passed_by_those_who_then_failed(failed: int, of: int, printed: str) -> None:
    """J Occup Environ Hyg 2011, doi 10.1080/15459624.2011.566016, abstract read.

    The four who failed their own seal check were not fit-tested, so the other two cells are not known: only the
    predictive value of a pass can be had. It is far below the 0.95 that a fit-test method needs.
    """
    got = from_table(a=0, b=0, c=failed, d=of - failed)
    assert f"{100 - 100 * (got.pass_value.value or 0):.0f}" == printed
    assert got.pass_value.high < 0.95 and not got.criteria[1].met
    assert got.sensitivity.value == 0  # of fits known to be poor, the check that all passed found none


def test_the_zone_of_a_published_comparison() -> None:
    """A comparison of test guides with light-scattering instruments, judged by Annex A2 of ANSI Z88.10-2010, left out
    fit factors of 72 to 138 at level 100 (abstract read; the coefficient of variation, 0.38, is our reckoning)."""
    zone = zone_around(100, 0.38)
    assert (f"{zone.low:.0f}", f"{zone.high:.0f}") == ("72", "138")


def test_alpha_and_beta_of_the_standard_are_one_minus_ours() -> None:
    """NIOSHTIC-2 20023787, abstract read: at most 50 % wrong fails (alpha), at most 5 % wrong passes (beta)."""
    needed = {c.id: c.needed for c in from_table(1, 1, 1, 1).criteria}
    assert needed["sensitivity"] == pytest.approx(1 - 0.05) and needed["specificity"] == pytest.approx(1 - 0.50)


def test_a_published_kappa_below_the_standards_is_not_enough() -> None:
    """J Occup Environ Hyg 2016, doi 10.1080/15459624.2016.1237030, abstract read: 619 people, kappa 0.63, "below 0.70".

    Its cells are not printed there; this table of 619 has the same kappa.
    """
    got = from_table(a=90, b=30, c=46, d=453)
    assert got.table.n == 619 and f"{got.kappa.value:.2f}" == "0.63"
    assert not got.criteria[-1].met


def test_wrong_passes_of_a_taste_test_at_the_published_rates() -> None:
    """J Occup Environ Hyg 2006, doi 10.1080/15459620500455398, abstract read: bitter aerosol, alpha 71 %, beta 8 %.

    With a quarter of the fits poor a pass then has a predictive value below 0.95, by Bayes' rule worked by hand:
    0.29 * 0.75 / (0.29 * 0.75 + 0.08 * 0.25) = 0.9158.
    """
    passed, _ = predictive_values(sensitivity=0.92, specificity=0.29, inadequate=0.25)
    assert f"{passed:.4f}" == "0.9158"


def test_the_rule_of_three() -> None:
    """Hanley and Lippman-Hand 1983 (from memory): none in n, upper end about 3/n one-sided, 3.7/n two-sided."""
    assert proportion(0, 100).high == pytest.approx(3.7 / 100, rel=0.03)
