"""Particle counting and generated aerosol against the published tables.

29 CFR 1910.134 Appendix A is meant where only a paragraph is named. The figures stand here as numbers, and not as
imports from the protocol files. "copy": read in a faithful secondary copy; "memory": verify before relying on it.
"""

from __future__ import annotations

import pytest

from sealwright.protocols import CountingProtocol, compile_score, get

FULL_SET = [("normal", 60), ("deep", 60), ("side", 60), ("nod", 60), ("talk", 60), ("grimace", 15), ("bend", 60),
            ("normal", 60)]


def counting(protocol: str) -> CountingProtocol:
    found = get(protocol)
    assert isinstance(found, CountingProtocol)
    return found


@pytest.mark.parametrize("protocol", ["us-counting", "us-aerosol"])
def test_eight_exercises_grimace_among_them(protocol: str) -> None:
    """Part I.A.14(a)(1) to (8) and (b), copy: each a minute, grimace 15 s; and grimace does not count."""
    p = counting(protocol)
    assert [(e.kind, e.seconds) for e in p.exercises] == FULL_SET
    assert [e.kind for e in p.exercises if not e.counts] == ["grimace"]
    assert p.exercise_seconds == 7 * 60 + 15


@pytest.mark.parametrize(("protocol", "second", "filtering"), [
    ("us-counting-short", "jog", False), ("us-counting-short-filtering", "talk", True)])
def test_the_four_short_exercises(protocol: str, second: str, filtering: bool) -> None:
    """Part I.C.4(b) and I.C.5(b), memory: 50, 30, 30 and 39 s. A published table (PMC8840807) gives the whole as
    2.5 minutes, with room air sampled at the beginning and the end only: 149 s."""
    p = counting(protocol)
    assert [(e.kind, e.seconds) for e in p.exercises] == [("bend", 50), (second, 30), ("side", 30), ("nod", 39)]
    assert p.exercise_seconds == 149
    assert p.suits.kinds == (("filtering",) if filtering else ("half", "full"))
    assert [e.how != "" for e in p.exercises] == [True, False, True, True]  # two breaths at each end, memory


@pytest.mark.parametrize("protocol", ["us-counting-short", "us-counting-short-filtering"])
def test_what_is_sampled_when_in_the_short_ones(protocol: str) -> None:
    """Tables of Part I.C.4(b) and I.C.5(b), memory: 20 s of room air then 30 s of mask air in the first; 30 s of mask
    air in each of the next two; 30 s of mask air then 9 s of room air in the last."""
    p = counting(protocol)
    second = p.exercises[1].id
    assert [(s.air, s.at, s.lasts, s.exercise) for s in p.samples] == [
        ("ambient", 0, 20, ""), ("mask", 20, 30, "bend"), ("mask", 50, 30, second), ("mask", 80, 30, "side"),
        ("mask", 110, 30, "nod"), ("ambient", 140, 9, "")]
    drawn = compile_score(p).of("sample")
    assert drawn[0].at == 0 and drawn[-1].at + drawn[-1].lasts == 149


@pytest.mark.parametrize(("protocol", "levels"), [
    ("us-counting", {"filtering": 100, "half": 100, "full": 500}),
    ("us-counting-short", {"half": 100, "full": 500}),
    ("us-counting-short-filtering", {"filtering": 100}),
    ("us-aerosol", {"half": 100, "full": 500}),
    ("uk-counting", {"filtering": 100, "half": 100, "full": 2000}),
])
def test_pass_levels(protocol: str, levels: dict[str, int]) -> None:
    """29 CFR 1910.134(f)(7), copy: 100 for tight-fitting half facepieces, 500 for full ones. UK: INDG479, copy: 100 for
    half masks and filtering facepieces, 2000 for full face masks."""
    p = counting(protocol)
    assert {level.kind: level.value for level in p.pass_levels} == levels
    assert {level.read for level in p.pass_levels} == {"copy"}


def test_how_a_pass_is_told() -> None:
    """US, Part I.C.2(b)(8)(iv), memory: the overall factor. UK, INDG479, copy: each of the exercises."""
    assert counting("us-counting").pass_rule.value == "overall"
    assert counting("uk-counting").pass_rule.value == "each"


def test_uk_exercises_and_feet() -> None:
    """INDG479, copy: seven of at least a minute, done while cycling, walking or stepping."""
    p = counting("uk-counting")
    assert [(e.kind, e.seconds) for e in p.exercises] == [x for x in FULL_SET if x[0] != "grimace"]
    assert all(e.counts for e in p.exercises)
    assert p.underfoot is not None
    assert all(word in p.underfoot.rule.lower() for word in ("stepping", "walking", "cycling"))


def test_peaks_and_challenge_of_a_generated_aerosol() -> None:
    """Part I.C.2(b)(4) and (7), copy: 5 % for a half mask, 1 % for a full one. (a)(1), (12), copy: the four agents,
    50 % humidity with salt. (a)(8), memory: steady to within 10 %."""
    p = counting("us-aerosol")
    assert {peak.kind: peak.per_mille for peak in p.peaks} == {"half": 50, "full": 10}
    assert p.challenge is not None
    said = p.challenge.rule.lower()
    assert all(agent in said for agent in ("corn oil", "polyethylene glycol 400", "sebacate", "sodium chloride"))
    assert "within 10 %" in said and "at most 50 %" in said


@pytest.mark.parametrize("protocol", ["us-counting", "us-aerosol", "uk-counting"])
def test_our_pattern_of_sampling_leaves_enough_and_says_whose_it_is(protocol: str) -> None:
    """No paragraph sets seconds for the long sets: ours. Room air before the first exercise and after each long one, as
    Part I.C.2(b)(8)(ii) allows a mean of before and after each exercise (memory)."""
    p = counting(protocol)
    assert {s.source for s in p.samples} == {"ours, settable"}
    assert p.samples[0].air == "ambient" and p.samples[0].at == -p.samples[0].lasts
    for e in p.exercises:
        mask = sum(s.lasts for s in p.samples if s.exercise == e.id)
        assert mask - p.purge.value >= (40 if e.seconds == 60 else 10)
    assert [s.air for s in p.samples if s.exercise != "grimace"] == ["ambient"] + ["mask", "ambient"] * 7


def test_the_withdrawn_short_protocols_are_not_offered() -> None:
    """74 FR 3526 (2009): 30 s and 40 s exercises, proposed and withdrawn in 2010."""
    for p in (counting("us-counting"), counting("us-aerosol"), counting("uk-counting")):
        assert not {30, 40} & {e.seconds for e in p.exercises}
