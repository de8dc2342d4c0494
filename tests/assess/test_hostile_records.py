"""Records bent to be passed: none is, whatever their numbers say."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from tests.assess.staging import codes, events_of, judged, played

from sealwright.assess import judge
from sealwright.assess.counting import Reading, from_readings
from sealwright.assess.events import Opened
from sealwright.assess.facts import MeasuredFacts
from sealwright.assess.live import live
from sealwright.assess.measured import Factor
from sealwright.assess.measuring import windows_of
from sealwright.assess.method import method_of
from sealwright.assess.words import factor_words, rounded
from sealwright.demo import tweaks as bend
from sealwright.protocols import get

Draft = list[dict[str, Any]]
COUNTING = {"protocol": "us-counting"}
LEAKY = dict.fromkeys(("deep", "side", "nod", "talk", "bend"), 60.0)
SPANS = [(s.air, s.exercise, float(s.at + (5 if s.air == "mask" else 0)), float(s.at + s.lasts))
         for s in get("us-counting").samples]  # type: ignore[attr-defined]
GOOD = next(s for s in SPANS if s[:2] == ("mask", "normal-1"))


def _first(events: Draft, kind: str) -> int:
    return next(i for i, e in enumerate(events) if e["kind"] == kind)


def _complete_first(events: Draft) -> Draft:
    """The readings said to be complete before the first exercise; stopped in the fifth."""
    complete = events.pop(_first(events, "readings-complete"))
    events.insert(_first(events, "run-started") + 1, {**complete, "at": bend._origin(events)})
    talking = next(i for i, e in enumerate(events) if e["data"].get("exercise") == "talk")
    stop = {**complete, "id": "stop", "kind": "stopped", "at": events[talking]["at"] + 1000,
            "data": {"reason": "unwell"}}
    return [*events[:talking + 1], stop, *events[talking + 1:]]


def _read_before(events: Draft) -> Draft:
    """All readings recorded before the exercises were begun: those of another donning."""
    read = [e for e in events if e["kind"] in ("exercise-read", "leak-read")]
    rest = [e for e in events if e not in read]
    i = _first(rest, "run-started")
    return [*rest[:i], *({**e, "at": rest[i]["at"]} for e in read), *rest[i:]]


def _beside(air: str, times: int) -> bend.Tweak:
    """Every stretch of an air on record twice, the second time with other values."""
    def tweak(events: Draft) -> Draft:
        more = [{**e, "id": f"more-{i}", "data": {**e["data"], "values": [v * times for v in e["data"]["values"]]}}
                for i, e in enumerate(events) if e["kind"] == "samples-taken" and e["data"]["air"] == air]
        return sorted([*events, *more], key=lambda e: e["at"])
    return tweak


def _zero_but_one(events: Draft) -> Draft:
    """Concentrations that read zero in every exercise but the first."""
    masks = 0
    for e in events:
        if e["kind"] == "samples-taken":
            masks += e["data"]["air"] == "mask"
            value = 2_000_000 if e["data"]["air"] == "ambient" else 10_000 if masks == 1 else 0
            e["data"] |= {"unit": "milli-per-cm3", "values": [value] * len(e["data"]["values"])}
    return bend.change("instrument-named", flow_mm3_s=None)(events)


@pytest.mark.parametrize(("tweak", "options", "code"), [
    (_complete_first, COUNTING, "stopped"),
    (_read_before, {**COUNTING, "way": "factors"}, "reading-missing"),
    (_read_before, {"protocol": "us-pressure"}, "reading-missing"),
    (_beside("mask", 0), {**COUNTING, "factors": LEAKY}, "samples-overlap"),
    (_beside("ambient", 100), {**COUNTING, "factors": LEAKY}, "samples-overlap"),
    (bend.accepted([(a, e, *(GOOD[2:] if a == "mask" else (s, u))) for a, e, s, u in SPANS], proposed=False),
     {**COUNTING, "factors": LEAKY}, "windows-overlap"),
    (bend.accepted([(a, e, u - 3 if a == "mask" else s, u) for a, e, s, u in SPANS], proposed=False), COUNTING,
     "data-window-short"),
    (_zero_but_one, COUNTING, "reading-short"),
    (bend.change("leak-read", pressure=0, leak_ul_min=0), {"protocol": "us-pressure"}, "pressure-off"),
], ids=lambda v: v if isinstance(v, str) else "")
def test_a_bent_record_is_void(tweak: Any, options: Any, code: str) -> None:
    verdict = judged(tweak, **options)
    assert verdict.result == "void" and (code, "void") in {(f.code, f.severity) for f in verdict.findings}


def test_windows_of_invented_exercises_dilute_nothing() -> None:
    """Thirty windows of the first exercise's air under other names: the factor stays that of the seven."""
    honest = judged(bend.accepted(SPANS, proposed=False), factors=LEAKY, **COUNTING)
    more = [("mask", f"hop-{i}", *GOOD[2:]) for i in range(30)]
    bent = judged(bend.accepted([*SPANS, *more], proposed=False), factors=LEAKY, **COUNTING)
    assert honest.result == bent.result == "fail" and bent.measured and honest.measured
    assert bent.measured.overall == honest.measured.overall and "exercise-extra" in codes(bent)


