"""Assigned protection factors against the published tables, typed here a second time, row by row as printed."""

from __future__ import annotations

import pytest

from sealwright.programme.protection import (
    Amount,
    equipment,
    explain,
    greatest_use_concentration,
    pass_level_for,
    table,
    usable_factor,
)

# 29 CFR 1910.134(d)(3)(i)(A), Table 1, read in a copy of the code: columns quarter, half, full, hood, loose-fitting.
US: dict[str, dict[str, tuple[int, ...]]] = {
    "filter": {"quarter": (5,), "half": (10,), "full": (50,)},
    "powered": {"half": (50,), "full": (1000,), "hood": (25, 1000), "loose": (25,)},
    "airline-demand": {"half": (10,), "full": (50,)},
    "airline-flow": {"half": (50,), "full": (1000,), "hood": (25, 1000), "loose": (25,)},
    "airline-pressure": {"half": (50,), "full": (1000,)},
    "scba-demand": {"half": (10,), "full": (50,), "hood": (50,)},
    "scba-pressure": {"full": (10_000,), "hood": (10_000,)},
}
# HSG53, from memory; the filtering, half and full rows agree with a trade table that was read, which names no print.
UK = {"ffp1": 4, "ffp2": 10, "ffp3": 20, "half-p1": 4, "half-p2": 10, "half-p3": 20, "half-gas": 10, "full-p1": 4,
      "full-p2": 10, "full-p3": 40, "full-gas": 20, "th1": 10, "th2": 20, "th3": 40, "tm1": 10, "tm2": 20, "tm3": 40,
      "scba-pressure-full": 2000}


def test_table_one_of_the_us() -> None:
    found: dict[str, dict[str, tuple[int, ...]]] = {}
    for c in sorted(table("us").classes, key=lambda c: c.apf):
        if c.kind != "filtering":
            row = found.setdefault(c.supply, {})
            row[c.kind] = (*row.get(c.kind, ()), c.apf)
    assert found == US


def test_a_filtering_facepiece_is_a_half_mask_in_the_us() -> None:
    """Note 3 of Table 1."""
    assert equipment("us", "filtering").apf == equipment("us", "half").apf == 10


def test_a_hood_has_a_thousand_only_with_evidence() -> None:
    """Note 4 of Table 1."""
    assert all("evidence" in c.note for c in table("us").classes if c.kind == "hood" and c.apf == 1000)


def test_hsg53() -> None:
    assert {c.id: c.apf for c in table("uk").classes} == UK


@pytest.mark.parametrize("cls, passed_by, factor", [
    ("full", "qualitative", 10), ("full", "quantitative", 50), ("half", "qualitative", 10),
    ("filtering", "qualitative", 10), ("powered-full", "qualitative", 1000),
    ("scba-pressure-full", "qualitative", 10_000),
])
def test_qualitative_passes_in_the_us(cls: str, passed_by, factor: int) -> None:
    """29 CFR 1910.134(f)(6) and the letter of interpretation of 15 January 1999, both read: negative-pressure
    air-purifying facepieces passed by a qualitative test only below ten times the limit; atmosphere-supplying and
    powered ones may be passed either way ((f)(8), from memory for powered ones)."""
    assert usable_factor(equipment("us", cls), passed_by).factor == factor


def test_full_face_masks_are_not_passed_by_taste_in_the_uk() -> None:
    """INDG479 (from memory)."""
    assert usable_factor(equipment("uk", "full-p3"), "qualitative").factor == 0
    assert usable_factor(equipment("uk", "ffp3"), "qualitative").factor == 20


@pytest.mark.parametrize("rules, cls, level", [("us", "half", 100), ("us", "quarter", 100), ("us", "full", 500),
                                               ("uk", "ffp3", 100), ("uk", "full-p3", 2000)])
def test_pass_levels(rules: str, cls: str, level: int) -> None:
    """29 CFR 1910.134(f)(7), from memory (quarter and half 100, full 500); INDG479, second-hand (100, full 2000)."""
    assert pass_level_for(equipment(rules, cls)) == level


def test_maximum_use_concentration() -> None:
    """29 CFR 1910.134(b), definition (from memory): assigned protection factor times exposure limit.

    Respirable crystalline silica, 0.05 mg/m3 (29 CFR 1926.1153(d)(1)): a half mask up to 0.5 mg/m3.
    """
    assert greatest_use_concentration(equipment("us", "half").apf, Amount(0.05, "mg/m3")).value == pytest.approx(0.5)


def test_passed_half_masks_gave_less_at_work_than_their_fit_factors() -> None:
    """Industrial Health 2015 (49 wearers, abstract read): those who reached fit factor 100 had simulated workplace
    factors with a geometric mean of 68.8. So a fit factor is no workplace factor, and the explanation says so."""
    said = explain(100, 10, 100)
    assert "not measured here" in said.workplace and "not worked out here" in said.refused
