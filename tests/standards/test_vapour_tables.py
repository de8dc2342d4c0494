"""The odorous vapour method against 29 CFR 1910.134 Appendix A Part I.B.2.

The figures stand here as numbers, written down again from the paragraph named beside each, and not as imports from the
protocol file. "copy": read in a faithful secondary copy of the text; "memory": verify before relying on it.
"""

from __future__ import annotations

from sealwright.protocols import VapourProtocol, compile_score, get


def vapour() -> VapourProtocol:
    found = get("us-vapour")
    assert isinstance(found, VapourProtocol)
    return found


def test_stock_solution() -> None:
    """(a)(2), (3), memory: 1 ml of the pure liquid in 800 ml of odour-free water, made afresh at least weekly."""
    p = vapour()
    assert [(i.amount, i.unit) for i in p.stock_solution.ingredients] == [(1, "ml")]
    assert p.stock_solution.base_ml == 800
    assert (p.stock_life.value, p.stock_life.unit) == (7, "day")


def test_odour_solution() -> None:
    """(a)(5), memory: 0.4 ml of the stock in 500 ml of odour-free water, used on one day only."""
    p = vapour()
    assert [(i.amount, i.unit) for i in p.odour_solution.ingredients] == [(0.4, "ml")]
    assert p.odour_solution.base_ml == 500
    assert (p.odour_life.value, p.odour_life.unit) == (1, "day")


def test_the_screening_is_a_million_times_weaker_than_the_liquid() -> None:
    """Arithmetic on (a)(3) and (5): 1/801 of 0.4/500.4 is one part in a million by volume."""
    p = vapour()
    stock = p.stock_solution.ingredients[0].amount / (p.stock_solution.base_ml + 1)
    odour = stock * p.odour_solution.ingredients[0].amount / (p.odour_solution.base_ml + 0.4)
    assert abs(odour * 1e6 - 1) < 0.01


def test_chamber_and_challenge() -> None:
    """(b)(1), (5), (6), (8), memory: 55-gallon liner, frame 2 ft wide, 6 in above the head; 0.75 ml; 2 min; 5 min."""
    p = vapour()
    assert all(figure in p.chamber.rule for figure in ("55-gallon", "2 ft", "6 in"))
    assert (p.challenge.value, p.challenge.unit) == (750, "µl")
    assert (p.settle.value, p.settle.unit) == (2, "min")
    assert (p.repeat_wait.value, p.repeat_wait.unit) == (5, "min")


def test_gallons_feet_and_inches_in_litres_and_centimetres() -> None:
    """The US liquid gallon is 3.785411784 l, the foot 30.48 cm, the inch 2.54 cm, by definition."""
    rule = vapour().chamber.rule
    assert f"({55 * 3.785411784:.0f} litre)" in rule
    assert f"({2 * 30.48:.0f} cm)" in rule and f"({6 * 2.54:.0f} cm)" in rule


def test_particle_filters_are_no_use() -> None:
    """Note at the head of I.B.2 and (b)(2), memory: organic vapour cartridges, so no filtering facepieces."""
    p = vapour()
    assert p.suits.kinds == ("half",)
    assert "organic vapours" in p.cartridges.rule


def test_seven_exercises_of_a_minute_without_grimace() -> None:
    """Part I.A.14(a) and (b), copy: seven of 60 s; grimace belongs to quantitative tests only (memory)."""
    p = vapour()
    assert [(e.kind, e.seconds) for e in p.exercises] == [
        ("normal", 60), ("deep", 60), ("side", 60), ("nod", 60), ("talk", 60), ("bend", 60), ("normal", 60)]
    assert [a.kind for a in compile_score(p).acts if a.kind != "exercise"] == ["seal-break"]


def test_a_smell_fails_and_everything_begins_again() -> None:
    """(b)(7), copy, and (b)(8), copy: detected at any time is a fail; screening again, another facepiece."""
    p = vapour()
    assert (p.rules["tasted-fails"].source[-6:], p.rules["tasted-fails"].read) == ("(b)(7)", "copy")
    assert "another facepiece" in p.rules["other-facepiece-after-fail"].rule
    assert "screening is repeated" in p.rules["other-facepiece-after-fail"].rule
