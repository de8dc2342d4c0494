"""Every departure of vapour, smoke and the quantitative methods: found in a test with it, not in one without.

Limits are those of the protocol file, or ours where it has none: here they are checked from both sides. What the doubts
about samples rest on is checked in tests/assess/counting.
"""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from tests.assess.staging import case, codes, events_of, found_as_told, judged, played

from sealwright.assess import judge
from sealwright.assess.checks_measured import data_sound
from sealwright.assess.events import Opened
from sealwright.assess.facts import MeasuredFacts
from sealwright.assess.measured import Doubt, Factor, Measured
from sealwright.assess.method import method_of
from sealwright.demo import tweaks as bend
from sealwright.protocols import MeasuredProtocol, get

VAPOUR, SMOKE = {"protocol": "us-vapour"}, {"protocol": "us-smoke"}
COUNTING, PRESSURE = {"protocol": "us-counting"}, {"protocol": "us-pressure"}
TYPED = {"protocol": "us-counting", "way": "counts"}
AEROSOL = {"protocol": "us-aerosol", "way": "concentrations"}
SPANS = [("mask" if s.air == "mask" else "ambient", s.exercise, float(s.at), float(s.at + s.lasts))
         for s in get("us-counting").samples]  # type: ignore[attr-defined]
WIDE = [(air, e, a + (5 if air == "mask" else 0), b) for air, e, a, b in SPANS]


def _lasting(spans: list[tuple[str, str, float, float]], seconds: float) -> list[tuple[str, str, float, float]]:
    """Windows of mask air of so many seconds, up to the same end."""
    return [(air, e, max(a + 5, b - seconds) if air == "mask" else a, b) for air, e, a, b in spans]


def _turned(spans: list[tuple[str, str, float, float]]) -> list[tuple[str, str, float, float]]:
    """Two exercises' windows in each other's place."""
    names = {"side": "nod", "nod": "side"}
    return [(air, names.get(e, e), a, b) for air, e, a, b in spans]


