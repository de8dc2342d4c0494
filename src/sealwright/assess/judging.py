"""Events -> verdict. Pure: the same events give the same verdict, whatever the hour."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import msgspec

from sealwright.assess import (
    checks_before,
    checks_donning,
    checks_measured,
    checks_notice,
    checks_record,
    checks_run,
    checks_screening,
)
from sealwright.assess.codes import DEPARTURES
from sealwright.assess.events import Dosed, Event, Opened, RunStarted
from sealwright.assess.facts import Facts, MeasuredFacts, NoticeFacts, TasteFacts, clock
from sealwright.assess.measured import Measured
from sealwright.assess.measuring import measured
from sealwright.assess.method import TasteMethod, method_of
from sealwright.assess.next_steps import next_steps, unjudged_step
from sealwright.assess.verdict import Finding, Next, Result, Verdict
from sealwright.errors import NotFound
from sealwright.protocols import Protocol, get
from sealwright.protocols.types import OURS

_COMMON = (*checks_record.CHECKS, *checks_before.CHECKS)
_AFTERWARDS = (*checks_donning.CHECKS, *checks_run.CHECKS)
TASTE_CHECKS = (*_COMMON, *checks_before.TASTE_CHECKS, *checks_screening.CHECKS, *_AFTERWARDS,
                *checks_run.TASTE_CHECKS)
NOTICE_CHECKS = (*_COMMON, *checks_notice.CHECKS, *_AFTERWARDS, checks_run.seal_broken)
MEASURED_CHECKS = (*_COMMON, *checks_measured.CHECKS, *_AFTERWARDS)


def judge(events: Sequence[Event], protocol: Protocol | None = None) -> Verdict:
    """The verdict on one test. `events` in recorded order; `protocol`: None takes the published one the record names.

    Never raises for what events may say: an unreadable story is a void or unfinished verdict with findings.
    """
    opened = next((e.data for e in events if type(e.data) is Opened), None)
    if opened is None:
        return _unopened(events)
    if protocol is None:
        try:
            protocol = get(opened.protocol)
        except NotFound as error:
            return _unjudged(opened, "protocol-unknown", str(error))
    method = method_of(protocol)
    if isinstance(method, TasteMethod):
        return _taste(TasteFacts(events, opened, method))
    if protocol.quantitative:
        return _measured(MeasuredFacts(events, opened, method))
    return _notice(NoticeFacts(events, opened, method))


def _taste(f: TasteFacts) -> Verdict:
    for check in TASTE_CHECKS:
        check(f)
    result = _qualitative(f)
    return _verdict(f, result, _reason(result, f), next_steps(result, f), **_screened(f))


def _screened(f: TasteFacts) -> dict[str, Any]:
    return {
        "screening_squeezes": f.squeezes if f.squeezed else None,
        "screening_tasted": None if not f.squeezed and not f.threshold else f.threshold is not None and not f.unsuited,
        "screening_s": None if not f.threshold or f.screening_at is None else _rounded(f.threshold.at - f.screening_at),
        "level": _level(f), "squeezes": sum(d.data.squeezes for d in f.all(Dosed))}


def _notice(f: NoticeFacts) -> Verdict:
    for check in NOTICE_CHECKS:
        check(f)
    result = _qualitative(f)
    return _verdict(f, result, _reason(result, f), next_steps(result, f),
                    screening_tasted=f.screened.data.noticed if f.screened else None)


def _measured(f: MeasuredFacts) -> Verdict:
    for check in MEASURED_CHECKS:
        check(f)
    numbers = measured(f)
    for count in checks_measured.NUMBER_CHECKS:
        count(f, numbers)
    result = _by_number(f, numbers)
    told = numbers if numbers is None or result == ("pass" if numbers.passed else "fail") else (
        msgspec.structs.replace(numbers, sentence=""))  # "Passed at 352" must stand on no paper of a void test
    return _verdict(f, result, _measured_reason(result, f, numbers), next_steps(result, f), measured=told)


def _verdict(f: Facts, result: Result, reason: str, steps: tuple[Next, ...], **more: Any) -> Verdict:
    origin = f.origin if f.origin is not None else 0
    return Verdict(
        result=result, reason=reason, protocol=f.p.id, protocol_version=f.p.version, wearer=f.opened.wearer,
        findings=tuple(sorted(f.findings, key=_by_time)), next=steps, started_at=f.origin,
        tasted_at=f.taste.at if f.taste else None, tasted_s=f.second(f.taste.at) if f.taste else None,
        ended_at=f.end_at,
        exercises=tuple((e, _rounded(at - origin), _rounded(ms)) for e, at, ms in checks_run.segments(f)), **more)


def _level(f: TasteFacts) -> int | None:
    """The level the run was led by, else the one the screening gave."""
    if started := f.all(RunStarted):
        return int(started[-1].data.level)
    dose = f.p.dose_for(f.squeezes) if f.threshold and f.squeezed else None
    return dose.level if dose else None


def _rounded(ms: int) -> int:
    return (ms + 500) // 1000


def _by_time(finding: Finding) -> int:
    return finding.at if finding.at is not None else -1


def _voids(f: Facts) -> list[Finding]:
    return [x for x in sorted(f.findings, key=_by_time) if x.severity == "void"]


def _qualitative(f: Facts) -> Result:
    """The agent noticed in the run fails, whatever else; then unsuited, unless the screening is in doubt; then void."""
    if f.taste:
        return "fail"
    if f.unsuited and not any(DEPARTURES[x.code].doubts_screening for x in f.findings):
        return "unsuited"
    if not f.over:
        return "unfinished"
    return "void" if _voids(f) or f.unsuited else "pass"


_CUT_SHORT = frozenset({"stopped", "exercise-missing", "exercise-short", "reading-missing"})
"""what a test that can no longer pass may lack and still be a fail"""


def _by_number(f: MeasuredFacts, numbers: Measured | None) -> Result:
    """Not over; then what cannot be passed any more, if nothing else is void; then void; then by the number."""
    if not f.over:
        return "unfinished"
    kit_failed = f.stopped is not None and f.stopped.data.reason == "kit"
    if numbers and not kit_failed and not any(x.code not in _CUT_SHORT for x in _voids(f)) and lost(f, numbers):
        return "fail"
    if _voids(f) or numbers is None:
        return "void"
    return "pass" if numbers.passed else "fail"


def lost(f: MeasuredFacts, numbers: Measured) -> bool:
    """Whether the exercises measured so far make a pass impossible, whatever the others would give.

    Overall rule: n / sum(1/FF) stays below the level once sum(1/FF) > n / level. A factor of which only the lower end
    is known may be as high as it likes.
    """
    known = [x.factor for x in numbers.exercises if x.counts and x.factor is not None]
    n = sum(e.counts for e in f.p.exercises)
    if len([x for x in numbers.exercises if x.counts]) >= n:
        return not numbers.passed
    if numbers.pass_rule == "each":
        return any(x < numbers.pass_level for x in known)
    return sum(1 / x if x > 0 else math.inf for x in known) * numbers.pass_level > n * (1 + 1e-9)


_UNNOTICED = {"taste": "Not tasted", "vapour": "Not smelled", "smoke": "No reaction to the smoke"}
_NOTICED = {"taste": "tasted", "vapour": "smelled", "smoke": "reacted to the smoke"}


def _reason(result: Result, f: TasteFacts | NoticeFacts) -> str:
    noticed = _NOTICED[f.p.method]
    if result == "fail" and f.taste:
        if not isinstance(f, TasteFacts) and not f.run_exercises:
            return f"{noticed[0].upper()}{noticed[1:]} before the first exercise"
        return f"{noticed[0].upper()}{noticed[1:]} at {clock(f.second(f.taste.at))}{_during(f, f.taste.at)}"
    if result == "unsuited":
        how = f"in {f.squeezes} squeezes of screening" if f.squeezed else "in the screening"
        word = "tasted" if f.p.method == "taste" else "noticed"
        return f"Not {word} {how}: {f.p.agent_name} does not suit this wearer"
    if result == "pass":
        return f"{_UNNOTICED[f.p.method]} through {len(f.m.exercise_ids)} exercises; {_PROVEN[f.p.method]}"
    return _unproven(result, f)


_PROVEN = {"taste": "tasted when the seal was broken, so the mist was there",
           "vapour": "smelled when the seal was broken, so the vapour was there",
           "smoke": "the same tube irritated without the facepiece, so the smoke was there"}


def _measured_reason(result: Result, f: MeasuredFacts, numbers: Measured | None) -> str:
    if result in ("pass", "fail") and numbers:
        return numbers.sentence if not (result == "fail" and numbers.passed) else (
            f"Failed: the exercises measured leave no way to reach {numbers.pass_level}")
    return _unproven(result, f)


def _unproven(result: Result, f: Facts) -> str:
    if result == "unfinished":
        return "The test has no end on record yet"
    reasons = [x.text for x in _voids(f)] or ["The screening is in doubt"]
    more = f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""
    return f"No pass can be claimed: {reasons[0]}{more}"


def _during(f: Facts, at: int) -> str:
    for exercise, start, ms in reversed(checks_run.segments(f)):
        if start <= at <= start + ms:
            return f", during {f.m.titles.get(exercise, exercise).lower()}"
    return ""


def _unopened(events: Sequence[Event]) -> Verdict:
    if not events:
        return Verdict(result="unfinished", reason="Nothing is on record", protocol="", protocol_version="", wearer="",
                       findings=(), next=())
    finding = Finding(code="not-opened", severity="void", text="The record has no opening", source=OURS,
                      at=events[0].at)
    return Verdict(result="void", reason="The record does not say who was tested, with what, by which protocol",
                   protocol="", protocol_version="", wearer="", findings=(finding,),
                   next=(unjudged_step("not-opened"),))


def _unjudged(opened: Opened, code: str, text: str) -> Verdict:
    finding = Finding(code=code, severity="void", text=text, source=OURS)
    return Verdict(result="void", reason=text, protocol=opened.protocol, protocol_version=opened.protocol_version,
                   wearer=opened.wearer, findings=(finding,), next=(unjudged_step(code),))
