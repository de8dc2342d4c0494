"""What must hold of judging whatever happened in a test."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tests.assess.staging import events_of, played
from tests.properties.any_events import BEGINNINGS, NOTICED, bent_tests, event_dicts, shifted

from sealwright.assess import DEPARTURES, Verdict, judge, read_record, record_bytes, summary
from sealwright.errors import BadInput
from sealwright.protocols import TasteProtocol, compile_score, get, published

# Without shrinking, so that a failure comes at once too: whole tests shrink slowly and say little when small.
SOME = settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow],
                phases=[Phase.explicit, Phase.generate])
MANY = settings(SOME, max_examples=250)
RANK = {None: 0, "note": 1, "minor": 2, "major": 3, "void": 4}


def sound(verdict: Verdict) -> None:
    """What every verdict must be, whatever it says."""
    for finding in verdict.findings:
        assert finding.severity in DEPARTURES[finding.code].severities
        assert finding.text and finding.source
    assert verdict.reason
    if verdict.result == "pass":
        assert verdict.worst != "void"
        assert verdict.tasted_at is None and len(verdict.exercises) >= len(get(verdict.protocol).exercises)
        assert verdict.measured is None or verdict.measured.passed
    if verdict.result in ("void", "unsuited", "fail"):
        assert verdict.next
    assert summary(verdict)
    assert msgspec.json.decode(msgspec.json.encode(verdict), type=Verdict) == verdict


@SOME
@given(st.lists(event_dicts(), max_size=25))
def test_no_events_whatever_stop_the_judge(dicts: list[dict[str, Any]]) -> None:
    events = events_of(dicts)
    verdict = judge(events)
    sound(verdict)
    assert judge(events) == verdict


def whole(dicts: list[dict[str, Any]]) -> None:
    """What a record must hold at the very least for a pass, told the plain way (withdrawn taps counted in)."""
    def data(kind: str) -> list[dict[str, Any]]:
        return [e["data"] for e in dicts if e["kind"] == kind]

    protocol = get(next(iter(data("opened")))["protocol"])
    assert {e.id for e in protocol.exercises} <= {d["exercise"] for d in data("exercise-started")}
    assert any(d["cleared"] and d["seal_hair"] == "none" for d in data("questions-answered"))
    assert any(d["facepiece"]["kind"] in protocol.suits.kinds for d in data("opened"))
    if protocol.quantitative:
        read = {d["exercise"] for kind in ("exercise-read", "leak-read") for d in data(kind)}
        assert data("samples-taken") or {e.id for e in protocol.exercises if e.counts} <= read
        return
    assert any(d["tasted"] for d in data("seal-broken"))
    if not isinstance(protocol, TasteProtocol):
        assert any(d["noticed"] for d in data("agent-screened"))
        return
    given: dict[str, int] = {}
    for dose in data("dosed"):
        given[dose["act"]] = given.get(dose["act"], 0) + dose["squeezes"]
    lowest = compile_score(protocol, protocol.doses[0].level)
    assert all(given.get(act.id, 0) >= act.squeezes for act in lowest.of("dose"))
    assert data("squeezed") and data("tasted")


@MANY
@given(bent_tests())
def test_no_bent_test_stops_the_judge_nor_passes_without_the_whole(dicts: list[dict[str, Any]]) -> None:
    events = events_of(dicts)
    verdict = judge(events)
    sound(verdict)
    if verdict.result == "pass":
        whole(dicts)
    assert judge(events_of(dicts)) == verdict


@SOME
@given(st.permutations(played()))
def test_no_order_of_a_good_test_stops_the_judge(dicts: list[dict[str, Any]]) -> None:
    sound(judge(events_of(dicts)))


def _method(dicts: list[dict[str, Any]]) -> str:
    """By which method the test is judged; empty where the record does not say."""
    named = next((e["data"]["protocol"] for e in dicts if e["kind"] == "opened"), "")
    return published()[named].method if named in published() else ""


def _standing_taste_in_run(dicts: list[dict[str, Any]]) -> bool:
    """Told the plain way: a taste that nothing withdraws, recorded after a dose or start that nothing withdraws."""
    method = _method(dicts)
    if method not in NOTICED:
        return False
    named = {e["data"]["event"] for e in dicts if e["kind"] == "taken-back"}
    standing = [e["kind"] for e in dicts if e["id"] not in named or e["kind"] == "closed"]
    begun = [i for i, kind in enumerate(standing) if kind in BEGINNINGS[method]]
    if not begun or "closed" in standing[:begun[0]]:
        return False
    return NOTICED[method] in standing[begun[0]:]


@MANY
@given(bent_tests(), st.integers(0, 60), st.booleans())
def test_a_standing_taste_in_the_run_always_fails(dicts: list[dict[str, Any]], place: int, add: bool) -> None:
    if add:
        kind = NOTICED.get(_method(dicts), "tasted")
        taste = {"id": "added-taste", "kind": kind, "at": dicts[-1]["at"] if dicts else 0, "by": "u-1", "data": {}}
        dicts.insert(min(place, len(dicts)), taste)
    verdict = judge(events_of(dicts))
    if _standing_taste_in_run(dicts):
        assert verdict.result == "fail"


def test_a_taste_at_each_place_of_the_run_fails() -> None:
    dicts = played()
    first = next(i for i, e in enumerate(dicts) if e["kind"] == "dosed")
    for i in range(first + 1, len(dicts) + 1):
        taste = {"id": "added", "kind": "tasted", "at": dicts[i - 1]["at"], "by": "u-1", "data": {}}
        assert judge(events_of([*dicts[:i], taste, *dicts[i:]])).result == "fail"


@SOME
@given(bent_tests(), st.sampled_from([0, 30, 60, 180, 390]))
def test_leaving_out_a_dose_never_betters_a_verdict(dicts: list[dict[str, Any]], second: int) -> None:
    """Better: a pass where there was none."""
    less = [e for e in dicts if not (e["kind"] == "dosed" and e["data"]["act"] == f"dose-{second}")]
    before, after = judge(events_of(dicts)), judge(events_of(less))
    assert not (after.result == "pass" and before.result != "pass")


@SOME
@given(st.integers(0, 3), st.sampled_from([7, 13, 25]), st.integers(0, 13), st.sampled_from(["late", "few", "good"]))
def test_leaving_out_a_dose_is_never_milder_than_giving_it_badly(seed: int, squeeze: int, n: int, how: str) -> None:
    dicts = played(seed=seed, taste_at_squeeze=squeeze)
    doses = [e for e in dicts if e["kind"] == "dosed"]
    dose = doses[n % len(doses)]
    without = judge(events_of([e for e in dicts if e is not dose]))
    if how == "few":
        dose["data"]["squeezes"] -= 1
    elif how == "late":
        dose["data"]["given_at"] = dose["at"]
        dose["at"] += 20_000
    given_badly = judge(events_of(dicts))
    assert RANK[without.worst] >= RANK[given_badly.worst]
    assert without.result == "void"


@SOME
@given(bent_tests(), st.integers(-10**9, 10**9))
def test_moving_all_instants_moves_only_the_instants(dicts: list[dict[str, Any]], by: int) -> None:
    moved = shifted(dicts, by)
    try:
        events = events_of(moved)
    except BadInput:
        return  # an instant left the range that can be recorded
    before, after = msgspec.to_builtins(judge(events_of(dicts))), msgspec.to_builtins(judge(events))
    for verdict in (before, after):
        for finding in verdict["findings"]:
            finding["until_at"] = finding.pop("until")
    assert msgspec.json.encode(after) == msgspec.json.encode(shifted(before, by))


@SOME
@given(bent_tests())
def test_a_record_written_is_read_back_or_refused_for_its_ids(dicts: list[dict[str, Any]]) -> None:
    raw = record_bytes(dicts)
    if len({e["id"] for e in dicts}) == len(dicts):
        assert read_record(raw, "x").events == events_of(dicts)


@SOME
@given(st.binary(max_size=200), st.integers(0, 4000), st.integers(1, 60))
def test_no_bytes_whatever_stop_the_reader(junk: bytes, at: int, length: int) -> None:
    """Junk, and a good record with junk in it: read or refused with a mend, nothing else."""
    good = record_bytes(played(taste_at_squeeze=None))
    for raw in (junk, good[:at] + junk + good[at + length:]):
        try:
            read_record(raw, "x")
        except BadInput as error:
            assert error.place.startswith("x") and error.mend
