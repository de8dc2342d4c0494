"""The result, its precedence, and what the verdict tells of the run as performed."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from tests.assess.staging import START, codes, events_of, judged, played

from sealwright.assess import DEPARTURES, Verdict, judge, summary
from sealwright.demo import tweaks as bend
from sealwright.demo.player import Tweak

VOIDING = (bend.stubble(), bend.missed("dose-30"), bend.expired("test"), bend.touched(40))


def steps(verdict: Verdict) -> list[str]:
    return [n.step for n in verdict.next]


@pytest.mark.parametrize("second", [0.5, 1, 59.9, 60, 95, 419.9])
def test_a_taste_at_any_second_of_the_run_fails(second: float) -> None:
    verdict = judged(taste_in_run_s=second)
    assert (verdict.result, verdict.tasted_s, verdict.findings) == ("fail", int(second), ())
    assert verdict.tasted_at == verdict.ended_at


@pytest.mark.parametrize("second", [-7.5, -3, -0.5])
def test_a_taste_during_the_first_dose_fails(second: float) -> None:
    verdict = judged(taste_in_run_s=second)
    assert (verdict.result, verdict.findings) == ("fail", ())
    assert verdict.tasted_s is not None and second - 1.2 <= verdict.tasted_s <= 0
    assert "before the start" in verdict.reason


def test_a_taste_fails_whatever_else_happened() -> None:
    verdict = judged(*VOIDING, taste_in_run_s=95)
    assert verdict.result == "fail"
    assert verdict.worst == "void"


def test_a_taste_fails_even_if_the_test_went_on_as_if_nothing_were() -> None:
    assert judged(bend.insert("tasted", 200)).result == "fail"
    assert judged(bend.insert("tasted", 424)).result == "fail"
    assert judged(bend.append("tasted")).result == "fail"


def test_a_taste_between_first_dose_and_first_exercise_fails() -> None:
    assert judged(bend.shift_from("run-started", 10), bend.insert("tasted", -5)).result == "fail"


def test_a_taste_recorded_early_but_timed_in_the_run_fails() -> None:
    """Two rooms may deliver in another order than things happened."""
    events = played(bend.insert("tasted", 100))
    taste = next(e for e in events if e["kind"] == "tasted" and e["at"] > START + 1_000_000)
    events.remove(taste)
    events.insert(12, taste)
    assert judge(events_of(events)).result == "fail"


def test_what_would_have_followed_a_taste_is_not_missed() -> None:
    verdict = judged(bend.missed("dose-30"), taste_in_run_s=95)
    assert codes(verdict) == {"dose-missing": "void"}
    assert [e for e, _, _ in verdict.exercises] == ["normal-1", "deep"]


def test_not_tasted_in_screening_is_unsuited_and_not_a_fail() -> None:
    verdict = judged(taste_at_squeeze=None)
    assert (verdict.result, verdict.screening_squeezes, verdict.screening_tasted) == ("unsuited", 30, False)
    assert steps(verdict) == ["other-agent", "quantitative"]
    assert "sweet" in verdict.next[0].text
    assert "bitter" in judged(taste_at_squeeze=None, protocol="uk-sweet").next[0].text


@pytest.mark.parametrize("tweak", [
    bend.expired("screening"), bend.loaded_ago("screening", 500), bend.without("nebuliser-loaded", which="screening"),
    bend.change("kit-checked", checks={"mist_screening": False}),
])
def test_a_screening_in_doubt_shows_nobody_unsuited(tweak: object) -> None:
    assert judged(tweak, taste_at_squeeze=None).result == "void"  # type: ignore[arg-type]


def test_a_taste_after_the_last_no_does_not_make_the_wearer_suited() -> None:
    events = played(taste_at_squeeze=None)
    at = next(e["at"] for e in events if e["kind"] == "hood-removed")
    taste = {**events[0], "id": "late", "kind": "tasted", "at": at + 60_000, "data": {}}
    assert judge(events_of(sorted([*events, taste], key=lambda e: e["at"]))).result == "unsuited"


def test_a_seal_break_without_taste_is_void_and_says_to_look_at_the_nebuliser() -> None:
    verdict = judged(seal_break_tasted=False)
    assert verdict.result == "void"
    assert steps(verdict) == ["mend-kit", "wait", "repeat"]


@pytest.mark.parametrize(("protocol", "expected"), [
    ("us-bitter", ["wait", "other-facepiece"]), ("uk-bitter", ["wait", "re-don", "other-facepiece"])])
def test_after_a_taste_us_asks_for_another_facepiece_and_uk_lets_one_re_don(protocol: str, expected: list[str]) -> None:
    verdict = judged(protocol=protocol, taste_in_run_s=20)
    assert steps(verdict) == expected
    assert all("screening" in n.text for n in verdict.next[1:])


@pytest.mark.parametrize("protocol", ["us-bitter", "uk-bitter"])
def test_who_fails_a_retry_is_told_what_to_do_when_nothing_in_stock_fits(protocol: str) -> None:
    """Common practice, no source."""
    first, retry = (judged(protocol=protocol, taste_in_run_s=20, try_no=n) for n in (1, 2))
    assert [*steps(first), "other-device"] == steps(retry)
    assert "does not seal on the face" in retry.next[-1].text


@pytest.mark.parametrize(("reason", "step"), [("unwell", "rest"), ("breathless", "clearance"), ("kit", "mend-kit")])
def test_a_stop_is_void_and_its_reason_says_what_next(reason: str, step: str) -> None:
    verdict = judged(bend.stopped(reason, 100))
    assert (verdict.result, steps(verdict)[0]) == ("void", step)
    assert codes(verdict) == {"stopped": "void", "tester-unsigned": "minor", "wearer-unsigned": "minor"}


@pytest.mark.parametrize(("tweak", "step"), [
    (bend.stubble(), "shave"), (bend.change("questions-answered", cleared=False), "clearance"),
    (bend.change("seal-checked", passed=False), "re-don"), (bend.expired("test"), "mend-kit"),
    (bend.missed("dose-90"), "wait")])
def test_a_void_test_says_what_to_mend_first(tweak: object, step: str) -> None:
    assert steps(judged(tweak))[0] == step  # type: ignore[arg-type]


def test_a_stop_recorded_after_the_seal_break_hides_nothing_of_the_run() -> None:
    """Even where its clock says that it came before the run."""
    events = [e for e in played() if e["kind"] != "exercise-started"]
    i = next(i for i, e in enumerate(events) if e["kind"] == "seal-broken")
    stop = {**events[i], "id": "stop", "kind": "stopped", "at": START, "data": {"reason": "tester"}}
    verdict = judge(events_of([*events[:i + 1], stop, *events[i + 1:]]))
    assert verdict.result == "void"
    assert "exercise-missing" in codes(verdict)


@pytest.mark.parametrize("tweak", [bend.insert("tasted", -500), bend.append("stopped", reason="tester")])
def test_a_seal_break_without_any_dose_never_passes(tweak: Tweak) -> None:
    none = (bend.without("dosed"), bend.without("run-started"), bend.without("closed"), tweak)
    assert judged(*none).result == "void"


def test_a_full_face_mask_is_sent_to_a_quantitative_method() -> None:
    assert steps(judged(kind="full")) == ["quantitative"]


@pytest.mark.parametrize("second", [-1080, -1000, -900, -400, -10, -0.1, 0, 33, 100, 300, 419, 425])
def test_a_test_under_way_is_unfinished_and_misses_nothing_yet(second: float) -> None:
    verdict = judged(bend.until(second))
    assert (verdict.result, verdict.findings, steps(verdict)) == ("unfinished", (), ["finish"])


def test_a_dose_long_overdue_is_missed_while_the_test_is_under_way() -> None:
    verdict = judged(bend.missed("dose-90"), bend.until(130))
    assert (verdict.result, codes(verdict)) == ("unfinished", {"dose-missing": "void"})


def test_doses_missing_in_a_row_are_one_finding() -> None:
    verdict = judged(bend.missed("dose-90"), bend.missed("dose-120"), bend.missed("dose-240"))
    assert [(f.code, f.at_s) for f in verdict.findings] == [("dose-missing", 90), ("dose-missing", 240)]
    assert "2 doses from 1:30 to 2:00" in verdict.findings[0].text


def test_a_dose_made_up_in_two_taps_is_whole() -> None:
    assert judged(bend.dosed_with("dose-90", 3), bend.insert("dosed", 96, act="dose-90", squeezes=2)).findings == ()


def test_the_verdict_draws_the_run_as_performed() -> None:
    verdict = judged(bend.short("nod", 3), taste_at_squeeze=13)
    assert (verdict.level, verdict.screening_squeezes, verdict.squeezes) == (20, 13, 150)
    assert verdict.exercises == (("normal-1", 0, 60), ("deep", 60, 60), ("side", 120, 60), ("nod", 180, 57),
                                 ("talk", 237, 63), ("bend", 300, 60), ("normal-2", 360, 60))
    assert verdict.started_at is not None and verdict.ended_at is not None
    assert round((verdict.ended_at - verdict.started_at) / 1000) == 420


def test_findings_stand_in_order_of_time_with_seconds_from_the_first_exercise() -> None:
    verdict = judged(bend.late("dose-300", 7), bend.late("dose-60", 7), bend.stubble())
    assert [f.code for f in verdict.findings] == ["seal-hair", "dose-late", "dose-late"]
    assert [f.at_s for f in verdict.findings][1:] == [71, 311]
    assert verdict.findings[1].text == "Top-up of 1:00, due 1:00, was given by 1:11"


def test_starts_worked_out_after_the_room_was_away_do_not_make_the_times_run_backwards() -> None:
    """The room comes back, says so, and then records what the score says began meanwhile."""
    events = played(bend.room_away(115, 10))
    i = next(i for i, e in enumerate(events) if e["data"].get("witnessed") is False)
    back = next(i for i, e in enumerate(events) if e["kind"] == "room-returned")
    events.insert(back, events.pop(i))
    assert codes(judge(events_of(events))) == {"room-away": "minor", "unwitnessed": "minor"}


@pytest.mark.parametrize("tweaks", [
    [bend.insert("seal-checked", -320, passed=False)],
    [bend.insert("taste-gone", -600, gone=False)],
    [bend.insert("kit-checked", -1060, checks={"o_ring": False})],
    [bend.insert("identity-confirmed", -1010, wearer_named=True, model_read=True, size_read="L")],
], ids=["leak-felt-then-none", "taste-there-then-gone", "kit-mended", "size-read-again"])
def test_what_was_put_right_before_its_use_is_no_departure(tweaks: list[Tweak]) -> None:
    """The last answer before it matters counts."""
    def put_first(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
        added = next(e for e in events if e["id"].startswith("new-"))
        same = next(e for e in events if e["kind"] == added["kind"] and e is not added)
        added["at"] = same["at"] - 1
        return sorted(events, key=lambda e: e["at"])
    assert judged(*tweaks, put_first).findings == ()


def test_a_nebuliser_filled_afresh_in_time_is_not_old() -> None:
    events = played(bend.loaded_ago("test", 300))
    fresh = next(e for e in events if e["kind"] == "nebuliser-loaded" and e["data"]["which"] == "test")
    again = {**fresh, "id": "fresh", "at": fresh["at"] + 60_000, "data": {**fresh["data"], "loaded_at": fresh["at"]}}
    assert judge(events_of(sorted([*events, again], key=lambda e: e["at"]))).findings == ()


def test_a_lot_that_runs_out_at_midnight_during_the_run_is_out_of_date() -> None:
    at = next(e["at"] for e in played() if e["kind"] == "mist-checked")
    good = bend.change("nebuliser-loaded", {"which": "test"}, expires_at=at + 600_000)
    bad = bend.change("nebuliser-loaded", {"which": "test"}, expires_at=at)
    assert judged(good).findings == ()
    assert codes(judged(bad)) == {"solution-out-of-date": "void"}


def test_eating_between_screening_and_first_dose_is_found() -> None:
    """The questions are asked again after the wait: something was taken meanwhile."""
    again = dict(played()[3]["data"])
    dose = next(e["at"] for e in played() if e["kind"] == "dosed")
    again["last_taken_at"] = dose - 4 * 60_000
    assert codes(judged(bend.insert("questions-answered", -60, **again))) == {"abstention-short": "void"}


def test_judging_changes_nothing_and_is_the_same_each_time() -> None:
    events = events_of(played(*VOIDING))
    before = copy.deepcopy(events)
    assert judge(events) == judge(events) == judge(tuple(events))
    assert events == before


def test_the_summary_says_result_findings_sources_and_next() -> None:
    text = summary(judged(bend.late("dose-60", 7), taste_in_run_s=95))
    assert text.splitlines()[0] == "FAIL: Tasted at 1:35, during deep breathing"
    assert "minor at 1:11: Top-up of 1:00" in text
    assert "dose-late; 29 CFR 1910.134 App. A Part I.B.4(b)(9); limit: ours, settable" in text
    assert "next: Try another facepiece" in text


def test_the_second_of_the_threshold_is_told() -> None:
    events = played()
    at = {e["kind"]: e["at"] for e in reversed(events) if e["kind"] in ("screening-started", "tasted")}
    assert judged().screening_s == round((at["tasted"] - at["screening-started"]) / 1000)
    assert judged(taste_at_squeeze=None).screening_s is None


def test_every_step_says_what_to_do_and_not_what_was_wrong() -> None:
    short = judged(bend.washed_out_for(7.4))
    assert [n.text for n in short.next] == ["Rinse the mouth with water, wait 15 min",
                                            "Repeat everything, screening included"]
    silent = {code for code, row in DEPARTURES.items() if row.step and not row.advice and "void" in row.severities}
    assert {DEPARTURES[code].step for code in silent} <= {"wait", "repeat"}