CASES = [
    # vapour and smoke
    case("solution-unrecorded", "major", "pass", bend.without("solution-made", which="stock"), **VAPOUR),
    case("stock-old", "major", "pass", bend.made_ago("stock", 7.01), **VAPOUR),
    case("odour-old", "major", "pass", bend.made_ago("odour", 1.01), **VAPOUR),
    case("agent-unscreened", "void", "void", bend.without("agent-screened"), **VAPOUR),
    case("agent-unscreened", "void", "void", bend.without("agent-screened"), **SMOKE),
    case("agent-unnoticed", "void", "unsuited", bend.change("agent-screened", noticed=False), **SMOKE),
    case("exposure-missing", "void", "void", bend.until(-200), bend.append("closed"), only=False, **VAPOUR),
    case("exposure-unmarked", "major", "pass", bend.without("exposure-begun"), **VAPOUR),
    case("settle-short", "major", "pass", bend.shift("exposure-begun", 5), **VAPOUR),
    case("settle-short", "void", "void", bend.shift("exposure-begun", 65), **VAPOUR),
    case("repeat-soon", "major", "pass", bend.noticed_before(4.9), **VAPOUR),
    case("repeat-soon", "void", "void", bend.noticed_before(2.4), **VAPOUR),
    case("notice-before", "major", "pass", bend.insert("noticed", -200), **VAPOUR),
    case("taste-taken-back", "major", "pass", bend.insert("noticed", 100), bend.taken_back("noticed", 4, -1), **SMOKE),
    case("seal-break-not-tasted", "void", "void", seal_break=False, **SMOKE),
    case("full-face", "void", "void", kind="full", **SMOKE),
    case("kind-unsuited", "void", "void", kind="filtering", **VAPOUR),
    case("method-refused", "void", "void", rule_set="uk", **SMOKE),
    case("stopped-after", "minor", "pass", lambda e: _stopped_after(e), **COUNTING),
    # the measurement
    case("kind-not-here", "void", "void", kind="filtering", **PRESSURE),
    case("pass-level-low", "major", "pass", pass_level=99, **PRESSURE),
    case("pass-level-own", "note", "pass", pass_level=100, **PRESSURE),
    case("pass-level-own", "note", "fail", pass_level=5000, **PRESSURE),
    case("other-rule-set", "note", "pass", rule_set="uk", **COUNTING),
    case("instrument-unnamed", "major", "pass", bend.without("instrument-named"), **COUNTING),
    case("instrument-undated", "minor", "pass", bend.change("instrument-named", due_at=None), **PRESSURE),
    case("instrument-out-of-date", "major", "pass", bend.calibrated_until(-0.01), **PRESSURE),
    case("smoked-recently", "major", "pass", bend.smoked(29.9), **COUNTING),
    case("reading-missing", "void", "void", bend.unread("side-left"), **PRESSURE),
    case("reading-missing", "void", "void", bend.unread("nod"), only=False, **TYPED),
    case("reading-missing", "void", "void", bend.without("samples-taken", air="ambient"), **COUNTING),
    case("reading-again", "note", "pass", bend.insert("leak-read", 140, exercise="deep", leak_ul_min=120_000),
         **PRESSURE),
    case("reading-short", "void", "void", bend.change("exercise-read", {"exercise": "nod"}, ambient_milli=None),
         only=False, **AEROSOL),
    case("reading-short", "void", "void", bend.change("exercise-read", {"exercise": "nod"}, mask_milli=0),
         only=False, **AEROSOL),
    case("reading-beside-samples", "note", "pass",
         bend.insert("exercise-read", 430, exercise="deep", factor_milli=50_000), **COUNTING),
    case("no-uncertainty", "note", "pass", **AEROSOL),
    case("no-uncertainty", "note", "pass", protocol="us-counting", way="factors"),
    case("spread-unseen", "note", "pass", **TYPED),
    case("samples-mixed", "void", "void", lambda e: _otherwise(e, unit="milli-per-cm3"), only=False, **COUNTING),
    case("samples-mixed", "void", "void", lambda e: _otherwise(e, step_ms=500), only=False, **COUNTING),
    case("windows-proposed", "note", "pass", bend.accepted(SPANS, proposed=True), **COUNTING),
    case("run-again", "void", "void", bend.insert("run-started", 100), **COUNTING),
    case("peak-high", "void", "void", lambda e: _peak(e, 50.1), only=False, kind="half", **AEROSOL),
    case("peak-high", "void", "void", lambda e: _peak(e, 10.1), only=False, kind="full", **AEROSOL),
    case("peak-high", "void", "void", bend.sampled(lambda v: [*v[:20], 4000, *v[21:]], "mask", 2), only=False,
         protocol="us-aerosol"),
    case("breath-not-held", "void", "void", bend.change("leak-read", {"exercise": "deep"}, steady=False), **PRESSURE),
    case("pressure-off", "major", "pass", bend.change("leak-read", {"exercise": "deep"}, pressure=134), **PRESSURE),
    case("pressure-off", "major", "pass", bend.change("leak-read", {"exercise": "deep"}, pressure=166), **PRESSURE),
    case("redonning-missing", "major", "pass", bend.donned_once(), **PRESSURE),
    case("donned-in-run", "void", "void", bend.insert("donned", 100, checks={"chin": True}), **PRESSURE),
    case("donned-in-run", "void", "void", bend.insert("donned", 100, checks={"chin": True}), **COUNTING),
    case("touched", "void", "void", bend.touched(100), **COUNTING),
    # the samples
    case("data-ambient-low", "major", "pass", ambient=900, **COUNTING),
    case("data-ambient-drift", "minor", "pass", bend.sampled(lambda v: [round(1.5 * x) for x in v], "ambient", 3),
         **COUNTING),
    case("data-spike", "minor", "pass", bend.sampled(lambda v: [*v[:20], 900, *v[21:]], "mask", 2), **COUNTING),
    case("data-gap", "major", "pass", lambda e: _gap(e), **COUNTING),
    case("data-clipped", "major", "pass", bend.sampled(lambda v: [min(x, 5000) for x in v], "ambient", -1), **COUNTING),
    case("data-window-short", "major", "pass", bend.sampled(lambda v: v[:30], "mask", 2), only=False, **COUNTING),
    case("data-clock-step", "major", "pass", lambda e: _clock_back(e, 0.7), **COUNTING),
    case("samples-overlap", "void", "void", lambda e: _clock_back(e, 1.1), only=False, **COUNTING),
    case("data-window-short", "void", "void", bend.sampled(lambda v: v[-19:], "mask", 2), only=False, **COUNTING),
    case("data-window-short", "major", "pass", bend.accepted(_lasting(SPANS, 30.9), proposed=False), **COUNTING),
    case("data-window-short", "void", "void", bend.accepted(_lasting(SPANS, 19), proposed=False), **COUNTING),
    case("windows-overlap", "void", "void", bend.accepted([*WIDE, ("mask", "deep", 180.0, 195.0)], proposed=False),
         only=False, **COUNTING),
    case("windows-elsewhere", "major", "pass", bend.accepted(_turned(WIDE), proposed=False), **COUNTING),
    case("exercise-extra", "note", "pass", bend.accepted([*WIDE, ("mask", "hop", 600.0, 640.0)], proposed=False),
         **COUNTING),
    case("pressure-off", "void", "void", bend.change("leak-read", {"exercise": "deep"}, pressure=74), **PRESSURE),
    case("data-wearer-particles", "minor", "pass", lambda e: _smoker(e), **COUNTING),
    case("data-channels-swapped", "void", "void", lambda e: _swapped(e), only=False, **COUNTING),
]
ELSEWHERE = {"pass-level-none", "data-other"}
"""Codes with a test of their own below."""


