"""Is the outcome already certain? By hand."""

from __future__ import annotations

import math

import pytest

from sealwright.assess.counting import outlook
from sealwright.errors import BadInput


def test_a_fail_is_certain_as_soon_as_the_leaks_exceed_what_all_exercises_may_leak() -> None:
    """Seven exercises at level 100 may leak 7/100; a factor of 14 leaks 1/14 = 0.0714."""
    assert outlook([14.3], 6, pass_level=100, pass_rule="overall").certain == ""
    got = outlook([14.2], 6, pass_level=100, pass_rule="overall")
    assert got.certain == "fail" and got.needed is None
    assert got.text == ("Fails for certain: even if nothing leaked in the 6 exercises to come, the overall factor "
                        "would stay below 100.")


def test_what_the_rest_must_reach_makes_the_overall_factor_just_so() -> None:
    got = outlook([50.0, 200.0], 5, pass_level=100, pass_rule="overall")
    assert got.needed == pytest.approx(5 / (7 / 100 - 1 / 50 - 1 / 200))
    assert got.text.startswith("Open: the 5 exercises to come must average 112 or more (harmonic mean)")
    then = outlook([50.0, 200.0, *[got.needed * (1 + 1e-9)] * 5], 0, pass_level=100, pass_rule="overall")
    assert then.certain == "pass"
    then = outlook([50.0, 200.0, *[got.needed * (1 - 1e-9)] * 5], 0, pass_level=100, pass_rule="overall")
    assert then.certain == "fail" and then.text == "Fails: the overall factor stayed below 100."


def test_exactly_the_level_all_along_passes() -> None:
    assert outlook([100.0] * 7, 0, pass_level=100, pass_rule="overall").certain == "pass"
    assert outlook([100.0] * 6, 1, pass_level=100, pass_rule="overall").needed == pytest.approx(100)


def test_a_pass_is_open_while_any_exercise_is_to_come() -> None:
    """One exercise with the facepiece off (factor 1) would undo any six; only a level of 7 or less could not be."""
    assert outlook([math.inf] * 6, 1, pass_level=100, pass_rule="overall").certain == ""
    assert outlook([math.inf] * 6, 1, pass_level=7, pass_rule="overall").certain == "pass"


def test_one_exercise_below_decides_where_each_must_pass() -> None:
    got = outlook([500.0, 99.0, 300.0], 4, pass_level=100, pass_rule="each")
    assert (got.certain, got.text) == ("fail", "Fails for certain: 1 exercise below 100, and each must reach it.")
    got = outlook([500.0, 100.0], 1, pass_level=100, pass_rule="each")
    assert (got.certain, got.needed) == ("", 100.0) and got.text == "Open: the 1 exercise to come must reach 100."
    assert outlook([500.0, 100.0], 0, pass_level=100, pass_rule="each").certain == "pass"


@pytest.mark.parametrize("factors, remaining", [([0.0], 1), ([-5.0], 1), ([math.nan], 1), ([5.0], -1)])
def test_impossible_factors_are_refused(factors: list[float], remaining: int) -> None:
    with pytest.raises(BadInput):
        outlook(factors, remaining, pass_level=100, pass_rule="overall")
