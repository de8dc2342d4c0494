"""Controlled negative pressure against 29 CFR 1910.134 Appendix A Part I.C.6 and I.C.7.

The figures stand here as numbers. "copy": read in the agency's own announcement of 69 FR 46986 or in a faithful copy;
"memory": verify before relying on it.
"""

from __future__ import annotations

import pytest

from sealwright.protocols import PressureProtocol, get

BOTH = ("us-pressure", "us-pressure-redon")


def pressure(protocol: str) -> PressureProtocol:
    found = get(protocol)
    assert isinstance(found, PressureProtocol)
    return found


@pytest.mark.parametrize("protocol", BOTH)
def test_pressure_flow_and_breath(protocol: str) -> None:
    """Part I.C.6(a)(2), memory: 15 mm of water, 53.8 l/min; (a)(5), memory, and I.C.7(b), copy: 10 s."""
    p = pressure(protocol)
    assert (p.pressure.value / 10, p.pressure.unit) == (15, "tenths of a mm of water")
    assert (p.inspiratory_flow.value / 1000, p.inspiratory_flow.unit) == (53.8, "ml/min")
    assert (p.breath_hold.value, p.breath_hold.unit) == (10, "s")


@pytest.mark.parametrize(("leak_ml_min", "kind", "level"), [(538, "half", 100), (107.6, "full", 500)])
def test_the_leak_that_just_passes(leak_ml_min: float, kind: str, level: int) -> None:
    """Arithmetic: a fit factor is the modelled flow over the leak: 53,800 / 538 = 100, 53,800 / 107.6 = 500; the levels
    are those of 29 CFR 1910.134(f)(7), copy."""
    p = pressure("us-pressure")
    found = p.level_for(kind)
    assert found is not None and found.value == level
    assert p.inspiratory_flow.value / leak_ml_min == pytest.approx(level)


def test_the_eight_exercises_of_the_first_protocol() -> None:
    """69 FR 46986, copy: eight exercises, one of them with a redonning. Part I.C.6(b), memory: a minute each, grimace
    15 s; the breath is held for 10 s after each but the grimace, at both ends of side to side and of up and down; the
    facepiece is taken off and donned again within a minute before the last. The 15 s of breathing before the second
    hold of a pair are ours."""
    p = pressure("us-pressure")
    assert [(e.id, e.seconds) for e in p.exercises] == [
        ("normal-1", 70), ("deep", 70), ("side-left", 70), ("side-right", 25), ("nod-up", 70), ("nod-down", 25),
        ("talk", 70), ("grimace", 15), ("bend", 70), ("redon", 60), ("normal-2", 70)]
    assert [e.id for e in p.exercises if not e.counts] == ["grimace", "redon"]
    assert len(p.samples) == 9
    assert (p.redonnings.value, p.redonnings.read) == (1, "copy")


def test_the_five_measurements_of_the_second_protocol() -> None:
    """Part I.C.7(b) (69 FR 46986), copy: facing forward 30 s, bending 30 s, head shaking about 3 s, then two
    redonnings; 10 s of held breath after each. The seconds of a redonning are ours: the minute of I.C.6(b)(8)."""
    p = pressure("us-pressure-redon")
    assert [(e.kind, e.seconds - 10) for e in p.exercises] == [
        ("normal", 30), ("bend", 30), ("shake", 3), ("redon", 60), ("redon", 60)]
    assert all(e.counts for e in p.exercises)
    assert [s.exercise for s in p.samples] == [e.id for e in p.exercises]
    assert (p.redonnings.value, p.redonnings.read) == (2, "copy")


@pytest.mark.parametrize("protocol", BOTH)
def test_the_breath_is_held_in_the_last_ten_seconds_of_its_exercise(protocol: str) -> None:
    """How the score's clock holds it: our reading of I.C.6(b), movement first and the measurement after it."""
    p, at = pressure(protocol), 0
    holds = {s.exercise: (s.air, s.at, s.at + s.lasts) for s in p.samples}
    for e in p.exercises:
        at += e.seconds
        assert holds.get(e.id) == (("hold", at - 10, at) if e.counts else None)


@pytest.mark.parametrize("protocol", BOTH)
def test_not_for_filtering_facepieces(protocol: str) -> None:
    """Part I.C.6(a)(4), memory: the filter gives way to an airtight manifold, which a filtering facepiece cannot."""
    assert pressure(protocol).suits.kinds == ("half", "full")
    assert pressure(protocol).pass_rule.value == "overall"
