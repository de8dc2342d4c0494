"""Irritant smoke against 29 CFR 1910.134 Appendix A Part I.B.5.

The figures stand here as numbers, written down again from the paragraph named beside each. "copy": read in a faithful
secondary copy of the text; "memory": verify before relying on it.
"""

from __future__ import annotations

from sealwright.protocols import SmokeProtocol, get, published, rule_set


def smoke() -> SmokeProtocol:
    found = get("us-smoke")
    assert isinstance(found, SmokeProtocol)
    return found


def test_flow() -> None:
    """(b)(1), memory: a pump of 200 ml a minute, or a squeeze bulb. (So says an earlier text, read in a copy.)"""
    assert (smoke().flow.value, smoke().flow.unit) == (200, "ml/min")


def test_passes() -> None:
    """(c)(3), memory: once round from at least 12 inches, two more passes to within 6 inches; (c)(5): at 6 inches."""
    first, second, third = smoke().passes
    assert "at least 12 in" in first.rule and f"{12 * 2.54:.0f} cm" in first.rule
    assert second.rule.startswith("Twice") and "within 6 in" in second.rule and f"{6 * 2.54:.0f} cm" in second.rule
    assert "at 6 in" in third.rule


def test_filter_hood_and_air() -> None:
    """(a)(1), (3), copy: highest class of particle filter, no enclosure or hood; (a)(5), memory: ventilated."""
    p = smoke()
    assert "class 100" in p.filters.rule and p.filters.read == "copy"
    assert "No hood" in p.no_hood.rule and p.no_hood.read == "copy"
    assert "ventilated" in p.rules["ventilated"].rule


def test_the_same_tube_must_irritate_afterwards() -> None:
    """(c)(7), memory (an earlier text, read in a copy, says the same): without a response the test is void."""
    assert "same tube" in smoke().seal_break.rule and "void" in smoke().seal_break.rule


def test_the_cautions_come_first_and_leave_nothing_out() -> None:
    """Danger to lungs and eyes: what the agent is. Eyes shut, filter, hood, air: (a)(1), (3) to (5), (b)(2)."""
    p = smoke()
    said = " ".join(c.rule for c in p.cautions)
    for word in ("lungs", "eyes", "Eyes shut", "highest class", "hood", "ventilation", "asthma", "another method"):
        assert word in said, word
    assert p.cautions[0].rule.startswith("The smoke is hydrochloric acid")


def test_only_the_us_has_it_and_the_uk_refuses_it() -> None:
    """INDG479 (rev. 1, 2019), memory: not among the methods that UK guidance accepts; and the summary says so."""
    assert [p.id for p in published().values() if p.method == "smoke"] == ["us-smoke"]
    assert "not accepted in UK guidance" in smoke().summary
    refused = {m.method: m.rule for m in rule_set("uk").methods if not m.accepted}
    assert "lungs" in refused["smoke"]
    for kind in ("filtering", "half", "full"):
        assert "smoke" not in {m.method for m in rule_set("uk").methods_for(kind)}