@pytest.mark.parametrize("protocol", ["us-bitter", "us-sweet", "uk-bitter", "us-vapour", "us-smoke"])
@pytest.mark.parametrize("rule_set", ["", "us", "uk", "ca", "anz"])
def test_no_protocol_file_makes_a_full_face_mask_pass_qualitatively(protocol: str, rule_set: str) -> None:
    p = get(protocol)
    claims = msgspec.structs.replace(p, suits=msgspec.structs.replace(p.suits, kinds=("filtering", "half", "full")))
    verdict = judge(events_of(played(protocol=protocol, kind="full", rule_set=rule_set)), claims)
    assert (verdict.result, codes(verdict)["full-face"]) == ("void", "void")


def test_the_live_numbers_end_as_the_verdict_does() -> None:
    """Where nothing was counted in the mask but the room held next to nothing either, no pass is certain."""
    def empty(events: Draft) -> Draft:
        for e in events:
            if e["kind"] == "samples-taken":
                value = 0 if e["data"]["air"] == "mask" else 1
                e["data"]["values"] = [value] * len(e["data"]["values"])
        return bend.change("opened", pass_level=1000)(events)

    events = events_of(played(empty, **COUNTING))
    verdict, seen = judge(events), live(events)
    assert verdict.result == "fail" and seen.outlook.certain == "fail" and "too little air" in seen.outlook.text


def test_a_mean_that_misses_the_level_by_rounding_alone_is_the_level() -> None:
    """7 / (7 * 0.01) is 99.99999999999999 in binary."""
    made = from_readings([Reading(exercise=f"e{i}", factor=100.0) for i in range(7)], pass_level=100,
                         pass_rule="overall")
    assert made.passed and made.overall.factor == 100.0 and made.sentence.startswith("Passed at 100;")
    assert rounded(made.overall.factor, 100) == "100"


def test_a_zero_of_unknown_size_is_no_factor_in_words() -> None:
    assert factor_words(Factor(exercise="deep", factor=None)) == "none: the mask read zero, of unknown size"


def test_no_sample_counts_for_two_windows() -> None:
    """Sixty windows over everything once took as many looks at each sample as there are windows."""
    wide = [(air, e, a, 10_000.0) for air, e, a, _ in SPANS]
    p = get("us-counting")
    events = events_of(played(bend.accepted([("mask", "hop", 0.0, 10_000.0), *wide], proposed=False), **COUNTING))
    f = MeasuredFacts(events, next(e.data for e in events if isinstance(e.data, Opened)), method_of(p))
    assert sorted((w.air, w.exercise) for w in windows_of(f)) == [("ambient", ""), ("mask", "normal-1")]
    assert judge(events).result == "void"


@pytest.mark.parametrize(("tweak", "result"), [
    (bend.change("identity-confirmed", size_read="L"), "void"), (bend.until(200), "unfinished"),
    (bend.change("questions-answered", seal_hair="hair"), "void"), (bend.touched(100), "void")])
def test_no_void_test_says_passed(tweak: Any, result: str) -> None:
    """Good numbers of a test that proves nothing: neither verdict nor certificate have the word."""
    made = played(tweak, **COUNTING)
    verdict = judge(events_of(made))
    assert verdict.result == result and verdict.measured and verdict.measured.overall.factor
    assert "passed" not in f"{verdict.reason} {verdict.measured.sentence}".lower()


def test_after_one_exercise_nothing_is_called_passed() -> None:
    seen = live(events_of(played(bend.until(70), **COUNTING)))
    assert seen.remaining == 6 and seen.overall and seen.sentence == ""


@pytest.mark.parametrize(("low", "said"), [(463_999.0, "463,000"), (107_600.0, "107,000"), (99.96, "99.9"),
                                           (1999.99, "1,990"), (5.678, "5.67"), (0.0, "0.00")])
def test_a_lower_end_is_never_rounded_up(low: float, said: str) -> None:
    x = Factor(exercise="e", factor=None, low=low)
    assert factor_words(x) == f"at least {said} (nothing counted in the mask)"
    assert factor_words(msgspec.structs.replace(x, basis="pressure")) == f"at least {said} (no leak was read)"
