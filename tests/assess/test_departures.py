"""Every departure: a test with it has the finding, the same test without it has none.

Limits that no standard gives are "ours, settable": here they are checked against the protocol file's own tolerances,
once inside and once outside. Rules with a paragraph are checked again in tests/standards.
"""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from tests.assess.staging import START, case, codes, events_of, found_as_told, judged, played
from tests.assess.test_departures_methods import CASES as METHODS
from tests.assess.test_departures_methods import ELSEWHERE as METHODS_ELSEWHERE

from sealwright.assess import DEPARTURES, judge
from sealwright.demo import tweaks as bend
from sealwright.protocols import get

MINUTE, DAY = 60_000, 86_400_000


CASES = [
    # the record
    case("protocol-version", "minor", "pass", bend.change("opened", protocol_version="0")),
    case("before-opened", "major", "pass", lambda e: [e[1], e[0], *e[2:]], only=False),
    case("opened-again", "minor", "pass", lambda e: [*e[:3], {**e[0], "id": "again", "at": e[2]["at"]}, *e[3:]]),
    case("opened-again", "void", "void", lambda e: [
        *e[:3], {**e[0], "id": "again", "at": e[2]["at"], "data": {**e[0]["data"], "wearer": "w-2"}}, *e[3:]]),
    case("after-closed", "major", "pass", bend.append("hood-removed")),
    case("times-backwards", "major", "pass", lambda e: _last_back(e, 2.1)),
    case("clock-offset", "minor", "pass", bend.insert("clock-checked", -900, offset_ms=61_000)),
    case("clock-stepped", "minor", "pass", bend.insert("clock-checked", -900, stepped_ms=-3_000)),
    case("clock-stepped", "major", "pass", bend.insert("clock-checked", 100, stepped_ms=3_000)),
    case("two-rooms", "note", "pass", bend.insert("taken-over", -900, room="room-2")),
    case("two-rooms", "minor", "pass", bend.insert("taken-over", 100, room="room-2")),
    case("room-away", "note", "pass", bend.room_away(-500, 60)),
    case("room-away", "note", "pass", bend.room_away(100, 4)),
    case("room-away", "minor", "pass", bend.room_away(100, 12)),
    case("unwitnessed", "minor", "pass", bend.room_away(115, 10), only=False),
    case("taken-back", "note", "pass", bend.insert("dosed", 100, act="dose-90", squeezes=5),
         bend.taken_back("dosed", 3, -1, act="dose-90")),
    case("taste-taken-back", "major", "pass", bend.insert("tasted", 100), bend.taken_back("tasted", 4, -1)),
    case("take-back-late", "minor", "fail", bend.insert("tasted", 100), bend.taken_back("tasted", 9, -1), only=False),
    case("take-back-refused", "minor", "pass", bend.insert("taken-back", 100, event="no-such-event")),
    case("take-back-refused", "minor", "pass", bend.taken_back("opened", 2)),
    case("second-tester", "note", "pass", lambda e: [{**x, "by": "u-2"} if x["kind"] == "dosed" else x for x in e]),
    # before the test
    case("full-face", "void", "void", kind="full"),
    case("tester-out-of-date", "major", "pass", bend.tester_expired()),
    case("tester-unproven", "minor", "pass", tester={"id": "u-1"}),
    case("tester-is-wearer", "void", "void", wearer="u-1"),
    case("kit-unchecked", "major", "pass", bend.without("kit-checked")),
    case("kit-item-unchecked", "minor", "pass", lambda e: _without_item(e, "o_ring")),
    case("kit-fault", "major", "pass", bend.change("kit-checked", checks={"marked": False})),
    case("kit-unusable", "void", "void", bend.change("kit-checked", checks={"mist_test": False})),
    case("kit-other-fault", "minor", "pass", bend.change("kit-checked", checks={"table-clean": False})),
    case("load-unrecorded", "major", "pass", bend.without("nebuliser-loaded", which="test")),
    case("load-recorded-late", "minor", "pass", bend.shift("nebuliser-loaded", 1000, which="test"),
         bend.loaded_ago("test", 20)),
    case("load-time-odd", "minor", "pass", bend.loaded_ago("test", -1)),
    case("solution-out-of-date", "void", "void", bend.expired("test")),
    case("solution-out-of-date", "void", "void", bend.expired("screening")),
    case("nebuliser-old", "major", "pass", bend.loaded_ago("test", 241)),
    case("nebuliser-old", "major", "pass", bend.loaded_ago("screening", 241)),
    case("questions-missing", "void", "void", bend.without("questions-answered")),
    case("not-cleared", "void", "void", bend.change("questions-answered", cleared=False)),
    case("not-trained", "major", "pass", bend.change("questions-answered", trained=False)),
    case("unwell-before", "void", "void", bend.change("questions-answered", feels_well=False)),
    case("abstention-short", "major", "pass", bend.ate(14)),
    case("abstention-short", "void", "void", bend.ate(7)),
    case("seal-hair", "void", "void", bend.stubble()),
    case("seal-hair", "void", "void", bend.change("questions-answered", seal_hair="hair")),
    case("equipment-not-worn", "major", "pass", bend.change("questions-answered", equipment_used=["helmet"])),
    case("identity-missing", "major", "pass", bend.without("identity-confirmed")),
    case("wearer-not-named", "major", "pass", bend.change("identity-confirmed", wearer_named=False)),
    case("model-not-read", "major", "pass", bend.change("identity-confirmed", model_read=False)),
    case("wrong-size", "void", "void", bend.change("identity-confirmed", size_read="L")),
    # screening
    case("screening-missing", "void", "void", bend.without("screening-started"), bend.without("squeezed"),
         bend.without("tasted")),
    case("screening-unfinished", "void", "void", bend.without("tasted")),
    case("screening-again", "major", "pass", bend.insert("screening-started", -950)),
    case("screening-over", "minor", "unsuited", bend.change("squeezed", n=11), taste_at_squeeze=None, only=False),
    case("taste-without-squeeze", "void", "void", bend.without("squeezed")),
    case("round-not-asked", "note", "pass", bend.without("not-tasted"), taste_at_squeeze=25),
    case("run-after-unsuited", "void", "unsuited", bend.change("squeezed", n=30), bend.without("tasted"), only=False),
    case("level-low", "void", "void", lambda e: _screened_at(e, 12), only=False),
    case("level-high", "minor", "pass", bend.change("squeezed", {"n": 3}, n=1), bend.without("not-tasted"),
         bend.without("squeezed", n=10), taste_at_squeeze=13),
    case("level-unknown", "void", "void", bend.change("run-started", level=15), only=False),
    case("washout-short", "major", "pass", bend.washed_out_for(14.5)),
    case("washout-short", "void", "void", bend.washed_out_for(7.4)),
    case("previous-washout-short", "major", "pass", previous_tasted_at=START - 5 * MINUTE),
    case("previous-washout-short", "void", "void", previous_tasted_at=START),
    case("taste-gone-unasked", "minor", "pass", bend.without("taste-gone")),
    case("taste-not-gone", "major", "pass", bend.change("taste-gone", gone=False)),
    case("taste-before-dose", "major", "pass", bend.insert("tasted", -500)),
    case("taste-before-dose", "void", "void", bend.insert("tasted", -100)),
    # donning
    case("donning-missing", "major", "pass", bend.without("donned")),
    case("donning-unchecked", "minor", "pass", bend.change("donned", checks=None),
         lambda e: [{**x, "data": {"checks": {}}} if x["kind"] == "donned" else x for x in e]),
    case("donning-fault", "major", "pass", bend.change("donned", checks={"chin": False})),
    case("wear-short", "major", "pass", bend.worn_for(290)),
    case("seal-check-missing", "major", "pass", bend.without("seal-checked")),
    case("seal-check-missing", "major", "pass", bend.shift("donned", 30)),
    case("seal-check-failed", "void", "void", bend.change("seal-checked", passed=False)),
    case("comfort-unasked", "minor", "pass", bend.without("comfort-judged")),
    case("uncomfortable", "major", "pass", bend.change("comfort-judged", comfortable=False)),
    # the run
    case("run-missing", "void", "void", bend.until(-20), bend.append("closed"), only=False),
    case("run-start-unmarked", "minor", "pass", bend.without("run-started")),
    case("dose-missing", "void", "void", bend.missed("dose-180")),
    case("dose-missing", "void", "void", bend.missed("dose-0")),
    case("dose-short", "void", "void", bend.dosed_with("dose-180", 4)),
    case("dose-short", "void", "void", bend.dosed_with("dose-0", 9)),
    case("dose-over", "minor", "pass", bend.dosed_with("dose-180", 6)),
    case("dose-extra", "minor", "pass", bend.insert("dosed", 200, act="dose-199", squeezes=5)),
    case("dose-early", "minor", "pass", bend.late("dose-180", -11)),
    case("dose-early", "void", "void", bend.late("dose-180", -21)),
    case("dose-late", "minor", "pass", bend.late("dose-180", 6.5)),
    case("dose-late", "void", "void", bend.late("dose-180", 16.5)),
    case("dose-entered-later", "note", "pass", bend.entered_later("dose-180", 40)),
    case("dose-time-odd", "minor", "pass", bend.change("dosed", {"act": "dose-180"}, given_at=START + 9 * DAY)),
    case("exercise-missing", "void", "void", bend.without("exercise-started", exercise="nod"), only=False),
    case("exercise-order", "major", "pass", bend.swapped("side", "nod")),
    case("exercise-short", "minor", "pass", bend.short("nod", 3)),
    case("exercise-short", "void", "void", bend.short("nod", 6)),
    case("exercise-long", "note", "pass", bend.shift_from("exercises-ended", 11)),
    case("exercise-extra", "note", "pass", bend.insert("exercise-started", 420.01, exercise="shrug")),
    case("mist-unasked", "major", "pass", bend.without("mist-checked")),
    case("clogged", "void", "void", bend.change("mist-checked", seen=False)),
    case("touched", "void", "void", bend.touched(100)),
    case("donned-in-run", "void", "void", bend.insert("donned", 100, checks={})),
    case("stopped", "void", "void", bend.stopped("unwell", 100), only=False),
    case("stopped-after", "minor", "pass", bend.insert("stopped", 431, reason="tester")),
    case("seal-break-missing", "void", "void", bend.without("seal-broken")),
    case("seal-break-not-tasted", "void", "void", seal_break_tasted=False),
    # after the test
    case("tester-unsigned", "minor", "pass", bend.without("signed", role="tester")),
    case("wearer-unsigned", "minor", "pass", bend.without("signed", role="wearer")),
]
ELSEWHERE = {"not-opened", "protocol-unknown", "kind-unsuited"}
"""Codes with a test of their own below."""