def _stopped_after(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Stopped when all readings were in."""
    at = next(i for i, e in enumerate(events) if e["kind"] == "readings-complete")
    stop = {**events[at], "id": "stop", "kind": "stopped", "data": {"reason": "tester"}}
    return [*events[:at + 1], stop, *events[at + 1:]]


def _otherwise(events: list[dict[str, Any]], **data: Any) -> list[dict[str, Any]]:
    """The last stretch of samples of another sort."""
    [e for e in events if e["kind"] == "samples-taken"][-1]["data"].update(data)
    return events


def _peak(events: list[dict[str, Any]], per_mille: float) -> list[dict[str, Any]]:
    """A peak in the mask of so many thousandths of the challenge."""
    read = next(e["data"] for e in events if e["kind"] == "exercise-read")
    read["peak_milli"] = round(read["ambient_milli"] * per_mille / 1000)
    return events


def _gap(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Three seconds without samples in the third stretch of mask air: two stretches instead of one."""
    e = [e for e in events if e["kind"] == "samples-taken" and e["data"]["air"] == "mask"][2]
    first, data = e["data"]["values"][:20], e["data"]
    later = {**e, "id": "later", "at": e["at"] + 1,
             "data": {**data, "started_at": data["started_at"] + 23_000, "values": data["values"][23:]}}
    e["data"] = {**data, "values": first}
    return sorted([*events, later], key=lambda x: x["at"])


def _clock_back(events: list[dict[str, Any]], seconds: float) -> list[dict[str, Any]]:
    """The second half of a stretch of mask air says it began before the first had ended."""
    e = [e for e in events if e["kind"] == "samples-taken" and e["data"]["air"] == "mask"][2]
    data = e["data"]
    later = {**e, "id": "later", "at": e["at"] + 1,
             "data": {**data, "started_at": data["started_at"] + 20_000 - round(1000 * seconds),
                      "values": data["values"][20:]}}
    e["data"] = {**data, "values": data["values"][:20]}
    return sorted([*events, later], key=lambda x: x["at"])


def _smoker(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Particles in the mask that die away through the first two exercises."""
    for n, level in ((0, 300), (1, 80)):
        events = bend.sampled(lambda v, level=level: [round(level * 0.5 ** (k / 14)) + x for k, x in enumerate(v)],
                              "mask", n)(events)
    return events


def _swapped(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    names = {"mask": "ambient", "ambient": "mask"}
    samples = [e for e in events if e["kind"] == "samples-taken"]
    values = {air: next(e["data"]["values"] for e in samples if e["data"]["air"] == air) for air in names}
    for e in samples:
        other = values[names[e["data"]["air"]]]
        e["data"]["values"] = [other[8]] * len(e["data"]["values"])
    return events


@pytest.mark.parametrize(("code", "severity", "result", "tweaks", "options", "only"), CASES)
def test_a_departure_is_found(code: str, severity: str, result: str, tweaks: Any, options: Any, only: bool) -> None:
    found_as_told(code, severity, result, tweaks, options, only)


@pytest.mark.parametrize(("tweaks", "options"), [
    ([bend.made_ago("stock", 6.9)], VAPOUR), ([bend.made_ago("odour", 0.9)], VAPOUR),
    ([bend.shift("exposure-begun", 3.9)], VAPOUR), ([bend.noticed_before(5)], VAPOUR),
    ([bend.calibrated_until(0)], PRESSURE), ([bend.smoked(30)], COUNTING),
    ([bend.change("leak-read", {"exercise": "deep"}, pressure=135)], PRESSURE),
    ([bend.change("leak-read", {"exercise": "deep"}, pressure=165)], PRESSURE),
    ([bend.short("redon", 9.5)], PRESSURE), ([bend.touched(436)], COUNTING),
    ([bend.insert("donned", 436, checks={})], COUNTING),
    ([bend.accepted(WIDE, proposed=False)], COUNTING), ([], {**COUNTING, "ambient": 1100}),
], ids=lambda value: value["protocol"] if isinstance(value, dict) else "within")
def test_within_the_limits_nothing_is_found(tweaks: Any, options: Any) -> None:
    assert judged(*tweaks, **options).findings == ()


@pytest.mark.parametrize(("kind", "per_mille"), [("half", 50), ("full", 10)])
def test_a_peak_at_its_limit_is_none(kind: str, per_mille: float) -> None:
    """29 CFR 1910.134 App. A Part I.C.2(b)(5), from memory: a peak exceeding 5 % (half) or 1 % (full) ends the test."""
    assert codes(judged(lambda e: _peak(e, per_mille), kind=kind, **AEROSOL)) == {"no-uncertainty": "note"}


def test_without_a_level_for_the_kind_nothing_can_be_passed() -> None:
    protocol = get("us-counting")
    assert isinstance(protocol, MeasuredProtocol)
    none = msgspec.structs.replace(protocol, pass_levels=tuple(x for x in protocol.pass_levels if x.kind != "half"))
    verdict = judge(events_of(played(**COUNTING)), none)
    assert (verdict.result, codes(verdict)) == ("void", {"pass-level-none": "void"})


def test_a_doubt_of_another_sort_is_told_in_its_own_words() -> None:
    protocol = get("us-counting")
    events = events_of(played(**COUNTING))
    f = MeasuredFacts(events, next(e.data for e in events if isinstance(e.data, Opened)), method_of(protocol))
    whole = Factor(exercise="overall", factor=200.0, low=150.0)
    data_sound(f, Measured(exercises=(), overall=whole, pass_level=100, pass_rule="overall", passed=True,
                           doubts=(Doubt(code="hum", text="A hum", start_s=2.0),)))
    assert [(x.code, x.text, x.at_s) for x in f.findings] == [("data-other", "A hum", 2)]


def test_a_calibration_date_is_judged_by_the_servers_clock() -> None:
    fast = bend.insert("clock-checked", -300, offset_ms=86_400_000)
    assert "instrument-out-of-date" not in codes(judged(fast, bend.calibrated_until(-0.5), **PRESSURE))
