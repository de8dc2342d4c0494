"""The taste methods against the published figures.

Figures stand here as numbers, with the paragraph they come from, and not as imports from the protocol files. 29 CFR
1910.134 Appendix A is meant where only a paragraph is named. "copy": read in a faithful secondary copy of the text;
"memory": from memory, verify before relying on it.
"""

from __future__ import annotations

from typing import Any

import pytest
from tests.assess.staging import codes, judged, played

from sealwright.demo.tweaks import ate, change, worn_for
from sealwright.protocols import compile_score, get, published
from sealwright.protocols.types import COMMON_PRACTICE, OURS

US = ("us-bitter", "us-sweet")
ALL = ("us-bitter", "us-sweet", "uk-bitter", "uk-sweet")


@pytest.mark.parametrize("protocol", ALL)
@pytest.mark.parametrize(("level", "first", "total"), [(10, 10, 75), (20, 20, 150), (30, 30, 225)])
def test_squeezes_over_the_seven_minutes(protocol: str, level: int, first: int, total: int) -> None:
    """Part I.B.3(b)(7), (9) and I.B.4(b)(7), (9), copy: 10, 20 or 30 squeezes at first, half as many each 30 s.

    Thirteen top-ups at 30 ... 390 s of seven minutes: 10 + 13 x 5 = 75, 20 + 13 x 10 = 150, 30 + 13 x 15 = 225.
    """
    score = compile_score(get(protocol), level)
    doses = score.of("dose")
    assert [a.at for a in doses[1:]] == [30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330, 360, 390]
    assert doses[0].squeezes == first and doses[0].at < 0
    assert {a.squeezes for a in doses[1:]} == {first // 2}
    assert score.squeezes == total
    assert judged(protocol=protocol, taste_at_squeeze=level).squeezes == total


@pytest.mark.parametrize(("squeeze", "level"), [(1, 10), (10, 10), (11, 20), (20, 20), (21, 30), (30, 30)])
@pytest.mark.parametrize("protocol", US)
def test_tasted_within_ten_twenty_thirty_squeezes(protocol: str, squeeze: int, level: int) -> None:
    """Part I.B.3(a)(7) to (9) and I.B.4(a)(7) to (9), copy: rounds of ten; the level is that of the round."""
    verdict = judged(protocol=protocol, taste_at_squeeze=squeeze)
    assert (verdict.level, verdict.screening_squeezes, verdict.result) == (level, squeeze, "pass")


@pytest.mark.parametrize("protocol", US)
def test_not_tasted_at_thirty_squeezes(protocol: str) -> None:
    """Part I.B.3(a)(11) and I.B.4(a)(11), copy: such a wearer may not do the test with this agent."""
    verdict = judged(protocol=protocol, taste_at_squeeze=None)
    assert (verdict.result, verdict.screening_squeezes) == ("unsuited", 30)
    assert played(protocol=protocol, taste_at_squeeze=31)[-1]["kind"] == "closed"
    assert judged(protocol=protocol, taste_at_squeeze=31).result == "unsuited"


@pytest.mark.parametrize(("protocol", "order"), [
    ("us-bitter", ["normal", "deep", "side", "nod", "talk", "bend", "normal"]),
    ("us-sweet", ["normal", "deep", "side", "nod", "talk", "bend", "normal"]),
    ("uk-bitter", ["normal", "deep", "side", "nod", "talk", "bend", "normal"]),
    ("uk-sweet", ["normal", "deep", "side", "nod", "talk", "bend", "normal"]),
])
def test_exercises_their_order_and_sixty_seconds(protocol: str, order: list[str]) -> None:
    """US: Part I.A.14(a) and (b), memory; the grimace is left out of qualitative tests. UK: INDG479 rev. 1, copy."""
    exercises = get(protocol).exercises
    assert [e.kind for e in exercises] == order
    assert {e.seconds for e in exercises} == {60}
    assert compile_score(get(protocol), 10).lasts == 7 * 60


def _strength(protocol: str, which: str) -> float:
    """mg of agent in a ml of base."""
    recipe = getattr(get(protocol), f"{which}_solution")
    (agent,) = recipe.ingredients
    return float(agent.amount * {"g": 1000, "mg": 1}[agent.unit] / recipe.base_ml)


@pytest.mark.parametrize("protocol", ["us-bitter", "uk-bitter"])
def test_bitter_solutions(protocol: str) -> None:
    """Part I.B.4(a)(5), copy: 13.5 mg in 100 ml of 5 % salt water; I.B.4(b)(5), copy: 337.5 mg in 200 ml."""
    assert _strength(protocol, "screening") == pytest.approx(13.5 / 100)
    assert _strength(protocol, "test") == pytest.approx(337.5 / 200)
    assert _strength(protocol, "test") / _strength(protocol, "screening") == pytest.approx(12.5)


@pytest.mark.parametrize("protocol", ["us-sweet", "uk-sweet"])
def test_sweet_solutions(protocol: str) -> None:
    """Part I.B.3(a)(5), copy: 0.83 g in 100 ml; I.B.3(b)(5), copy: 83 g in 100 ml."""
    assert _strength(protocol, "screening") == pytest.approx(830 / 100)
    assert _strength(protocol, "test") == pytest.approx(83_000 / 100)
    assert _strength(protocol, "test") / _strength(protocol, "screening") == pytest.approx(100)


@pytest.mark.parametrize("protocol", US)
@pytest.mark.parametrize(("minutes", "found"), [(15, False), (14.9, True)])
def test_nothing_but_water_for_fifteen_minutes(protocol: str, minutes: float, found: bool) -> None:
    """Part I.B.3(b)(1) and I.B.4(b)(1), copy."""
    assert ("abstention-short" in codes(judged(ate(minutes), protocol=protocol))) is found


@pytest.mark.parametrize("protocol", ["uk-bitter", "uk-sweet"])
@pytest.mark.parametrize(("minutes", "found"), [(45, False), (44.9, True)])
def test_nothing_but_water_for_forty_five_minutes(protocol: str, minutes: float, found: bool) -> None:
    """Common practice, no source."""
    assert ("abstention-short" in codes(judged(ate(minutes), protocol=protocol))) is found


@pytest.mark.parametrize("protocol", US)
@pytest.mark.parametrize(("minutes", "found"), [(240, False), (241, True)])
def test_nebuliser_filled_afresh_at_least_every_four_hours(protocol: str, minutes: int, found: bool) -> None:
    """Part I.B.3(a)(14) and I.B.4(a)(14), copy. Counted at the end of use, the worst moment."""
    end = next(e["at"] for e in played(protocol=protocol) if e["kind"] == "exercises-ended")
    filled = change("nebuliser-loaded", {"which": "test"}, loaded_at=end - minutes * 60_000)
    assert ("nebuliser-old" in codes(judged(filled, protocol=protocol))) is found


@pytest.mark.parametrize("protocol", US)
def test_tasted_at_any_time_fails_and_everything_is_repeated(protocol: str) -> None:
    """Part I.B.3(b)(11) and I.B.4(b)(11), copy: failed; another facepiece, everything again, screening included."""
    verdict = judged(protocol=protocol, taste_in_run_s=200)
    assert verdict.result == "fail"
    assert "other-facepiece" in [n.step for n in verdict.next]


@pytest.mark.parametrize("protocol", US)
def test_a_nebuliser_found_clogged_makes_the_test_invalid(protocol: str) -> None:
    """Part I.B.3(b)(12) and I.B.4(b)(12), copy."""
    assert judged(change("mist-checked", seen=False), protocol=protocol).result == "void"


@pytest.mark.parametrize("protocol", ALL)
def test_worn_five_minutes_before_the_test(protocol: str) -> None:
    """US: Part I.A.12, memory. UK: common practice, no source."""
    assert "wear-short" not in codes(judged(worn_for(300), protocol=protocol))
    assert codes(judged(worn_for(299), protocol=protocol)) == {"wear-short": "major"}


@pytest.mark.parametrize("protocol", ALL)
def test_a_full_face_mask_cannot_be_passed(protocol: str) -> None:
    """US: 29 CFR 1910.134(f)(6), memory: qualitative only where a fit factor of 100 is enough; (f)(7), memory: 500 for
    full face masks. UK: INDG479 rev. 1, memory."""
    assert get(protocol).required_factor.value == 100
    assert judged(protocol=protocol, kind="full").result == "void"


def _sources(value: Any, path: str = "") -> list[tuple[str, str, str]]:
    """(path, source, read) of everything in a protocol that bears a source."""
    found = []
    if hasattr(value, "source") and hasattr(value, "read"):
        found.append((path, value.source, value.read))
    inner: list[tuple[str, Any]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, tuple):
        inner = [(str(i), v) for i, v in enumerate(value)]
    elif hasattr(value, "__struct_fields__"):
        inner = [(n, getattr(value, n)) for n in value.__struct_fields__]
    for name, v in inner:
        found += _sources(v, f"{path}.{name}")
    return found


@pytest.mark.parametrize("protocol", published().values(), ids=lambda p: p.id)
def test_every_value_says_where_it_comes_from_and_how_it_was_read(protocol: Any) -> None:
    sources = _sources(protocol)
    assert len(sources) > 38
    for path, source, read in sources:
        assert source, path
        assert (read == "none") == (source in (COMMON_PRACTICE, OURS)), path