def _last_back(events: list[dict[str, Any]], seconds: float) -> list[dict[str, Any]]:
    """The closing bears an earlier time than the event recorded before it."""
    events[-1]["at"] = events[-2]["at"] - round(seconds * 1000)
    return events


def _without_item(events: list[dict[str, Any]], item: str) -> list[dict[str, Any]]:
    del events[1]["data"]["checks"][item]
    return events


def _screened_at(events: list[dict[str, Any]], squeeze: int) -> list[dict[str, Any]]:
    return [{**e, "data": {"n": squeeze}} if e["kind"] == "squeezed" else e for e in events]


def test_a_plain_test_passes_without_a_finding() -> None:
    for protocol in ("us-bitter", "us-sweet", "uk-bitter", "uk-sweet"):
        for kind in ("half", "filtering"):
            verdict = judged(protocol=protocol, kind=kind)
            assert (verdict.result, verdict.findings) == ("pass", ())


@pytest.mark.parametrize(("code", "severity", "result", "tweaks", "options", "only"), CASES)
def test_a_departure_is_found(code: str, severity: str, result: str, tweaks: Any, options: Any, only: bool) -> None:
    found_as_told(code, severity, result, tweaks, options, only)


def test_every_code_and_severity_has_a_case() -> None:
    covered = {(p.values[0], p.values[1]) for p in [*CASES, *METHODS]}
    wanted = {(d.code, s) for d in DEPARTURES.values() for s in d.severities
              if d.code not in ELSEWHERE | METHODS_ELSEWHERE}
    assert wanted - covered == set()


