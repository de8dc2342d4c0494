"""Rule sets against the documents they come from: pass levels, how a pass is told, what is accepted for what.

"copy": read in a faithful secondary copy; "memory": verify before relying on it.
"""

from __future__ import annotations

import pytest

from sealwright.assess.measuring import level_by
from sealwright.protocols import MeasuredProtocol, Protocol, published, rule_set, rule_sets

KINDS = ("filtering", "half", "full")
QUALITATIVE = {"taste", "vapour", "smoke"}
MEASURED = [p for p in published().values() if isinstance(p, MeasuredProtocol)]


@pytest.mark.parametrize(("rules", "levels", "told"), [
    ("us", (100, 100, 500), "overall"),    # 29 CFR 1910.134(f)(7), copy; Part I.C.2(b)(8)(iv), memory
    ("uk", (100, 100, 2000), "each"),      # HSE INDG479 (rev. 1, 2019), copy
    ("ca", (100, 100, 1000), "overall"),   # CSA Z94.4-18, memory
    ("anz", (100, 100, 500), "overall"),   # AS/NZS 1715:2009, second-hand: 500, or 1000 for the higher factor
])
def test_levels(rules: str, levels: tuple[int, ...], told: str) -> None:
    r = rule_set(rules)
    assert tuple(level.value for kind in KINDS if (level := r.level_for(kind))) == levels
    assert r.pass_rule.value == told


def test_there_are_four() -> None:
    assert set(rule_sets()) == {"us", "uk", "ca", "anz"}


@pytest.mark.parametrize("rules", ["us", "uk", "ca", "anz"])
def test_no_qualitative_method_passes_a_full_face_mask(rules: str) -> None:
    """US: (f)(6), copy: qualitative only where a fit factor of 100 is enough. UK: INDG479, memory. Others: memory."""
    assert not QUALITATIVE & {m.method for m in rule_set(rules).methods_for("full")}


@pytest.mark.parametrize("rules", ["us", "uk", "ca", "anz"])
def test_no_held_pressure_for_a_filtering_facepiece(rules: str) -> None:
    """Its filter cannot give way to an airtight adapter (Part I.C.6(a)(4), memory)."""
    assert "pressure" not in {m.method for m in rule_set(rules).methods_for("filtering")}
    assert "pressure" in {m.method for m in rule_set(rules).methods_for("full")}


def test_the_three_uk_methods() -> None:
    """Three kinds of method come with INDG479 (second-hand): taste, particle counting, controlled negative pressure."""
    r = rule_set("uk")
    assert {m.method for m in r.methods if m.accepted} == {"taste", "counting", "pressure"}
    assert {m.method for m in r.methods if not m.accepted} == {"vapour", "smoke"}


def test_how_often() -> None:
    """US: (f)(2), (3), copy: yearly, changes of the face. AS/NZS 1715:2009, second-hand: at least yearly."""
    assert "every year" in rule_set("us").interval.rule and "change of the face" in rule_set("us").interval.rule
    assert "at least yearly" in rule_set("anz").interval.rule


@pytest.mark.parametrize("protocol", published().values(), ids=lambda p: p.id)
def test_every_protocol_is_accepted_by_its_own_rules_for_the_kinds_it_suits(protocol: Protocol) -> None:
    for kind in protocol.suits.kinds:
        assert protocol.method in {m.method for m in rule_set(protocol.rule_set).methods_for(kind)}


@pytest.mark.parametrize("protocol", MEASURED, ids=lambda p: p.id)
def test_levels_of_protocol_and_rule_set_agree(protocol: MeasuredProtocol) -> None:
    r = rule_set(protocol.rule_set)
    for level in protocol.pass_levels:
        own = r.level_for(level.kind)
        assert own is not None and own.value == level.value
    assert protocol.pass_rule.value == r.pass_rule.value


def test_one_measurement_two_answers() -> None:
    """A full face mask at 800 passes the US level (500, copy) and fails the UK (2000, copy) and Canadian one (1000)."""
    p = published()["us-counting"]
    assert isinstance(p, MeasuredProtocol)
    found = {rules: level_by(p, "full", rules) for rules in ("us", "uk", "ca", "anz")}
    assert {rules: level and level[0] <= 800 for rules, level in found.items()} == {
        "us": True, "uk": False, "ca": False, "anz": True}