@pytest.mark.parametrize("tweaks", [
    [bend.late("dose-180", 3.5)], [bend.late("dose-180", -8)], [bend.short("nod", 0.9)], [bend.ate(15)],
    [bend.washed_out_for(15)], [bend.worn_for(300)], [bend.loaded_ago("test", 218)],
    [bend.insert("clock-checked", 100, offset_ms=-60_000, stepped_ms=2_000)],
    [lambda e: _last_back(e, 1.9)],
    [bend.change("identity-confirmed", size_read=" m ")], [bend.touched(425), lambda e: _seal_first(e)],
], ids=["dose-late", "dose-early", "short", "ate", "washout", "wear", "loaded", "clock", "backwards",
        "size-written-otherwise", "touched-after-the-seal-break"])
def test_within_the_limits_nothing_is_found(tweaks: Any) -> None:
    assert judged(*tweaks).findings == ()


def _seal_first(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The seal broken just before the facepiece is touched."""
    touch = next(e for e in events if e["kind"] == "facepiece-touched")
    for e in events:
        if e["kind"] == "seal-broken":
            e["at"] = touch["at"] - 1
    return sorted(events, key=lambda e: e["at"])


def test_no_opening_is_void() -> None:
    verdict = judge(events_of(played()[1:]))
    assert (verdict.result, codes(verdict)) == ("void", {"not-opened": "void"})
    assert "opening" in verdict.next[0].text


def test_nothing_on_record_is_unfinished() -> None:
    assert judge([]).result == "unfinished"


def test_an_unknown_protocol_is_void() -> None:
    verdict = judged(bend.change("opened", protocol="xx-none"))
    assert (verdict.result, codes(verdict)) == ("void", {"protocol-unknown": "void"})
    assert "protocol file" in verdict.next[0].text


def test_a_kind_the_protocol_does_not_suit_is_void() -> None:
    protocol = get("us-bitter")
    suits = msgspec.structs.replace(protocol.suits, kinds=("filtering",))
    verdict = judge(events_of(played()), msgspec.structs.replace(protocol, suits=suits))
    assert codes(verdict) == {"kind-unsuited": "void"}


def test_a_wrong_clock_is_put_right_before_dates_are_judged() -> None:
    """The room's clock a day fast: competence that looks run out was in date, and the other way round."""
    fast = bend.insert("clock-checked", -900, offset_ms=2 * DAY)
    assert "tester-out-of-date" not in codes(judged(fast, bend.tester_expired()))
    slow = bend.insert("clock-checked", -900, offset_ms=-2 * DAY)
    assert "tester-out-of-date" in codes(judged(slow, bend.tester_expired(-1)))
